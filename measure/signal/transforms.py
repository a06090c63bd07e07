"""Fourier transforms of real signals in single precision, and the lengths at which transforms are quick.

numpy's own suffice, and are there as soon as numpy is: importing scipy's takes longer than all transforms of a take. In double
precision `numpy.fft.rfft` is used as it is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Float32Array = NDArray[np.float32]
Complex64Array = NDArray[np.complex64]


def fast_length(n_least: int) -> int:
    """Smallest length of at least so many samples that has no prime factor beyond 5.

    Parameters
    ----------
    n_least : int
        Samples that have to fit.

    Returns
    -------
    int
        For `numpy.fft.rfft`.
    """
    best = 1 << max(n_least - 1, 0).bit_length()
    power5 = 1
    while power5 < best:
        odd = power5
        while odd < best:
            best = min(best, odd << max(-(-n_least // odd) - 1, 0).bit_length())
            odd *= 3
        power5 *= 5
    return best


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Transform:
    """Transforms of one length, with what they have in common.

    Attributes
    ----------
    turns : ndarray of complex64, shape (length // 4 + 1,)
        That take two halves apart; empty for an odd length.
    """

    length: int
    turns: Complex64Array


def make_transform(length: int) -> Transform:
    """Get ready for transforms of a length.

    Parameters
    ----------
    length : int
        Samples, best from `fast_length`.

    Returns
    -------
    Transform
        For `spectrum_of` and `samples_of`.
    """
    half = length // 2
    turns = np.exp(-2j * np.pi / length * np.arange(half // 2 + 1 if length % 2 == 0 else 0))
    return Transform(length=length, turns=(-0.5j * half * turns).astype(np.complex64))


def spectrum_of(transform: Transform, samples: Float32Array) -> Complex64Array:
    """Transform real samples, zeros added to the length.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        At most as many.

    Returns
    -------
    ndarray of complex64, shape (length // 2 + 1,)
        Of the frequencies from 0 to half the sample rate.

    Notes
    -----
    Even and odd samples are transformed as one complex number each, and taken apart: half the length, half the time.
    """
    if len(samples) < transform.length:
        padded = np.zeros(transform.length, dtype=np.float32)
        padded[: len(samples)] = samples
        samples = padded
    if transform.length % 2:
        return np.fft.rfft(samples).astype(np.complex64)
    # Scaled forward: numpy turns single into double precision where there is no scale.
    both = np.fft.fft(samples.view(np.complex64), norm="forward").astype(np.complex64, copy=False)
    half, n_low = len(both), len(transform.turns)
    back = np.empty(n_low, dtype=np.complex64)
    back[0] = np.conj(both[0])
    np.conj(both[: half - n_low : -1], out=back[1:])
    even, odd = both[:n_low] + back, both[:n_low] - back
    del both, back
    even *= np.float32(0.5 * half)
    odd *= transform.turns
    spectrum = np.empty(half + 1, dtype=np.complex64)
    np.add(even, odd, out=spectrum[:n_low])
    even -= odd
    np.conj(even[: half + 1 - n_low][::-1], out=spectrum[n_low:])
    return spectrum


def samples_of(transform: Transform, spectrum: Complex64Array) -> Float32Array:
    """Transform a spectrum back.

    Parameters
    ----------
    spectrum : ndarray of complex64, shape (length // 2 + 1,)
        As from `spectrum_of`.

    Returns
    -------
    ndarray of float32, shape (length,)
        Samples.
    """
    return np.fft.irfft(spectrum, transform.length).astype(np.float32, copy=False)
