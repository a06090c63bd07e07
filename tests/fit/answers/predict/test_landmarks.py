"""Peaks and corners of a resonance whose formula is known, and how they move with what it is made of."""

import numpy as np
import pytest

from fit.answers.predict.landmarks import find_corner, find_peak, relative_slopes
from fit.circuit.transfers import Transfer

GRID_HZ = np.geomspace(20.0, 20e3, 240)  # 24 an octave


# A / (1 − u² + ju/Q), u = f/f0.
def resonance(quality, *, f0_hz=3e3, size=2.0):
    def solve(frequency_hz):
        u = np.asarray(frequency_hz) / f0_hz
        plain = 1 / (1 - u**2 + 1j * u / quality)
        by_frequency = -(plain**2) * (-2 * u**2 + 1j * u / quality)
        rows = {"size": plain, "f0": -by_frequency, "quality": plain**2 * 1j * u / quality}
        zero = np.zeros_like(plain)
        return Transfer(
            voltage=size * np.array([zero, plain]),
            by_log={key: size * np.array([zero, row]) for key, row in rows.items()},
            by_log_frequency=size * np.array([zero, by_frequency]),
        )

    return solve


# A / (1 + jf/f0).
def low_pass(*, f0_hz=1e3):
    def solve(frequency_hz):
        u = np.asarray(frequency_hz) / f0_hz
        plain = 1 / (1 + 1j * u)
        by_frequency = -(plain**2) * 1j * u
        return Transfer(voltage=plain[None], by_log={"f0": -by_frequency[None]}, by_log_frequency=by_frequency[None])

    return solve


@pytest.mark.parametrize("quality", [0.8, 2.0, 10.0])
def test_peak_of_a_resonance(quality):
    # At f0·√(1 − 1/(2Q²)), as high as Q/√(1 − 1/(4Q²)).
    spot = find_peak(resonance(quality), GRID_HZ, 1)
    u_square = 1 - 1 / (2 * quality**2)
    assert spot.frequency_hz == pytest.approx(3e3 * np.sqrt(u_square), rel=1e-7)
    assert spot.log_gain == pytest.approx(np.log(2 * quality / np.sqrt(1 - 1 / (4 * quality**2))), rel=1e-9)
    expected = {"size": 0.0, "f0": 1.0, "quality": 1 / (2 * quality**2 * u_square)}
    assert spot.frequency_slopes == pytest.approx(expected, abs=2e-4)  # by differences of a thousandth
    by_quality = 1 - 1 / (4 * quality**2 - 1)
    assert spot.gain_slopes == pytest.approx({"size": 1.0, "f0": 0.0, "quality": by_quality}, abs=1e-6)


def test_what_is_no_peak():
    assert find_peak(resonance(0.74), GRID_HZ, 1) is None  # rises by 0.03 dB
    assert find_peak(low_pass(), GRID_HZ, 0) is None
    assert find_peak(resonance(2.0), GRID_HZ, 0) is None  # silent
    assert find_peak(resonance(2.0), GRID_HZ[GRID_HZ < 2e3], 1) is None  # beyond the end


def test_the_higher_of_two_peaks():
    def solve(frequency_hz):
        low, high = resonance(3.0, f0_hz=500.0)(frequency_hz), resonance(8.0)(frequency_hz)
        return Transfer(
            voltage=low.voltage + high.voltage,
            by_log={},
            by_log_frequency=low.by_log_frequency + high.by_log_frequency,
        )

    assert find_peak(solve, GRID_HZ, 1).frequency_hz == pytest.approx(3e3, rel=0.02)


def test_corner_of_a_low_pass():
    # Half of the power at 20 Hz: u² = 1 + 2·u(20 Hz)².
    spot = find_corner(low_pass(), GRID_HZ, 0)
    u_low = 20.0 / 1e3
    u_corner = np.sqrt(1 + 2 * u_low**2)
    assert spot.frequency_hz == pytest.approx(1e3 * u_corner, rel=1e-8)
    assert spot.log_gain == pytest.approx(-0.5 * np.log(2 * (1 + u_low**2)), rel=1e-8)
    assert spot.frequency_slopes["f0"] == pytest.approx(1 - 2 * u_low**2 / u_corner**2, rel=1e-6)
    assert spot.gain_slopes["f0"] == pytest.approx(u_corner**2 / (1 + u_corner**2), rel=1e-6)


def test_what_has_no_corner():
    assert find_corner(low_pass(f0_hz=1e6), GRID_HZ, 0) is None
    assert find_corner(resonance(2.0), GRID_HZ, 0) is None
    corner = find_corner(resonance(2.0), GRID_HZ, 1)  # the first fall is behind the peak
    assert corner.frequency_hz > 3e3


def test_slopes_of_the_logarithm():
    transfer = low_pass()(np.array([1e3]))  # −jf/f0/(1 + jf/f0) by f, at f0: −(1 + j)/2
    assert relative_slopes(transfer, 0)["f0"] == pytest.approx(np.array([(1 + 1j) / 2]), rel=1e-12)
