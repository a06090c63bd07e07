"""The commands instrument and predict, in process."""

import json

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts, measured_document
from fit.desk.book.kept_fit import text_sha256
from tests.desk_bench import is_one_line, names_of, run, run_json, run_plain
from tests.pages import read_page


@pytest.fixture
def book(tmp_path, capsys):
    """A logbook with a rig and three single coils."""
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "470p ± 10p", "--logbook", tmp_path)[0] == 0
    assert run(capsys, "instrument", "--layout", "three-singles", "--logbook", tmp_path)[0] == 0
    return tmp_path


@pytest.mark.long
def test_predict_document(book, capsys):
    code, document, err = run_json(
        capsys, "predict", "--set", "selector=neck-middle", "--set", "volume=9.5", "--at", "E4", "--at", "3k", "--logbook", book
    )
    assert code == 0
    assert err == ""
    assert document["schema"] == "coilsweep.predict/1"
    assert document["settings"]["selector"] == {"setting": "neck-middle"}
    n = len(document["frequency_hz"])
    assert set(document["pickups"]) == {"bridge", "middle", "neck"}
    assert all(len(curve["gain_db"]) == len(curve["phase_degree"]) == n for curve in document["pickups"].values())
    assert document["pickups"]["bridge"]["gain_db"][0] is None
    assert document["pickups"]["neck"]["gain_db"] == pytest.approx(document["pickups"]["middle"]["gain_db"], rel=1e-9)
    figures = document["figures"]["neck"]
    assert figures["peak"]["frequency"]["unit"] == "Hz"
    low, high = figures["peak"]["frequency"]["interval_95"]
    assert low < figures["peak"]["frequency"]["value"] < high
    assert set(figures["levels"]) == {"E4", "3k"}
    assert figures["levels"]["E4"]["frequency_hz"] == pytest.approx(329.6276, abs=5e-5)  # as in the table of notes
    assert [sweep["pot"] for sweep in document["tone"]] == ["tone-1", "tone-2"]
    assert len(document["tone"][0]["steps"]) == 11
    assert "before" not in document


def test_predict_in_words_beside_what_was_before(book, capsys):
    code, out, err = run(
        capsys,
        "predict",
        "--details",
        "--set",
        "selector=neck",
        "--change",
        "neck.inductance=3.1",
        "--excite",
        "neck",
        "--logbook",
        book,
    )
    assert code == 0
    assert err == ""
    lines = {line.split("  ")[1]: line.split() for line in out.splitlines() if line.startswith("  ")}
    assert "before" in out
    changed, before = lines["Peak at"][2], lines["Peak at"][-2]
    assert float(changed) < float(before)  # more inductance, a lower peak
    assert "Textbook: 1/(2πRC)" in out
    assert "only marked, by its taper: claims, counted as printed" in " ".join(out.split())
    assert "pot.tone-1" in out
    assert "\x1b" not in out


@pytest.mark.long
def test_predict_beside_another_instrument(book, tmp_path, capsys):
    other = tmp_path / "other.toml"
    other.write_text((book / "instrument.toml").read_text().replace('"6.2k"', '"7k"'))
    code, document, _ = run_json(capsys, "predict", "--instrument", other, "--set", "selector=neck", "--logbook", book)
    assert code == 0
    assert document["figures"]["neck"]["peak"] != document["before"]["figures"]["neck"]["peak"]
    assert document["before"]["settings"] == document["settings"]


