"""Walls that resampling leaves, by a polyphase resampler not written here; what only rolls off is none."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
import scipy.signal

from measure.checks import resampling
from measure.checks.resampling import judge_resampling
from measure.signal.stimulus import Sweep, sweep_samples
from measure.transfer.assessment import assess
from measure.transfer.loopback import solve_loopback
from tests.draws import some
from tests.two_inputs import MADE, mismatch, output, played, recorded

NOISE = 1e-4  # of full scale
STEEP = 40  # [1] half of the filter's length, in samples of the lower rate: as good resamplers have it


def sweep(rate_hz):
    return sweep_samples(Sweep(rate_hz=rate_hz, duration_s=2.0))


def resampled(samples, rate_hz, between_hz, *, steep=True):
    """To another rate and back, as a shared card that runs at it."""
    ratio = Fraction(between_hz, rate_hz)
    most = max(ratio.numerator, ratio.denominator)
    window = scipy.signal.firwin(2 * STEEP * most + 1, 0.95 / most, window=("kaiser", 9)) if steep else ("kaiser", 5.0)
    low = scipy.signal.resample_poly(samples, ratio.numerator, ratio.denominator, window=window)
    return scipy.signal.resample_poly(low, ratio.denominator, ratio.numerator, window=window)


def noisy(samples):
    return samples + NOISE * np.random.default_rng(1).standard_normal(len(samples))


def late(samples, rate_hz):
    return np.concatenate([np.zeros(rate_hz // 50), samples, np.zeros(rate_hz // 4)])


@pytest.mark.parametrize(
    ("rate_hz", "between_hz", "steep"),
    [
        (48000, 44100, True),
        (48000, 32000, True),
        (48000, 22050, False),
        (44100, 32000, False),
        (96000, 48000, True),
        (96000, 48000, False),
        (96000, 44100, True),
        (192000, 96000, True),
        (192000, 48000, False),
    ],
)
def test_a_stream_that_went_through_a_lower_rate_is_found(rate_hz, between_hz, steep):
    stimulus = sweep(rate_hz)
    found = judge_resampling(noisy(resampled(late(stimulus, rate_hz), rate_hz, between_hz, steep=steep)), stimulus, rate_hz)
    assert (found.code, found.severity, found.unit) == ("resampled", "warn", "Hz")
    assert 0.43 * between_hz < found.figure <= 0.5 * between_hz
    assert f"above {found.figure / 1000:.1f} kHz" in found.text


@pytest.mark.parametrize(("between_hz", "told"), [(48000, "48 kHz"), (44100, "44.1 kHz"), (32000, "32 kHz")])
def test_the_likely_rate_is_told(between_hz, told):
    stimulus = sweep(96000)
    found = judge_resampling(noisy(resampled(late(stimulus, 96000), 96000, between_hz)), stimulus, 96000)
    assert f"as a stream of {told} has it" in found.text


@pytest.mark.parametrize("rate_hz", some([48000, 96000], 1))
@pytest.mark.parametrize("order", [1, 2, 4, 6])
@pytest.mark.parametrize("corner", some([0.02, 0.4, 0.44, 0.1, 0.2, 0.3], 3))
def test_a_soft_roll_off_is_no_wall(rate_hz, order, corner):
    samples = late(sweep(rate_hz), rate_hz)
    hz = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    poles = scipy.signal.butter(order, 2 * np.pi * corner * rate_hz, analog=True)
    soft = np.fft.irfft(np.fft.rfft(samples) * scipy.signal.freqs(*poles, 2 * np.pi * hz)[1], len(samples))
    assert judge_resampling(noisy(soft), sweep(rate_hz), rate_hz) is None


@pytest.mark.parametrize("late_s", [0.6, 1.0, 3.0])
def test_silence_before_the_sweep_is_no_wall_and_hides_none(late_s):
    stimulus, silence = sweep(48000), np.zeros(round(late_s * 48000))
    assert judge_resampling(noisy(np.concatenate([silence, late(stimulus, 48000)])), stimulus, 48000) is None
    walled = np.concatenate([silence, resampled(late(stimulus, 48000), 48000, 32000)])
    assert judge_resampling(noisy(walled), stimulus, 48000).code == "resampled"


@pytest.mark.parametrize("missing_s", [-0.3, 0.3])
def test_a_sweep_that_is_cut_short_has_no_wall(missing_s):
    stimulus = sweep(48000)
    n = round(missing_s * 48000)
    begin, end = np.flatnonzero(stimulus)[[0, -1]]
    samples = noisy(stimulus)[: end - n] if n > 0 else noisy(stimulus)[begin - n :]
    assert judge_resampling(samples, stimulus, 48000) is None


@pytest.mark.parametrize("edge", [0.465, 0.49])
def test_the_converters_own_wall_is_no_finding(edge):
    own = scipy.signal.firwin(255, 2 * edge, window=("kaiser", 8))
    samples = scipy.signal.lfilter(own, 1, late(sweep(48000), 48000))
    assert judge_resampling(noisy(samples), sweep(48000), 48000) is None


def test_what_tells_nothing_is_not_judged():
    stimulus = sweep(48000)
    silent = noisy(np.zeros(len(stimulus) + 24000))
    hiss = np.random.default_rng(2).standard_normal(96000) * 0.1
    walled = resampled(hiss, 48000, 32000)
    assert judge_resampling(silent, stimulus, 48000) is None
    assert judge_resampling(walled, hiss, 48000) is None
    assert judge_resampling(silent, np.zeros(48000), 48000) is None
    assert judge_resampling(silent[:1000], stimulus, 48000) is None


def through(recording, between_hz):
    """The same recording, its two channels by way of another rate."""
    columns = [resampled(column, recording.rate_hz, between_hz) for column in recording.samples.T]
    return replace(recording, samples=np.stack(columns, axis=1)[: len(recording.samples)])


@pytest.mark.long
def test_a_loopback_and_a_take_with_a_reference_tell_it(monkeypatch):
    recording = recorded(lambda f: output(f) * mismatch(f), seed=1)
    both = ((recording, 0), (through(recording, 32000), 1))
    for one, n in both:
        found = solve_loopback([one], stimulus=played(), time_utc=MADE).findings
        assert len([each for each in found if each.code == "resampled"]) == n
    monkeypatch.delattr(resampling, "find_latency")  # the check of a take has found the sweep already
    for one, n in both:
        judged = assess([one], stimulus=played())
        assert len([each for each in judged.findings if each.code == "resampled"]) == n
    alone = replace(through(recording, 32000), reference_channel=None)
    assert "resampled" not in [each.code for each in assess([alone], stimulus=played()).findings]
