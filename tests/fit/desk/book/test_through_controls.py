"""Takes made through controls and by other methods, from files and instrument.toml to a fit."""

import numpy as np
import pytest

from fit.circuit.instrument import stated_values
from fit.circuit.reading import read_instrument
from fit.desk.book.through_controls import with_bounds, with_dcr
from measure.source.files import write_recording
from tests import driven_takes as driven
from tests import guitar_cases as cases
from tests.desk_bench import run, run_json
from tests.guitar_bench import recordings_of
from tests.readme_guitars import REAL, REAL_SEED
from tests.recorded import RECORDINGS
from tests.recorded_guitars import WIRING

RIG = ["--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--reference", "current"]
GUITAR = WIRING.format(volume="500k", tone="500k", capacitor="33n")


def start(capsys, folder, text=GUITAR):
    assert run(capsys, "rig", "--logbook", folder, *RIG)[0] == 0
    if text:
        (folder / "instrument.toml").write_text(text, encoding="utf-8")


def take(capsys, folder, name, file, *options):
    code, _, err = run(capsys, "import", name, file, *options, "--logbook", folder)
    assert code == 0, err


def recorded_takes(capsys, folder):
    for name, options in (
        ("tone-up", ("--set", "volume=10", "--set", "tone=10")),
        ("tone-up-plus-1n", ("--set", "tone=10", "--add", "1n ± 1%")),
        ("tone-down", ("--set", "tone=0")),
    ):
        take(capsys, folder, name, RECORDINGS / "tone-capacitor" / f"{name}.flac", *options)


@pytest.mark.long
def test_guitar_from_files_to_values(capsys, tmp_path):
    start(capsys, tmp_path)
    recorded_takes(capsys, tmp_path)
    names = ("tone-up", "tone-up-plus-1n", "tone-down")
    code, document, _ = run_json(capsys, "fit", *names, "--dcr", "7150 ± 1%", "--logbook", tmp_path)
    assert code == 0
    assert document["outcome"] == "good"
    assert document["quantities"]["capacitor.tone"]["value"] == pytest.approx(30.6e-9, rel=0.01)
    assert document["quantities"]["pot.volume"]["unit"] == "Ω"
    code, document, _ = run_json(capsys, "confirm", "capacitor.tone", *names, "--dcr", "7150 ± 1%", "--logbook", tmp_path)
    assert document["verdict"] == "within marking"
    code, document, _ = run_json(capsys, "confirm", "capacitor.tone", *names[:2], "--dcr", "7150 ± 1%", "--logbook", tmp_path)
    assert document["verdict"] == "not resolved"
    assert "tone=0" in str(document)


@pytest.mark.long
def test_starting_values_of_a_layout_are_no_references(capsys, tmp_path):
    assert run(capsys, "rig", "--logbook", tmp_path, *RIG)[0] == 0
    assert run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)[0] == 0
    recorded_takes(capsys, tmp_path)
    names = ("tone-up", "tone-up-plus-1n", "tone-down")
    code, document, _ = run_json(capsys, "fit", *names, "--dcr", "7150 ± 1%", "--logbook", tmp_path)
    assert code == 0
    assert document["outcome"] == "good"
    assert document["quantities"]["inductance"]["value"] == pytest.approx(3.62, rel=0.01)
    assert not any("stated without ±" in warning for warning in document["warnings"])
    assert not any("pickup bridge" in warning for warning in document["warnings"])
    assert run(capsys, "report", "--logbook", tmp_path)[0] == 0
    told = (tmp_path / "report.html").read_text(encoding="utf-8").partition("<details>")[0]
    assert "marking" not in told.lower()
    path = tmp_path / "instrument.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('dcr = "8k"', 'dcr = "7.2k"'), encoding="utf-8")
    _, document, _ = run_json(capsys, "fit", *names[:2], "--logbook", tmp_path)
    assert run(capsys, "report", tmp_path / "edited.html", *names, "--logbook", tmp_path)[0] == 0
    assert "marking" in (tmp_path / "edited.html").read_text(encoding="utf-8").lower()  # whoever edits has looked
    told = [warning for warning in document["warnings"] if "stated without ±" in warning]
    assert [warning.partition(" stated")[0] for warning in told] == ["pickup bridge: dcr 7.2k"]