@pytest.mark.long
def test_predict_draws(book, tmp_path, capsys):
    picture, file = tmp_path / "curves.png", tmp_path / "curves.html"
    words = ("--set", "selector=neck", "--change", "capacitor.tone=10n", "--plot", picture, "--page", file, "--logbook", book)
    words += ("--plot-tone", tmp_path / "tone.svg", "--plot-phase", tmp_path / "phase.svg")
    code, _, err = run(capsys, "predict", *words)
    assert code == 0
    page = read_page(file.read_text(encoding="utf-8"))
    assert page.headings[0].startswith("Prediction: ")
    assert page.headings[-1] == "What this rests on"
    assert {"At the jack", "Phase and group delay", "The tone control over its travel"} < set(page.headings)
    assert {"changed", "95 % interval", "before", "textbook"} <= set(page.columns)
    assert "Written" in err
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert all("<svg" in (tmp_path / name).read_text(encoding="utf-8") for name in ("tone.svg", "phase.svg"))
    code, _, err = run(capsys, "predict", "--set", "volume=0", "--plot", tmp_path / "silence.png", "--logbook", book)
    assert code == 0
    assert (tmp_path / "silence.png").stat().st_size > 1000


WRONG = {
    "position": (["--set", "selector=6"], 'selector: there is no position "6"'),
    "control": (["--set", "tone=6"], 'there is no control "tone"'),
    "part": (["--change", "tone=10n"], 'there is no part "tone"'),
    "pickup": (["--excite", "top"], 'there is no pickup "top"'),
    "note": (["--at", "H2"], '"H2" is not a frequency'),
    "far note": (["--at", "0.1 Hz"], "expected a note such as E2"),
    "picture": (["--plot", "curves.gif"], "ends in .png"),
    "other file": (["--instrument", "nowhere.toml"], "nowhere.toml"),
}


@pytest.mark.parametrize("case", WRONG)
def test_wrong_words_are_named_in_one_line(book, capsys, case):
    words, said = WRONG[case]
    code, out, err = run(capsys, "predict", *words, "--logbook", book)
    assert code == 2
    assert out == ""
    assert is_one_line(err)
    assert said in err


@pytest.mark.long
def test_two_changes_side_by_side(book, capsys, tmp_path):
    words = ["--set", "selector=neck", "--set", "tone-1=0", "--excite", "neck", "--at", "E4", "--logbook", book]
    both = ["--change", "capacitor.tone=.01", "--versus", "--change", "capacitor.tone=473J"]
    code, document, _ = run_json(capsys, "predict", *words, *both)
    assert code == 0
    (other,) = document["versus"]
    assert (document["changes"], other["changes"]) == (["capacitor.tone=.01"], ["capacitor.tone=473J"])
    assert document["understood"] == {"capacitor.tone": "10 nF, from .01"}
    assert other["understood"] == {"capacitor.tone": "47 nF ± 5 %, from 473 and J"}
    assert ".01 (capacitor.tone) states no tolerance; ± 10 % is assumed (common practice)" in document["warnings"]
    assert document["rests_on"]["capacitor.tone"]["tolerance_assumed"] is True
    assert other["settings"] == document["settings"]
    peaks = [side["figures"]["neck"]["peak"]["frequency"]["value"] for side in (document, document["before"], other)]
    assert peaks[0] > peaks[1] > peaks[2]  # 10, 22 and 47 nF
    alone = run_json(capsys, "predict", *words, "--change", "capacitor.tone=473J")[1]
    assert alone["figures"] == other["figures"]
    code, out, _ = run(capsys, "predict", *words, *both, "--plot", tmp_path / "p.svg", "--page", tmp_path / "p.html")
    assert code == 0
    assert "Versus: capacitor.tone=473J" in out
    heads = [line.split() for line in out.splitlines() if line.split()[:1] in (["changed"], ["before"])]
    assert [word for head in heads for word in head] == [
        "changed",
        "95",
        "%",
        "interval",
        "versus",
        "95",
        "%",
        "interval",
        "before",
    ]
    assert max(map(len, out.splitlines())) <= 80
    assert "neck, versus" in (tmp_path / "p.svg").read_text(encoding="utf-8")
    assert "473J" in read_page((tmp_path / "p.html").read_text(encoding="utf-8")).said


