"""What was played, recognised from what was recorded: an exponential sweep shows as a line of ln f against time.

Found crudely from the strongest frequency of short frames, then refined from the phase that a sweep of those numbers leaves. The
ends come from the level. A sweep like the tool's own is taken for just that, so that clocks and lengths can be judged against it;
of any other only the recording tells how fast it was meant to run.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from measure.arrival import Arrival
from measure.recording import Samples
from measure.response import ComplexArray, FloatArray
from measure.stimulus import FADE_S, Sweep

LEAST_RATE_HZ = 8000
N_PIECE = 1 << 18  # [samples] made at once
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
OCTAVES_LEAST = 3.0  # [octaves] that must lie on one line
FILLED = 0.6  # [1] of the frames between first and last that must lie there
N_LEAST = 12  # [frames]
N_REFINED = 4  # [1] rounds of the refinement
COMPANY = 9  # [windows] that are looked at together
COHERENT = 0.2  # [1] of the power in a window that is the tone's
STEADY = 2e-3  # [1] of the frequency that a refined line may leave
OWN = 2e-3  # [1] of the own sweep's growth that another clock explains
OWN_ENDS = 1.4  # [1] ratio of its ends to those found: samples lost in between move them
SOUNDING, HUSHED = 0.1, 0.6  # [1] of the level at low notes: the least and the greatest that the beginning is told from
GAP_S = 0.06  # [s] of quiet before the beginning
END_STEP_S = 0.001  # [s]
END_DROP = 0.5  # [1] of the level shortly before

FADES_S = (0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.07, 0.08, 0.1, 0.12, 0.15, 0.2)
BEGINNING_S = 0.3  # [s]
LIKER = 0.98  # [1] of what is left by a shorter fade
FADE_REACH, N_LAST = 1.5, 2  # [1] times the lowest frequency, [blocks] in which a fade that is nearly right is not let count
PURE, UNLIKE = 0.9, 0.1  # [1] part of the power at low notes that is the sweep's: enough; by how much another must have more


BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
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
class Recognised:
    """A sweep recognised from a recording.

    Attributes
    ----------
    sweep : Sweep
        Its numbers.
    fade_s : float
        How long its fade in seems to be. [s]
    """

    sweep: Sweep
    fade_s: float = FADE_S


def recognise_sweep(samples: Samples, rate_hz: int) -> Sweep | None:
    """Recognise the exponential sweep that a channel holds.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, best that of the reference.
    rate_hz : int
        Its sample rate. [Hz]

    Returns
    -------
    Sweep or None
        As long as the recording with its silences; None where the channel holds no rising exponential sweep of 3 octaves or more
        above `LOWEST_HZ`. The level is 0.5 whatever was played.
    """
    return _recognise(samples, rate_hz)[0]


def _recognise(samples: Samples, rate_hz: int) -> tuple[Sweep | None, float]:
    """Recognise a sweep; also the part of the power at low notes that is its [1]."""
    time_s, frequency_hz = _strongest(samples, rate_hz)
    line = _crude_line(time_s, frequency_hz)
    refined = None if line is None else _refine(samples, line, rate_hz=rate_hz)
    if refined is None or rate_hz < LEAST_RATE_HZ:
        return None, 0.0
    line, turn, last_s = refined
    purity = _purity(samples, line, rate_hz=rate_hz)
    length_s = len(samples) / rate_hz
    start_s = _find_start(samples, line, rate_hz=rate_hz)
    stop_s = _find_stop(samples, line, after_s=last_s, rate_hz=rate_hz)
    own = _as_own(line, (start_s, stop_s), length_s=length_s, rate_hz=rate_hz)
    if own is not None:
        return own, purity
    return _as_any(line, turn, (start_s, stop_s), length_s=length_s, rate_hz=rate_hz), purity


def _as_any(line: _Line, turn: float, ends_s: tuple[float, float], *, length_s: float, rate_hz: int) -> Sweep | None:
    """Make a sweep of a line and its ends; None where it is none that can be made."""
    start_s, stop_s = ends_s
    start_hz = float(line.frequency_hz(np.array(start_s)))
    if start_s > 0:
        # A sweep begins at phase 0, of either sign: the beginning is known to a half period from the level, then from the phase.
        half_turns = start_hz * line.growth_s * 2
        start_hz = max(float(np.round(half_turns - 2 * turn) + 2 * turn) / (2 * line.growth_s), 0.5 * start_hz)
        start_s = line.time_s(start_hz)
    stop_hz = min(float(line.frequency_hz(np.array(stop_s))), 0.4999 * rate_hz)
    duration_s = line.growth_s * float(np.log(stop_hz / start_hz))
    if not 0 < duration_s <= 600:
        return None
    before_s = max(start_s, 0.0)
    after_s = max(length_s - before_s - duration_s, 0.0)
    return Sweep(rate_hz=rate_hz, start_hz=start_hz, stop_hz=stop_hz, duration_s=duration_s, before_s=before_s, after_s=after_s)


def recognise_best(channels: dict[str, Samples], rate_hz: int) -> Recognised | None:
    """Recognise the sweep in the channel that shows most of it.

    Parameters
    ----------
    channels : dict of str to ndarray, shape (n,)
        By name; channels may have been exchanged, so each is looked at.
    rate_hz : int
        Their sample rate. [Hz]

    Returns
    -------
    Recognised or None
        The tool's own where one channel shows it, else that of the channel with the least hum.
    """
    best, best_rank, best_name = None, (False, 0.0), ""
    for name in sorted(channels, reverse=True):  # the reference first: it is the clearer one, and mostly enough
        sweep, purity = _recognise(channels[name], rate_hz)
        if sweep is not None and (best is None or (is_own(sweep), purity) > best_rank):
            best, best_rank, best_name = sweep, (is_own(sweep), purity + UNLIKE), name
        if best_rank[1] > PURE:
            break
    return None if best is None else Recognised(sweep=best, fade_s=_find_fade(channels[best_name], best))


def _find_fade(samples: Samples, sweep: Sweep) -> float:
    """Length of the fade in with which a sweep is most like its beginning in a channel [s]."""
    first = round(sweep.before_s * sweep.rate_hz)
    part = samples[first : first + round(BEGINNING_S * sweep.rate_hz)].astype(float)
    turns = _turns(sweep, np.arange(len(part)))
    best, fade_s = np.inf, FADE_S
    for candidate_s in FADES_S:
        rise = 0.5 - 0.5 * np.cos(np.pi * np.minimum(np.arange(len(part)) / (candidate_s * sweep.rate_hz), 1.0))
        columns = [rise * np.sin(2 * np.pi * turns), rise * np.cos(2 * np.pi * turns), np.ones(len(part))]
        matrix = np.stack(columns, axis=1)
        left = part - matrix @ np.linalg.lstsq(matrix, part, rcond=None)[0]
        if float(np.sum(left**2)) < LIKER * best:
            best, fade_s = float(np.sum(left**2)), candidate_s
    return fade_s


def _turns(sweep: Sweep, at: NDArray[np.int64]) -> FloatArray:
    """Phase of a sweep a number of samples after its beginning, shape of `at` [1]."""
    growth_s = sweep.duration_s / np.log(sweep.stop_hz / sweep.start_hz)
    return sweep.start_hz * growth_s * np.expm1(at / sweep.rate_hz / growth_s)


def played_samples(recognised: Recognised) -> NDArray[np.float32]:
    """Make a recognised sweep between its silences, a piece at a time, for recordings of minutes.

    Parameters
    ----------
    recognised : Recognised
        From `recognise_best`.

    Returns
    -------
    ndarray of float32, shape (n,)
        As `measure.stimulus.sweep_samples` makes it but for the fade in, to the precision of a converter.
    """
    sweep = recognised.sweep
    n_before, n, n_after = (round(part_s * sweep.rate_hz) for part_s in (sweep.before_s, sweep.duration_s, sweep.after_s))
    fades = [max(min(round(fade_s * sweep.rate_hz), n // 2), 1) for fade_s in (recognised.fade_s, FADE_S)]
    out = np.zeros(n_before + n + n_after, dtype=np.float32)
    for first in range(0, n, N_PIECE):
        at = np.arange(first, min(first + N_PIECE, n))
        wave = sweep.level * np.sin(2 * np.pi * _turns(sweep, at))
        for n_fade, end in zip(fades, (at, n - 1 - at), strict=True):
            edge = end < n_fade
            wave[edge] *= 0.5 - 0.5 * np.cos(np.pi * (end[edge] + 0.5) / n_fade)
        out[n_before + first : n_before + first + len(at)] = wave
    return out


def is_own(sweep: Sweep) -> bool:
    """Tell whether a sweep has the numbers of the tool's own, so that its pace is known.

    Parameters
    ----------
    sweep : Sweep
        Silences and level do not matter.

    Returns
    -------
    bool
        True for 15 Hz to 0.46 of the rate in 3 s.
    """
    own = Sweep(rate_hz=sweep.rate_hz)
    return (sweep.start_hz, sweep.stop_hz, sweep.duration_s) == (own.start_hz, own.stop_hz, own.duration_s)


def without_ends(arrival: Arrival) -> Arrival:
    """Leave out what the ends of a recognised sweep reach: how they were faded is not known.

    Parameters
    ----------
    arrival : Arrival
        Of a recognised sweep.

    Returns
    -------
    Arrival
        Its first blocks and its last, nan.
    """
    frequency_hz = arrival.frequency_hz
    is_end = (frequency_hz < FADE_REACH * frequency_hz[0]) | (np.arange(len(frequency_hz)) >= len(frequency_hz) - N_LAST)
    delay_s, group_delay_s, gain, third = (
        np.where(is_end, np.nan, values) for values in (arrival.delay_s, arrival.group_delay_s, arrival.gain, arrival.third)
    )
    return replace(arrival, delay_s=delay_s, group_delay_s=group_delay_s, gain=gain, third=third)


def describe_sweep(sweep: Sweep) -> str:
    """Say what a recognised sweep is.

    Parameters
    ----------
    sweep : Sweep
        From `recognise_best`.

    Returns
    -------
    str
        For people.
    """
    ends = f"{sweep.start_hz:.3g} Hz to {sweep.stop_hz / 1000:.1f} kHz in {sweep.duration_s:.2f} s"
    return f"sweep recognised from the recording: {ends}{', as this program makes it' if is_own(sweep) else ''}"


def _strongest(samples: Samples, rate_hz: int) -> tuple[FloatArray, FloatArray]:
    """Find times [s] and strongest frequencies [Hz] of those frames that hold one tone, shapes (k,)."""
    from scipy.fft import rfft

    n_frame = 1 << round(np.log2(FRAME_S * rate_hz))
    starts = np.arange(0, len(samples) - n_frame, max(n_frame // 2, len(samples) // N_FRAMES))
    window = np.hanning(n_frame - 1).astype(np.float32)
    lowest = int(np.ceil(LOWEST_HZ * n_frame / rate_hz))
    times, frequencies = [np.zeros(0)], [np.zeros(0)]
    for first in range(0, len(starts), N_AT_ONCE):
        at = starts[first : first + N_AT_ONCE]
        # Differences add 6 dB an octave: mains lines and rumble stay below the tone.
        frames = np.diff(samples[at[:, None] + np.arange(n_frame)].astype(np.float32), axis=1)
        power = np.abs(rfft(frames * window, n_frame, axis=1)) ** 2
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


def _crude_line(time_s: FloatArray, frequency_hz: FloatArray) -> _Line | None:
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
            best, found = int(np.count_nonzero(near)), _fit_line(time_s[near], level[near])
    return found if found is not None and _is_filled(time_s, frequency_hz, found, near=2 * NEAR) else None


def _crowded(values: FloatArray, *, width: float) -> float:
    """Median of the most values that lie within a width."""
    ordered = np.sort(values)
    count = np.searchsorted(ordered, ordered + width) - np.arange(len(ordered))
    first = int(np.argmax(count))
    return float(np.median(ordered[first : first + count[first]]))


def _fit_line(time_s: FloatArray, level: FloatArray) -> _Line | None:
    """Least squares of ln f against time; None where it does not rise."""
    if len(time_s) < N_LEAST or np.ptp(time_s) <= 0:
        return None
    middle_s = float(np.mean(time_s))
    slope = float(np.sum((time_s - middle_s) * (level - np.mean(level))) / np.sum((time_s - middle_s) ** 2))
    return _Line(growth_s=1 / slope, zero_s=middle_s - float(np.mean(level)) / slope) if slope > 1 / GROWTH_S[1] else None


def _is_filled(time_s: FloatArray, frequency_hz: FloatArray, line: _Line, *, near: float) -> bool:
    """Tell whether the line is long, and most that sounds between its ends lies on it."""
    on_line = np.abs(np.log(np.maximum(frequency_hz, 1e-9) / line.frequency_hz(time_s))) < near
    if np.count_nonzero(on_line) < N_LEAST:
        return False
    ends = np.flatnonzero(on_line)[[0, -1]]
    octaves = float(np.log2(frequency_hz[ends[1]] / frequency_hz[ends[0]]))
    return octaves > OCTAVES_LEAST and np.count_nonzero(on_line) > FILLED * (ends[1] - ends[0] + 1)


def _refine(samples: Samples, line: _Line, *, rate_hz: int) -> tuple[_Line, float, float] | None:
    """Refine a line by the phase; also the turns of the phase at the line's 0 Hz [1] and the time of the last good window [s]."""
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
    return line, -turn, float(time_s[rest][-1])


