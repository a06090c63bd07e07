"""When a stimulus plays what, read from its zero crossings."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray

IntArray = NDArray[np.int64]

N_BLOCKS = 60  # [1] over the stimulus: about six an octave
SOUNDING = 1e-3  # [1] of the peak: the stimulus has begun
N_AT_ONCE = 1 << 15  # [samples] worked on at once


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Timetable:
    """When the stimulus plays what.

    Attributes
    ----------
    start, stop : int
        First sample that is not silent, and one past the last.
    edges : ndarray of int, shape (k + 1,)
        Blocks of the stimulus, in samples.
    frequency_hz : ndarray, shape (k + 1,)
        At the edges. [Hz]
    is_sweep : bool
        One frequency at a time, rising or falling throughout. Nothing but `start` and `stop` is meant for anything else.
    level : float
        Peak over full scale.
    """

    start: int
    stop: int
    edges: IntArray
    frequency_hz: FloatArray
    is_sweep: bool
    level: float


def read_timetable(stimulus: FloatArray, *, rate_hz: int) -> Timetable:
    """Find when a stimulus starts, stops, and which frequency it plays when, from its zero crossings.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        What was played.
    rate_hz : int
        Its sample rate. [Hz]

    Returns
    -------
    Timetable
        With `N_BLOCKS` blocks of equal duration.

    Raises
    ------
    ValueError
        If the stimulus is silent or shorter than its blocks.
    """
    level = float(max(np.max(stimulus), -np.min(stimulus))) if len(stimulus) else 0.0
    start, stop = _sounding(stimulus, SOUNDING * level) if level else (0, 0)
    if stop - start < 20 * N_BLOCKS:
        msg = f"the stimulus has {len(stimulus)} samples, peak {level:.3g}; it must sound for {20 * N_BLOCKS} samples or more"
        raise ValueError(msg)
    edges = np.round(np.linspace(start, stop, N_BLOCKS + 1)).astype(np.int64)
    crossing = np.concatenate(
        [_crossings(stimulus, at, min(at + N_AT_ONCE, stop - 1)) for at in range(start, stop - 1, N_AT_ONCE)]
    )
    frequency_hz = _edge_frequencies(crossing, edges, rate_hz=rate_hz)
    steps = np.diff(frequency_hz)
    is_sweep = bool(len(crossing) > 2 * N_BLOCKS and (np.all(steps > 0) or np.all(steps < 0)))
    if not is_sweep:
        frequency_hz = np.geomspace(30.0, 0.45 * rate_hz, N_BLOCKS + 1)
    return Timetable(start=start, stop=stop, edges=edges, frequency_hz=frequency_hz, is_sweep=is_sweep, level=level)


def _sounding(stimulus: FloatArray, least: float) -> tuple[int, int]:
    """First sample that exceeds a level, and one past the last."""
    start, stop = len(stimulus), 0
    for first in range(0, len(stimulus), N_AT_ONCE):
        at = first + np.flatnonzero(np.abs(stimulus[first : first + N_AT_ONCE]) > least)
        if len(at):
            start, stop = min(start, int(at[0])), int(at[-1]) + 1
    return start, stop


def _crossings(stimulus: FloatArray, first: int, last: int) -> FloatArray:
    """Where a stimulus crosses zero between two samples, in samples."""
    part = stimulus[first : last + 1].astype(float)
    before = np.flatnonzero((part[:-1] < 0) != (part[1:] < 0))
    return first + before + part[before] / (part[before] - part[before + 1])


def _edge_frequencies(crossing: FloatArray, edges: IntArray, *, rate_hz: int) -> FloatArray:
    """Frequency at each edge, shape (k + 1,): half-periods counted over a quarter of a block to both sides [Hz]."""
    if len(crossing) < 3:
        return np.zeros(len(edges))
    reach = (edges[1] - edges[0]) / 4
    low = np.clip(np.searchsorted(crossing, edges - reach) - 1, 0, len(crossing) - 2)
    high = np.clip(np.searchsorted(crossing, edges + reach), low + 1, len(crossing) - 1)
    frequency_hz = (high - low) / (2 * (crossing[high] - crossing[low])) * rate_hz
    # Each count stands for the middle of its own stretch, which at the ends is not the edge.
    middle = (crossing[high] + crossing[low]) / 2
    inside = np.concatenate([[True], np.diff(middle) > 0])
    slope = np.gradient(np.log(frequency_hz[inside]), middle[inside])
    return frequency_hz * np.exp(np.interp(edges, middle[inside], slope) * (edges - middle))
