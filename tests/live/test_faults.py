"""What goes wrong on a live card ends within the signal's length and five seconds, by its name, and leaves no process behind.

That none is left, and no server hangs on, is checked after each test by the fixture.
"""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from measure.checks.recording import noise_summary
from measure.errors import (
    ChannelError,
    LibraryMissingError,
    NoCardError,
    NoProgressError,
    RateError,
    ServerDiedError,
    UnknownDeviceError,
)
from measure.source.devices import list_devices
from measure.source.soundcard import SoundCard
from tests.live.playing import deadline, departure, record, record_cleanly, short_sweep, take_of, troubles
from tests.live.server import wait_until
from tests.live.steps import ramp_step

TOP = Path(__file__).parents[2]


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_server_ends_in_mid_sweep(live, number):
    server, _ = live()
    with pytest.raises(ServerDiedError, match=r"server went after 1\.\d+ s of 3\.30 s\. Start it again") as caught:
        record(after_s=1.0, action=lambda: server.send(number))
    assert caught.value.exit_code == 4
    assert 1.0 <= len(caught.value.samples) / 48000 < 1.5
    assert np.any(caught.value.samples[-4800:])


def test_server_is_stopped_in_mid_sweep(live):
    server, _ = live()
    with pytest.raises(
        NoProgressError, match=r"no sound came from the card \(nothing for 1\.0 s\), after 1\.\d+ s of 3\.30 s"
    ) as caught:
        record(after_s=1.0, action=lambda: server.send(signal.SIGSTOP))
    assert 1.0 <= len(caught.value.samples) / 48000 < 1.5


def test_server_is_frozen_in_mid_sweep(live):
    """The server waits for a client that does not answer, as for a driver that hangs."""
    _, bench = live()
    with pytest.raises(NoProgressError, match=r"no sound came from the card \(nothing for 1\.0 s\), after 1\.\d+ s of 3\.30 s"):
        record(after_s=1.0, action=lambda: bench.send(signal.SIGSTOP))


def test_server_is_stopped_before(live):
    server, _ = live()
    server.send(signal.SIGSTOP)
    with pytest.raises(NoProgressError, match=r"did not open within 2\.8 s"):
        record()
    with deadline(5.0), pytest.raises(NoProgressError, match="did not list its devices within 4 s"):
        list_devices()


def test_ports_are_unplugged(live):
    _, bench = live()
    capture = record(after_s=1.0, action=lambda: bench.order("unplug"))
    found = troubles(capture)
    assert found["unplugged"] == "reject"
    (finding,) = [each for each in capture.findings if each.code == "unplugged"]
    assert 1.0 < finding.figure < 1.3
    assert "exact zeros from 1." in finding.text


@pytest.mark.parametrize("n_lost", [64, 480])
def test_samples_are_lost(live, n_lost):
    _, bench = live()
    found = troubles(record(after_s=1.4, action=lambda: bench.order("lose", n_lost)))
    assert found == {"dropouts": "reject"}


def test_a_late_client_costs_an_xrun(live):
    _, bench = live(is_patient=False)
    capture = record(after_s=1.2, action=lambda: bench.order("late", 0.3))
    found = troubles(capture)
    assert found["stream-flags"] == "warn"
    (finding,) = [each for each in capture.findings if each.code == "stream-flags"]
    assert "first at 1." in finding.text
    # What the server makes of it differs from one time to the next: what is let pass must be right.
    assert found.get("dropouts") == "reject" or departure(capture)[0] < 0.01


