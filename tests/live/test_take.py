"""`coilsweep take` on the live bench: from takes to the coil's values; what goes wrong ends in one line, the logbook whole."""

import json
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from measure.logbook.store import list_takes, open_logbook, read_take
from measure.source.player import RAMP_S
from tests.desk_bench import run, run_json
from tests.live.bench import CAPACITANCE_F, DCR_OHM, INDUCTANCE_H
from tests.live.playing import deadline
from tests.live.server import wait_until
from tests.live.typed import typing

LEVEL = 0.4
SWEEP_S = 2.0
SIGNAL_S = 0.7 + SWEEP_S + 0.5  # [s] with the silences around it
START_S = 5.0  # [s] starting Python twice on a busy machine


def taking(folder, name="open", *words, limit_bytes=None):
    """`coilsweep take` in a process of its own, without the look before."""

    def limit():
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, resource.RLIM_INFINITY))

    typed = ["take", name, "--no-look", "--level", LEVEL, "--duration", SWEEP_S, *words, "--logbook", folder]
    return typing(*typed, before=limit if limit_bytes else None)


def wait_for_sweep(bench):
    """Until the sweep has played for a while."""
    wait_until(lambda: np.max(np.abs(bench.played()), initial=0.0) > 0.9 * LEVEL, limit_s=20.0, what="the sweep")
    time.sleep(0.7)


def end_of(process, *, limit_s=SIGNAL_S + 5.0):
    """Exit code, stdout, and the lines on stderr that are no cautions."""
    with deadline(limit_s):
        out, err = process.communicate(timeout=limit_s + 5.0)
    return process.returncode, out, err.splitlines()


def assert_untouched(folder):
    """A logbook without a take, and without remains of one; another can be made."""
    listing = list_takes(open_logbook(folder))
    assert (listing.takes, listing.damaged) == ((), {})
    takes = folder / "takes"
    assert not takes.exists() or list(takes.iterdir()) == []


@pytest.mark.parametrize("rate_hz", [48000, 96000])
def test_takes_tell_the_coils_values(live, book, capsys, rate_hz):
    folder = book(rate_hz)
    for name, load in (("open", {}), ("plus-1n", {"added_f": 1e-9})):
        _, bench = live(rate_hz, load=load, pickup_noise=2e-5, hum=1e-3)
        words = ["--add", "1n ± 1%"] if load else []
        code, document, said = run_json(capsys, "take", name, *words, "--logbook", folder)
        assert (code, document["outcome"], document["simulated"]) == (0, "good", False), said
        assert np.max(np.abs(bench.played())) <= 0.5
        bench.end()
    take = read_take(open_logbook(folder), "open")
    assert (take.rate_hz, take.stimulus.level, take.rig.interface.device) == (rate_hz, 0.5, "bench")
    code, document, _ = run_json(capsys, "fit", "open", "plus-1n", "--dcr", "6.35k ± 1%", "--logbook", folder)
    assert (code, document["outcome"]) == (0, "good")
    found = document["quantities"]
    print({name: found[name]["value"] for name in ("inductance", "winding_capacitance", "dc_resistance")})
    assert found["inductance"]["value"] == pytest.approx(INDUCTANCE_H, rel=0.01)
    assert found["winding_capacitance"]["value"] == pytest.approx(CAPACITANCE_F, abs=5e-12)
    assert found["dc_resistance"]["value"] == pytest.approx(DCR_OHM, rel=0.01)


@pytest.mark.parametrize(
    ("who", "number", "words"),
    [
        ("server", signal.SIGKILL, "the sound server went after"),
        ("server", signal.SIGSTOP, "no sound came from the card"),
        ("bench", signal.SIGSTOP, "no sound came from the card"),
    ],
    ids=["killed", "stopped", "frozen"],
)
def test_server_fails_in_mid_sweep(live, book, who, number, words):
    server, bench = live()
    folder = book()
    with taking(folder) as process:
        wait_for_sweep(bench)
        {"server": server, "bench": bench}[who].send(number)
        code, out, lines = end_of(process)
    assert (code, out) == (4, "")
    assert lines[-1].startswith(f"coilsweep: {words}")
    assert "Traceback" not in "".join(lines)
    assert_untouched(folder)


def test_ports_unplugged_in_mid_sweep(live, book):
    _, bench = live()
    folder = book()
    with taking(folder) as process:
        wait_for_sweep(bench)
        bench.order("unplug")
        code, _, lines = end_of(process)
    assert code == 3
    assert any(line.startswith("rejected: unplugged: every input holds exact zeros from") for line in lines)
    assert read_take(open_logbook(folder), "open").outcome == "rejected"


def test_samples_lost_in_mid_sweep(live, book):
    _, bench = live()
    folder = book()
    with taking(folder) as process:
        wait_for_sweep(bench)
        bench.order("lose", 480)
        code, _, lines = end_of(process)
    assert code == 3
    assert any(line.startswith("rejected: dropouts:") for line in lines)
    assert read_take(open_logbook(folder), "open").outcome == "rejected"


def test_interrupted_in_mid_sweep(live, book):
    _, bench = live()
    folder = book()
    with taking(folder) as process:
        wait_for_sweep(bench)
        process.send_signal(signal.SIGINT)
        code, out, lines = end_of(process, limit_s=4.0)
    assert (code, out, lines[-1]) == (130, "", "coilsweep: Interrupted; nothing half-written is left.")
    played = bench.played()
    n_silent = round(0.05 * 48000)
    assert not np.any(played[-n_silent:])
    assert np.max(np.abs(played)) <= np.float32(LEVEL)
    # No step beyond that of the sweep itself and of the ramp to silence.
    assert np.max(np.abs(np.diff(played))) < LEVEL * (2 * np.sin(np.pi * 0.46) + np.pi / (2 * RAMP_S * 48000)) * 1.001
    assert_untouched(folder)


