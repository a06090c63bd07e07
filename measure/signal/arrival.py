"""Where and when the known stimulus arrives in a channel, and what else is in there.

The ratio of two channels hides lost samples and clocks that drift, so each channel is compared with what was played. The response
is found by deconvolution and kept only where it can stand, a short time after its arrival. Played through that response, the
stimulus predicts the channel; what it does not predict is noise, or a break in the stream. All in pieces, so that long recordings
need little memory; what is played in a piece is transformed once for all channels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray
from measure.signal.timetable import N_BLOCKS, IntArray, Timetable
from measure.signal.transforms import (
    Complex64Array,
    Float32Array,
    Transform,
    fast_length,
    make_transform,
    samples_of,
    spectrum_of,
)

PIECE_S, PIECES, N_MOST = 3.1, 10, 1 << 21  # [s], [1], [samples] of stimulus worked on at once: a tenth, within these limits
BEFORE_S = 0.02  # [s] kept of the response before its arrival
AFTER_S = 0.15  # [s] and after: the slowest pickup has rung down to a millionth
MARGIN_S = 0.3  # [s] heard on both sides of a piece
OVERLAP_S = 0.5  # [s] of neighbouring pieces
STEP_S = 0.005  # [s] resolution at which the unpredicted is judged
LOW_CUT_HZ = 1000.0  # [Hz] the unpredicted is judged above it: mains lines stay below, a break in the stream is broad
THIRD_AFTER_S = 0.04  # [s] kept of the third harmonic's response: what the linear one leaves comes L·ln 3 later
THIRD_CLEAR = 4.0  # [1] of its power over that where none can stand: hum fills both alike
THIRD_TOP = 0.15  # [1] of the sample rate: above it the third harmonic folds back
EDGE_S = 0.03  # [s] at the ends of the stimulus, and
INNER_EDGE_S = 0.45  # [s] at the ends of a piece, that are not judged
WHOLE_FLOOR, PART_FLOOR = 1e-5, 1e-2  # [1] the same for the search of the latency, by all of the stimulus or a part
NARROW_HZ = 100.0  # [Hz] band of a piece, below which a response of `AFTER_S` is not resolved in it
SOFT_S = 0.4  # [s] over which a piece is faded where it was cut out
FLOOR, THIRD_FLOOR = 1e-7, 1e-5  # [1] of the stimulus's greatest power: below it nothing is divided
N_AT_ONCE = 1 << 15  # [bins], [samples] worked on at once
TINY = 1e-30  # [1] stands in for 0 where a division follows
N_PRESENT = 8.0  # [1] greatest value of a correlation over its rms: a stimulus is there


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arrival:
    """The known stimulus as it is found in one channel; blocks are those of its timetable.

    Attributes
    ----------
    latency : int
        Samples from the start of the stimulus to its arrival in the recording.
    frequency_hz : ndarray, shape (k,)
        Middle of each block. [Hz]
    time_s : ndarray, shape (k,)
        Middle of each block in the recording. [s]
    delay_s : ndarray, shape (k,)
        Arrival of each block beyond `latency`, the whole channel looked at. [s]
    group_delay_s : ndarray, shape (k,)
        The same from the short response alone: less noise, but right only where the delay is short. [s]
    gain : ndarray, shape (k,)
        Magnitude of the response.
    noise : ndarray, shape (k,)
        What the same look finds where no response can stand.
    third : ndarray, shape (k,)
        Level of the third harmonic that is played when the stimulus passes the block's frequency, over the level of the stimulus;
        0 where it does not stand out, nan where it lies above the band.
    step_time_s : ndarray, shape (m,)
        Middle of each step in the recording, `STEP_S` apart. [s]
    unpredicted : ndarray, shape (m,)
        Rms in each step of what the response does not predict, above `LOW_CUT_HZ`; nan outside the stimulus.
    predicted : ndarray, shape (m,)
        Rms in each step of what it does predict.
    """

    latency: int
    frequency_hz: FloatArray
    time_s: FloatArray
    delay_s: FloatArray
    group_delay_s: FloatArray
    gain: FloatArray
    noise: FloatArray
    third: FloatArray
    step_time_s: FloatArray
    unpredicted: FloatArray
    predicted: FloatArray


def find_latency(samples: FloatArray, stimulus: FloatArray, timetable: Timetable, *, rate_hz: int) -> tuple[int, float]:
    """Find where a stimulus starts in a channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    stimulus : ndarray, shape (m,)
        What was played.
    rate_hz : int
        Sample rate of both. [Hz]

    Returns
    -------
    latency : int
        Samples from the start of the stimulus to its arrival; negative where the recording began later.
    contrast : float
        Greatest value of the correlation over its rms; below `N_PRESENT` there is no stimulus.
    """
    middle = (timetable.start + timetable.stop) // 2
    half = _piece_length(timetable, rate_hz=rate_hz) // 2
    probe = stimulus[middle - half : middle + half].astype(np.float32)
    floor = WHOLE_FLOOR
    if 2 * half < timetable.stop - timetable.start - 1:
        # A part of the sweep has edges of its own, and the rest of it lies outside its band.
        floor = PART_FLOOR
        probe *= np.hanning(2 * half).astype(np.float32)
    n_new = len(probe)
    transform = make_transform(_transform_length(n_new, rate_hz=rate_hz))
    whitener = _inverse(spectrum_of(transform, probe), floor=floor)
    best, latency, square, count = 0.0, 0, 0.0, 0
    for at in range(-n_new + 1, len(samples), n_new):
        n_lags = min(n_new, len(samples) - at)
        piece = np.zeros(transform.length, dtype=np.float32)
        low, high = max(at, 0), min(at + n_lags + n_new - 1, len(samples))
        piece[low - at : high - at] = samples[low:high]
        lags = samples_of(transform, spectrum_of(transform, piece) * whitener)[:n_lags]
        peak = int(np.argmax(lags) if np.max(lags) > -np.min(lags) else np.argmin(lags))
        square, count = square + float(np.sum(np.square(lags), dtype=np.float64)), count + len(lags)
        if abs(lags[peak]) > best:
            best, latency = float(abs(lags[peak])), at + peak - (middle - half)
    return latency, best / np.sqrt(square / count) if square > 0 else 0.0


def _inverse(source: Complex64Array, *, floor: float) -> Complex64Array:
    """Invert the spectrum of what was played, a piece at a time; `floor` is over its greatest power."""
    pieces = [slice(first, first + N_AT_ONCE) for first in range(0, len(source), N_AT_ONCE)]
    least = np.float32(max(floor * max(float(np.max(_power(source[piece]))) for piece in pieces), TINY))
    inverse = np.conj(source)
    for piece in pieces:
        inverse[piece] /= _power(source[piece]) + least
    return inverse


def _power(values: Complex64Array) -> Float32Array:
    """Squares of the magnitudes."""
    return values.real**2 + values.imag**2


def follow_stimulus(
    channels: Sequence[FloatArray], stimulus: FloatArray, timetable: Timetable, *, rate_hz: int, latency: int
) -> list[Arrival]:
    """Compare channels of one recording with what was played, block by block and step by step.

    Parameters
    ----------
    channels : sequence of ndarray, shape (n,)
        All of one length.
    stimulus : ndarray, shape (m,)
        What was played.
    rate_hz : int
        Sample rate of both. [Hz]
    latency : int
        From `find_latency`, of all channels. [samples]

    Returns
    -------
    list of Arrival
        One of each channel. Blocks that the recording does not hold are nan.
    """
    from concurrent.futures import ThreadPoolExecutor

    n_step, n_samples = max(1, round(STEP_S * rate_hz)), len(channels[0])
    n_steps = n_samples // n_step
    blocks = np.full((len(channels), 5, N_BLOCKS), np.nan)
    steps = np.full((len(channels), 2, n_steps), np.nan)
    pieces = _pieces(timetable, rate_hz=rate_hz)
    transform = make_transform(_heard_length(n_samples, pieces, rate_hz=rate_hz))
    with ThreadPoolExecutor(len(channels)) as threads:  # transforms leave the interpreter free
        for low, high in pieces:
            ends = (low == timetable.start, high == timetable.stop)
            # Where a piece was cut, its spectrum has an edge that the recording's has not.
            clear = round(OVERLAP_S * rate_hz)
            inside = timetable.edges[:-1] >= (low if ends[0] else low + clear)
            inside &= timetable.edges[1:] <= min(high if ends[1] else high - clear, n_samples - latency)
            inside &= timetable.edges[:-1] + latency >= 0
            band_hz = np.ptp(np.interp([low, high], timetable.edges, timetable.frequency_hz))
            inside &= not timetable.is_sweep or len(pieces) == 1 or bool(band_hz > NARROW_HZ)
            guards = [EDGE_S if is_end else INNER_EDGE_S for is_end in ends]
            first = max(-(-(low + latency + round(guards[0] * rate_hz)) // n_step), 0)
            last = max(min((high + latency - round(guards[1] * rate_hz)) // n_step, n_steps), first)
            wanted = slice(first * n_step - low - latency, last * n_step - low - latency)
            look = _Look(
                low=low,
                high=high,
                blocks=np.flatnonzero(inside),
                wanted=wanted,
                n_step=n_step,
                rate_hz=rate_hz,
                transform=transform,
            )
            follow = partial(
                _follow_piece,
                played=_play(stimulus, timetable, look),
                look=look,
                latency=latency,
                is_whole=len(pieces) == 1,
                is_cut=_cuts(timetable, look),
            )
            for row, (of_blocks, of_steps) in enumerate(threads.map(follow, channels)):
                blocks[row][:, look.blocks], steps[row, :, first:last] = of_blocks, of_steps
            del follow
    return [
        Arrival(
            latency=latency,
            frequency_hz=np.sqrt(timetable.frequency_hz[:-1] * timetable.frequency_hz[1:]),
            time_s=((timetable.edges[:-1] + timetable.edges[1:]) / 2 + latency) / rate_hz,
            delay_s=of_blocks[0],
            group_delay_s=of_blocks[1],
            gain=of_blocks[2],
            noise=of_blocks[3],
            third=of_blocks[4],
            step_time_s=(np.arange(n_steps) + 0.5) * n_step / rate_hz,
            unpredicted=of_steps[0],
            predicted=of_steps[1],
        )
        for of_blocks, of_steps in zip(blocks, steps, strict=True)
    ]


def _piece_length(timetable: Timetable, *, rate_hz: int) -> int:
    """Tell how many samples of the stimulus are worked on at once: memory grows with the recording, not beyond it."""
    n_played = timetable.stop - timetable.start
    return min(n_played, max(n_played // PIECES, round(PIECE_S * rate_hz)), max(N_MOST, round(PIECE_S * rate_hz)))


def _pieces(timetable: Timetable, *, rate_hz: int) -> list[tuple[int, int]]:
    """Cut the stimulus into overlapping pieces, each (low, high)."""
    start, stop = timetable.start, timetable.stop
    n_most = _piece_length(timetable, rate_hz=rate_hz)
    overlap = 2 * round(OVERLAP_S * rate_hz) + (stop - start) // N_BLOCKS + 1
    n_pieces = 1 if stop - start <= n_most else -(-(stop - start - overlap) // max(n_most - overlap, n_most // 4))
    length = -(-(stop - start - overlap) // n_pieces) + overlap
    lows = [start + index * (length - overlap) for index in range(n_pieces)]
    return [(min(low, stop - length), min(low, stop - length) + length) for low in lows]


def _transform_length(n_played: int, *, rate_hz: int) -> int:
    """Length of the transforms of all pieces."""
    return fast_length(2 * (n_played + round(MARGIN_S * rate_hz)))


def _heard_length(n_samples: int, pieces: list[tuple[int, int]], *, rate_hz: int) -> int:
    """Length of the transforms of pieces, all alike; of a single one that is heard in all of the recording."""
    n_played = pieces[0][1] - pieces[0][0]
    return fast_length(n_samples + n_played) if len(pieces) == 1 else _transform_length(n_played, rate_hz=rate_hz)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Look:
    """Where a piece of the stimulus is looked at; `wanted` counts from the arrival of the piece, in whole steps."""

    low: int
    high: int
    blocks: IntArray
    wanted: slice
    n_step: int
    rate_hz: int
    transform: Transform


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Played:
    """A piece of the stimulus, as all channels are compared with it; `by_third` is None where no third harmonic is looked for."""

    spectrum: Complex64Array
    inverse: Complex64Array
    by_third: Complex64Array | None
    has_third: list[bool]
    bands: list[slice]


def _follow_piece(
    samples: FloatArray, *, played: _Played, look: _Look, latency: int, is_whole: bool, is_cut: tuple[bool, bool]
) -> tuple[FloatArray, FloatArray]:
    heard = _hear(samples, look, latency=latency, is_whole=is_whole)
    _soften_cuts(heard, n_played=look.high - look.low, is_cut=is_cut, rate_hz=look.rate_hz)
    return _deconvolve(spectrum_of(look.transform, heard), played, look)


def _cuts(timetable: Timetable, look: _Look) -> tuple[bool, bool]:
    """Tell which ends of a piece were cut."""
    return look.low != timetable.start, look.high != timetable.stop


def _play(stimulus: FloatArray, timetable: Timetable, look: _Look) -> _Played:
    """Transform what is played in a piece."""
    edges = np.sort(np.stack([timetable.frequency_hz[look.blocks + offset] for offset in (0, 1)], axis=1), axis=1)
    bins = np.round(edges * look.transform.length / look.rate_hz).astype(int)
    part = stimulus[look.low : look.high]
    played = part.astype(np.float32)
    _fade(played, is_cut=_cuts(timetable, look), rate_hz=look.rate_hz)
    spectrum = spectrum_of(look.transform, played)
    del played
    is_low = timetable.frequency_hz < THIRD_TOP * look.rate_hz
    has_third = [timetable.is_sweep and bool(np.all(is_low[block : block + 2])) for block in look.blocks]
    by_third = None
    if any(has_third):
        by_third = _inverse(spectrum_of(look.transform, _tripled(part, timetable, look, is_low=is_low)), floor=THIRD_FLOOR)
    return _Played(
        spectrum=spectrum,
        inverse=_inverse(spectrum, floor=FLOOR),
        by_third=by_third,
        has_third=has_third,
        bands=[slice(int(first), max(int(last), int(first) + 3) + 1) for first, last in bins],
    )


def _tripled(part: FloatArray, timetable: Timetable, look: _Look, *, is_low: NDArray[np.bool_]) -> Float32Array:
    """Play a piece with its phase times three, cos 3φ = 4 cos³φ − 3 cos φ, where the third harmonic is looked for.

    The cube of a faded sweep holds the sweep itself: it is faded afterwards.
    """
    tripled: Float32Array = (part**2).astype(np.float32)
    tripled *= np.float32(4 / timetable.level**2)
    tripled -= np.float32(3.0)
    tripled *= part
    _fade(tripled, is_cut=_cuts(timetable, look), rate_hz=look.rate_hz)
    reach = timetable.edges[is_low] - look.low
    tripled[: max(int(reach[0]), 0)] = 0.0
    tripled[max(int(reach[-1]), 0) :] = 0.0
    return tripled


def _hear(samples: FloatArray, look: _Look, *, latency: int, is_whole: bool) -> Float32Array:
    """Cut what belongs to a piece out of a channel, padded, rolled so that index 0 is the arrival of the piece."""
    low, margin = look.low + latency, round(MARGIN_S * look.rate_hz)
    first = 0 if is_whole else max(0, low - margin)
    stop = len(samples) if is_whole else min(len(samples), look.high + latency + margin)
    n_heard = max(stop - first, 0)
    heard = np.zeros(look.transform.length, dtype=np.float32)
    if n_heard:
        begin = (first - low) % len(heard)
        n_head = min(n_heard, len(heard) - begin)
        offset = np.float32(np.mean(samples[first:stop], dtype=np.float64))
        heard[begin : begin + n_head] = samples[first : first + n_head]
        heard[begin : begin + n_head] -= offset
        heard[: n_heard - n_head] = samples[first + n_head : stop]
        heard[: n_heard - n_head] -= offset
    return heard


def _fade(values: Float32Array, *, is_cut: tuple[bool, bool], rate_hz: int) -> None:
    """Fade the ends that were cut, in place."""
    n_soft = min(round(SOFT_S * rate_hz), len(values) // 2)
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(n_soft) + 0.5) / max(n_soft, 1))).astype(np.float32)
    if is_cut[0]:
        values[:n_soft] *= rise
    if is_cut[1]:
        values[len(values) - n_soft :] *= rise[::-1]


def _soften_cuts(heard: Float32Array, *, n_played: int, is_cut: tuple[bool, bool], rate_hz: int) -> None:
    """Fade what is heard like what is played, in place, where a piece was cut out: an edge would ring in its spectrum."""
    _fade(heard[:n_played], is_cut=is_cut, rate_hz=rate_hz)
    if is_cut[0]:
        heard[(n_played + len(heard)) // 2 :] = 0.0
    if is_cut[1]:
        heard[n_played : (n_played + len(heard)) // 2] = 0.0


def _deconvolve(found: Complex64Array, played: _Played, look: _Look) -> tuple[FloatArray, FloatArray]:
    """Look at the blocks of a piece, shape (5, blocks), and at its steps, unpredicted and predicted, shape (2, steps).

    `found` is the spectrum of what was heard from the arrival of the piece on, and is used up: each spectrum is let go as soon as
    what is wanted of it is known.
    """
    rate_hz, bands, transform = look.rate_hz, played.bands, look.transform
    third = _third_harmonic(found, played, look)
    delay_s = [_band_delay(found[band] * np.conj(played.spectrum[band]), rate_hz / transform.length) for band in bands]
    lags = samples_of(transform, found * played.inverse)
    after = round(AFTER_S * rate_hz)
    empty = spectrum_of(transform, _keep(lags, rate_hz=rate_hz, after=after, first=after + round(BEFORE_S * rate_hz))[0])
    noise = [_band_level(empty[band]) for band in bands]
    del empty
    part, at = _keep(lags, rate_hz=rate_hz, after=after, first=0)
    lags[:] = 0.0
    lags[at] = part
    response = spectrum_of(transform, lags)
    del lags
    group_delay_s = [_band_delay(response[band], rate_hz / transform.length) for band in bands]
    gain = [_band_level(response[band]) for band in bands]
    response *= played.spectrum
    found -= response
    for first in range(0, len(found), N_AT_ONCE):
        passed = found[first : first + N_AT_ONCE]
        frequency_hz = np.arange(first, first + len(passed), dtype=np.float32) * np.float32(rate_hz / transform.length)
        passed *= 1 / (1 + (np.float32(LOW_CUT_HZ) / np.maximum(frequency_hz, np.float32(1.0))) ** 4)
    steps = [_step_rms(samples_of(transform, values), look) for values in (found, response)]
    return np.array([delay_s, group_delay_s, gain, noise, third]), np.array(steps)


def _step_rms(values: Float32Array, look: _Look) -> FloatArray:
    """Rms in each step of a piece."""
    parts = values[look.wanted].reshape(-1, look.n_step)
    return np.sqrt(np.einsum("ij,ij->i", parts, parts).astype(float) / look.n_step)


def _band_delay(values: Complex64Array, bin_hz: float) -> float:
    """Delay, from how the phase turns within a band."""
    turn = np.sum(values[1:].astype(complex) * np.conj(values[:-1]))
    return -float(np.angle(turn)) / (2 * np.pi * bin_hz)


def _band_level(values: Complex64Array) -> float:
    """Magnitude within a band, by the median of its powers."""
    middle = ((len(values) - 1) // 2, len(values) // 2)
    power = np.partition(_power(values), middle)
    return float(np.sqrt((power[middle[0]] + power[middle[1]]) / 2))


def _keep(lags: Float32Array, *, rate_hz: int, after: int, first: int) -> tuple[Float32Array, IntArray]:
    """Cut out what stands from a little before lag `first` to `after` lags later, with soft ends; and its indices."""
    before = min(round(BEFORE_S * rate_hz), after // 2)
    window = np.ones(before + after)
    for n_soft, part in ((before // 2, window), (after // 3, window[::-1])):
        part[:n_soft] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_soft) + 0.5) / max(n_soft, 1))
    at = (first + np.arange(-before, after)) % len(lags)
    return (lags[at] * window).astype(np.float32), at


def _third_harmonic(found: Complex64Array, played: _Played, look: _Look) -> list[float]:
    """Level of the third harmonic in each block, against what the same look finds where there is none.

    Harmonics separate from the linear response in time (A. Farina, 108th AES Convention, Paris 2000). Deconvolving by the sweep
    with its phase times three brings the third to lag 0 and moves the linear response L·ln 3 away.
    """
    if played.by_third is None:
        return [np.nan] * len(played.bands)
    lags = samples_of(look.transform, found * played.by_third)
    after = round(THIRD_AFTER_S * look.rate_hz)
    bands = [
        slice(3 * band.start, 3 * band.stop) for band, has_third in zip(played.bands, played.has_third, strict=True) if has_third
    ]
    powers = []
    for first in (0, 2 * after):
        spectrum = spectrum_of(look.transform, _keep(lags, rate_hz=look.rate_hz, after=after, first=first)[0])
        powers.append([_band_level(spectrum[band]) ** 2 for band in bands])
        del spectrum
    levels = iter(
        float(np.sqrt(power - empty)) if power > THIRD_CLEAR * empty else 0.0 for power, empty in zip(*powers, strict=True)
    )
    return [next(levels) if has_third else np.nan for has_third in played.has_third]