@pytest.mark.parametrize(
    ("changes", "code", "severity"),
    [
        ({"is_muted": True}, "silent", "reject"),
        ({"is_muted": True, "pickup_noise": 0.0, "reference_noise": 0.0}, "exact-zeros", "reject"),
        ({"dead": [1]}, "dead-channel", "reject"),
        ({"dead": [2]}, "dead-channel", "reject"),
        ({"is_swapped": True}, "swapped", "reject"),
        ({"clip": 0.1}, "clipped", "reject"),
        ({"drift_ppm": 80.0}, "clock-drift", "warn"),
    ],
    ids=["muted", "muted-digitally", "pickup-dead", "reference-dead", "swapped", "clipped", "drift"],
)
def test_fault_is_found(live, changes, code, severity):
    live(**changes)
    found = troubles(record(stimulus=short_sweep(48000, duration_s=3.0)))
    assert found.get(code, "pass") == severity


def test_wrong_rate(live):
    live(48000)
    with pytest.raises(RateError, match=r"bench .* does not open at 44100 Hz; its own rate is 48000 Hz"):
        record(44100)


@pytest.mark.parametrize(
    ("card", "error", "words"),
    [
        (SoundCard(device="bunch"), UnknownDeviceError, "no output device is called 'bunch'; there are: .*'bench'"),
        (SoundCard(device="bench", host_api="ASIO"), UnknownDeviceError, "no output of sound system 'ASIO'; there are: .*JACK"),
        (SoundCard(device="bench", input_device="other"), UnknownDeviceError, "no input device is called 'other'"),
        (SoundCard(device="bench", output_channel=3), ChannelError, "has 2 output channels, but output channel 3"),
        (SoundCard(device="bench", pickup_channel=5), ChannelError, "has 2 input channels, but input channel 5"),
    ],
)
def test_what_is_not_there(live, card, error, words):
    live()
    with pytest.raises(error, match=words):
        record(card=card)


@pytest.mark.skipif(Path("/proc/asound/card0").exists(), reason="this machine has a sound card of its own")
def test_no_card(monkeypatch, capfd):
    for name, value in {"JACK_DEFAULT_SERVER": "nobody", "PULSE_SERVER": "unix:/nowhere"}.items():
        monkeypatch.setenv(name, value)
    with pytest.raises(NoCardError, match="no sound card with an output was found"):
        record()
    listed = list_devices()
    assert listed.devices == ()
    assert "finds no device" in listed.explanation
    assert capfd.readouterr() == ("", "")


def test_library_that_aborts(monkeypatch, tmp_path, capfd):
    """An empty configuration makes ALSA's library abort its process; what it printed is kept for --debug."""
    (tmp_path / "asound.conf").write_text("")
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(tmp_path / "asound.conf"))
    with pytest.raises(ServerDiedError, match="ended its process by signal 6, before the card was open"):
        record()
    with pytest.raises(ServerDiedError, match="signal 6, before it listed the devices"):
        list_devices()
    assert capfd.readouterr() == ("", "")