def test_killed_in_mid_sweep(live, book, capsys):
    """Its recording process ramps the output to silence and goes; the same take can be made again."""
    _, bench = live()
    folder = book()
    with taking(folder) as process:
        wait_for_sweep(bench)
        process.send_signal(signal.SIGKILL)
        assert process.wait(timeout=3.0) == -signal.SIGKILL
        wait_until(lambda: not np.any(bench.played()[-2400:]), limit_s=3.0, what="silence")
    assert_untouched(folder)
    time.sleep(1.0)  # the recording process has gone
    code, document, said = run_json(capsys, "take", "open", "--logbook", folder)
    assert (code, document["outcome"]) == (0, "good"), said


def test_disk_full(live, book):
    live()
    folder = book()
    with taking(folder, limit_bytes=200_000) as process:
        code, out, lines = end_of(process, limit_s=START_S + SIGNAL_S + 5.0)
    assert (code, out) == (2, "")
    assert lines[-1].startswith("coilsweep: ")
    assert "Traceback" not in "".join(lines)
    assert_untouched(folder)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (["--device", "bunch"], "no output device is called 'bunch'"),
        (["--rate", 44100], "does not open at 44100 Hz; its own rate is 48000 Hz"),
        (["--output-channel", 3], "has 2 output channels, but output channel 3"),
    ],
    ids=["unknown-device", "wrong-rate", "no-such-channel"],
)
def test_rig_names_what_is_not_there(live, book, changes, words):
    live()
    folder = book(48000, *changes)
    with taking(folder) as process:
        code, out, lines = end_of(process, limit_s=START_S)
    assert (code, out) == (4, "")
    assert words in lines[-1]
    assert_untouched(folder)


def test_no_library(book, monkeypatch, tmp_path):
    (tmp_path / "sitecustomize.py").write_text("import ctypes.util\nctypes.util.find_library = lambda name: None\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    folder = book()
    with taking(folder) as process:
        code, out, lines = end_of(process, limit_s=START_S)
    assert (code, out) == (4, "")
    assert "PortAudio library" in lines[-1]
    assert_untouched(folder)


@pytest.mark.skipif(Path("/proc/asound/card0").exists(), reason="this machine has a sound card of its own")
def test_no_card(book, monkeypatch, capsys):
    for name, value in {"JACK_DEFAULT_SERVER": "nobody", "PULSE_SERVER": "unix:/nowhere"}.items():
        monkeypatch.setenv(name, value)
    folder = book()
    with taking(folder) as process:
        code, out, lines = end_of(process, limit_s=START_S)
    assert (code, out) == (4, "")
    assert "no sound card" in lines[-1]
    assert_untouched(folder)
    code, document, _ = run_json(capsys, "devices", "--logbook", folder)
    assert (code, document["devices"]) == (0, [])


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"dead": [1], "pickup_noise": 0.0}, "nothing arrives at the pickup's input"),
        ({"dead": [2]}, "nothing arrives at the reference's input"),
        ({"is_muted": True, "pickup_noise": 0.0, "reference_noise": 0.0}, "nothing arrives"),
    ],
    ids=["pickup-dead", "reference-dead", "muted"],
)
def test_look_before_the_sweep(live, book, capsys, changes, words):
    _, bench = live(**changes)
    folder = book()
    code, _, said = run(capsys, "take", "open", "--level", LEVEL, "--logbook", folder)
    assert code == 3
    assert words in said.splitlines()[-1]
    assert np.max(np.abs(bench.played())) < 0.5 * LEVEL  # the sweep itself was not played
    assert_untouched(folder)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"is_muted": True}, "silent"),
        ({"dead": [1]}, "dead-channel"),
        ({"is_swapped": True}, "swapped"),
        ({"clip": 0.1}, "clipped"),
    ],
    ids=["muted", "pickup-dead", "swapped", "clipped"],
)
def test_rejected_is_kept_and_marked(live, book, capsys, changes, code):
    live(**changes)
    folder = book()
    exit_code, document, said = run_json(capsys, "take", "open", "--no-look", "--duration", 2, "--logbook", folder)
    assert (exit_code, document["outcome"]) == (3, "rejected")
    assert code in [check["name"] for check in document["checks"] if check["outcome"] == "reject"]
    assert f"rejected: {code}:" in said
    assert "is kept and marked as rejected" in said
    assert read_take(open_logbook(folder), "open").outcome == "rejected"


def test_level_shows_both_inputs(live, book, capsys):
    _, bench = live(hum=1e-3)
    folder = book()
    code, document, _ = run_json(capsys, "level", "--duration", 2, "--logbook", folder)
    assert code == 0
    assert document["inputs"]["pickup"]["hum_dbfs"] == pytest.approx(-60.0, abs=0.5)
    assert document["inputs"]["reference"]["tone_dbfs"] == pytest.approx(20 * np.log10(0.03 * 0.6), abs=0.2)
    played = bench.played()
    assert np.max(np.abs(played)) <= np.float32(0.03)
    assert not np.any(played[-2400:])
    json.dumps(document, allow_nan=False)
