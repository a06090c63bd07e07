"""The line of ln f against time that an exponential sweep draws, found in a channel.

Crudely from the strongest frequency of short frames, then refined from the phase that a sweep of those numbers leaves. Lost
samples make two lines of one; the longer counts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import ComplexArray, FloatArray
from measure.signal.recording import Samples

FRAME_S = 0.01  # [s] a sweep of a second rises by a tenth in it
WINDOW_S = 0.005  # [s] over which the phase is averaged
N_FRAMES = 1500  # [1] at most, over a recording
N_AT_ONCE = 128  # [frames] worked on together: memory
LOWEST_HZ = 600.0  # [Hz] below, a frame holds too few periods
TOP = 0.48  # [1] of the sample rate
TONAL = 0.4  # [1] of a frame's power, 6 dB an octave added, around its strongest line: neither noise nor silence
LAGS_S = (0.1, 0.2, 0.4)  # [s] over which a slope is taken
GROWTH_S = (0.02, 30.0)  # [s] time in which a sweep rises e-fold: the shortest and the longest looked for
NEAR = 0.04  # [1] of the frequency, from the line, in the crude look
ON_LINE = 0.03  # [1] of the frequency, from the line found
OCTAVES_LEAST = 2.2  # [octaves] that must lie on one line
NARROW = 0.01  # [1] within one piece of it
FILLED = 0.4  # [1] of the frames between first and last that must lie there
N_LEAST = 12  # [frames]
N_REFINED = 4  # [1] rounds of the refinement
COMPANY = 9  # [windows] that are looked at together
JUMP_RAD = 0.5  # [rad] of the phase, from window to window: samples were lost
COHERENT = 0.2  # [1] of the power in a window that is the tone's
STEADY = 2e-3  # [1] of the frequency that a refined line may leave

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """ln f = (t − zero) / growth: f is 1 Hz at `zero_s`."""

    growth_s: float
    zero_s: float

    def frequency_hz(self, time_s: FloatArray) -> FloatArray:
        """Frequency at times, shape of `time_s` [Hz]."""
        return np.exp((time_s - self.zero_s) / self.growth_s)

    def time_s(self, frequency_hz: float) -> float:
        """Time at which a frequency is played [s]."""
        return float(self.zero_s + self.growth_s * np.log(frequency_hz))


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A line, and where the sweep is on it.

    Attributes
    ----------
    turns : float
        Turns of the phase at the sweep's beginning beyond those of the line's, modulo a half. [1]
    last_s : float
        Of what lies on the line. [s]
    """

    line: Line
    turns: float
    last_s: float


def find_line(samples: Samples, rate_hz: int) -> Found | None:
    """Find the line of an exponential sweep in a channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    rate_hz : int
        Its sample rate. [Hz]
    """
    line = _crude_line(*_strongest(samples, rate_hz))
    return None if line is None else _refine(samples, line, rate_hz=rate_hz)


