"""Repeated blocks told from periods of a tone, on samples rounded to 16 bits without dither."""

import numpy as np
import pytest

from measure.checks.waveform import find_full_scale, find_repeats
from tests import simulated_cases as simulated

RATE_HZ = 48000
CODE = 2.0**-15


def rounded(samples):
    return np.rint(samples / CODE) * CODE


def rising(*, growth_s, peak_codes, start_hz=500.0, noise_codes=0.0, rate_hz=RATE_HZ):
    """An exponential sweep of 1 s; noise-free it repeats itself wherever its period is a whole number of samples."""
    time_s = np.arange(rate_hz) / rate_hz
    wave = peak_codes * np.sin(2 * np.pi * start_hz * growth_s * np.expm1(time_s / growth_s))
    return rounded(CODE * (wave + noise_codes * np.random.default_rng(1).normal(size=len(wave))))


@pytest.mark.parametrize("peak_codes", [20.0, 300.0, 20000.0])
@pytest.mark.parametrize(("growth_s", "start_hz"), [(0.5, 1000.0), (4.0, 2800.0), (80.0, 2990.0)])
def test_periods_of_a_sweep_are_no_repeats(peak_codes, growth_s, start_hz):
    assert find_repeats(rising(growth_s=growth_s, peak_codes=peak_codes, start_hz=start_hz), n_bits=16) == []


@pytest.mark.parametrize("n", [64, 128, 1024])
@pytest.mark.parametrize("at", [30000, 50000, (1 << 16) + 10])
def test_a_repeated_block_is_found(n, at):
    clean = rising(growth_s=1.0, peak_codes=300.0, noise_codes=0.4, rate_hz=2 * RATE_HZ)
    assert find_repeats(clean, n_bits=16) == []
    assert find_repeats(np.insert(clean, at, clean[at - n : at]), n_bits=16) == [at]


@pytest.mark.slow
def test_quiet_recordings_without_dither_hold_no_repeats():
    for seed in range(300, 320):
        rng = np.random.default_rng(seed)
        pickup = simulated.draw_single(rng)
        card = simulated.replace(simulated.draw_card(rng), bits=16, noise_dbfs=rng.uniform(-110, -98))
        clean = simulated.clean_take(pickup, simulated.Load(), card)[:, 0]
        clean = clean / np.max(np.abs(clean))
        background = simulated.noise(rng, len(clean), card) + simulated.hum(rng, len(clean), card)
        for level in (0.01, 0.03, 0.1):
            assert find_repeats(rounded(level * clean + background), n_bits=16) == [], (seed, level)


def test_full_scale_of_integers_is_within_a_code_and_a_half_of_it():
    """Two's complement reaches −1 and 1 − 2^(1 − bits); converters stop a code or two before."""
    samples = np.zeros(100)
    samples[[10, 20, 30]] = [1 - CODE, 1 - 2 * CODE, 1 - 3 * CODE]
    found = find_full_scale(samples, n_bits=16)
    assert (found.n_samples, found.first, found.level) == (2, 10, 1 - CODE)
    samples[[5, 6, 7]] = [-1.0, -1 + CODE, -1 + 2 * CODE]
    found = find_full_scale(samples, n_bits=16)
    assert (found.n_samples, found.first, found.level) == (4, 5, 1.0)
    assert find_full_scale(0.5 * samples, n_bits=16) is None


def test_full_scale_of_floats_is_a_peak_that_comes_again():
    samples = np.linspace(-0.5, 0.97, 100)
    assert find_full_scale(np.append(samples, 0.97), n_bits=None) is None  # below where a float format is cut
    assert find_full_scale(np.append(samples, 0.99), n_bits=None) is None  # once
    found = find_full_scale(np.append(samples, [1.2, 0.0, 1.2]), n_bits=None)
    assert (found.n_samples, found.first, found.level) == (2, 100, 1.2)
