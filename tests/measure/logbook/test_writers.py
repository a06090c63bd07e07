"""Several processes at one logbook: no change is lost, every take has its own number, and who comes too late is told."""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from measure.errors import FileError
from measure.lock import hold_folder, let_go
from measure.logbook import writers
from measure.logbook.rig import read_rig, write_rig
from measure.logbook.store import list_takes, open_logbook
from measure.logbook.writers import one_writer
from tests.places import TOP

N = 20
START = "from fit.desk.command.main import run; run()"


def all_at_once(calls):
    """Run commands as processes of their own, all at once; exit code and what was complained of."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-c", START]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    started = [subprocess.Popen([*command, *map(str, words)], cwd=TOP, env=environment, text=True, **pipes) for words in calls]
    ended = [process.communicate(timeout=120) for process in started]
    return [(process.returncode, err) for process, (_, err) in zip(started, ended, strict=True)]


def test_who_comes_too_late_is_refused_and_changes_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(writers, "WAIT_S", 0.1)
    handle = hold_folder(tmp_path, wait_s=0)
    with pytest.raises(FileError, match=r"is written to by another process, for 0 s now: nothing was changed; try again"):
        write_rig(tmp_path / "rig.toml", {"input.resistance": "1M"})
    let_go(handle)
    assert not (tmp_path / "rig.toml").exists()
    write_rig(tmp_path / "rig.toml", {"input.resistance": "1M"})


def test_a_writer_may_write_in_between_and_another_thread_waits(tmp_path):
    order = []

    def other():
        with one_writer(tmp_path):
            order.append("other")

    thread = threading.Thread(target=other)
    with one_writer(tmp_path):
        thread.start()
        with one_writer(tmp_path):
            order.append("within")
        thread.join(timeout=0.1)
        order.append("first")
    thread.join()
    assert order == ["within", "first", "other"]


def test_an_error_lets_go(tmp_path):
    with pytest.raises(ValueError, match="odd"), one_writer(tmp_path):
        raise ValueError("odd")
    let_go(hold_folder(tmp_path, wait_s=0))


WRITE = (
    "import sys; from pathlib import Path; from measure.logbook.rig import write_rig; "
    "sys.stdin.readline(); write_rig(Path(sys.argv[1]), {sys.argv[2]: sys.argv[3]})"
)
KEYS = [
    *(f"interface.{name}" for name in ("device", "host_api", "input_device")),
    *("reference.sense_resistor", "input.resistance", "input.capacitance"),
]


def test_of_writers_at_once_none_is_lost(tmp_path):
    """Six processes that wait for one word each write another key."""
    values = ["a", "b", "c", "100 ± 1%", "1M ± 1%", "185p ± 3p"]
    path = tmp_path / "rig.toml"
    started = [
        subprocess.Popen([sys.executable, "-c", WRITE, str(path), key, value], cwd=TOP, stdin=subprocess.PIPE, text=True)
        for key, value in zip(KEYS, values, strict=True)
    ]
    for process in started:
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in started:
        process.communicate(timeout=60)
        assert process.returncode == 0
    rig = read_rig(path)
    found = [getattr(getattr(rig, key.partition(".")[0]), key.partition(".")[2]) for key in KEYS]
    assert found == values


@pytest.fixture
def book(tmp_path):
    """A logbook whose rig states enough for takes on the virtual bench."""
    path = tmp_path / "book"
    path.mkdir()
    changes = {"input.resistance": "1M ± 1%", "input.capacitance": "185p ± 3p", "reference.kind": "current"}
    write_rig(path / "rig.toml", changes | {"reference.sense_resistor": "100 ± 1%"})
    return path


@pytest.mark.long
def test_twenty_amendments_at_once_are_all_kept(book):
    assert all_at_once([["take", "bare", "--virtual", "--duration", 1, "--logbook", book]])[0][0] == 0
    calls = [["takes", "amend", "bare", "--set", f"control-{k}={k}", "--logbook", book] for k in range(N)]
    ended = all_at_once(calls)
    (take,) = list_takes(open_logbook(book)).takes
    kept = {k for k in range(N) if take.conditions.controls.get(f"control-{k}") == str(k)}
    assert kept == {k for k, (code, _) in enumerate(ended) if code == 0}
    assert all(code == 0 or "is written to by" in err for code, err in ended)
    assert len(take.amended) == len(kept) >= N // 2


@pytest.mark.slow
def test_twenty_takes_at_once_have_numbers_of_their_own_and_one_name_is_given_once(book):
    calls = [["take", f"take-{k // 2}", "--virtual", "--duration", 1, "--logbook", book] for k in range(N)]
    ended = all_at_once(calls)
    listing = list_takes(open_logbook(book))
    assert listing.damaged == {}
    assert sorted(take.sequence for take in listing.takes) == list(range(1, N // 2 + 1))
    assert sorted(take.name for take in listing.takes) == sorted(f"take-{k}" for k in range(N // 2))
    assert sum(code == 0 for code, _ in ended) == N // 2
    assert all("is a take" in err for code, err in ended if code != 0)


@pytest.mark.long
def test_of_twenty_beginnings_of_an_instrument_one_is_written(tmp_path):
    book = tmp_path / "book"
    ended = all_at_once([["instrument", "--layout", "one-pickup", "--json", "--logbook", book] for _ in range(N)])
    assert sum(code == 0 for code, _ in ended) == 1, ended[0]
    assert all("is there already" in err for code, err in ended if code != 0)
    assert Path(book / "instrument.toml").stat().st_size > 500
    assert json.dumps(sorted(path.name for path in book.iterdir())) == '["instrument.toml"]'
