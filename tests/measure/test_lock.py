"""A file that one process holds: others are told who, nothing is stale, and only a plain file of its own is taken."""

import os
import signal
import subprocess
import sys

import pytest

from measure.lock import HeldError, hold, hold_folder, let_go, this_process
from tests.places import TOP

HOLDER = (
    "import sys; from pathlib import Path; from measure.lock import hold, hold_folder; path = Path(sys.argv[1]); "
    "hold_folder(path, wait_s=0) if path.is_dir() else hold(path, told='one who holds'); "
    "print('held', flush=True); sys.stdin.read()"
)


@pytest.fixture
def holder():
    """Start a process that holds a path until it is ended."""
    started = []

    def start(path):
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        started.append(subprocess.Popen([sys.executable, "-c", HOLDER, str(path)], cwd=TOP, text=True, **pipes))
        assert started[-1].stdout.readline() == "held\n"
        return started[-1]

    yield start
    for process in started:
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            pipe.close()


def test_who_holds_it_is_told_and_after_a_kill_it_is_free(tmp_path, holder):
    other = holder(tmp_path / "lock")
    with pytest.raises(HeldError) as caught:
        hold(tmp_path / "lock", told="I")
    assert caught.value.holder == "one who holds"
    other.send_signal(signal.SIGKILL if os.name == "posix" else signal.SIGTERM)
    other.wait()
    let_go(hold(tmp_path / "lock", told="I", wait_s=5.0))


def test_a_folder_is_held_without_a_file_in_it(tmp_path, holder):
    other = holder(tmp_path)
    with pytest.raises(HeldError):
        hold_folder(tmp_path, wait_s=0.05)
    assert os.name != "posix" or list(tmp_path.iterdir()) == []
    other.stdin.close()
    let_go(hold_folder(tmp_path, wait_s=5.0))


def test_one_that_somebody_removed_meanwhile_is_not_held_twice(tmp_path):
    path = tmp_path / "lock"
    first = hold(path, told="first")
    path.unlink()
    second = hold(path, told="second")  # the file of that name is another one now
    with pytest.raises(HeldError, match="second"):
        hold(path, told="third")
    let_go(first)
    let_go(second)


@pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX systems")
def test_nothing_but_a_plain_file_is_opened_or_written_to(tmp_path):
    other = tmp_path / "other"
    other.write_text("mine")
    (tmp_path / "link").symlink_to(other)
    (tmp_path / "hard").hardlink_to(other)
    os.mkfifo(tmp_path / "pipe")
    for name in ("link", "hard", "pipe"):
        with pytest.raises(OSError, match=r"plain file|symbolic links"):
            hold(tmp_path / name, told="I")
    assert other.read_text() == "mine"


def test_a_process_says_its_number_and_what_was_typed(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["/usr/bin/coilsweep", "take", "bare"])
    assert this_process() == f"process {os.getpid()} (coilsweep take bare)"
    monkeypatch.setattr(sys, "argv", ["-c", "take"])
    assert this_process(7) == "process 7 (python take)"
