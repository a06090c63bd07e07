"""Recordings and responses made elsewhere, brought into a logbook: checked, kept, marked."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from fit.desk.bench.imports import Files, import_take
from fit.desk.book.desk import Desk
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Faults, Gap
from tests.coil_book import make_coil_book
from tests.desk_bench import RIG, record, run, run_json
from tests.places import RECORDINGS


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


@pytest.mark.long
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


@pytest.mark.long
def test_missing_samples_are_found_with_the_stimulus(capsys, bench, tmp_path):
    gap = Faults(gaps=(Gap(kind="lost", at_s=1.6, n_samples=64),))
    (tmp_path / "sweep.wav").write_bytes((bench / "sweep.wav").read_bytes())
    path = record(tmp_path, "broken", faults=gap)
    words = ["import", "broken", path, "--stimulus", bench / "sweep.wav", "--logbook", tmp_path / "book"]
    code, document, _ = run_json(capsys, *words)
    assert code == 3
    assert "dropouts" in [check["name"] for check in document["checks"] if check["outcome"] == "reject"]


@pytest.mark.long
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


@pytest.mark.long
def test_import_loads_neither_scipy_nor_what_fits(tmp_path):
    files = ["take.wav", "--stimulus", "sweep.wav", "--reference-channel", "none"]
    sweep = sweep_samples(Sweep(rate_hz=48000, duration_s=1.0))
    for name in (files[0], files[2]):
        soundfile.write(tmp_path / name, 0.3 * sweep, 48000, subtype="PCM_24")
    script = f"import sys; from fit.desk.command.main import main; main(['import', 'one', *{files}]); print(sorted(m for m in "
    script += "sys.modules if m in ('scipy', 'matplotlib', 'lmfit', 'sounddevice', 'fit.estimate.model', 'fit.estimate.joint')))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=tmp_path)
    assert done.stdout.startswith("Kept: take one")
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.long
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


@pytest.mark.parametrize(
    ("files", "conditions", "says"),
    [
        (Files(paths=(Path("a.csv"), Path("b.csv"))), {}, "2 files: a response measured elsewhere is one file"),
        (Files(paths=(Path("a.csv"),), pickup_channel=1), {}, "--pickup-channel is for recordings"),
        (Files(paths=(Path("a.csv"),), stimulus_file=Path("s.wav")), {}, "--stimulus is for recordings"),
        (Files(paths=(Path("a.wav"), Path("b.csv"))), {}, "is a take of its own"),
        (Files(paths=(Path("a.wav"),), stimulus_file=Path("s.wav")), {"method": "quiet"}, "nothing is played for a quiet take"),
        (Files(paths=(Path("a.wav"),), reference_channel="none"), {}, "the sweep is needed"),
        (
            Files(paths=(Path("a.wav"),), reference_channel="none"),
            {"method": "impedance", "series_resistor": "100k"},
            "needs both ends of the series resistor",
        ),
        (Files(paths=(Path("a.wav"),), reference_channel="0"), {}, "neither a channel counted from 1 nor none"),
        (Files(paths=(Path("a.wav"),), reference_channel="²"), {}, "neither a channel counted from 1 nor none"),
    ],
)
def test_what_does_not_go_together_is_refused_before_a_file_is_read(tmp_path, files, conditions, says):
    desk = Desk(logbook=tmp_path, say=str, tell=str, steps=lambda items, _: items)
    with pytest.raises((ValueError, FileError), match=says):
        import_take(desk, "new", files, conditions=Conditions(**conditions))
    assert not (tmp_path / "takes" / "new").exists()