@pytest.mark.long
def test_two_settings_side_by_side(book, capsys):
    words = ["--set", "selector=neck", "--excite", "neck", "--set", "tone-1=10", "--versus", "--set", "tone-1=0"]
    code, document, _ = run_json(capsys, "predict", *words, "--logbook", book)
    assert code == 0
    assert "before" not in document
    assert [side["settings"]["tone-1"]["setting"] for side in (document, *document["versus"])] == ["10", "0"]
    assert document["versus"][0]["settings"]["selector"] == {"setting": "neck"}
    out = run(capsys, "predict", *words, "--logbook", book)[1]
    head = next(line for line in out.splitlines() if "interval" in line)
    assert head.split() == ["as", "it", "is", "95", "%", "interval", "versus", "95", "%", "interval"]


@pytest.mark.long
def test_another_wiring_beside_the_first_takes_the_settings_of_the_controls_it_has(book, capsys):
    words = ["--set", "selector=bridge", "--set", "tone-2=3", "--excite", "bridge", "--logbook", book]
    code, document, err = run_json(capsys, "predict", *words, "--versus", "--layout", "one-pickup", "--set", "tone=4")
    assert code == 0, err
    (other,) = document["versus"]
    assert {control: one["setting"] for control, one in other["settings"].items()} == {"volume": "10", "tone": "4"}
    alone = run_json(capsys, "predict", "--layout", "one-pickup", "--set", "tone=4", "--logbook", book)[1]
    assert other["figures"]["bridge"] == alone["figures"]["bridge"]
    code, _, err = run(capsys, "predict", "--set", "tonne=3", "--versus", "--layout", "one-pickup", "--logbook", book)
    assert (code, 'there is no control "tonne"' in err) == (2, True)


@pytest.mark.long
def test_what_is_soldered_in_shows_and_is_told(book, capsys):
    words = ["--set", "selector=neck", "--set", "volume=5", "--excite", "neck", "--at", "4k", "--logbook", book]
    code, document, _ = run_json(capsys, "predict", *words, "--solder", "volume=1n2 + 150k ± 1%")
    assert code == 0
    assert document["changes"] == ["added volume=1n2 + 150k ± 1%"]
    assert {"capacitor.added-1", "resistor.added-2"} <= set(document["rests_on"])
    level = [side["figures"]["neck"]["levels"]["4k"]["level"]["value"] for side in (document, document["before"])]
    assert level[0] > level[1] + 5  # treble comes through
    out = run(capsys, "predict", *words, "--set", "tone-1=10", "--solder", "tone-2=1n")[1]
    assert "capacitor.added-1 makes no difference at these settings" in out


@pytest.mark.long
def test_a_moved_tone_lead_is_that_of_the_layout_that_has_it_there(book, capsys):
    words = ["--set", "selector=bridge", "--set", "tone-2=3", "--excite", "bridge", "--logbook", book]
    moved = run_json(capsys, "predict", *words, "--move", "tone-2.wiper=bridge.hot")[1]
    layout = run_json(capsys, "predict", *words, "--layout", "three-singles-bridge-tone")[1]
    gains = [np.array(one["pickups"]["bridge"]["gain_db"]) for one in (moved, layout, moved["before"])]
    np.testing.assert_allclose(gains[0], gains[1], atol=1e-9)
    assert np.max(np.abs(gains[0] - gains[2])) > 3


def test_predict_without_instrument_or_rig(tmp_path, capsys):
    code, _, err = run(capsys, "predict", "--logbook", tmp_path)
    assert code == 2
    assert is_one_line(err)
    assert "coilsweep instrument --layout NAME" in err
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    code, _, err = run(capsys, "predict", "--logbook", tmp_path)
    assert code == 2
    assert is_one_line(err)
    assert "--input-resistance … --input-capacitance" in err


