"""The recording process and its parent, with a stand-in for PortAudio that fails on demand; tests/live has the real one."""

import signal
import threading
import time

import numpy as np
import pytest

from measure.errors import (
    DeviceGoneError,
    MeasureError,
    NoProgressError,
    OpenError,
    RateError,
    ServerDiedError,
    UnknownDeviceError,
)
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source import soundcard
from measure.source.interface import Source
from measure.source.soundcard import SoundCard, play_and_record, require_card
from tests.scripted_process import LATE, Process, told

CARD = SoundCard(device="card")
RATE_HZ = 48000
HANGING_S = 30.0  # [s] six times the deadline, so that a busy machine is not blamed


def short_sweep(duration_s=0.5):
    return sweep_samples(Sweep(rate_hz=RATE_HZ, duration_s=duration_s, before_s=0.1, after_s=0.1, level=0.25))


def record(stimulus=None, *, card=CARD, **options):
    """Record, with a watch: a card that hangs does so for a minute, the deadlines of the code come to five seconds."""
    stimulus = short_sweep() if stimulus is None else stimulus
    start_s = time.monotonic()
    try:
        return play_and_record(card, stimulus, rate_hz=RATE_HZ, **options)
    finally:
        assert time.monotonic() - start_s < HANGING_S


def finding(capture, code):
    (found,) = [each for each in capture.findings if each.code == code]
    return found


@pytest.mark.long
def test_what_is_played_is_recorded_and_nothing_else(fake):
    fake()
    stimulus = short_sweep()
    capture = record(stimulus)
    np.testing.assert_array_equal(capture.played, stimulus.astype(np.float32))
    # The card's own delay is one block.
    heard = capture.samples[480 : 480 + len(stimulus)]
    np.testing.assert_allclose(heard, np.stack([stimulus] * 2, axis=1), atol=6e-4)  # six σ of its noise
    assert np.max(np.abs(capture.samples[480 + len(stimulus) :])) < 6e-4
    assert len(capture.samples) == len(stimulus) + RATE_HZ // 2
    assert [each.severity for each in capture.findings] == ["pass"] * 4
    assert capture.output == capture.input == "card (Plain)"
    assert capture.drift_ppm is None
    assert capture.library_text == ""


@pytest.mark.long
@pytest.mark.parametrize(
    ("host_api", "refuses", "severity"),
    [
        ("Windows WASAPI", [], "pass"),
        ("Core Audio", [], "pass"),
        ("Windows WASAPI", ["Device unavailable", -9985], "warn"),
        ("Core Audio", ["Invalid sample rate", -9997], "warn"),
        ("MME", [], "warn"),
    ],
)
def test_a_card_that_the_system_may_resample_is_recorded_and_that_is_told(fake, host_api, refuses, severity):
    fake(host_apis=[host_api], refuses_exact=refuses)
    stimulus = short_sweep()
    capture = record(stimulus)
    found = finding(capture, "shared-mode")
    assert found.severity == severity
    assert not refuses or f"(card: {refuses[0]}), so it was opened in shared mode" in found.text
    np.testing.assert_allclose(capture.samples[480 : 480 + len(stimulus), 0], stimulus, atol=6e-4)


def test_card_is_a_source():
    source: Source = CARD
    assert source.describe() == "card"
    assert SoundCard(device="a", input_device="b", host_api="c").describe() == "a to b (c)"
    assert SoundCard().describe() == "default sound card"


@pytest.mark.long
def test_libraries_that_print_disturb_nothing_and_are_kept(fake, capfd):
    fake(prints=True)
    capture = record()
    assert capture.library_text == "ALSA lib: on stdout\nALSA lib: on stderr"
    assert finding(capture, "unplugged").severity == "pass"
    assert capfd.readouterr() == ("", "")


@pytest.mark.long
@pytest.mark.parametrize(
    ("settings", "error", "words"),
    [
        ({"hangs": "import"}, NoProgressError, r"did not open within 2\.8 s"),
        pytest.param({"hangs": "open"}, NoProgressError, r"did not open within 2\.8 s", marks=pytest.mark.slow),
        ({"hangs": "start"}, NoProgressError, r"no sound came from the card \(nothing for 1\.3 s\), after 0\.00 s of 1\.20 s"),
        ({"ends_after_s": 0.5}, DeviceGoneError, r"the sound card went after 0\.\d+ s of 1\.20 s\. Plug it in again"),
        ({"ends_after_s": 0.5, "host_apis": ["PulseAudio"]}, ServerDiedError, r"the sound server went after 0\.\d+ s"),
        ({"fails": ["Device unavailable", -9985]}, OpenError, r"card \(Plain\): .* does not open \(Device unavailable\)"),
        ({"rates_hz": [96000]}, RateError, "card .*does not open at 48000 Hz; its own rate is 48000 Hz"),
        ({"pace": 0.2}, NoProgressError, r"delivered only 0\.\d+ s of 1\.20 s within 2\.7 s.*48000 Hz asked for"),
        ({"rates_hz": "not a list"}, OpenError, r"ended \(exit code 1\), before the card was open\. --debug shows"),
    ],
    ids=["import", "open", "start", "gone", "server", "busy", "rate", "slow", "own-fault"],
)
def test_trouble_has_a_name_within_the_deadline(fake, settings, error, words, capfd):
    fake(**settings)
    with pytest.raises(error, match=words) as caught:
        record()
    assert type(caught.value) is error
    assert caught.value.exit_code == 4
    assert isinstance(caught.value, MeasureError)
    assert "\n" not in str(caught.value)
    if "ended" in words:
        assert "TypeError" in caught.value.__notes__[0]
    assert capfd.readouterr() == ("", "")