def _follow_phase(turned: ComplexArray, time_s: FloatArray, line: _Line, good: BoolArray) -> _Line:
    """Move a line so that what is left of the phase, from window to window, is least; steps of lost samples are left out."""
    pair = np.flatnonzero(good[1:] & good[:-1])
    turn = np.angle(turned[pair + 1] * np.conj(turned[pair]))
    frequency_hz = line.frequency_hz(time_s)
    by_zero = np.diff(-2 * np.pi * frequency_hz)[pair]
    by_growth = np.diff(2 * np.pi * frequency_hz * (1 - (time_s - line.zero_s) / line.growth_s))[pair]
    matrix = np.stack([by_zero, by_growth], axis=1)
    use = np.ones(len(pair), dtype=bool)
    solution = np.zeros(2)
    for _ in range(N_REFINED):
        solution = np.linalg.lstsq(matrix[use], turn[use], rcond=None)[0]
        rest = np.abs(turn - matrix @ solution)
        use = rest <= 5 * float(np.median(rest))
    return _Line(growth_s=line.growth_s + float(solution[1]), zero_s=line.zero_s + float(solution[0]))


def _in_company(good: BoolArray) -> BoolArray:
    """Drop what is good by chance: most of its neighbours are not, shape (k,)."""
    padded = np.pad(good, COMPANY // 2)
    share = np.mean(np.lib.stride_tricks.sliding_window_view(padded, COMPANY), axis=1)
    return good & (share[: len(good)] > FILLED / 1.2)


def _demodulate(
    samples: Samples, line: _Line, starts: NDArray[np.int64], *, n_window: int, rate_hz: int
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


def _purity(samples: Samples, line: _Line, *, rate_hz: int) -> float:
    """Part of the power that is the sweep's while it passes the octave above 100 Hz [1]; 0 where that was not recorded."""
    first, last = (round(line.time_s(frequency_hz) * rate_hz) for frequency_hz in (100.0, 200.0))
    if first < 0 or last > len(samples):
        return 0.0
    part = samples[first:last].astype(float)
    part -= np.mean(part)
    phase = 2 * np.pi * line.growth_s * line.frequency_hz(np.arange(first, last) / rate_hz)
    power = float(np.mean(part**2))
    return float(2 * np.abs(np.mean(part * np.exp(-1j * phase))) ** 2 / power) if power > 0 else 0.0


def _find_start(samples: Samples, line: _Line, *, rate_hz: int) -> float:
    """Time at which the sweep begins, from the level [s]; 0 where the recording begins with it."""
    low, high = (round(line.time_s(frequency_hz) * rate_hz) for frequency_hz in (60.0, 200.0))
    high = min(max(high, 0), len(samples))
    low = max(low, 0)
    if high - low < round(GAP_S * rate_hz):
        low, high = low, min(low + round(GAP_S * rate_hz), len(samples))
    before = np.abs(samples[:high] - np.mean(samples, dtype=np.float64))
    level = float(np.percentile(before[low:], 95))
    n_quiet = round(GAP_S * rate_hz)
    pieces = before[: len(before) // n_quiet * n_quiet].reshape(-1, n_quiet)
    quiet = float(np.min(np.max(pieces, axis=1))) if len(pieces) else level
    loud = np.flatnonzero(before > np.clip(3 * quiet, SOUNDING * level, HUSHED * level))
    if len(loud) == 0:
        return low / rate_hz
    gaps = np.flatnonzero(np.diff(loud) > n_quiet)
    first = int(loud[gaps[-1] + 1]) if len(gaps) else int(loud[0])
    return first / rate_hz if first > FADE_S * rate_hz else 0.0


def _find_stop(samples: Samples, line: _Line, *, after_s: float, rate_hz: int) -> float:
    """Time at which the sweep ends, from the level [s]."""
    n_step = max(round(END_STEP_S * rate_hz), 8)
    first = max(round((after_s - 0.03) * rate_hz), 0)
    last = min(len(samples), round(line.time_s(0.4995 * rate_hz) * rate_hz))
    n_steps = (last - first) // n_step
    if n_steps < 12:
        return last / rate_hz
    steps = np.diff(samples[first : first + n_steps * n_step].astype(float), prepend=0.0).reshape(n_steps, n_step)
    level = np.sqrt(np.mean(steps[:, 1:] ** 2, axis=1))
    for index in range(11, n_steps):
        if level[index] < END_DROP * np.median(level[max(index - 20, 0) : index - 3]):
            return (first + (index + 0.5) * n_step) / rate_hz + FADE_S / 2
    return last / rate_hz


def _as_own(line: _Line, ends_s: tuple[float, float], *, length_s: float, rate_hz: int) -> Sweep | None:
    """Take a sweep for the tool's own where growth and ends agree; ends may be those of the recording."""
    own = Sweep(rate_hz=rate_hz)
    growth_s = own.duration_s / float(np.log(own.stop_hz / own.start_hz))
    if abs(line.growth_s / growth_s - 1) > OWN:
        return None
    start_hz, stop_hz = (float(line.frequency_hz(np.array(end_s))) for end_s in ends_s)
    begins_with_it, ends_with_it = ends_s[0] <= 0, ends_s[1] >= length_s - END_STEP_S
    is_start = 1 / OWN_ENDS < start_hz / own.start_hz < OWN_ENDS or (begins_with_it and start_hz > own.start_hz)
    is_stop = 1 / OWN_ENDS < stop_hz / own.stop_hz < OWN_ENDS or (ends_with_it and stop_hz < own.stop_hz)
    if not (is_start and is_stop):
        return None
    before_s = max(line.time_s(own.start_hz), 0.0)
    return replace(own, before_s=before_s, after_s=max(length_s - before_s - own.duration_s, 0.0))
