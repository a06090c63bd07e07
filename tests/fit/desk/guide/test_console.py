"""The guide by scripted answers: all jobs on the virtual bench, leaving and going on, going back, wrong and bad answers."""

import io
import json
import shutil

import pytest

from fit.desk.guide.bench import virtual_bench
from fit.desk.guide.console import JOBS, file_name, read_memory, run_guide
from fit.desk.guide.session import Deed, Done
from fit.desk.show.document.guitar import WiringDocument
from measure.errors import FileError
from measure.logbook.store import open_logbook
from tests.desk_bench import run
from tests.guided import Script, answers, bench_with, desk_of, guided, settled


@pytest.mark.long
@pytest.mark.parametrize("n_questions", [4, 14])
def test_left_anywhere_and_resumed_asks_nothing_twice(tmp_path, n_questions):
    """Up to the sweep of the second take, whose bench is interrupted."""

    def until_second_take(folder, script, *, n_most=1000):
        bench = bench_with(desk_of(folder, script), outcomes=[None, KeyboardInterrupt()])

        def read_line(prompt):
            return None if script.n_asked == n_most else script.read_line(prompt)

        return run_guide(desk_of(folder, script), "pickup", virtual=True, bench=bench, read_line=read_line)

    whole, part, rest = Script(), Script(), Script()
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        until_second_take(tmp_path / "whole", whole)
    assert until_second_take(tmp_path / "part", part, n_most=n_questions).document.finished is False
    assert "Left; nothing is lost. To go on: coilsweep guide pickup --virtual, with the same logbook." in part.text
    is_first_taken = part.text.count("Ready?") > 0
    left = [KeyboardInterrupt()] if is_first_taken else [None, KeyboardInterrupt()]
    bench = bench_with(desk_of(tmp_path / "part", rest), outcomes=left)
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        guided(tmp_path / "part", "pickup", rest, bench=bench)
    assert part.n_asked + rest.n_asked == whole.n_asked
    assert (tmp_path / "part/rig.toml").read_bytes() == (tmp_path / "whole/rig.toml").read_bytes()
    assert settled(tmp_path / "part", "take.open") == settled(tmp_path / "whole", "take.open") == "open"


@pytest.mark.long
def test_take_that_was_deleted_is_made_again(tmp_path):
    guided(tmp_path, "pickup", Script(**answers(ready=["", "q"])))
    shutil.rmtree(tmp_path / "takes" / "open")
    script = Script(**answers(ready=["", "q"]))
    guided(tmp_path, "pickup", script)
    assert "no take was made yet" in script.text
    assert script.text.index("Take 1 of 2") < script.text.index("Take 2 of 2")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b'{"schema": "coilsweep.guide/2", "job": "pickup"}',
        b'{"schema": "coilsweep.guide/1", "job": "wiring"}',
        b'{"schema": "coilsweep.guide/1", "job": "pickup", "entries": [{"key": 1, "answer": ""}]}',
        b'{"schema": "coilsweep.guide/1", "job": "pickup", "more": 1}',
        json.dumps({"schema": "coilsweep.guide/1", "job": "pickup", "entries": [{"key": "a", "answer": "x" * 2000}]}).encode(),
        b"\xff\xfe",
    ],
)
def test_damaged_session_is_one_line(tmp_path, capsys, content):
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / file_name("pickup")).write_bytes(content)
    with pytest.raises(FileError, match=r"guide-pickup\.json"):
        read_memory(open_logbook(tmp_path), "pickup")
    code, _, err = run(capsys, "guide", "pickup", "--virtual", "--logbook", tmp_path)
    assert code == 2
    assert "delete it; takes and rig stay" in err
    assert err.count("\n") == 1


@pytest.mark.long
@pytest.mark.parametrize(
    "nonsense",
    [
        {"part": "capacitor.none"},
        {"level": "loud"},
        {"layout": "../x"},
        {"over": "nobody"},
        {"added": "\x1b[31m"},
        {"report": "\x1b[31mhere"},
    ],
)
def test_hostile_session_gives_no_traceback(tmp_path, capsys, monkeypatch, nonsense):
    """An answer replaced by nonsense: asked again, or one line; control characters do not reach the screen."""
    guided(tmp_path, "capacitor", Script(**answers(layout=["two-pickups-tone-after"], ready=["q"])))
    path = tmp_path / "results" / file_name("capacitor")
    session = json.loads(path.read_text(encoding="utf-8"))
    session["entries"] += [{"key": key, "answer": answer} for key, answer in nonsense.items()]
    path.write_text(json.dumps(session), encoding="utf-8")
    (tmp_path / "instrument.toml").unlink(missing_ok=True)
    monkeypatch.setattr("builtins.input", iter(["", "q"]).__next__)
    code, out, err = run(capsys, "guide", "capacitor", "--virtual", "--logbook", tmp_path)
    assert code in (0, 2)
    assert "Traceback" not in err
    assert "\x1b" not in out + err


def test_what_the_switch_connects_is_no_answer_of_a_guitar(tmp_path, monkeypatch):
    """A session that was interrupted behind its answer goes on with the wiring alone."""
    empty = dict.fromkeys(("pickups", "positions", "unheard", "unmeasured", "left_out", "takes", "warnings"), ())
    wired = WiringDocument(**empty, leakage=None, simulated=True)
    step = Deed(key="wired", run=lambda: Done(document=wired))
    for job, expected in (("guitar", (None, wired)), ("wiring", (wired, None))):
        monkeypatch.setattr(JOBS[job], "next_step", lambda scene: None if scene.settled("wired") else step)
        desk = desk_of(tmp_path, script := Script())
        document = run_guide(desk, job, virtual=True, bench=virtual_bench(desk, job), read_line=script.read_line).document
        assert (document.answer, document.wiring) == expected


def test_json_keeps_stdout_for_the_document(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("builtins.input", iter([*[""] * 13, "q"]).__next__)
    code, out, err = run(capsys, "guide", "pickup", "--virtual", "--json", "--logbook", tmp_path)
    assert code == 0
    document = json.loads(out)
    assert (document["job"], document["finished"], document["report"]) == ("pickup", False, None)
    assert "Ready? Enter plays [yes]" in err


def test_answers_from_a_pipe_are_shown(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\nq\n"))
    code, out, _ = run(capsys, "guide", "wiring", "--virtual", "--logbook", tmp_path)
    assert code == 0
    assert "counted from 1? [1] q\nLeft; nothing is lost." in out


def test_end_of_input_leaves(tmp_path, capsys, monkeypatch):
    def nobody():
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    code, out, _ = run(capsys, "guide", "wiring", "--virtual", "--logbook", tmp_path)
    assert code == 0
    assert "Left; nothing is lost." in out


def test_interrupted_at_a_question(tmp_path, capsys, monkeypatch):
    def interrupt():
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", interrupt)
    code, _, err = run(capsys, "guide", "compare", "--virtual", "--logbook", tmp_path)
    assert code == 130
    assert "To go on: coilsweep guide compare --virtual" in err
