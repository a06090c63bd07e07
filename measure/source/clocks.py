"""An output here and an input there run on two clocks: how far they are apart, by the arrival of the stimulus, and without.

The ratio of the two channels hides drift, since both are recorded by one clock; what it does is to stretch the sweep.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from measure.checks.clock import MISMATCH, find_bursts, find_jumps, fit_pace
from measure.response import Finding, FloatArray
from measure.signal.arrival import N_PRESENT, find_latency, follow_stimulus
from measure.signal.timetable import read_timetable

N_TAPS = 96  # [samples] whose weights make one between them: flat to 0.46 of the rate, what folds back 90 dB down
BETA = 9.0  # [1] of their Kaiser window
N_PHASES = 4096  # [1] places between two samples whose weights are worked out; linear between them is −140 dB off
N_AT_ONCE = 1 << 14  # [samples]
TINY_PPM = 0.5  # [1e-6] what is left after the first time is not worth a second
NAME = "two-clocks"


def align_clocks(
    samples: NDArray[np.float32], played: NDArray[np.float32], *, rate_hz: int
) -> tuple[NDArray[np.float32], float | None]:
    """Find by how much the clocks differ, and put the recording on that of the output.

    Parameters
    ----------
    samples : ndarray of float32, shape (m, 2)
        Pickup and reference.
    played : ndarray of float32, shape (n,)
        A sweep.
    rate_hz : int
        Sample rate of both, by their own clocks. [Hz]

    Returns
    -------
    samples : ndarray of float32, shape (m', 2)
        By the output's clock; those given where the difference is not known.
    drift_ppm : float or None
        How much faster the input's clock runs; None where there is no reference channel or no clear sweep. [1e-6]
    """
    first = measure_drift(samples, played, rate_hz=rate_hz)
    if first is None:
        return samples, None
    total = first
    aligned = stretch_samples(samples, total)
    left = measure_drift(aligned, played, rate_hz=rate_hz)
    if left is not None and abs(left) > 1e-6 * TINY_PPM:
        total = (1 + first) * (1 + left) - 1
        aligned = stretch_samples(samples, total)
    return aligned, 1e6 * total


def measure_drift(samples: NDArray[np.float32], played: NDArray[np.float32], *, rate_hz: int) -> float | None:
    """Measure by how much the stimulus is stretched in the reference channel.

    Parameters
    ----------
    samples : ndarray of float32, shape (m, 2)
        Pickup and reference.
    played : ndarray of float32, shape (n,)
        A sweep.
    rate_hz : int
        Sample rate. [Hz]

    Returns
    -------
    float or None
        Seconds of delay gained in a second; None where it cannot be told.
    """
    if samples.shape[1] < 2 or not np.any(played):
        return None
    reference, stimulus = samples[:, 1].astype(float), played.astype(float)
    try:
        timetable = read_timetable(stimulus, rate_hz=rate_hz)
    except ValueError:  # too short to be told apart in blocks
        return None
    if not timetable.is_sweep:
        return None
    latency, contrast = find_latency(reference, stimulus, timetable, rate_hz=rate_hz)
    if contrast < N_PRESENT:
        return None
    (arrival,) = follow_stimulus([reference], stimulus, timetable, rate_hz=rate_hz, latency=latency)
    if find_jumps(arrival):
        return None
    rate = fit_pace(arrival, find_bursts(arrival, relative_to_peak=False)).rate
    return rate if rate is not None and abs(rate) < MISMATCH else None


def stretch_samples(samples: NDArray[np.float32], stretch: float) -> NDArray[np.float32]:
    """Take samples 1 + stretch apart, by the weights of a windowed sinc.

    Parameters
    ----------
    samples : ndarray of float32, shape (m, n_channels)
        Full scale is 1; zeros stand before and after.
    stretch : float
        Above -1; near 0.

    Returns
    -------
    ndarray of float32, shape (m', n_channels)
        m' = m / (1 + stretch), rounded down.

    References
    ----------
    J. O. Smith, Digital Audio Resampling, CCRMA, Stanford 2002: bandlimited interpolation by a table of a windowed sinc.
    """
    weights = _weights()
    n_out = int(len(samples) / (1 + stretch))
    padded = np.pad(samples.astype(float), ((N_TAPS // 2, N_TAPS), (0, 0)))
    out = np.empty((n_out, samples.shape[1]), dtype=np.float32)
    for low in range(0, n_out, N_AT_ONCE):
        at = np.arange(low, min(low + N_AT_ONCE, n_out)) * (1 + stretch)
        whole = np.floor(at).astype(int)
        phase = (at - whole) * N_PHASES
        index = np.minimum(phase.astype(int), N_PHASES - 1)
        between = (phase - index)[:, None]
        weight = weights[index] * (1 - between) + weights[index + 1] * between
        windows = np.lib.stride_tricks.sliding_window_view(padded, N_TAPS, axis=0)[whole + 1]
        out[low : low + len(at)] = np.einsum("nct,nt->nc", windows, weight)
    return out


def _weights() -> FloatArray:
    """Weights of the taps for each place between two samples, shape (N_PHASES + 1, N_TAPS)."""
    offset = np.arange(N_PHASES + 1)[:, None] / N_PHASES - (np.arange(N_TAPS) - N_TAPS // 2 + 1)
    window = np.i0(BETA * np.sqrt(np.maximum(1 - (offset / (N_TAPS / 2)) ** 2, 0))) / np.i0(BETA)
    return np.sinc(offset) * window


def judge_clocks(drift_ppm: float | None) -> Finding:
    """Say what two clocks did.

    Parameters
    ----------
    drift_ppm : float or None
        From `align_clocks`. [1e-6]

    Returns
    -------
    Finding
        ``"two-clocks"``, figure in parts per million.
    """
    if drift_ppm is None:
        text = (
            "output and input are two devices with a clock each, and how far they are apart could not be measured: it needs a "
            "sweep and the reference channel. Use one device for both where you can."
        )
        return Finding(code=NAME, severity="warn", text=text, unit="ppm")
    text = f"output and input are two devices; the input's clock runs {drift_ppm:+.1f} ppm off the output's, which was taken out"
    return Finding(code=NAME, severity="pass", text=text, figure=drift_ppm, unit="ppm")
