"""The demo plays the whole job, rejects what is spoilt, and says honestly what it found."""

import json

import pytest

from fit.desk.bench.drawer import Drawer
from tests.desk_bench import run, run_json

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    import contextlib
    import io

    from fit.desk.command.main import main

    folder = tmp_path_factory.mktemp("demo") / "played"
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["demo", str(folder)])
    return folder, code, out.getvalue(), err.getvalue()


def test_demo_plays_the_whole_job(played):
    folder, code, out, err = played
    assert code == 0
    for command in ("rig", "stimulus", "import open-loud", "import open ", "import plus-1n", "inspect", "fit", "report"):
        assert f"$ coilsweep {command}" in out
    assert out.rstrip().endswith(str(folder / "report.html"))
    assert (folder / "report.html").stat().st_size > 100_000
    assert "rejected: clipped" in err


def test_demo_says_simulated_everywhere(played):
    folder, _, out, _ = played
    assert "simulated" in out
    assert "simulated" in (folder / "report.html").read_text(encoding="utf-8")
    for name in ("open-loud", "open", "plus-1n"):
        assert json.loads((folder / "takes" / name / "take.json").read_text())["simulated"] is True
    assert json.loads((folder / "results" / "fit.json").read_text())["answer"]["simulated"] is True


def test_demo_rejects_the_spoilt_take_and_keeps_it(played):
    folder = played[0]
    outcomes = {
        name: json.loads((folder / "takes" / name / "take.json").read_text())["outcome"] for name in ("open-loud", "open")
    }
    assert outcomes == {"open-loud": "rejected", "open": "good"}


def test_demo_finds_what_lay_in_the_drawer_or_says_that_it_cannot(played):
    document = json.loads((played[0] / "results" / "fit.json").read_text())["answer"]
    drawer = Drawer()
    truths = {
        "inductance": drawer.inductance_h,
        "winding_capacitance": drawer.capacitance_f,
        "dc_resistance": drawer.resistance_ohm,
    }
    if document["outcome"] == "good":
        for key, truth in truths.items():
            low, high = document["quantities"][key]["interval_95"]
            assert low <= truth <= high
    else:
        assert document["floor"]["value"] >= 0.005
        assert "INDICATIVE ONLY" in played[2]


def test_commands_of_the_demo_can_be_typed_again(capsys, played, monkeypatch):
    monkeypatch.chdir(played[0])
    code, _, _ = run(capsys, "inspect", "open")
    assert code == 0
    code, document, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "5.62k ± 1%")
    assert code == 0
    assert document["simulated"] is True


@pytest.mark.parametrize("content", ["file in it", "a file itself"])
def test_demo_overwrites_nothing(capsys, tmp_path, content):
    target = tmp_path / "there"
    if content == "file in it":
        target.mkdir()
        (target / "mine.txt").write_text("mine")
    else:
        target.write_text("mine")
    code, out, err = run(capsys, "demo", target)
    assert code == 2
    assert out == ""
    assert "not empty" in err
    assert err.count("\n") == 1
