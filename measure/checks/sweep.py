"""What was played, recognised from what was recorded: an exponential sweep shows as a line of ln f against time.

Found crudely from the strongest frequency of short frames, then refined from the phase that a sweep of those numbers leaves. The
ends come from the level. A sweep like the tool's own is taken for just that, so that clocks and lengths can be judged against it;
of any other only the recording tells how fast it was meant to run.
"""

from dataclasses import dataclass, replace

import msgspec
import numpy as np
from numpy.typing import NDArray

from measure.checks.sweepline import Line, find_line
from measure.response import FloatArray, percentile
from measure.signal.arrival import Arrival
from measure.signal.recording import Samples
from measure.signal.stimulus import FADE_S, Sweep

LEAST_RATE_HZ = 8000
N_PIECE = 1 << 15  # [samples] worked on at once
N_LEVEL = 1 << 18  # [samples] that a level is told from
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognised:
    """A sweep recognised from a recording.

    Attributes
    ----------
    fade_s : float
        How long its fade in seems to be. [s]
    """

    sweep: Sweep
    fade_s: float = FADE_S


def _recognise(samples: Samples, rate_hz: int) -> tuple[Sweep | None, float]:
    """Recognise a sweep; also the part of the power at low notes that is its [1]."""
    found = find_line(samples, rate_hz)
    if found is None or rate_hz < LEAST_RATE_HZ:
        return None, 0.0
    line = found.line
    purity = _purity(samples, line, rate_hz=rate_hz)
    length_s = len(samples) / rate_hz
    start_s = _find_start(samples, line, rate_hz=rate_hz)
    stop_s = _find_stop(samples, line, after_s=found.last_s, rate_hz=rate_hz)
    own = _as_own(line, (start_s, stop_s), length_s=length_s, rate_hz=rate_hz)
    if own is not None:
        return own, purity
    return _as_any(line, found.turns, (start_s, stop_s), length_s=length_s, rate_hz=rate_hz), purity


def _as_any(line: Line, turn: float, ends_s: tuple[float, float], *, length_s: float, rate_hz: int) -> Sweep | None:
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
        As `measure.signal.stimulus.sweep_samples` makes it but for the fade in, to the precision of a converter.
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
    """
    ends = f"{sweep.start_hz:.3g} Hz to {sweep.stop_hz / 1000:.1f} kHz in {sweep.duration_s:.2f} s"
    return f"sweep recognised from the recording: {ends}{', as this program makes it' if is_own(sweep) else ''}"


def _purity(samples: Samples, line: Line, *, rate_hz: int) -> float:
    """Part of the power that is the sweep's while it passes the octave above 100 Hz [1]; 0 where that was not recorded."""
    first, last = (round(line.time_s(frequency_hz) * rate_hz) for frequency_hz in (100.0, 200.0))
    if first < 0 or last > len(samples):
        return 0.0
    part = samples[first:last].astype(float)
    part -= np.mean(part)
    phase = 2 * np.pi * line.growth_s * line.frequency_hz(np.arange(first, last) / rate_hz)
    power = float(np.mean(part**2))
    return float(2 * np.abs(np.mean(part * np.exp(-1j * phase))) ** 2 / power) if power > 0 else 0.0


def _find_start(samples: Samples, line: Line, *, rate_hz: int) -> float:
    """Time at which the sweep begins, from the level [s]; 0 where the recording begins with it."""
    low, high = (round(line.time_s(frequency_hz) * rate_hz) for frequency_hz in (60.0, 200.0))
    high = min(max(high, 0), len(samples))
    low = max(low, 0)
    if high - low < round(GAP_S * rate_hz):
        low, high = low, min(low + round(GAP_S * rate_hz), len(samples))
    offset = np.float32(np.mean(samples, dtype=np.float64))
    before = samples[:high] - offset
    np.abs(before, out=before)
    level = percentile(before[low :: max((high - low) // N_LEVEL, 1)], 95)
    n_quiet = round(GAP_S * rate_hz)
    pieces = before[: len(before) // n_quiet * n_quiet].reshape(-1, n_quiet)
    quiet = float(np.min(np.max(pieces, axis=1))) if len(pieces) else level
    first, last = -1, -1
    for begin in range(0, high, N_PIECE):
        loud = begin + np.flatnonzero(before[begin : begin + N_PIECE] > np.clip(3 * quiet, SOUNDING * level, HUSHED * level))
        if len(loud) == 0:
            continue
        # What sounds begins after the last gap.
        after_gap = loud[np.diff(loud, prepend=last if last >= 0 else loud[0]) > n_quiet]
        first = int(after_gap[-1]) if len(after_gap) else (first if first >= 0 else int(loud[0]))
        last = int(loud[-1])
    if first < 0:
        return low / rate_hz
    return first / rate_hz if first > FADE_S * rate_hz else 0.0


def _find_stop(samples: Samples, line: Line, *, after_s: float, rate_hz: int) -> float:
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


def _as_own(line: Line, ends_s: tuple[float, float], *, length_s: float, rate_hz: int) -> Sweep | None:
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
    return msgspec.structs.replace(own, before_s=before_s, after_s=max(length_s - before_s - own.duration_s, 0.0))