@pytest.mark.parametrize("content", [b"\xff\xfe", b"[pickup", b"x" * 300_000, b"output = 3", b"\x00"])
def test_damaged_file_is_named_in_one_line(book, capsys, content):
    (book / "instrument.toml").write_bytes(content)
    for command in ("instrument", "predict"):
        code, _, err = run(capsys, command, "--logbook", book)
        assert code == 2
        assert is_one_line(err)
        assert "instrument.toml" in err


ONE_PICKUP = {"bridge.inductance": 4.1, "bridge.dcr": 7.7e3, "bridge.winding_capacitance": 95e-12, "pot.volume": 450e3}
ONE_PICKUP |= {"input.resistance": 1e6, "input.capacitance": 470e-12, "input.loss_tangent": 0.01, "pot.volume.stop_10": 2e3}


@pytest.fixture
def fitted(tmp_path, capsys):
    """A logbook of one pickup with a fit of it, all values within 2 % (95 %)."""
    run(capsys, "rig", "--input-resistance", "1M ± 1%", "--input-capacitance", "470p ± 10p", "--logbook", tmp_path)
    run(capsys, "instrument", "--layout", "one-pickup", "--logbook", tmp_path)
    write_fit(tmp_path)
    return tmp_path


def write_fit(folder, **options):
    parts = MeasuredParts(
        values=ONE_PICKUP,
        names=tuple(ONE_PICKUP),
        log_covariance=np.eye(len(ONE_PICKUP)) * 0.01**2,
        takes=("open", "tone-0"),
        simulated=True,
        input_stated={"input.resistance": 1e6, "input.capacitance": 470e-12},
        instrument_sha256=text_sha256((folder / "instrument.toml").read_bytes()),
        **options,
    )
    (folder / "results").mkdir(exist_ok=True)
    (folder / "results" / "fit.json").write_text(json.dumps({"wish": {}, "answer": {}, "parts": measured_document(parts)}))


def test_predict_rests_on_the_last_fit(fitted, capsys):
    code, document, err = run_json(capsys, "predict", "--set", "tone=4", "--logbook", fitted)
    assert (code, err, document["warnings"]) == (0, "", [])
    assert document["simulated"] is True
    assert names_of(document) == ["open", "tone-0"]
    assert document["rests_on"]["pot.volume"] == {
        "value": 450e3,
        "unit": "Ω",
        "standard_uncertainty": pytest.approx(4500.0, rel=1e-12),
        "origin": "measured",
    }
    assert document["rests_on"]["pot.volume.stop_10"]["value"] == 2e3
    assert document["rests_on"]["input.loss_tangent"]["unit"] == ""
    assert document["rests_on"]["capacitor.tone"]["origin"] == "marked"
    assert document["rests_on"]["capacitor.tone"]["standard_uncertainty"] == pytest.approx(2.2e-9 / 3**0.5, rel=1e-9)
    assert document["marked_only"] == ["capacitor.tone", "pot.tone"]
    code, out, _ = run(capsys, "predict", "--details", "--set", "tone=4", "--logbook", fitted)
    rows = {line.split()[0]: line for line in out.splitlines() if line.startswith("  ")}
    assert rows["pot.volume"].endswith(" measured")
    assert "± 2 %" in rows["pot.volume"]
    assert rows["pot.tone"].endswith(" only marked")
    assert "measured: by the last fit, takes open, tone-0" in out
    assert "simulated" in out


def test_predict_from_what_is_stated_alone(fitted, capsys):
    _, document, _ = run_json(capsys, "predict", "--stated", "--logbook", fitted)
    assert {one["origin"] for one in document["rests_on"].values()} == {"stated", "marked"}
    assert document["simulated"] is False
    (fitted / "results" / "fit.json").unlink()
    _, without, _ = run_json(capsys, "predict", "--logbook", fitted)
    assert without == document