def test_no_library(monkeypatch, tmp_path):
    """Every Python started from here looks for libraries in vain; the real sounddevice says so."""
    (tmp_path / "sitecustomize.py").write_text("import ctypes.util\nctypes.util.find_library = lambda name: None\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with pytest.raises(LibraryMissingError, match=r"PortAudio library .*not found.*apt install libportaudio2"):
        record()
    with pytest.raises(LibraryMissingError, match="PortAudio library"):
        list_devices()


def test_devices_are_listed(live, capfd):
    live(96000)
    listed = list_devices()
    (device,) = [each for each in listed.devices if each.name == "bench"]
    assert (device.host_api, device.n_inputs, device.n_outputs) == ("JACK Audio Connection Kit", 2, 2)
    assert (device.own_rate_hz, device.rates_hz) == (96000, (96000,))
    assert device.is_default_output or len(listed.devices) > 1  # a machine may have others, and name one of them first
    assert "default output: " in listed.explanation
    assert capfd.readouterr() == ("", "")


def test_libraries_print_into_the_error_not_onto_the_screen(live, capfd):
    server, _ = live()
    with pytest.raises(ServerDiedError) as caught:
        record(after_s=0.5, action=lambda: server.send(signal.SIGKILL))
    assert capfd.readouterr() == ("", "")
    assert all(note for note in getattr(caught.value, "__notes__", []))


RECORDER = """
import sys, numpy as np
from measure.source.soundcard import SoundCard, play_and_record
shown = []
def on_block(progress):
    if progress.n_recorded > 24000 and not shown:
        shown.append(print("playing", flush=True))
try:
    play_and_record(SoundCard(device="bench"), np.full(5 * 48000, 0.3), rate_hz=48000, on_block=on_block)
except KeyboardInterrupt:
    print("interrupted", flush=True)
    sys.exit(130)
"""


def start_recorder():
    return subprocess.Popen(
        [sys.executable, "-c", RECORDER], stdout=subprocess.PIPE, cwd=TOP, text=True, start_new_session=True, env=dict(os.environ)
    )


def recorders_of(server):
    """Processes other than the bench and the recorder that use this server."""
    name = f"JACK_DEFAULT_SERVER={server.name}".encode()
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            command = (path.parent / "cmdline").read_bytes()
            if name in path.read_bytes() and b"measure.source.child" in command:
                found.append(int(path.parent.name))
        except OSError:
            continue  # it ended meanwhile, or is another user's
    return found


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_interrupted_or_killed_in_mid_sweep(live, number):
    """Ctrl-C and kill -9 alike: the output is ramped to silence, and no process stays."""
    server, bench = live()
    process = start_recorder()
    try:
        assert process.stdout.readline() == "playing\n"
        assert len(recorders_of(server)) == 1
        process.send_signal(number)
        code = process.wait(timeout=2.0)
        said = process.stdout.read()
        wait_until(lambda: not recorders_of(server), limit_s=2.0, what="the end of the recording process")
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
    assert (code, said) == ((130, "interrupted\n") if number == signal.SIGINT else (-signal.SIGKILL, ""))
    played = bench.played()
    assert 0.3 < np.count_nonzero(played) / 48000 < 2.0
    assert np.max(np.abs(played)) == np.float32(0.3)
    assert np.max(np.abs(np.diff(played))) < ramp_step(48000, 0.3)
    assert not np.any(played[-2400:])


def test_recording_process_is_killed(live):
    server, _ = live()

    def kill():
        (number,) = recorders_of(server)
        os.kill(number, signal.SIGKILL)

    with pytest.raises(ServerDiedError, match=r"ended its process by signal 9, after 1\.\d+ s of 3\.30 s") as caught:
        record(after_s=1.0, action=kill)
    assert 1.0 <= len(caught.value.samples) / 48000 < 1.5


def test_card_can_be_used_again(live):
    """By a server as people run it; one that waits for each client may wait for ever for one that was killed in its turn."""
    server, bench = live(is_patient=False)
    with pytest.raises(ServerDiedError, match="signal 9"):
        record(after_s=0.5, action=lambda: os.kill(recorders_of(server)[0], signal.SIGKILL))
    assert bench.process.poll() is None
    time.sleep(3.0)  # its limit for a client is 2 s
    assert troubles(record_cleanly(bench)) == {}


def test_hum_at_minus_20_dbfs(live):
    """Half of what the pickup gives: it is found, taken out, and the response stays right."""
    live(hum=10 ** (-20 / 20), hum_hz=50.03)
    capture = record(stimulus=short_sweep(48000, duration_s=3.0))
    assert troubles(capture) == {}
    summary = noise_summary(take_of(capture))
    assert summary["hum_hz"] == pytest.approx(50.03, abs=0.02)
    assert summary["hum_dbfs"] == pytest.approx(-20.0, abs=0.2)
    assert departure(capture)[0] < 0.05


@pytest.mark.parametrize(("level", "severity"), [(0.03, "warn"), (0.0015, "reject")])
def test_hum_at_minus_20_dbfs_above_the_signal(live, level, severity):
    live(hum=10 ** (-20 / 20))
    found = troubles(record(stimulus=short_sweep(48000, duration_s=3.0, level=level)))
    assert found["buried-in-hum"] == severity