@pytest.mark.long
def test_slips_are_one_line(capsys, tmp_path):
    start(capsys, tmp_path, text="")
    file = RECORDINGS / "tone-capacitor" / "tone-up.flac"
    take(capsys, tmp_path, "up", file, "--set", "tone=10")
    code, _, err = run(capsys, "fit", "up", "--logbook", tmp_path)
    assert code == 2
    assert "there is no instrument.toml" in err
    take(capsys, tmp_path, "odd", file, "--set", "presence=3")  # before the wiring is stated nothing can be refused
    (tmp_path / "instrument.toml").write_text(GUITAR, encoding="utf-8")
    code, _, err = run(capsys, "fit", "up", "odd", "--logbook", tmp_path)
    assert code == 2
    assert 'there is no control "presence"' in err
    take(capsys, tmp_path, "off", file, "--set", "volume=0")
    code, _, err = run(capsys, "fit", "off", "--logbook", tmp_path)
    assert code == 2
    assert "none of these takes tells anything of a part" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--set", "tonne=5"), 'there is no control "tonne", the instrument has: volume, tone'),
        (("--set", "tone=11"), 'tone: "11" is neither a rotation from 0 to 10'),
        (("--coil-over", "neck"), 'there is no pickup "neck" for the exciter to stand over, the instrument has: bridge'),
        (("--set", "tone=5", "--coil-over", "bridge"), ""),
    ],
)
def test_a_control_that_is_not_there_is_refused_before_anything_is_kept(capsys, tmp_path, options, said):
    start(capsys, tmp_path)
    file = RECORDINGS / "tone-capacitor" / "tone-up.flac"
    code, out, err = run(capsys, "import", "one", file, *options, "--logbook", tmp_path)
    assert code == (2 if said else 0)
    assert (tmp_path / "takes").exists() == (not said)
    if said:
        assert (out, err.count("\n")) == ("", 1)
        assert said in err


@pytest.mark.long
def test_jack_driven_through_a_resistor(capsys, tmp_path):
    """Ohms at once: a bare coil behind 185 pF and 200 kΩ, through 100 kΩ."""
    bare = driven.Instrument()
    rig = ["--input-resistance", "200k ± 1%", "--input-capacitance", "185p ± 3p"]
    assert run(capsys, "rig", "--logbook", tmp_path, *rig)[0] == 0
    file = driven.save(tmp_path, "driven", driven.record(1, driven.through_resistor(bare, 100e3)))
    take(capsys, tmp_path, "ohms", file, "--method", "impedance", "--series-resistor", "100k ± 1%")
    code, document, _ = run_json(capsys, "fit", "ohms", "--logbook", tmp_path)
    assert code == 0
    assert document["outcome"] == "good"
    for name, true in (("inductance", 2.9), ("dc_resistance", 6400.0), ("winding_capacitance", 95e-12)):
        found = document["quantities"][name]
        assert abs(found["value"] - true) < 3 * found["standard_uncertainty"], name
        assert found["standard_uncertainty"] < 0.04 * true, name
    take(capsys, tmp_path, "unknown", file, "--method", "impedance")
    code, _, err = run(capsys, "fit", "unknown", "--logbook", tmp_path)
    assert code == 2
    assert "--series-resistor" in err


@pytest.mark.long
def test_take_over_a_pickup_that_is_switched_off_is_left_out(capsys, tmp_path):
    case = cases.draw_three_pickups(1)
    assert run(capsys, "rig", "--logbook", tmp_path, *RIG)[0] == 0
    (tmp_path / "instrument.toml").write_text(case.instrument_toml, encoding="utf-8")
    names = ["bridge-at-bridge", "bridge-at-neck", "bridge-plus-1n"]
    for name, recording in recordings_of(case, names=names).items():
        made = case.takes[name]
        file = tmp_path / f"{name}.wav"
        write_recording(file, recording.samples, rate_hz=recording.rate_hz)
        options = [word for control, value in made.settings.items() for word in ("--set", f"{control}={value}")]
        options += ["--coil-over", made.coil_over, *(["--add", "1n ± 1%"] if made.added else [])]
        code, _, _ = run(capsys, "import", name, file, *options, "--logbook", tmp_path)
        assert code in (0, 3)
    kept = [name for name in names if name != "bridge-at-neck"]
    code, document, _ = run_json(capsys, "fit", *kept, "--logbook", tmp_path)
    assert code == 0
    found = document["quantities"]["bridge.inductance"]
    assert found["value"] == pytest.approx(case.truths["bridge.inductance"], rel=0.02)
    take_without = np.isin(["neck.inductance"], [one["quantity"] for one in document["not_identified"]])
    assert take_without.all()


