"""The commands, in process: what they print where, their exit codes, and one line for whatever is wrong."""

import contextlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fit.desk.command.main import main
from measure.source.virtual import Faults, Gap
from tests.desk_bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H, QUANTITY_KEYS, RIG, record, run, run_json
from tests.pages import read_page
from tests.places import RECORDINGS


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A logbook with a rig and the takes open, plus-1n and loud (rejected), and the recordings they came from."""
    folder = tmp_path_factory.mktemp("bench")
    book = ["--logbook", str(folder / "book")]
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert main(["rig", *RIG, *book]) == 0
        assert main(["stimulus", str(folder / "sweep.wav"), "--rate", "48000", "--duration", "2"]) == 0
        sweep = ["--stimulus", str(folder / "sweep.wav"), *book]
        assert main(["import", "open", str(record(folder, "open")), *sweep]) == 0
        plus = record(folder, "plus", added_f=1e-9, seed=2)
        assert main(["import", "plus-1n", str(plus), "--add", "1n ± 1%", *sweep]) == 0
        loud = record(folder, "loud", gain=0.9, seed=3)
        assert main(["import", "loud", str(loud), *sweep]) == 3
    return folder


def is_one_line(err):
    return err.startswith("coilsweep: ") and err.count("\n") == 1 and "Traceback" not in err


def test_fit_finds_the_coil_and_says_how_well(capsys, bench):
    code, out, err = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", "--logbook", bench / "book")
    assert code == 0
    assert err == ""
    assert out["schema"] == "coilsweep.fit/1"
    assert out["takes"] == ["open", "plus-1n"]
    assert out["outcome"] == "good"
    for key, truth in (("inductance", INDUCTANCE_H), ("winding_capacitance", CAPACITANCE_F), ("dc_resistance", DCR_OHM)):
        low, high = out["quantities"][key]["interval_95"]
        assert low <= truth <= high
    assert out["quantities"]["inductance"]["unit"] == "H"
    assert set(out["quantities"]["inductance"]) == QUANTITY_KEYS
    assert out["released"] == []
    assert set(out["agreement"]) == {"open", "plus-1n"}
    assert set(out["agreement"]["open"]) == {"rms_db", "max_db", "rms_degree"}
    assert {"value", "correlation_octaves", "common"} <= set(out["floor"])
    assert {"name", "bic", "reduced_chi_square"} == set(out["model"]["candidates"][0])
    assert any("1n" in part["source"] for part in out["budget"]["inductance"])
    assert out["warnings"] == []


def test_fit_in_plain_words(capsys, bench):
    code, out, _ = run(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", "--logbook", bench / "book")
    assert code == 0
    assert "Inductance" in out
    assert "95 % interval" in out
    assert "Agreement" in out
    assert "\x1b" not in out


def test_fit_of_one_take_names_what_it_does_not_tell(capsys, bench):
    code, out, _ = run_json(capsys, "fit", "open", "--logbook", bench / "book")
    assert code == 0
    assert {"inductance", "winding_capacitance"} <= {one["quantity"] for one in out["not_identified"]}
    assert "inductance" not in out["quantities"]
    assert "resonance_loaded" in out["quantities"]


def test_value_without_bound_gets_a_stated_one_and_a_warning(capsys, bench):
    code, out, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6k", "--have", "470p", "--logbook", bench / "book")
    assert code == 0
    assert any("6k (dcr)" in text and "± 5 %" in text for text in out["warnings"])
    assert any("470p (at hand)" in text and "± 10 %" in text for text in out["warnings"])


def test_fit_writes_a_picture(capsys, bench, tmp_path):
    words = ("--plot", tmp_path / "x.png", "--page", tmp_path / "x.html", "--logbook", bench / "book")
    code, _, err = run(capsys, "fit", "open", "plus-1n", *words)
    assert code == 0
    page = read_page((tmp_path / "x.html").read_text(encoding="utf-8"))
    assert page.headings[0] == "A pickup, measured"
    assert "loud rejected, not used for the values" in page.headings  # the whole report
    assert "x.png" in err
    assert (tmp_path / "x.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["fit", "open", "open"], 2, "named twice"),
        (["fit", "nothing"], 2, 'no take "nothing"'),
        (["fit", "loud"], 3, "rejected"),
        (["fit", "../book"], 2, "cannot be a name"),
        (["fit", "open", "--dcr", "6 bananas"], 2, "6 bananas"),
        (["fit", "open", "--have", "1x"], 2, "1x"),
        (["fit", "open", "--plot", "x.jpg"], 2, ".png"),
        (["fit"], 2, "NAME"),
        (["inspect", "nothing"], 2, 'no take "nothing"'),
        (["inspect"], 2, "NAME"),
        (["report", "nowhere/deep/report.html", "open"], 2, "nowhere/deep/report.html"),
        (["import", "open", "SWEEP"], 2, 'there is a take "open" already'),
        (["import", "a b", "SWEEP"], 2, "cannot be a name"),
        (["import", "new", "missing.wav"], 2, "missing.wav"),
        (["import", "new", "NOISE"], 2, "noise.wav"),
        (["import", "new", "SWEEP"], 2, "1 channel"),
        (["import", "new", "SWEEP", "--reference-channel", "two"], 2, "two"),
        (["import", "new", "SWEEP", "--reference-channel", "none"], 2, "--stimulus"),
        (["import", "new", "OPEN", "--add", "1n ± 1% and more"], 2, "1n"),
        (["import", "new", "OPEN", "--set", "volume"], 2, "CONTROL=VALUE"),
        (["import", "new", "OPEN", "--temperature", "75F"], 2, "--temperature: "),
        (["take", "new", "--virtual", "--temperature", "300"], 2, '"300" is not a temperature such as 24C'),
        (["import", "new", "OPEN", "--pickup-channel", "7"], 2, "7"),
        (["import", "new", "table.csv"], 2, "table.csv"),
        (["import", "new"], 2, "FILE"),
        (["rig", "--input-resistance", "many"], 2, "many"),
        (["rig", "--reference", "sideways"], 2, "sideways"),
        (["rig", "--clock", "5%"], 2, "interface.clock"),
        (["stimulus", "SWEEP"], 2, "not overwritten"),
        (["stimulus", "new.wav", "--rate", "48000", "--stop", "30000"], 2, "24000"),
        (["stimulus", "new.txt"], 2, "new.txt"),
        (["nonsense"], 2, "nonsense"),
        (["fit", "open", "--nonsense"], 2, "--nonsense"),
    ],
)
def test_whatever_is_wrong_gets_one_line_and_its_exit_code(capsys, bench, tmp_path, monkeypatch, words, code, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "noise.wav").write_bytes(b"RIFF but not really" * 20)
    places = {"SWEEP": bench / "sweep.wav", "OPEN": bench / "open.wav", "NOISE": tmp_path / "noise.wav"}
    typed = [str(places.get(word, word)) for word in words]
    before = sorted(path.name for path in (bench / "book" / "takes").iterdir())
    got, out, err = run(capsys, *typed, "--logbook", bench / "book")
    assert got == code
    assert out == ""
    assert is_one_line(err)
    assert says in err
    got, document, err = run_json(capsys, *typed, "--logbook", bench / "book")
    assert got == code
    assert document["schema"] == "coilsweep.error/1"
    assert document["error"]["exit_code"] == code
    assert says in document["error"]["message"]
    assert sorted(path.name for path in (bench / "book" / "takes").iterdir()) == before


def test_debug_shows_where(capsys, bench):
    code, _, err = run(capsys, "fit", "nothing", "--debug", "--logbook", bench / "book")
    assert code == 2
    assert "Traceback" in err
    assert err.splitlines()[-1].startswith("coilsweep: ")


def test_import_keeps_a_rejected_recording_marked_with_reasons(capsys, bench, tmp_path):
    book = tmp_path / "book"
    words = ["import", "loud", bench / "loud.wav", "--stimulus", bench / "sweep.wav", "--logbook", book]
    code, document, err = run_json(capsys, *words)
    assert code == 3
    assert document["outcome"] == "rejected"
    assert "clipped" in [check["name"] for check in document["checks"] if check["outcome"] == "reject"]
    assert "rejected: clipped: " in err
    assert (book / "takes" / "loud" / "recording.wav").read_bytes() == (bench / "loud.wav").read_bytes()
    assert json.loads((book / "takes" / "loud" / "take.json").read_text())["outcome"] == "rejected"


def test_missing_samples_are_found_with_the_stimulus(capsys, bench, tmp_path):
    gap = Faults(gaps=(Gap(kind="lost", at_s=1.6, n_samples=64),))
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "broken", faults=gap)
    words = ["import", "broken", path, "--stimulus", bench / "sweep.wav", "--logbook", tmp_path / "book"]
    code, document, _ = run_json(capsys, *words)
    assert code == 3
    assert "dropouts" in [check["name"] for check in document["checks"] if check["outcome"] == "reject"]


def test_import_keeps_all_that_was_said(capsys, bench, tmp_path):
    book = tmp_path / "book"
    assert run(capsys, "rig", *RIG, "--logbook", book)[0] == 0
    facts = ["--add", "680p±1% tan 0.2%, 150k±1%", "--set", "volume=7", "--coil-over", "neck", "--coil-moved"]
    facts += ["--note", "warm room", "--temperature", "26.5 °C"]
    files = [bench / "open.wav", record(bench, "again", seed=9)]
    assert run(capsys, "import", "twice", *files, *facts, "--logbook", book)[0] == 0
    kept = json.loads((book / "takes" / "twice" / "take.json").read_text())
    assert kept["added"] == "680p±1% tan 0.2%, 150k±1%"
    assert kept["temperature_c"] == 26.5
    assert kept["controls"] == {"volume": "7"}
    assert kept["coil_over"] == "neck"
    assert kept["coil_moved"] is True
    assert kept["note"] == "warm room"
    assert len(kept["recordings"]) == 2
    assert kept["rig"]["input"]["capacitance"] == "185p ± 3p"
    assert kept["simulated"] is False


def test_winding_that_is_warmer_than_when_its_dcr_was_read(capsys, bench, tmp_path):
    """The resistance of copper at 30 °C, stated as read at 20 °C: right with the temperatures, a misfit of the dcr without."""
    cold = f"{DCR_OHM / (1 + 0.00393 * 10):.1f} ± 0.2%"
    book = ["--logbook", tmp_path]
    assert run(capsys, "rig", *RIG, *book)[0] == 0
    for name, temperature in (("warm", ("--temperature", "30C")), ("unsaid", ())):
        assert run(capsys, "import", f"{name}-open", bench / "open.wav", *temperature, *book)[0] == 0
        assert run(capsys, "import", f"{name}-1n", bench / "plus.wav", "--add", "1n ± 1%", *temperature, *book)[0] == 0
    code, out, _ = run_json(capsys, "fit", "warm-open", "warm-1n", "--dcr", f"{cold} at 20C", *book)
    assert code == 0
    assert out["outcome"] == "good"
    found = out["quantities"]["dc_resistance"]
    assert abs(found["value"] - DCR_OHM) < 3 * found["standard_uncertainty"] < 0.02 * DCR_OHM
    code, out, _ = run_json(capsys, "fit", "unsaid-open", "unsaid-1n", "--dcr", cold, *book)
    assert out["outcome"] == "misfit"
    (released,) = out["released"]
    assert (released["parameter"], released["reference"], released["instead"]) == ("dcr", True, [])
    assert released["stated"]["value"] == pytest.approx(DCR_OHM / (1 + 0.00393 * 10), rel=1e-4)
    assert abs(released["found"]["value"] - DCR_OHM) < 3 * released["found"]["standard_uncertainty"] < 0.03 * DCR_OHM
    (said,) = (text for text in out["warnings"] if text.startswith("misfit of a reference: dcr"))
    assert "K warmer than when it was read" in said
    code, out, _ = run(capsys, "inspect", "warm-open", *book)
    assert out.splitlines()[0].endswith(", winding at 30 °C")
    code, out, _ = run(capsys, "report", tmp_path / "r.html", "warm-open", "warm-1n", "--dcr", f"{cold} at 20C", *book)
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "winding at 30 °C" in page
    assert f"{cold} at 20C" in page


def test_take_in_which_nothing_was_played_tells_no_part(capsys, bench, tmp_path):
    book = tmp_path / "book"
    code, _, _ = run(capsys, "import", "still", bench / "open.wav", "--method", "quiet", "--logbook", book)
    assert code == 0
    code, _, err = run(capsys, "fit", "still", "--logbook", book)
    assert code == 2
    assert "nothing was played" in err


def test_quiet_recording_is_not_rejected_for_being_quiet(capsys, bench, tmp_path):
    path = record(bench, "quiet", faults=Faults(is_muted=True), seed=4)
    code, document, _ = run_json(capsys, "import", "quiet", path, "--method", "quiet", "--logbook", tmp_path / "book")
    assert code == 0
    assert "silent" not in [check["name"] for check in document["checks"]]


@pytest.mark.parametrize(("is_known", "names"), [(True, {"silent"}), (False, {"no-signal", "response", "silent"})])
def test_recording_without_signal_is_rejected_whether_the_stimulus_is_known_or_not(capsys, bench, tmp_path, is_known, names):
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "muted", faults=Faults(is_muted=True), seed=4)
    words = ["--stimulus", tmp_path / "sweep.wav"] if is_known else []
    code, document, err = run_json(capsys, "import", "muted", path, *words, "--logbook", tmp_path / "book")
    assert code == 3
    rejected = {check["name"] for check in document["checks"] if check["outcome"] == "reject"}
    assert rejected & names
    assert all(f"rejected: {name}: " in err for name in rejected)


def test_recording_without_reference_needs_the_stimulus_and_the_corner(capsys, bench, tmp_path):
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "mono", n_channels=1)
    book = ["--logbook", tmp_path / "book"]
    words = ["import", "mono", path, "--reference-channel", "none", "--stimulus", tmp_path / "sweep.wav", *book]
    code, document, _ = run_json(capsys, *words)
    assert code == 0
    assert document["outcome"] in ("good", "usable")
    # the take remembers that it has no reference, also where the rig says otherwise
    for kind in ("none", "current"):
        assert run(capsys, "rig", *RIG[:4], "--reference", kind, *book)[0] == 0
        code, _, err = run(capsys, "fit", "mono", *book)
        assert code == 2
        assert "--exciter-corner" in err


def test_takes_with_and_without_a_reference_are_not_mixed(capsys, bench, tmp_path):
    book = ["--logbook", tmp_path / "book"]
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "mono", n_channels=1)
    words = ["--reference-channel", "none", "--stimulus", tmp_path / "sweep.wav"]
    assert run(capsys, "rig", *RIG, *book)[0] == 0
    assert run(capsys, "import", "mono", path, *words, *book)[0] == 0
    assert run(capsys, "import", "open", bench / "open.wav", *book)[0] == 0
    code, _, err = run(capsys, "fit", "open", "mono", *book)
    assert code == 2
    assert "different reference.kind" in err


def test_exciter_corner_keeps_its_bound(capsys, tmp_path):
    code, document, _ = run_json(capsys, "rig", "--exciter-corner", "9k ± 5%", "--logbook", tmp_path)
    assert code == 0
    assert document["rig"]["exciter"]["corner_hz"] == "9k ± 5%"


def test_fit_without_a_rig_says_what_is_missing(capsys, bench, tmp_path):
    book = ["--logbook", tmp_path / "book"]
    assert run(capsys, "import", "open", bench / "open.wav", *book)[0] == 0
    code, _, err = run(capsys, "fit", "open", *book)
    assert code == 2
    assert "--input-resistance" in err


def test_inspect_tells_checks_and_noise(capsys, bench, tmp_path):
    code, document, err = run_json(capsys, "inspect", "open", "--logbook", bench / "book")
    assert code == 0
    assert err == ""
    assert document["outcome"] == "good"
    assert {"name", "outcome", "figure", "unit", "advice"} == set(document["checks"][0])
    assert document["noise"]["hum_hz"] == pytest.approx(50.0, abs=0.05)
    # 1e-3 of full scale is −60 dBFS against a sine of full scale
    assert document["noise"]["hum_dbfs"] == pytest.approx(-60, abs=1.5)
    code, out, _ = run(capsys, "inspect", "open", "--logbook", bench / "book", "--page", tmp_path / "open.html")
    assert code == 0
    assert "mains at 50.0" in out
    page = read_page((tmp_path / "open.html").read_text(encoding="utf-8"))
    assert page.headings == ["Take open: good", "Checks", "Noise"]
    assert page.columns == ["check", "outcome", "what was found"]


def test_rig_is_written_shown_and_says_what_is_missing(capsys, tmp_path):
    code, out, _ = run(capsys, "rig", "--logbook", tmp_path)
    assert code == 0
    assert "--input-resistance" in out
    assert not (tmp_path / "rig.toml").exists()
    code, document, _ = run_json(capsys, "rig", "--exciter-corner", "9k", "--reference", "none", "--logbook", tmp_path)
    assert code == 0
    assert document["rig"]["exciter"]["corner_hz"] == 9000.0
    _, out, _ = run(capsys, "rig", "--clock", "20ppm", "--logbook", tmp_path)
    assert "interface.clock    20ppm" in out
    assert "input.resistance" in document["missing"]
    text = (tmp_path / "rig.toml").read_text()
    (tmp_path / "rig.toml").write_text("# mine\n" + text)
    assert run(capsys, "rig", "--input-resistance", "1M ± 1%", "--logbook", tmp_path)[0] == 0
    assert (tmp_path / "rig.toml").read_text().startswith("# mine\n")
    code, document, _ = run_json(capsys, "rig", "--logbook", tmp_path)
    assert document["rig"]["input"]["resistance"] == "1M ± 1%"
    assert document["rig"]["exciter"]["corner_hz"] == 9000.0
    _, out, _ = run(capsys, "rig", "--clock", "20ppm", "--logbook", tmp_path)
    assert "interface.clock    20ppm" in out


def test_stimulus_file_is_24_bit_and_says_the_cautions(capsys, tmp_path):
    import soundfile

    path = tmp_path / "sweep.wav"
    code, document, err = run_json(capsys, "stimulus", path, "--rate", "44100", "--duration", "1", "--level", "0.25")
    assert code == 0
    assert "headphones off the ears" in err
    info = soundfile.info(path)
    assert (info.samplerate, info.subtype, info.channels) == (44100, "PCM_24", 1)
    samples, _ = soundfile.read(path)
    assert abs(samples).max() == pytest.approx(0.25, abs=1e-3)
    assert document["stop_hz"] == pytest.approx(0.46 * 44100)


def test_report_uses_the_last_fit(capsys, bench, tmp_path):
    book = ["--logbook", bench / "book"]
    assert run(capsys, "fit", "open", "plus-1n", "--dcr", "6k ± 1%", *book)[0] == 0
    path = tmp_path / "out.html"
    code, document, _ = run_json(capsys, "report", path, *book)
    assert code == 0
    assert document["takes"] == ["open", "plus-1n"]
    text = path.read_text(encoding="utf-8")
    read_page(text)
    assert "6k ± 1%" in text
    assert "loud" in text
    assert not [name for name in tmp_path.iterdir() if name != path]
    code, document, _ = run_json(capsys, "report", path, "open", *book)
    assert document["takes"] == ["open"]


def test_report_without_a_fit_says_so(capsys, tmp_path):
    code, _, err = run(capsys, "report", "--logbook", tmp_path)
    assert code == 2
    assert "coilsweep fit" in err


def test_help_and_version(capsys):
    code, out, err = run(capsys, "--help")
    assert code == 0
    assert "Examples:" in out
    assert err == ""
    for command in ("demo", "rig", "stimulus", "import", "inspect", "fit", "report"):
        assert run(capsys, command, "--help")[0] == 0
    code, out, _ = run(capsys, "--version")
    assert code == 0
    assert out.startswith("coilsweep ")


def test_help_imports_nothing_heavy():
    script = "import sys; from fit.desk.command.main import main; main(['--help']); print(sorted(m for m in sys.modules if m in "
    script += "('numpy', 'scipy', 'matplotlib', 'lmfit', 'soundfile', 'sounddevice', 'msgspec', 'tomlkit')))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_interrupt_ends_with_130(capsys, monkeypatch):
    import fit.desk.questions.inspect as session

    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(session, "inspect_take", interrupted)
    code, _, err = run(capsys, "inspect", "open")
    assert code == 130
    assert "Interrupted" in err


def test_reader_that_leaves_early_is_no_error(bench):
    reader, writer = os.pipe()
    os.close(reader)
    script = "from fit.desk.command.main import run; run()"
    words = [sys.executable, "-c", script, "rig", "--logbook", str(bench / "book")]
    try:
        done = subprocess.run(words, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    finally:
        os.close(writer)
    assert done.returncode == 0
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("fault", "code", "check"),
    [
        ("clipped", 3, "clipped"),
        ("silent", 3, "silent"),
        ("dropouts", 3, "dropouts"),
        ("swapped", 3, "swapped"),
        ("buried-in-hum", 3, "buried-in-hum"),
        ("overdriven", 0, "overdriven"),
    ],
)
def test_each_fault_gets_its_name_and_is_kept(capsys, tmp_path, fault, code, check):
    files = [RECORDINGS / "faulty" / f"{fault}.flac", "--stimulus", RECORDINGS / "stimulus-48000.flac"]
    got, document, err = run_json(capsys, "import", fault, *files, "--logbook", tmp_path)
    assert got == code
    assert check in [one["name"] for one in document["checks"] if one["outcome"] == ("reject" if code else "warn")]
    assert f": {check}: " in err
    assert (tmp_path / "takes" / fault / "recording.flac").is_file()
    assert run(capsys, "fit", fault, "--logbook", tmp_path)[0] == (3 if code else 2)  # the usable one lacks a rig


def test_four_commands_tell_the_coil_of_an_independent_simulation(capsys, tmp_path):
    case = json.loads((RECORDINGS / "bare-single-coil" / "case.json").read_text(encoding="utf-8"))
    book = ["--logbook", tmp_path]
    rig = ["--input-resistance", case["input"]["resistance"], "--input-capacitance", case["input"]["capacitance"]]
    assert run(capsys, "rig", *rig, "--reference", "current", "--sense-resistor", "100 ± 1%", *book)[0] == 0
    for name, facts in list(case["takes"].items())[:2]:
        files = [RECORDINGS / "bare-single-coil" / f"{name}.flac", "--stimulus", RECORDINGS / "stimulus-96000.flac"]
        assert run(capsys, "import", name, *files, "--add", facts["add"], *book)[0] == 0
    names = list(case["takes"])[:2]
    code, document, _ = run_json(capsys, "fit", *names, "--dcr", case["dc_resistance"], *book)
    assert code == 0
    assert document["simulated"] is False
    truth, found = case["actual"], document["quantities"]
    # the bars of accuracy for parts of 1 %: 1 % of the inductance, 5 pF, 1.5 % of the dcr
    assert found["inductance"]["value"] == pytest.approx(truth["inductance"], rel=0.01)
    assert found["winding_capacitance"]["value"] == pytest.approx(truth["winding_capacitance"], abs=5e-12)
    assert found["dc_resistance"]["value"] == pytest.approx(truth["dc_resistance"], rel=0.015)
    for key, value in truth.items():
        low, high = found[key]["interval_95"]
        assert low <= value <= high
    assert all(one["rms_db"] <= 0.02 and one["rms_degree"] <= 0.1 for one in document["agreement"].values())


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no file that is always full on this system")
def test_output_that_cannot_be_written_is_one_line(tmp_path):
    for words in (["rig"], ["rig", "--json"], ["fit", "nothere", "--json"]):
        with Path("/dev/full").open("w") as full:
            command = [sys.executable, "-c", "from fit.desk.command.main import run; run()", *words, "--logbook", str(tmp_path)]
            done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
        assert done.returncode == 2
        assert len(done.stderr.strip().splitlines()) == 1
        assert "Traceback" not in done.stderr
