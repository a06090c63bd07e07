"""The commands, in process: what they print where, their exit codes, and one line for whatever is wrong."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fit.desk.command.main import coilsweep
from tests.coil_book import make_coil_book
from tests.desk_bench import is_one_line, run, run_json
from tests.places import RECORDINGS


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_coil_book(tmp_path_factory.mktemp("bench"))


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
        (["nonsense"], 2, "No such command 'nonsense'; coilsweep --help says what may be typed"),
        (["fit", "open", "--nonsense"], 2, "No such option '--nonsense'; coilsweep fit --help says what may be typed"),
        (["non\x1b[2Jsense"], 2, "[2Jsense'"),
        (["fit", "a", "--non\u202esense"], 2, "sense'; coilsweep fit --help"),
        (["selftest", "open"], 2, "unexpected extra argument (open); coilsweep selftest --help says what may be typed"),
        (["confirm"], 2, "Missing argument 'PART'; coilsweep confirm --help says what may be typed"),
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


@pytest.mark.long
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


@pytest.mark.long
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


@pytest.mark.long
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no file that is always full on this system")
def test_output_that_cannot_be_written_is_one_line(tmp_path):
    for words in (["rig"], ["rig", "--json"], ["fit", "nothere", "--json"]):
        with Path("/dev/full").open("w") as full:
            command = [sys.executable, "-c", "from fit.desk.command.main import run; run()", *words, "--logbook", str(tmp_path)]
            done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
        assert done.returncode == 2
        assert len(done.stderr.strip().splitlines()) == 1
        assert "Traceback" not in done.stderr


def test_alone_it_shows_every_command_once_in_one_screen(capsys):
    code, out, _ = run(capsys)
    lines = out.splitlines()
    assert (code, len(lines) <= 25, max(map(len, lines)) <= 80) == (0, True, True)
    assert "guide" in lines[2]  # what is best for a beginner comes first
    grouped = " ".join(line[30:] for line in lines[2:-1]).split()
    for command in coilsweep.commands:
        assert grouped.count(command) == (2 if command == "guide" else 1), command  # with --virtual behind it


@pytest.mark.parametrize(
    ("words", "as_if"),
    [(("help", "fit"), ("fit", "--help")), (("help",), ("--help",)), (("version",), ("--version",))],
)
def test_help_and_version_are_words_too(capsys, words, as_if):
    assert run(capsys, *words) == run(capsys, *as_if)


def test_an_option_before_the_command_is_told_where_it_belongs(capsys):
    code, out, err = run(capsys, "--logbook", "a b", "fit", "open", "--json")
    assert code == 2
    assert "--logbook stands before the command; options go behind it: coilsweep fit --logbook 'a b' open --json" in out + err
    assert "No such option" in run(capsys, "--bogus")[2]