@pytest.mark.long
def test_real_parts_on_a_warm_day(capsys, tmp_path):
    """The guitar of the page real-parts: stops, a lossy capacitor, a winding 8 K warmer than when its dcr was read at 20 °C."""
    case = cases.draw_one_pickup(REAL_SEED, conditions=REAL)
    start(capsys, tmp_path, text=case.instrument_toml)
    for name, recording in recordings_of(case).items():
        file = tmp_path / f"{name}.wav"
        write_recording(file, recording.samples, rate_hz=recording.rate_hz)
        options = [
            "--temperature",
            f"{case.takes[name].temperature_c:.0f} °C",
            *(["--add", "1n ± 1%"] if case.takes[name].added else []),
        ]
        take(
            capsys,
            tmp_path,
            name,
            file,
            *options,
            "--set",
            "volume=10",
            "--set",
            f"tone={case.takes[name].settings.get('tone', '10')}",
        )
    words = ("fit", *case.takes, "--dcr", f"{case.dcr['bridge']} at {case.dcr_temperature_c:.0f}C", "--logbook", tmp_path)
    code, document, _ = run_json(capsys, *words)
    assert code == 0
    assert document["outcome"] == "good"
    assert document["released"] == []
    truths = {
        "dc_resistance": case.truths["bridge.dcr"],
        "pot.tone.stop_0": case.truths["pot.tone.stop@0"],
        "capacitor.tone": case.truths["capacitor.tone"],
        "capacitor.tone.loss_tangent": case.truths["capacitor.tone.loss_tangent"],
    }
    for name, true in truths.items():
        found = document["quantities"][name]
        assert abs(found["value"] - true) < 3 * found["standard_uncertainty"] < 0.1 * true, name
    _, out, _ = run(capsys, *words)
    names = [line.strip().partition("  ")[0] for line in out.splitlines()]
    place = names.index("Tone pot")
    assert names[place + 1] == "Tone pot, ohms left at 0"
    assert names[place + 2 : place + 4] == ["Tone capacitor", "Tone capacitor, loss angle (tan δ)"]
    code, document, _ = run_json(capsys, *words[:-4], "--dcr", case.dcr["bridge"], "--logbook", tmp_path)
    assert document["outcome"] == "misfit"
    assert [one["parameter"] for one in document["released"]] == ["dcr as stated"]


def test_dcr_of_each_pickup():
    text, warnings = cases.draw_three_pickups(0).instrument_toml, []
    stated = stated_values(with_dcr(read_instrument(text), "bridge=7.9k ± 1%, neck=6.1k", warnings))
    assert stated["bridge.dcr"].quantity.value == pytest.approx(7900)
    assert stated["neck.dcr"].quantity.value == pytest.approx(6100)
    assert stated["neck.dcr"].quantity.bound == pytest.approx(305)
    assert len(warnings) == 1
    assert "6.1k (dcr of neck) states no tolerance; ± 5 % is assumed" in warnings[0]
    with pytest.raises(ValueError, match="expected PICKUP=VALUE with one of bridge, middle, neck"):
        with_dcr(read_instrument(text), "7.9k", [])
    assert stated_values(with_dcr(read_instrument(GUITAR), "7.1k ± 1%", []))["bridge.dcr"].quantity.value == pytest.approx(7100)


def test_what_is_stated_with_a_value_survives_an_assumed_bound():
    """Of a dcr its temperature, of a capacitor its loss tangent."""
    instrument = read_instrument(GUITAR.replace('marked = "33n ± 10%"', 'value = "33n tan 0.6%"'))
    warnings = []
    bounded = stated_values(with_bounds(with_dcr(instrument, "7.1k at 24C", warnings), warnings))
    assert len(warnings) == 2
    assert bounded["bridge.dcr"].quantity.temperature_c == 24.0
    assert bounded["bridge.dcr"].quantity.bound == pytest.approx(355)
    assert bounded["capacitor.tone"].quantity.loss_tangent == pytest.approx(6e-3)
    assert bounded["capacitor.tone"].quantity.bound == pytest.approx(3.3e-9)


@pytest.mark.long
def test_input_that_no_pickup_is_meant_for_is_named_at_once(capsys, tmp_path):
    """The sense resistor's value typed as the input's."""
    code, out, _ = run(capsys, "rig", *RIG, "--input-resistance", "100R ± 1%", "--logbook", tmp_path)
    assert code == 0
    assert "look: the input has 100 Ω" in out
    take(capsys, tmp_path, "open", RECORDINGS / "bare-single-coil" / "open.flac")
    take(capsys, tmp_path, "plus", RECORDINGS / "bare-single-coil" / "plus-1n.flac", "--add", "1n ± 1%")
    code, document, _ = run_json(capsys, "fit", "open", "plus", "--logbook", tmp_path)
    assert document["outcome"] == "misfit"
    assert any("the input has 100 Ω" in warning for warning in document["warnings"])
    code, out, _ = run(capsys, "rig", *RIG, "--logbook", tmp_path)
    assert "look:" not in out
