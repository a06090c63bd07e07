"""What the samples alone show, without knowing what was played: a ceiling, an offset."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray, median
from measure.signal.recording import Samples

N_WINDOWS = 600  # [1] over a recording, in each of which the crowd below a peak is counted
LEAST_WINDOW = 256  # [samples]
NEAR_PEAK = 0.005  # [1] of the peak that counts as near it
CROWD = 2.3  # [1] times as many samples near the peak as a sine of that peak has: its top is cut by 2.5 %
LEAST_CROSSINGS = 8  # [1] of zero in a window: a slower wave is flat at its top by nature
N_CROWDED = 3  # [1] windows at the same ceiling
SAME_CEILING = 0.004  # [1] by which the ceilings of those windows may differ
HIGHEST_ONLY = 0.7  # [1] of the channel's own peak: only windows above it can have met a ceiling
PIECE = 1 << 16  # [samples] searched at once: some 6 MB
N_KEY = 12  # [samples] that have to agree before a repeat is looked at; `_keys` takes three times four
SHORTEST_REPEAT, LONGEST_REPEAT = 16, 8192  # [samples] of the buffers that interfaces and systems use
QUIET_CODES = 3.0  # [codes] between samples, standard deviation: below, chance repeats
PERIODIC_CODES, PERIODIC = 6.0, 0.03  # [codes], [1] of the block: what precedes a copied block differs by more, or it is a period
SHORTEST_ZEROS = 16  # [samples]
JUMP_CODES = 16.0  # [codes] no slow wave leaves zero by as much at once
LEAST_CODES = 150  # [codes] peak below which rounding itself makes flat tops


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ceiling:
    """Where a channel met a level that it could not pass.

    Attributes
    ----------
    n_samples : int
        How many samples lie at it.
    """

    level: float
    n_samples: int
    first: int


def find_full_scale(samples: Samples, *, n_bits: int | None) -> Ceiling | None:
    """Count samples at digital full scale.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    n_bits : int or None
        Bits a sample; None for float formats, which can pass 1: there only repeats of the very peak count.

    Returns
    -------
    Ceiling or None
        None where no sample is there.
    """
    top, bottom = float(np.max(samples)), float(np.min(samples))
    if n_bits is None:
        hits = [np.flatnonzero(samples == level) for level in (top, bottom) if abs(level) >= 0.98]
        hits = [hit for hit in hits if len(hit) > 1]
    else:
        code = 2.0 ** (1 - n_bits)
        hits = [np.flatnonzero(samples >= 1 - 2.5 * code), np.flatnonzero(samples <= -1 + 1.5 * code)]
    at = np.sort(np.concatenate(hits)) if hits else np.zeros(0, dtype=int)
    if len(at) == 0:
        return None
    return Ceiling(level=max(top, -bottom), n_samples=len(at), first=int(at[0]))


def find_flat_top(samples: Samples, *, n_bits: int | None, quiet_peak: float) -> Ceiling | None:
    """Find a ceiling below full scale, where an analogue stage clips, by the crowd of samples below each peak.

    A sine of amplitude A spends the part arccos(1 − d)/π of its time within d·A of its upper peak; one that is cut spends more.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    quiet_peak : float
        Peak while nothing is played: what is not well above it is not judged.

    Returns
    -------
    Ceiling or None
        Of the side, positive or negative, that has more samples at it; None where there is no ceiling.
    """
    n_window = max(LEAST_WINDOW, len(samples) // N_WINDOWS)
    n_windows = len(samples) // n_window
    shaped = samples[: n_windows * n_window].reshape(n_windows, n_window)
    code = 0.0 if n_bits is None else 2.0 ** (1 - n_bits)
    found = [_flat_side(shaped, side, code=code, quiet_peak=quiet_peak) for side in (1.0, -1.0)] if n_windows else []
    ceilings = [ceiling for ceiling in found if ceiling is not None]
    return max(ceilings, key=lambda ceiling: ceiling.n_samples, default=None)


def _flat_side(shaped: Samples, side: float, *, code: float, quiet_peak: float) -> Ceiling | None:
    """Look at the positive or the negative peaks."""
    peak: FloatArray = (shaped.max(axis=1) if side > 0 else -shaped.min(axis=1)).astype(float)
    highest = float(np.max(peak))
    if highest < max(2 * quiet_peak, LEAST_CODES * code) or highest <= 0:
        return None
    judged = np.flatnonzero(peak > HIGHEST_ONLY * highest)
    crossings = np.array([_count_crossings(shaped[row]) for row in judged])
    judged = judged[crossings >= LEAST_CROSSINGS]
    near = max(NEAR_PEAK, 1.5 * code / highest)
    floor = peak[judged] * (1 - near)
    count = np.array([np.count_nonzero(side * shaped[row] >= low) for row, low in zip(judged, floor, strict=True)])
    expected = shaped.shape[1] * np.arccos(1 - near) / np.pi
    crowded = count > CROWD * expected
    if np.count_nonzero(crowded) < N_CROWDED:
        return None
    level = float(median(peak[judged][crowded]))
    same = crowded & (np.abs(peak[judged] - level) < SAME_CEILING * level)
    if np.count_nonzero(same) < N_CROWDED or level < (1 - SAME_CEILING) * highest:
        return None
    row = judged[same][0]
    first = int(row * shaped.shape[1] + np.flatnonzero(side * shaped[row] >= floor[same][0])[0])
    return Ceiling(level=level, n_samples=int(np.sum(count[same])), first=first)


def _count_crossings(samples: Samples) -> int:
    """How often the sign changes."""
    is_negative = np.signbit(samples)
    return int(np.count_nonzero(is_negative[1:] != is_negative[:-1]))


def find_repeats(samples: Samples, *, n_bits: int | None) -> list[int]:
    """Find blocks that are played twice in a row, sample for sample, or overwritten by zeros.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.

    Returns
    -------
    list of int
        First sample of each second copy, or of each run of zeros. Noise of a few codes makes chance agreement impossible; where
        the channel is quieter than that, nothing is reported.
    """
    code = 2.0**-23 if n_bits is None else 2.0 ** (1 - n_bits)
    found: list[int] = []
    for first in range(0, len(samples), PIECE):
        begin = max(first - LONGEST_REPEAT, 0)
        part = np.ascontiguousarray(samples[begin : first + PIECE + 2 * LONGEST_REPEAT], dtype=np.float64)
        found += [begin + at for at in (*_second_copies(part, code), *_zero_runs(part, code))]
    return sorted(set(found))


def _second_copies(part: FloatArray, code: float) -> list[int]:
    """Find runs at least as long as their lag in which each sample equals the one a lag earlier."""
    n_keys = len(part) - N_KEY + 1
    if n_keys < 2:
        return []
    key = _keys(part)
    ordered = np.sort(key)
    repeated = ordered[1:][ordered[1:] == ordered[:-1]]
    if len(repeated) == 0:  # as in nearly all recordings: sorting alone is much quicker than telling what came from where
        return []
    nearest = repeated[np.minimum(np.searchsorted(repeated, key), len(repeated) - 1)]
    places = np.flatnonzero(nearest == key)
    order = places[np.argsort(key[places], kind="stable")]
    same = np.flatnonzero(key[order[1:]] == key[order[:-1]])
    early, late = order[same], order[same + 1]
    lag = late - early
    near = (lag >= SHORTEST_REPEAT) & (lag <= LONGEST_REPEAT)
    found: list[int] = []
    for at, step in sorted(zip(late[near].tolist(), lag[near].tolist(), strict=True)):
        if found and at < found[-1] + LONGEST_REPEAT:
            continue
        copy = part[at : at + step - 2]
        is_whole = len(copy) == step - 2 and np.array_equal(copy, part[at - step : at - 2])
        if is_whole and np.std(np.diff(copy)) > QUIET_CODES * code and not _is_period(part[:at], step, code):
            found.append(at)
    return found


def _keys(part: FloatArray) -> NDArray[np.uint64]:
    """One number for each run of `N_KEY` samples, three times four, shape (n − `N_KEY` + 1,)."""
    key = part.view(np.uint64)
    two = _join(key[:-1], key[1:])
    four = _join(two[:-2], two[2:])
    return _join(_join(four[:-8], four[4:-4]), four[8:])


def _join(first: NDArray[np.uint64], second: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Mix numbers pairwise."""
    key = first * np.uint64(0x9E3779B97F4A7C15) + second
    key ^= key >> np.uint64(29)
    return key


def _is_period(before: FloatArray, step: int, code: float) -> bool:
    """Tell whether the last `step` samples are one of several alike: a tone without noise repeats itself to the code."""
    block, earlier = before[-step:], before[-2 * step : -step]
    if len(earlier) < N_KEY:
        return False
    left = block[-len(earlier) :] - earlier
    return bool(np.sqrt(np.mean(left**2)) < max(PERIODIC_CODES * code, PERIODIC * np.std(block)))


def _zero_runs(part: FloatArray, code: float) -> list[int]:
    """Find runs of zeros that the wave jumps into or out of."""
    is_zero = np.concatenate([[False], part == 0.0, [False]])
    turns = np.flatnonzero(np.diff(is_zero.astype(np.int8)))
    starts, stops = turns[::2], turns[1::2]
    long = stops - starts >= SHORTEST_ZEROS
    found: list[int] = []
    for start, stop in zip(starts[long].tolist(), stops[long].tolist(), strict=True):
        if start == 0 or stop == len(part):
            continue
        jump = max(abs(part[start - 1]), abs(part[stop]))
        if jump > JUMP_CODES * code:
            found.append(start)
    return found
