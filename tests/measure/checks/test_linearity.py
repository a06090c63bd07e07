"""Clipping, automatic gain and harmonics at their limits, on samples and arrivals written by hand."""

import numpy as np
import pytest

from measure.checks.clock import Pace
from measure.checks.linearity import judge_clipping, judge_gain, judge_generator, judge_input
from tests.known_arrivals import FREQUENCY_HZ, N_BLOCKS, RATE_HZ, arrival

STEADY = Pace(rate=0.0)
TONE = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)


def clipping(**channels):
    return judge_clipping(channels, n_bits=24, quiet_peaks=dict.fromkeys(channels, 0.0), rate_hz=RATE_HZ)


@pytest.mark.parametrize(("n", "severity"), [(2, "pass"), (3, "reject")])
@pytest.mark.parametrize("level", [1 - 2.0**-23, -1.0])
def test_three_samples_at_full_scale_are_one_too_many(n, severity, level):
    hit = TONE.copy()
    hit[24000 : 24000 + n] = level
    found = clipping(pickup=TONE, reference=hit)
    assert (found.code, found.severity, found.unit) == ("clipped", severity, "samples")
    assert found.figure == (n if severity == "reject" else 0)
    if severity == "reject":
        assert found.text.startswith("reference clipped: 3 samples at full scale (limit 2), first at 0.500 s")


def test_a_flat_top_below_full_scale_is_found_where_it_stands_out_of_the_silence():
    cut = np.clip(TONE, -1, 0.4)
    found = clipping(pickup=cut)
    assert found.severity == "reject"
    assert "pickup clipped below full scale" in found.text
    assert "a ceiling of -8.0 dBFS" in found.text  # 20·lg 0.4
    quiet = judge_clipping({"pickup": cut}, n_bits=24, quiet_peaks={"pickup": 0.21}, rate_hz=RATE_HZ)
    assert quiet.severity == "pass"


def test_peak_of_what_is_not_clipped_is_told_of_either_sign():
    assert "peak -6.0 dBFS" in clipping(pickup=0.1 * TONE, reference=-TONE).text
    assert clipping(pickup=np.zeros(1000)).text == "all samples are 0"


@pytest.mark.parametrize(("wander_db", "severity"), [(0.69, "pass"), (0.71, "warn"), (1.99, "warn"), (2.01, "reject")])
def test_limits_of_a_gain_that_wanders(wander_db, severity):
    corner_hz, low_hz = 5e3, 10.0
    shape = 1 / np.hypot(1, FREQUENCY_HZ / corner_hz) / np.hypot(1, low_hz / FREQUENCY_HZ)
    gain = shape * 10 ** (np.where(np.arange(N_BLOCKS) == 30, wander_db, 0.0) / 20)
    found = judge_gain(arrival(gain=gain), Pace(rate=0.0, gain_corner_hz=corner_hz, low_corner_hz=low_hz))
    assert (found.code, found.severity, found.unit) == ("automatic-gain", severity, "dB")
    assert found.figure == pytest.approx(wander_db, abs=1e-9)


def test_without_a_pace_neither_gain_nor_generator_is_judged():
    for found in (judge_gain(None, STEADY), judge_gain(arrival(), None), judge_gain(arrival(), Pace(rate=None))):
        assert (found.severity, found.figure) == ("pass", None)
    unknown = arrival(third=np.full(N_BLOCKS, np.nan))
    assert judge_generator(None).figure is judge_generator(unknown).figure is None


@pytest.mark.parametrize(("third", "severity"), [(0.0029, "pass"), (0.0031, "warn"), (0.099, "warn"), (0.101, "reject")])
def test_limits_of_the_generators_third_harmonic(third, severity):
    found = judge_generator(arrival(gain=np.full(N_BLOCKS, 0.5), third=np.full(N_BLOCKS, 0.5 * third)))
    assert (found.code, found.severity, found.unit) == ("overdriven", severity, "%")
    assert found.figure == pytest.approx(100 * third)


def test_decibels_of_a_harmonic_are_those_of_its_ratio():
    assert "third harmonic 1 % (-40 dB) of the fundamental" in judge_generator(arrival(third=np.full(N_BLOCKS, 0.01))).text


@pytest.mark.parametrize(("third", "severity"), [(0.0049, "pass"), (0.0051, "warn"), (0.049, "warn"), (0.051, "reject")])
def test_limits_of_what_the_input_adds(third, severity):
    found = judge_input(arrival(third=np.full(N_BLOCKS, third)), arrival())
    assert (found.code, found.severity, found.unit) == ("nonlinear-input", severity, "%")
    assert found.figure == pytest.approx(100 * third)


def test_what_the_generator_plays_is_not_put_down_to_the_input():
    """Its harmonic reaches the pickup at three times the frequency, where an inductive one is three times as loud."""
    rising = FREQUENCY_HZ / 20e3
    pickup = arrival(gain=rising, third=3 * rising * 0.02)
    assert judge_input(pickup, arrival(third=np.full(N_BLOCKS, 0.02))).severity == "pass"
    assert judge_input(pickup, arrival()).severity == "reject"
    # 1.5 times what is explained is let pass: of 3 · 0.02 · 2 a share of 3 · 0.02 · 0.5 is left
    doubled = judge_input(arrival(gain=rising, third=2 * 3 * rising * 0.02), arrival(third=np.full(N_BLOCKS, 0.02)))
    assert doubled.figure == pytest.approx(100 * 3 * 0.02 * 0.5, rel=0.02)  # gains between blocks are interpolated


def test_harmonics_are_looked_at_where_the_pickup_is_loud():
    gain = np.where(np.arange(N_BLOCKS) < 30, 1.0, 0.09)
    found = judge_input(arrival(gain=gain, third=np.where(gain < 0.1, 0.05, 1e-4)), arrival())
    assert found.figure == pytest.approx(0.01)
    assert judge_input(None, arrival()).figure is judge_input(arrival(), None).figure is None
