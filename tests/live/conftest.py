"""A server and a bench for each test; every process is ended, and it is checked that the engine left none."""

import ctypes.util
import importlib.util
import os
import shutil
import signal
import time
from pathlib import Path

import pytest

from tests.desk_bench import RIG, run
from tests.live.bench import LiveBench
from tests.live.server import JackServer
from tests.live.typed import JACK

LIMIT_S = 90


def pytest_collection_modifyitems(items):
    here = Path(__file__).parent
    missing = [
        what
        for what, is_there in (
            ("jackd", shutil.which("jackd") is not None),
            ("the PortAudio library", ctypes.util.find_library("portaudio") is not None),
            ("the package JACK-Client", importlib.util.find_spec("jack") is not None),
        )
        if not is_there
    ]
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.soundcard)
            if missing:
                item.add_marker(pytest.mark.skip(reason=f"no live sound without {' and '.join(missing)}"))
    # whole sessions take the longest: where two run side by side, neither waits for one of them at the end
    items.sort(key=lambda item: item.path.parent != here or item.path.stem != "test_guide")


def children():
    """Ids of this process's children that have not ended."""
    found = set()
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            name_end = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it ended meanwhile
        if int(name_end[1]) == os.getpid() and name_end[0] != "Z":
            found.add(int(stat.parent.name))
    return found


@pytest.fixture(autouse=True)
def limit():
    """No test here may wait for ever."""

    def stop(_number, _frame):
        msg = f"longer than {LIMIT_S} s"
        raise TimeoutError(msg)

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(LIMIT_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def live(tmp_path, monkeypatch):
    """Start a server and a bench: live(rate_hz, fault=…) gives both; nothing outlives the test."""
    started = []

    def start(rate_hz=48000, *, is_patient=True, **changes):
        server = JackServer(rate_hz, is_patient=is_patient)
        started.append(server)
        for name, value in server.environment().items():
            monkeypatch.setenv(name, value)
        bench = LiveBench(server, tmp_path / "bench", **changes)
        started.insert(0, bench)
        return server, bench

    before = children()
    yield start
    ours = {each.process.pid for each in started}
    end_s = time.monotonic() + 1.0
    while (left := children() - before - ours) and time.monotonic() < end_s:
        time.sleep(0.02)
    for each in started:
        each.end()
    assert not left, f"processes were left behind: {left}"


@pytest.fixture
def book(tmp_path, capsys):
    def make(rate_hz=48000, *changes):
        folder = tmp_path / "book"
        words = [*RIG, *JACK, "--rate", rate_hz, "--output-channel", 1, "--pickup-channel", 1, "--reference-channel", 2]
        code, _, complaint = run(capsys, "rig", *words, *changes, "--logbook", folder)
        assert code == 0, complaint
        return folder

    return make