def test_fit_of_another_instrument_is_not_used(fitted, capsys):
    path = fitted / "instrument.toml"
    path.write_text(path.read_text() + "\n# changed\n")
    code, document, _ = run_json(capsys, "predict", "--logbook", fitted)
    assert code == 0
    assert names_of(document) == []
    assert {one["origin"] for one in document["rests_on"].values()} == {"stated", "marked"}
    (note,) = document["warnings"]
    assert note.startswith("The last fit (takes open, tone-0) is of another instrument.toml and is not used")
    assert note in run_plain(capsys, "predict", "--logbook", fitted)[1]


def test_rig_with_another_cable_counts(fitted, capsys):
    run(capsys, "rig", "--input-capacitance", "900p ± 20p", "--logbook", fitted)
    _, document, _ = run_json(capsys, "predict", "--logbook", fitted)
    assert document["rests_on"]["input.capacitance"]["value"] == pytest.approx(900e-12, rel=1e-12)
    assert document["rests_on"]["input.capacitance"]["origin"] == "stated"
    assert "input.loss_tangent" not in document["rests_on"]
    assert document["rests_on"]["bridge.inductance"]["origin"] == "measured"
    assert document["warnings"] == ["The rig states another input or cable than at the last fit: that of the rig counts"]


def test_fit_that_misfits_is_indicative_only(fitted, capsys):
    write_fit(fitted, outcome="misfit")
    _, out, _ = run_plain(capsys, "predict", "--logbook", fitted)
    assert "misfits: what rests on its values is indicative only" in out


@pytest.mark.long
def test_damaged_fit_is_named_in_one_line(fitted, capsys):
    path = fitted / "results" / "fit.json"
    for content in ("{", '{"parts": {"schema": "coilsweep.parts/1"}}', '{"parts": []}', "\udcff"):
        path.write_bytes(content.encode(errors="surrogateescape"))
        code, out, err = run(capsys, "predict", "--logbook", fitted)
        assert (code, out) == (2, ""), content
        assert is_one_line(err)
        assert "fit.json" in err
        assert "coilsweep fit again" in err
        assert run(capsys, "predict", "--stated", "--logbook", fitted)[0] == 0


def test_fit_without_parts_is_no_fit_of_an_instrument(fitted, capsys):
    (fitted / "results" / "fit.json").write_text('{"wish": {"names": ["open"]}, "answer": {}}')
    _, document, _ = run_json(capsys, "predict", "--logbook", fitted)
    assert names_of(document) == []
    assert document["warnings"] == []


def test_measured_parts_go_into_another_wiring(fitted, tmp_path, capsys):
    other = tmp_path / "other.toml"
    text = (fitted / "instrument.toml").read_text()
    other.write_text(text.replace('wiper = "bridge hot"', 'wiper = "tip"').replace('"110p"', '"120p"'))  # tone after volume
    code, document, _ = run_json(capsys, "predict", "--instrument", other, "--set", "volume=5", "--logbook", fitted)
    assert code == 0
    assert document["rests_on"]["pot.volume"]["origin"] == "measured"
    assert document["rests_on"]["bridge.inductance"]["origin"] == "stated"  # another pickup is stated there
    assert document["before"]["rests_on"]["bridge.inductance"]["origin"] == "measured"


@pytest.mark.long
def test_tolerance_counts_unless_it_is_left_out(fitted, capsys):
    widths = []
    for options in (["--no-tolerance"], []):
        _, document, _ = run_json(capsys, "predict", "--set", "tone=4", *options, "--logbook", fitted)
        low, high = document["figures"]["bridge"]["minus_3_db"]["interval_95"]
        widths.append(high - low)
        assert document["tolerance_counts"] is not bool(options)
        assert (document["rests_on"]["capacitor.tone"]["standard_uncertainty"] is None) is bool(options)
    assert widths[1] > 3 * widths[0]
    _, out, _ = run_plain(capsys, "predict", "--set", "tone=4", "--no-tolerance", "--logbook", fitted)
    assert "left out of the intervals above, which are too narrow by that" in out