def _strongest(samples: Samples, rate_hz: int) -> tuple[FloatArray, FloatArray]:
    """Find times [s] and strongest frequencies [Hz] of those frames that hold one tone, shapes (k,)."""
    n_frame = 1 << round(np.log2(FRAME_S * rate_hz))
    starts = np.arange(0, len(samples) - n_frame, max(n_frame // 2, len(samples) // N_FRAMES))
    window = np.hanning(n_frame - 1).astype(np.float32)
    lowest = int(np.ceil(LOWEST_HZ * n_frame / rate_hz))
    times, frequencies = [np.zeros(0)], [np.zeros(0)]
    for first in range(0, len(starts), N_AT_ONCE):
        at = starts[first : first + N_AT_ONCE]
        # Differences add 6 dB an octave: mains lines and rumble stay below the tone.
        frames = np.diff(samples[at[:, None] + np.arange(n_frame)].astype(np.float32), axis=1)
        power = np.abs(np.fft.rfft(frames * window, n_frame, axis=1)) ** 2
        power[:, : lowest - 1] = 0.0
        peak = np.clip(np.argmax(power, axis=1), lowest, power.shape[1] - 3)
        rows = np.arange(len(at))
        lobe = np.sum([power[rows, peak + offset] for offset in (-2, -1, 0, 1, 2)], axis=0)
        total = np.sum(power, axis=1)
        good = (lobe > TONAL * total) & (peak < TOP * n_frame) & (total > 0)
        left, middle, right = (power[rows, peak + offset] for offset in (-1, 0, 1))
        shift = np.where(middle > 0, (right - left) / np.maximum(2 * (left + middle + right), 1e-30), 0.0)
        times.append((at[good] + n_frame / 2) / rate_hz)
        frequencies.append((peak + 2 * shift)[good] * rate_hz / n_frame)
    return np.concatenate(times), np.concatenate(frequencies)


def _crude_line(time_s: FloatArray, frequency_hz: FloatArray) -> Line | None:
    """Line through most of the points, None where too few lie on one."""
    level = np.log(np.maximum(frequency_hz, 1e-9))
    slopes = [np.zeros(0)]
    for lag_s in LAGS_S:
        later = np.searchsorted(time_s, time_s + lag_s)
        pair = np.flatnonzero(later < len(time_s))
        apart_s = time_s[later[pair]] - time_s[pair]
        near = apart_s < 1.5 * lag_s
        slopes.append(((level[later[pair]] - level[pair]) / apart_s)[near])
    best, found = 0, None
    rising = np.concatenate(slopes)
    rising = rising[(rising > 1 / GROWTH_S[1]) & (rising < 1 / GROWTH_S[0])]
    if len(rising) < N_LEAST:
        return None
    middle = np.exp(_crowded(np.log(rising), width=0.05))
    for slope in middle * np.exp(np.linspace(-0.06, 0.06, 13)):
        offset = level - slope * time_s
        center = _crowded(offset, width=NEAR)
        near = np.abs(offset - center) < NEAR
        if np.count_nonzero(near) > best:
            best, found = int(np.count_nonzero(near)), _fit_line(*_longest_piece(time_s[near], level[near]))
    return found if found is not None and _is_filled(time_s, frequency_hz, found, near=ON_LINE) else None


def _longest_piece(time_s: FloatArray, level: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pick those points that lie on one line where lost samples have made two of it; a slope does not see them."""
    lag = max(len(time_s) // 8, 1)
    slopes = (level[lag:] - level[:-lag]) / np.maximum(time_s[lag:] - time_s[:-lag], 1e-9)
    offset = level - float(np.median(slopes)) * time_s if len(slopes) else level
    near = np.abs(offset - _crowded(offset, width=NARROW)) < NARROW
    return time_s[near], level[near]


def _crowded(values: FloatArray, *, width: float) -> float:
    """Median of the most values that lie within a width."""
    ordered = np.sort(values)
    count = np.searchsorted(ordered, ordered + width) - np.arange(len(ordered))
    first = int(np.argmax(count))
    return float(np.median(ordered[first : first + count[first]]))


def _fit_line(time_s: FloatArray, level: FloatArray) -> Line | None:
    """Least squares of ln f against time; None where it does not rise."""
    if len(time_s) < N_LEAST or np.ptp(time_s) <= 0:
        return None
    middle_s = float(np.mean(time_s))
    slope = float(np.sum((time_s - middle_s) * (level - np.mean(level))) / np.sum((time_s - middle_s) ** 2))
    return Line(growth_s=1 / slope, zero_s=middle_s - float(np.mean(level)) / slope) if slope > 1 / GROWTH_S[1] else None


def _is_filled(time_s: FloatArray, frequency_hz: FloatArray, line: Line, *, near: float) -> bool:
    """Tell whether the line is long, and most that sounds between its ends lies on it."""
    on_line = np.abs(np.log(np.maximum(frequency_hz, 1e-9) / line.frequency_hz(time_s))) < near
    if np.count_nonzero(on_line) < N_LEAST:
        return False
    ends = np.flatnonzero(on_line)[[0, -1]]
    octaves = float(np.log2(frequency_hz[ends[1]] / frequency_hz[ends[0]]))
    return octaves > OCTAVES_LEAST and np.count_nonzero(on_line) > FILLED * (ends[1] - ends[0] + 1)


def _refine(samples: Samples, line: Line, *, rate_hz: int) -> Found | None:
    """Refine a line by the phase."""
    n_window = round(WINDOW_S * rate_hz)
    for _ in range(N_REFINED):
        first = max(round(line.time_s(LOWEST_HZ) * rate_hz), 1)
        last = min(round(line.time_s(TOP * rate_hz) * rate_hz), len(samples)) - 2 * n_window
        if last - first < N_LEAST * n_window:
            return None
        starts = np.unique(np.linspace(first, last, min((last - first) // n_window + 1, N_FRAMES)).astype(int))
        turned, is_tone = _demodulate(samples, line, starts, n_window=n_window, rate_hz=rate_hz)
        time_s = (starts + n_window) / rate_hz
        model_hz = line.frequency_hz(time_s)
        off_hz = np.angle(turned[:, 1] * np.conj(turned[:, 0])) / (2 * np.pi) * rate_hz / n_window
        level = np.log(np.maximum(model_hz + off_hz, 1.0))
        offset = level - np.log(model_hz)
        if not np.any(is_tone):
            return None
        center = _crowded(offset[is_tone], width=STEADY)
        good = _in_company(is_tone & (np.abs(offset - center) < STEADY))
        spread = float(np.median(np.abs(offset - center)[good])) if np.any(good) else 0.0
        good &= np.abs(offset - center) < max(4 * spread, 1e-4)
        refined = _fit_line(time_s[good], level[good])
        if refined is None:
            return None
        line = refined
    rest = _in_company(is_tone & (np.abs(level - np.log(line.frequency_hz(time_s))) < STEADY))
    if np.count_nonzero(rest) < N_LEAST:
        return None
    turned = _demodulate(samples, line, starts, n_window=n_window, rate_hz=rate_hz)[0][:, 0]
    line = _follow_phase(turned, starts / rate_hz + WINDOW_S / 2, line, rest)
    turned = _demodulate(samples, line, starts, n_window=n_window, rate_hz=rate_hz)[0][:, 0]
    low = rest & (line.frequency_hz(time_s) < 4 * LOWEST_HZ)
    turn = float(np.angle(np.sum(turned[low] / np.maximum(np.abs(turned[low]), 1e-30)))) / (2 * np.pi)
    # What differs like cos(φ + turn) is ± sin(φ + turn), and that sin(φ − φ1) of a sweep that starts at φ1.
    return Found(line=line, turns=-turn, last_s=float(time_s[rest][-1]))


def _follow_phase(turned: ComplexArray, time_s: FloatArray, line: Line, good: BoolArray) -> Line:
    """Move a line so that what is left of the phase is least, over the longest stretch in which it does not jump."""
    at = np.flatnonzero(good)
    steps = np.angle(turned[at[1:]] * np.conj(turned[at[:-1]]))
    breaks = np.flatnonzero(np.abs(steps - np.median(steps)) > max(8 * float(np.median(np.abs(steps))), JUMP_RAD))
    edges = np.concatenate([[0], breaks + 1, [len(at)]])
    longest = int(np.argmax(np.diff(edges)))
    at = at[edges[longest] : edges[longest + 1]]
    if len(at) < N_LEAST:
        return line
    phase = np.unwrap(np.angle(turned[at]))
    frequency_hz = line.frequency_hz(time_s[at])
    by_growth = 2 * np.pi * frequency_hz * (1 - (time_s[at] - line.zero_s) / line.growth_s)
    matrix = np.stack([np.ones(len(at)), -2 * np.pi * frequency_hz, by_growth], axis=1)
    scale = np.max(np.abs(matrix), axis=0)
    solution = np.linalg.lstsq(matrix / scale, phase, rcond=None)[0] / scale
    return Line(growth_s=line.growth_s + float(solution[2]), zero_s=line.zero_s + float(solution[1]))


def _in_company(good: BoolArray) -> BoolArray:
    """Drop what is good by chance: most of its neighbours are not, shape (k,)."""
    padded = np.pad(good, COMPANY // 2)
    share = np.mean(np.lib.stride_tricks.sliding_window_view(padded, COMPANY), axis=1)
    return good & (share[: len(good)] > 0.5)


def _demodulate(
    samples: Samples, line: Line, starts: NDArray[np.int64], *, n_window: int, rate_hz: int
) -> tuple[ComplexArray, BoolArray]:
    """Mean of the samples' differences times exp(−jφ) in two windows after each start, shape (k, 2); whether a tone is there."""
    weight = np.tile(np.hanning(n_window), 2).reshape(2, n_window)
    found = np.zeros((len(starts), 2), dtype=complex)
    power = np.zeros(len(starts))
    for first in range(0, len(starts), N_AT_ONCE):
        at = starts[first : first + N_AT_ONCE, None] + np.arange(2 * n_window)
        phase = 2 * np.pi * line.growth_s * line.frequency_hz(at / rate_hz)
        steps = (samples[at] - samples[at - 1]).astype(float)
        found[first : first + N_AT_ONCE] = np.sum((steps * np.exp(-1j * phase)).reshape(-1, 2, n_window) * weight, axis=2)
        power[first : first + N_AT_ONCE] = np.sum(steps**2, axis=1) / 2
    coherent = np.min(np.abs(found), axis=1) ** 2 / np.sum(weight[0]) ** 2
    return found, coherent * 4 > COHERENT * 2 * power / n_window
