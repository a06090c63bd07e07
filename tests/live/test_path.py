"""The way through a live server is transparent: the response comes out as it was put in, and what is played is what was asked."""

import time

import numpy as np
import pytest

from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.player import RAMP_S
from measure.source.soundcard import SoundCard, play_and_record
from tests.live.playing import CARD, LEVEL, departure, record, record_cleanly, short_sweep, troubles
from tests.live.steps import ramp_step


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
def test_response_is_that_of_the_bench_and_output_is_the_stimulus(live, rate_hz):
    _, bench = live(rate_hz)
    stimulus = sweep_samples(Sweep(rate_hz=rate_hz))
    capture = record_cleanly(bench, rate_hz, stimulus=stimulus)
    assert troubles(capture) == {}
    assert capture.measured_rate_hz == pytest.approx(rate_hz, rel=0.005)

    rms_db, rms_degree = departure(capture)
    print(f"{rate_hz} Hz: {rms_db:.5f} dB and {rms_degree:.4f}° rms")
    assert rms_db < 0.01
    assert rms_degree < 0.1

    played = bench.played()
    first, first_asked = np.flatnonzero(played)[0], np.flatnonzero(stimulus)[0]
    asked = stimulus[first_asked:].astype(np.float32)
    np.testing.assert_array_equal(played[first : first + len(asked)], asked)
    assert np.max(np.abs(played)) <= np.max(np.abs(asked))


def test_take_by_n_channels(live):
    live()
    stimulus = short_sweep(48000)
    both = CARD.record(stimulus, rate_hz=48000)
    alone = CARD.record(stimulus, rate_hz=48000, n_channels=1)
    turned = SoundCard(device="bench", pickup_channel=2, reference_channel=1).record(stimulus, rate_hz=48000)
    assert both.shape == (len(stimulus) + 24000, 2)
    assert alone.shape == (len(stimulus) + 24000, 1)
    np.testing.assert_allclose(np.max(np.abs(alone[:, 0])), np.max(np.abs(both[:, 0])), rtol=1e-3)  # noise differs
    np.testing.assert_allclose(np.max(np.abs(turned), axis=0), np.max(np.abs(both), axis=0)[::-1], rtol=1e-3)


def test_output_on_the_second_channel(live):
    live(output_channel=2)
    first = record(card=SoundCard(device="bench"))
    second = record(card=SoundCard(device="bench", output_channel=2))
    # Its noise alone is now and then taken for a faint sweep: one of the two it has to be.
    assert "reject" in {troubles(first).get("silent"), troubles(first).get("low-level")}
    assert troubles(second) == {}


@pytest.mark.parametrize("rate_hz", [44100, 192000])
def test_no_click_at_start_and_end_of_what_is_not_silent_there(live, rate_hz):
    _, bench = live(rate_hz)
    record(rate_hz, stimulus=np.full(rate_hz // 2, 0.3))
    played = bench.played()
    assert np.max(np.abs(played)) == np.float32(0.3)
    assert np.max(np.abs(np.diff(played))) < ramp_step(rate_hz, 0.3)
    assert played[0] == played[-1] == 0


@pytest.mark.parametrize("rate_hz", [44100, 192000])
def test_no_click_when_stopped(live, rate_hz):
    _, bench = live(rate_hz)
    capture = record(rate_hz, stimulus=np.full(3 * rate_hz, -0.3), after_s=0.5, action=lambda: True)
    played = bench.played()
    assert capture.was_stopped
    assert 0.5 < len(capture.samples) / rate_hz < 1.2
    assert np.max(np.abs(np.diff(played))) < ramp_step(rate_hz, 0.3)
    assert not np.any(played[-round(0.1 * rate_hz) :])


def test_no_click_when_stopped_in_the_middle_of_a_sweep(live):
    _, bench = live()
    stimulus = short_sweep(48000)
    record(stimulus=stimulus, after_s=1.2, action=lambda: True)
    played = bench.played()
    assert np.max(np.abs(played)) <= np.float32(LEVEL)
    first, first_asked = np.flatnonzero(played)[0], np.flatnonzero(stimulus)[0]
    n = np.flatnonzero(played)[-1] + 1 - first
    asked = stimulus[first_asked : first_asked + n]
    gain_times_sweep = played[first : first + n]
    assert np.max(np.abs(np.diff(gain_times_sweep))) <= np.max(np.abs(np.diff(asked))) + ramp_step(48000, LEVEL)
    n_ramp = round(RAMP_S * 48000)
    np.testing.assert_array_equal(gain_times_sweep[: -n_ramp - 1], asked[: -n_ramp - 1].astype(np.float32))
    assert np.all(np.abs(gain_times_sweep) <= np.abs(asked.astype(np.float32)))


def test_no_click_when_the_caller_fails(live):
    _, bench = live()

    def fail():
        msg = "a screen that cannot be drawn"
        raise KeyError(msg)

    with pytest.raises(KeyError, match="cannot be drawn"):
        record(stimulus=np.full(48000 * 3, 0.3), after_s=0.5, action=fail)
    time.sleep(0.3)
    played = bench.played()
    assert not np.any(played[-4800:])
    assert np.max(np.abs(np.diff(played))) < ramp_step(48000, 0.3)
    assert 0.4 < np.count_nonzero(played) / 48000 < 1.2


def test_tone_that_repeats_until_it_is_stopped(live):
    _, bench = live()
    tone = 0.1 * np.sin(2 * np.pi * 10 * np.arange(4800) / 4800)
    seen = []

    def on_block(progress):
        seen.append(progress.n_recorded)
        assert progress.n_wanted is None
        return progress.n_recorded > 2 * 48000

    capture = play_and_record(CARD, tone, rate_hz=48000, on_block=on_block, repeats=True)
    played = bench.played()
    sounding = played[np.flatnonzero(played)[0] : np.flatnonzero(played)[-1] + 1]
    assert capture.was_stopped
    assert seen == sorted(seen)
    assert 2.0 < len(sounding) / 48000 < 2.5
    assert np.max(np.abs(played)) <= np.float32(0.1)
    steady = sounding[4800:-4800]
    np.testing.assert_array_equal(steady[: len(steady) - 4800], steady[4800:])
    assert np.max(np.abs(np.diff(played))) < 1.01 * np.max(np.abs(np.diff(tone))) + ramp_step(48000, 0.1)
