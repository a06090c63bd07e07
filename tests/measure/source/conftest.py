"""A stand-in for PortAudio that fails on demand, for the recording process."""

import json
import os
import shutil
from pathlib import Path

import pytest

from tests.places import FAKE_CARD


@pytest.fixture
def fake(tmp_path, monkeypatch):
    """Say what the card shall do; no process of it may stay."""

    def set_up(**settings):
        shutil.copy(FAKE_CARD, tmp_path / "sounddevice.py")
        monkeypatch.setenv("PYTHONPATH", str(tmp_path))
        monkeypatch.setenv("FAKE_CARD", json.dumps(settings))

    yield set_up
    assert not recording_processes()


def recording_processes():
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = path.read_text().rpartition(")")[2].split()[:2]
            if int(parent) == os.getpid() and state != "Z" and b"measure.source.child" in (path.parent / "cmdline").read_bytes():
                found.append(int(path.parent.name))
        except OSError:
            continue  # it ended meanwhile
    return found
