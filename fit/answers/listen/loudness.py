"""How loud a recording is, for comparing two: power under the K-weighting of ITU-R BS.1770.

A plain mean of the power under-rates treble and over-rates bass that is hardly heard. No gating: silence is in both recordings
alike, so it does not move their ratio.
"""

from functools import lru_cache

import numpy as np

from measure.response import ComplexArray, FloatArray

# ITU-R BS.1770-4, annex 1, tables 1 and 2: b and a of the shelf and of the high-pass, at 48 kHz.
K_RATE_HZ = 48000.0
K_SHELF = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
K_HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))


def k_weight(frequency_hz: FloatArray) -> FloatArray:
    """Power gain of the K-weighting.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Frequencies; above 24 kHz the gain at 24 kHz holds. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Square of the magnitude. [1]

    References
    ----------
    ITU-R BS.1770-4, Algorithms to measure audio programme loudness and true-peak audio level (2015), annex 1.
    """
    z = np.exp(-2j * np.pi * np.minimum(frequency_hz, K_RATE_HZ / 2) / K_RATE_HZ)
    gain: ComplexArray = np.ones(len(z), dtype=complex)
    for b, a in (K_SHELF, K_HIGH_PASS):
        gain = gain * np.polyval(b[::-1], z) / np.polyval(a[::-1], z)
    return np.abs(gain) ** 2


def weighted_energy(block: FloatArray, rate_hz: float) -> float:
    """K-weighted energy of a block, all channels together.

    Parameters
    ----------
    block : ndarray, shape (n, channels)
        Full scale is 1.
    rate_hz : float
        Sample rate. [Hz]

    Returns
    -------
    float
        Sum of the squares of the weighted samples. [1]
    """
    n = 1 << (len(block) - 1).bit_length()
    spectrum = np.fft.rfft(block.T, n)
    return float(np.sum(_weights(n, rate_hz) * (spectrum.real**2 + spectrum.imag**2)) / n)


# Blocks are of one length, but for the last.
@lru_cache(maxsize=4)
def _weights(n: int, rate_hz: float) -> FloatArray:
    weight = 2.0 * k_weight(np.arange(n // 2 + 1) * rate_hz / n)
    weight[0] /= 2
    weight[n // 2] /= 2
    weight.setflags(write=False)
    return weight
