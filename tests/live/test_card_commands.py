"""`devices`, `level`, `rig --ask` and `take` as a person meets them: on a live bench, in a pseudo-terminal where that matters."""

import contextlib
import fcntl
import os
import pty
import select
import subprocess
import sys
import termios
import time
from pathlib import Path

import numpy as np
import pytest

from measure.logbook.rig import read_rig
from measure.logbook.store import list_takes, open_logbook
from tests.desk_bench import run, run_json
from tests.live.typed import COMMAND, JACK

TOP = Path(__file__).parents[2]


class Terminal:
    """A command in a pseudo-terminal of its own."""

    def __init__(self, *words):
        self.master, self.slave = pty.openpty()
        self.before = termios.tcgetattr(self.slave)
        self.shown = ""
        self.process = subprocess.Popen(
            [sys.executable, "-c", COMMAND, *map(str, words)],
            stdin=self.slave,
            stdout=self.slave,
            stderr=self.slave,
            cwd=TOP,
            start_new_session=True,
            env={**os.environ, "OMP_NUM_THREADS": "1", "TERM": "xterm", "COLUMNS": "120"},
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )

    def read(self, *, until=None, limit_s=15.0):
        """Read until something is shown, or the process ends."""
        end_s = time.monotonic() + limit_s
        while until is None or until not in self.shown:
            assert time.monotonic() < end_s, f"{until!r} was not shown within {limit_s} s: {self.shown[-2000:]!r}"
            if select.select([self.master], [], [], 0.05)[0]:
                self.shown += os.read(self.master, 65536).decode()
            elif self.process.poll() is not None:
                assert until is None, f"it ended before it showed {until!r}: {self.shown[-2000:]!r}"
                break
        return self.shown

    def type(self, text):
        os.write(self.master, text.encode())

    def end(self):
        self.process.kill()
        self.process.wait()
        os.close(self.master)
        os.close(self.slave)


@contextlib.contextmanager
def terminal(*words):
    person = Terminal(*words)
    try:
        yield person
    finally:
        person.end()


@pytest.mark.parametrize("key", ["\n", "\x03"], ids=["enter", "ctrl-c"])
def test_level_in_a_terminal(live, book, key):
    """One line is drawn over and over until Enter or Ctrl-C; the tone ends in silence, never louder than asked."""
    _, bench = live(hum=1e-3)
    folder = book()
    with terminal("level", "--logbook", folder) as person:
        person.read(until="[dBFS]")
        person.read(until="exciter found: tone")
        person.type(key)
        shown = person.read()
        assert person.process.wait(timeout=5.0) == 0
        assert termios.tcgetattr(person.slave) == person.before
    assert shown.count("\r") > shown.count("\r\n")
    assert "All right: exciter found: tone" in shown
    assert shown.splitlines()[-1].startswith("Next: coilsweep take open")
    played = bench.played()
    assert np.max(np.abs(played)) <= np.float32(0.03)
    assert not np.any(played[-2400:])


def test_take_is_interrupted_at_a_terminal(live, book):
    _, bench = live()
    folder = book()
    with terminal("take", "open", "--logbook", folder) as person:
        person.read(until="open  [")
        while np.max(np.abs(bench.played()), initial=0.0) < 0.45:
            person.read(until="%")
            time.sleep(0.05)
        person.type("\x03")
        shown = person.read()
        assert person.process.wait(timeout=5.0) == 130
        assert termios.tcgetattr(person.slave) == person.before
    assert shown.splitlines()[-1] == "coilsweep: Interrupted; nothing half-written is left."
    assert not np.any(bench.played()[-2400:])
    assert list_takes(open_logbook(folder)).takes == ()


def test_devices_of_the_rig(live, book, capsys):
    live(96000)
    folder = book(96000)
    code, document, _ = run_json(capsys, "devices", "--logbook", folder)
    (device,) = [each for each in document["devices"] if each["device"] == "bench"]
    assert code == 0
    assert device["rates_hz"] == [96000]
    assert device["is_in_rig"]
    _, shown, _ = run(capsys, "devices", "--logbook", folder)
    assert "rig" in shown.partition("bench")[2].partition("default output:")[0]
    assert run(capsys, "rig", "--input-device", "nowhere", "--logbook", folder)[0] == 0
    assert "The rig names nowhere, which is not there." in " ".join(run(capsys, "devices", "--logbook", folder)[1].split())


def test_rig_is_asked_for(live, tmp_path):
    live(96000)
    folder = tmp_path / "book"
    words = [sys.executable, "-c", COMMAND, "rig", "--ask", "--logbook", str(folder)]
    answers = ["bench", "", "", "x", "1", "", "2", "47 ± 1%", "1M ± 1%", "?", "185p ± 3p"]
    ran = subprocess.run(words, input="\n".join(answers) + "\n", capture_output=True, text=True, cwd=TOP, timeout=30, check=False)
    assert ran.returncode == 0, ran.stderr
    rig = read_rig(folder / "rig.toml")
    assert (rig.interface.device, rig.interface.host_api, rig.interface.rate_hz) == ("bench", JACK[3], 96000)
    assert (rig.interface.output_channel, rig.interface.pickup_channel, rig.interface.reference_channel) == (1, 1, 2)
    assert (rig.reference.kind, rig.reference.sense_resistor) == ("current", "47 ± 1%")
    assert (rig.input.resistance, rig.input.capacitance) == ("1M ± 1%", "185p ± 3p")
    assert 'Not so: "x" is not a whole number' in ran.stdout
    assert "Still missing" not in ran.stdout
    assert "Phantom power off." in ran.stderr


def test_two_devices(live, book, capsys):
    """The difference of their clocks is measured, taken out, and said."""
    live(48000, two_devices=True, drift_ppm=40.0)
    folder = book(48000, "--input-device", "bench in")
    code, document, said = run_json(capsys, "take", "open", "--logbook", folder)
    assert code == 0, said
    (clocks,) = [check for check in document["checks"] if check["name"] == "two-clocks"]
    assert clocks["outcome"] == "pass"
    assert clocks["figure"] == pytest.approx(-40.0, abs=2.0)
