"""The line of an exponential sweep, against the formula that it was made by."""

import numpy as np
import pytest
from scipy.signal import chirp

from measure.checks import sweepline
from measure.checks.sweepline import Line, find_line

RATE_HZ = 48000
START_HZ, STOP_HZ, DURATION_S, BEFORE_S = 50.0, 16000.0, 2.0, 0.4
GROWTH_S = DURATION_S / np.log(STOP_HZ / START_HZ)  # Farina 2000: f = start · exp(t / growth)
ZERO_S = BEFORE_S - GROWTH_S * np.log(START_HZ)


def swept(*, noise=1e-4, level=0.5, sign=1.0):
    time_s = np.arange(round(3 * RATE_HZ)) / RATE_HZ - BEFORE_S
    phase = 2 * np.pi * START_HZ * GROWTH_S * np.expm1(time_s / GROWTH_S)
    wave = np.where((time_s >= 0) & (time_s < DURATION_S), level * sign * np.sin(phase), 0.0)
    return wave + noise * np.random.default_rng(1).normal(size=len(wave))


def test_a_line_is_one_hertz_at_its_zero_and_rises_e_fold_in_its_growth():
    line = Line(growth_s=0.5, zero_s=-2.0)
    np.testing.assert_allclose(line.frequency_hz(np.array([-2.0, -1.5, 0.0])), [1.0, np.e, np.e**4], rtol=1e-12)
    assert line.time_s(np.e**4) == pytest.approx(0.0, abs=1e-12)
    assert line.time_s(1.0) == -2.0


@pytest.mark.parametrize(("noise", "level", "sign"), [(1e-4, 0.5, 1.0), (1e-4, 0.01, -1.0), (0.05, 0.5, 1.0)])
def test_growth_place_and_phase_of_a_sweep_are_found(noise, level, sign):
    found = find_line(swept(noise=noise, level=level, sign=sign), RATE_HZ)
    assert found.line.growth_s == pytest.approx(GROWTH_S, rel=1e-5)
    at_s = BEFORE_S + GROWTH_S * np.log(1000 / START_HZ) + 0.5 / RATE_HZ  # differences stand for the middle of two samples
    assert found.line.time_s(1000.0) == pytest.approx(at_s, abs=1e-6)
    assert BEFORE_S + 0.9 * DURATION_S < found.last_s < BEFORE_S + DURATION_S
    # sin 2π(growth·f − growth·start): of either polarity, so half a turn more or less is the same
    half_turns = 2 * (found.turns - GROWTH_S * START_HZ)
    assert half_turns == pytest.approx(round(half_turns), abs=0.04)


def test_lost_samples_make_two_lines_of_which_the_longer_counts():
    for at_s, shift_s in ((1.2, -0.01), (2.1, 0.0)):  # from 600 Hz on the sweep lasts from 1.26 s to 2.4 s
        at = round(at_s * RATE_HZ)
        broken = np.delete(swept(), np.arange(at, at + 480))
        found = find_line(broken, RATE_HZ)
        assert found.line.time_s(1000.0) == pytest.approx(BEFORE_S + GROWTH_S * np.log(1000 / START_HZ) + shift_s, abs=2e-5)


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(3 * RATE_HZ),
        np.random.default_rng(1).normal(size=3 * RATE_HZ),
        np.sin(2 * np.pi * 3000 * np.arange(3 * RATE_HZ) / RATE_HZ),
        chirp(np.arange(3 * RATE_HZ) / RATE_HZ, 50, 3.0, 16000),
        swept()[::-1].copy(),
        np.where(np.arange(3 * RATE_HZ) < 1.7 * RATE_HZ, swept(), 0.0),  # 600 Hz to 2.1 kHz
        np.zeros(10),
    ],
    ids=["silence", "noise", "tone", "linear", "falling", "short", "nothing"],
)
def test_what_draws_no_long_line_is_none(samples):
    assert find_line(samples, RATE_HZ) is None


@pytest.mark.parametrize(("growth_s", "zero_s"), [(0.3, -1.0), (2.0, -8.0)])
def test_least_squares_of_exact_frequencies_give_the_line_back(growth_s, zero_s):
    time_s = np.linspace(0.2, 1.7, 40)
    found = sweepline._fit_line(time_s, (time_s - zero_s) / growth_s)
    assert (found.growth_s, found.zero_s) == (pytest.approx(growth_s, rel=1e-12), pytest.approx(zero_s, rel=1e-12))
    assert sweepline._fit_line(time_s, -time_s) is None  # falls
    assert sweepline._fit_line(time_s, time_s / 30.1) is None  # slower than any that is looked for
    assert sweepline._fit_line(time_s[:11], time_s[:11]) is None