@pytest.mark.long
def test_what_had_come_is_kept(fake):
    fake(ends_after_s=0.7)
    with pytest.raises(DeviceGoneError, match="went") as caught:
        record()
    # 0.2 s of the 0.7 s are silence before the stimulus.
    assert len(caught.value.samples) == pytest.approx(0.5 * RATE_HZ, abs=960)
    assert np.max(np.abs(caught.value.samples)) == pytest.approx(0.25, abs=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("place", ["abort", "terminate"])
def test_card_that_hangs_at_the_end_costs_a_second_and_no_sample(fake, place):
    fake(hangs=place)
    capture = record()
    assert len(capture.samples) == len(short_sweep()) + RATE_HZ // 2


@pytest.mark.slow
@pytest.mark.parametrize(("pace", "severity"), [(44100 / 48000, "reject"), (1.01, "warn")])
def test_card_whose_two_directions_share_a_wrong_clock(fake, pace, severity):
    """Nothing in the recording shows it: frequencies would be as wrong as the clock."""
    fake(pace=pace)
    capture = record(short_sweep(1.5))
    found = finding(capture, "delivery-rate")
    assert found.severity == severity
    assert capture.measured_rate_hz == pytest.approx(RATE_HZ * pace, rel=3e-3)
    assert f"samples came at {found.figure:.0f} a second" in found.text


@pytest.mark.long
def test_lost_samples_that_the_card_reports(fake):
    fake(flags_at=50)
    found = finding(record(), "stream-flags")
    assert (found.severity, found.figure) == ("warn", 1.0)
    # Block 50 begins at 0.50 s, 0.2 s of it before the recording.
    assert "reported input overflow 1 time, first at 0.30 s" in found.text


@pytest.mark.long
def test_zeros_in_the_middle(fake):
    fake(zeros_s=[0.9, 0.92])
    capture = record(short_sweep(0.8))
    found = finding(capture, "exact-zeros")
    assert found.severity == "reject"
    assert "zeros for 20.0 ms from 0.70 s" in found.text
    assert finding(capture, "unplugged").severity == "pass"


@pytest.mark.long
def test_stopped_by_the_caller(fake):
    fake()
    capture = record(np.full(3 * RATE_HZ, 0.2), on_block=lambda progress: progress.n_recorded > RATE_HZ // 2)
    assert capture.was_stopped
    steps = np.abs(np.diff(capture.samples[:, 0]))
    assert np.max(steps) < 0.2 * np.pi / (2 * 960) + 2e-3  # the ramp's, and the noise
    assert np.max(np.abs(capture.samples[-480:])) < 6e-4


@pytest.mark.long
def test_interrupted(fake):
    """Ctrl-C while the main thread waits: the process is told, and gone, before the interrupt goes on."""
    fake()
    timer = threading.Timer(0.9, signal.raise_signal, args=(signal.SIGINT,))
    timer.start()
    with pytest.raises(KeyboardInterrupt):
        record(np.full(3 * RATE_HZ, 0.2))
    timer.join()


@pytest.mark.parametrize(
    ("stimulus", "options", "words"),
    [
        (np.zeros((3, 2)), {}, "one row of finite samples"),
        (np.zeros(0), {}, "one row of finite samples"),
        (np.array([0.0, 1.1]), {}, "within full scale"),
        (np.array([0.0, np.nan]), {}, "finite"),
        (np.zeros(9), {"n_channels": 3}, "3 channels asked for"),
        (np.zeros(9), {"repeats": True}, "needs on_block"),
    ],
)
def test_wrong_calls(stimulus, options, words):
    with pytest.raises(ValueError, match=words):
        play_and_record(CARD, stimulus, rate_hz=RATE_HZ, **options)


@pytest.mark.parametrize("channels", [{"output_channel": 0}, {"pickup_channel": 2}, {"reference_channel": 0}])
def test_wrong_channels(channels):
    with pytest.raises(ValueError, match="channels count from 1"):
        SoundCard(**channels)


@pytest.mark.long
def test_one_channel_alone_needs_no_reference(fake):
    fake()
    alone = SoundCard(device="card", reference_channel=None)
    assert alone.record(short_sweep(), rate_hz=RATE_HZ, n_channels=1).shape[1] == 1
    with pytest.raises(ValueError, match="reference None"):
        alone.record(short_sweep(), rate_hz=RATE_HZ)


@pytest.mark.slow
def test_slow_screen_costs_no_sample(fake):
    """What the caller does with the blocks may take its time; the card is not blamed for it."""
    fake()
    capture = record(on_block=lambda _: time.sleep(0.03))
    assert len(capture.samples) == len(short_sweep()) + RATE_HZ // 2
    assert finding(capture, "delivery-rate").severity == "pass"


def test_a_card_is_looked_for_by_its_names_and_not_opened(monkeypatch):
    orders = []

    def start(order):
        orders.append(order)
        return Process(*answers.pop(0))

    monkeypatch.setattr(soundcard, "RecordingProcess", start)
    answers = [[told("done", output="a", input="b")], [told("error", error="UnknownDeviceError", text="none of that name")]]
    answers += [[LATE], []]
    require_card(SoundCard(device="a", input_device="b", host_api="Plain"))
    sides = {"output": {"device": "a", "host_api": "Plain"}, "input": {"device": "b", "host_api": "Plain"}}
    assert orders == [{"task": "find", **sides}]
    with pytest.raises(UnknownDeviceError, match="none of that name"):
        require_card(SoundCard())
    with pytest.raises(NoProgressError, match="did not answer within 6 s"):
        require_card(SoundCard())
    with pytest.raises(OpenError, match="ended"):
        require_card(SoundCard())
