"""A filter from its magnitude alone: causal, stable, without pre-ringing; and its use on a long recording, block by block."""

from collections.abc import Iterable, Iterator

import numpy as np

from measure.response import ComplexArray, FloatArray

DESIGN_S = 2.5  # [s] of the design: longer than anything in a guitar rings, so that nothing wraps around
TAIL = 1e-12  # [1] share of the energy that is cut off at the end: 120 dB down
LONGEST_S = 1.5  # [s] of an impulse response
FADE = 0.125  # [1] of the length, over which the end is faded out


def design_size(rate_hz: float) -> int:
    """Tell how many samples a design is made with.

    Parameters
    ----------
    rate_hz : float
        Sample rate. [Hz]
    """
    return 1 << int(np.ceil(np.log2(DESIGN_S * rate_hz)))


def minimum_phase_spectrum(magnitude: FloatArray) -> ComplexArray:
    """Give a magnitude the phase that belongs to it in a causal filter with a causal inverse.

    Parameters
    ----------
    magnitude : ndarray, shape (n/2 + 1,)
        At equal steps from 0 to half the sample rate, n even; all > 0. [1]

    Returns
    -------
    ndarray of complex, shape (n/2 + 1,)
        The logarithm of the response: ln of the magnitude, and the phase. [1], [rad]

    Notes
    -----
    The real cepstrum, folded onto positive times, is that of the minimum-phase response. No sample before t = 0 is possible by
    construction; what is left is the cepstrum's wrapping, which falls with n.

    References
    ----------
    A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal Processing, 3rd ed. (2010), section 13.5.3 (number from memory).
    """
    n = 2 * (len(magnitude) - 1)
    cepstrum = np.fft.irfft(np.log(magnitude), n)
    cepstrum[1 : n // 2] *= 2
    cepstrum[n // 2 + 1 :] = 0
    folded: ComplexArray = np.fft.rfft(cepstrum)
    return folded


def minimum_phase_impulse(magnitude: FloatArray, rate_hz: float) -> FloatArray:
    """Impulse response with a given magnitude that has its energy as early as can be.

    Parameters
    ----------
    magnitude : ndarray, shape (n/2 + 1,)
        At equal steps from 0 to half the sample rate, n even; all > 0. [1]
    rate_hz : float
        Sample rate. [Hz]

    Returns
    -------
    ndarray, shape (m,)
        Starts at t = 0; as long as needed for all but 10⁻¹² of its energy, at most 1.5 s, its end faded out. [1]
    """
    impulse = np.fft.irfft(np.exp(minimum_phase_spectrum(magnitude)))
    left = np.cumsum(impulse[::-1] ** 2)[::-1]
    n_needed = int(np.count_nonzero(left > TAIL * left[0]))
    n_fade = max(int(FADE * n_needed), 1)
    n = min(n_needed + n_fade, int(LONGEST_S * rate_hz), len(impulse) // 2)
    n_fade = min(n_fade, n)
    faded: FloatArray = impulse[:n].copy()
    faded[n - n_fade :] *= np.cos(np.pi / 2 * np.arange(1, n_fade + 1) / (n_fade + 1)) ** 2
    return faded


def filter_gain(impulse: FloatArray, rate_hz: float, frequency_hz: FloatArray) -> ComplexArray:
    """Response of an impulse response at chosen frequencies.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        From t = 0 on. [1]
    rate_hz : float
        Sample rate. [Hz]
    frequency_hz : ndarray, shape (m,)
        Up to half the sample rate. [Hz]

    Returns
    -------
    ndarray of complex, shape (m,)
        The response. [1]
    """
    n = np.arange(len(impulse))
    return np.array([np.exp(-2j * np.pi * one_hz / rate_hz * n) @ impulse for one_hz in frequency_hz])


def convolve_blocks(blocks: Iterable[FloatArray], impulse: FloatArray) -> Iterator[FloatArray]:
    """Filter a recording block by block: linear convolution by overlapping and adding, cut off where the recording ends.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (k, channels)
        One after the other, of any length.
    impulse : ndarray, shape (n,)
        From t = 0 on. [1]

    Yields
    ------
    ndarray, shape (k, channels)
        As long as the block that came in.
    """
    tail: FloatArray | None = None
    size, spectrum = 0, np.empty(0, dtype=complex)
    for block in blocks:
        n_whole = len(block) + len(impulse) - 1
        if size != 1 << (n_whole - 1).bit_length():
            size = 1 << (n_whole - 1).bit_length()
            spectrum = np.fft.rfft(impulse, size)
        whole = np.fft.irfft(np.fft.rfft(block.T, size) * spectrum, size)[:, :n_whole].T
        if tail is not None:
            whole[: len(tail)] += tail
        yield whole[: len(block)]
        tail = whole[len(block) :]
