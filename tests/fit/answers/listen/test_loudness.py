"""Loudness: the weighting where the recommendation says what it is, energies by hand."""

import numpy as np
import pytest

from fit.answers.listen.loudness import k_weight, weighted_energy


def level_db(*frequency_hz):
    return 10 * np.log10(k_weight(np.array(frequency_hz)))


def test_weighting_at_its_landmarks():
    # BS.1770 takes 0.691 dB off, so that a tone of 997 Hz keeps its level; the shelf lifts the treble by 4 dB; the high-pass of
    # 38.1 Hz and Q 0.5 is 6 dB down there.
    assert level_db(997.0) == pytest.approx(0.691, abs=2e-3)
    assert level_db(20e3) == pytest.approx(4.0, abs=0.05)
    assert level_db(38.135) == pytest.approx(-6.02, abs=0.06)
    assert level_db(3.8)[0] - level_db(1.9)[0] == pytest.approx(12.0, abs=0.15)  # second order
    assert k_weight(np.array([0.0])) == pytest.approx(0.0, abs=1e-20)


def test_above_24_khz_the_weight_is_held():
    assert k_weight(np.array([30e3, 96e3])) == pytest.approx(k_weight(np.array([24e3, 24e3])), rel=1e-12)
    assert k_weight(np.array([23e3])) != k_weight(np.array([24e3]))


@pytest.mark.parametrize("rate_hz", [44100.0, 96000.0])
def test_energy_of_a_tone(rate_hz):
    n = int(rate_hz)  # one second: not a power of two
    tone = 0.3 * np.sin(2 * np.pi * 997 * np.arange(n) / rate_hz)
    expected = n * 0.3**2 / 2 * 10**0.0691
    assert weighted_energy(tone[:, None], rate_hz) == pytest.approx(expected, rel=2e-3)
    both = np.column_stack([tone, 2 * tone])  # channels add up
    assert weighted_energy(both, rate_hz) == pytest.approx(5 * expected, rel=2e-3)


def test_energy_of_one_sample_is_the_mean_weight():
    # The spectrum of a single sample is flat: its energy is the weight averaged from −f/2 to f/2, both ends counted once.
    click = np.zeros((1024, 1))
    click[100] = 1.0
    weight = k_weight(np.abs(np.fft.fftfreq(1024, 1 / 48000.0)))
    assert weighted_energy(click, 48000.0) == pytest.approx(float(np.mean(weight)), rel=1e-12)
    assert weighted_energy(click[:600], 48000.0) == pytest.approx(float(np.mean(weight)), rel=1e-12)  # filled up to 1024


def test_silence_has_no_energy():
    assert weighted_energy(np.zeros((100, 2)), 48000.0) == 0.0
