"""Where and when the known stimulus arrives in a channel, and what else is in there.

The ratio of two channels hides lost samples and clocks that drift, so each channel is compared with what was played. The response
is found by deconvolution and kept only where it can stand, a short time after its arrival. Played through that response, the
stimulus predicts the channel; what it does not predict is noise, or a break in the stream. All in pieces, so that long recordings
need little memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray

IntArray = NDArray[np.int64]
Float32Array = NDArray[np.float32]
Complex64Array = NDArray[np.complex64]

N_PIECE = 1 << 20  # [samples] of stimulus worked on at once
N_BLOCKS = 60  # [1] over the stimulus: about six an octave
BEFORE_S = 0.02  # [s] kept of the response before its arrival
AFTER_S = 0.15  # [s] and after: the slowest pickup has rung down to a millionth
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
SOUNDING = 1e-3  # [1] of the peak: the stimulus has begun
FLOOR = 1e-7  # [1] of the stimulus's greatest power: below it nothing is divided
N_PRESENT = 8.0  # [1] greatest value of a correlation over its rms: a stimulus is there


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
    is_sounding = (stimulus > SOUNDING * level) | (stimulus < -SOUNDING * level)
    start = int(np.argmax(is_sounding)) if level else 0
    stop = len(stimulus) - int(np.argmax(is_sounding[::-1])) if level else 0
    if stop - start < 20 * N_BLOCKS:
        msg = f"the stimulus has {len(stimulus)} samples, peak {level:.3g}; it must sound for {20 * N_BLOCKS} samples or more"
        raise ValueError(msg)
    edges = np.round(np.linspace(start, stop, N_BLOCKS + 1)).astype(np.int64)
    part = stimulus[start:stop]
    before = np.flatnonzero((part[:-1] < 0) != (part[1:] < 0))
    crossing = start + before + part[before] / (part[before] - part[before + 1])
    frequency_hz = _edge_frequencies(crossing, edges, rate_hz=rate_hz)
    steps = np.diff(frequency_hz)
    is_sweep = bool(len(crossing) > 2 * N_BLOCKS and (np.all(steps > 0) or np.all(steps < 0)))
    if not is_sweep:
        frequency_hz = np.geomspace(30.0, 0.45 * rate_hz, N_BLOCKS + 1)
    return Timetable(start=start, stop=stop, edges=edges, frequency_hz=frequency_hz, is_sweep=is_sweep, level=level)


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


def find_latency(samples: FloatArray, stimulus: FloatArray, timetable: Timetable) -> tuple[int, float]:
    """Find where a stimulus starts in a channel.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    stimulus : ndarray, shape (m,)
        What was played.
    timetable : Timetable
        Of the stimulus.

    Returns
    -------
    latency : int
        Samples from the start of the stimulus to its arrival; negative where the recording began later.
    contrast : float
        Greatest value of the correlation over its rms; below `N_PRESENT` there is no stimulus.
    """
    middle = (timetable.start + timetable.stop) // 2
    half = min(N_PIECE // 2, (timetable.stop - timetable.start) // 2)
    probe = stimulus[middle - half : middle + half]
    floor = WHOLE_FLOOR
    if 2 * half < timetable.stop - timetable.start - 1:
        # A part of the sweep has edges of its own, and the rest of it lies outside its band.
        floor, probe = PART_FLOOR, probe * np.hanning(2 * half)
    n_new = max(N_PIECE, len(probe))
    best, latency, square, count = 0.0, 0, 0.0, 0
    for at in range(-len(probe) + 1, len(samples), n_new):
        lags = _whitened_correlation(samples, probe, first=at, n_lags=min(n_new, len(samples) - at), floor=floor)
        peak = int(np.argmax(np.abs(lags)))
        square, count = square + float(np.sum(lags.astype(float) ** 2)), count + len(lags)
        if abs(lags[peak]) > best:
            best, latency = float(abs(lags[peak])), at + peak - (middle - half)
    return latency, best / np.sqrt(square / count) if square > 0 else 0.0


def _whitened_correlation(samples: FloatArray, probe: FloatArray, *, first: int, n_lags: int, floor: float) -> FloatArray:
    """Correlate at n_lags lags from `first` on, the probe's spectrum divided out, shape (n_lags,)."""
    from scipy.fft import irfft, next_fast_len, rfft

    n_needed = n_lags + len(probe) - 1
    piece = np.zeros(n_needed, dtype=np.float32)
    low, high = max(first, 0), min(first + n_needed, len(samples))
    piece[low - first : high - first] = samples[low:high]
    n_fft = next_fast_len(n_needed, real=True)
    spectrum = rfft(probe.astype(np.float32), n_fft)
    power = np.abs(spectrum) ** 2
    found = rfft(piece, n_fft) * np.conj(spectrum)
    return irfft(found / (power + floor * np.max(power)), n_fft)[:n_lags]


def follow_stimulus(samples: FloatArray, stimulus: FloatArray, timetable: Timetable, *, rate_hz: int, latency: int) -> Arrival:
    """Compare one channel with what was played, block by block and step by step.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel.
    stimulus : ndarray, shape (m,)
        What was played.
    timetable : Timetable
        Of the stimulus.
    rate_hz : int
        Sample rate of both. [Hz]
    latency : int
        From `find_latency`. [samples]

    Returns
    -------
    Arrival
        Blocks that the recording does not hold are nan.
    """
    n_step = max(1, round(STEP_S * rate_hz))
    n_steps = len(samples) // n_step
    blocks = np.full((5, N_BLOCKS), np.nan)
    steps = np.full((2, n_steps), np.nan)
    pieces = _pieces(timetable, rate_hz=rate_hz)
    for low, high in pieces:
        heard = _hear(samples, low=low + latency, n_played=high - low, rate_hz=rate_hz, is_whole=len(pieces) == 1)
        played = stimulus[low:high].astype(np.float32)
        _soften_cuts(heard, played, is_cut=(low != timetable.start, high != timetable.stop), rate_hz=rate_hz)
        spectra, predicted, unpredicted = _deconvolve(heard, played, timetable, low=low, rate_hz=rate_hz)
        # Where a piece was cut, its spectrum has an edge that the recording's has not.
        clear = round(OVERLAP_S * rate_hz)
        inside = timetable.edges[:-1] >= (low if low == timetable.start else low + clear)
        inside &= timetable.edges[1:] <= min(high if high == timetable.stop else high - clear, len(samples) - latency)
        inside &= timetable.edges[:-1] + latency >= 0
        band_hz = np.ptp(np.interp([low, high], timetable.edges, timetable.frequency_hz))
        inside &= not timetable.is_sweep or len(pieces) == 1 or bool(band_hz > NARROW_HZ)
        for block in np.flatnonzero(inside):
            blocks[:, block] = _look_at_band(spectra, timetable.frequency_hz[block : block + 2], rate_hz=rate_hz)
        guards = [EDGE_S if edge in (timetable.start, timetable.stop) else INNER_EDGE_S for edge in (low, high)]
        first = -(-(low + latency + round(guards[0] * rate_hz)) // n_step)
        first, last = max(first, 0), min((high + latency - round(guards[1] * rate_hz)) // n_step, n_steps)
        if last > first:
            wanted = slice(first * n_step - low - latency, last * n_step - low - latency)
            for row, values in enumerate((unpredicted, predicted)):
                power = np.mean(values[wanted].reshape(last - first, n_step) ** 2, axis=1)
                steps[row, first:last] = np.sqrt(power)
    return Arrival(
        latency=latency,
        frequency_hz=np.sqrt(timetable.frequency_hz[:-1] * timetable.frequency_hz[1:]),
        time_s=((timetable.edges[:-1] + timetable.edges[1:]) / 2 + latency) / rate_hz,
        delay_s=blocks[0],
        group_delay_s=blocks[1],
        gain=blocks[2],
        noise=blocks[3],
        third=blocks[4],
        step_time_s=(np.arange(n_steps) + 0.5) * n_step / rate_hz,
        unpredicted=steps[0],
        predicted=steps[1],
    )


def _pieces(timetable: Timetable, *, rate_hz: int) -> list[tuple[int, int]]:
    """Cut the stimulus into overlapping pieces of at most `N_PIECE` samples, each (low, high)."""
    start, stop = timetable.start, timetable.stop
    overlap = 2 * round(OVERLAP_S * rate_hz) + (stop - start) // N_BLOCKS + 1
    n_pieces = 1 if stop - start <= N_PIECE else -(-(stop - start - overlap) // max(N_PIECE - overlap, N_PIECE // 4))
    length = -(-(stop - start - overlap) // n_pieces) + overlap
    lows = [start + index * (length - overlap) for index in range(n_pieces)]
    return [(low, min(low + length, stop)) for low in lows]


def _hear(samples: FloatArray, *, low: int, n_played: int, rate_hz: int, is_whole: bool) -> Float32Array:
    """Cut what belongs to a piece out of a channel, padded, rolled so that index 0 is sample `low` of the recording."""
    from scipy.fft import next_fast_len

    margin = round(2 * AFTER_S * rate_hz)
    first = 0 if is_whole else max(0, low - margin)
    stop = len(samples) if is_whole else min(len(samples), low + n_played + margin)
    heard = np.zeros(next_fast_len(max(stop - first, 0) + n_played, real=True), dtype=np.float32)
    if stop > first:
        heard[: stop - first] = samples[first:stop]
        heard[: stop - first] -= np.mean(heard[: stop - first])
    return np.roll(heard, first - low)


def _soften_cuts(heard: Float32Array, played: Float32Array, *, is_cut: tuple[bool, bool], rate_hz: int) -> None:
    """Fade what is played and what is heard alike, in place, where a piece was cut out: an edge would ring in its spectrum."""
    n_soft, n_played = min(round(SOFT_S * rate_hz), len(played) // 2), len(played)
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(n_soft) + 0.5) / max(n_soft, 1))).astype(np.float32)
    if is_cut[0]:
        played[:n_soft] *= rise
        heard[:n_soft] *= rise
        heard[(n_played + len(heard)) // 2 :] = 0.0
    if is_cut[1]:
        played[n_played - n_soft :] *= rise[::-1]
        heard[n_played - n_soft : n_played] *= rise[::-1]
        heard[n_played : (n_played + len(heard)) // 2] = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Spectra:
    """One piece of the stimulus and what came of it, by frequency; time 0 is the arrival of the piece."""

    bin_hz: float
    product: Complex64Array
    response: Complex64Array
    empty: Complex64Array
    third: Complex64Array
    third_empty: Complex64Array


def _deconvolve(
    heard: Float32Array, played: Float32Array, timetable: Timetable, *, low: int, rate_hz: int
) -> tuple[_Spectra, Float32Array, Float32Array]:
    """Spectra of a piece; what is predicted; what is not; `heard` starts when sample `low` of the stimulus arrives."""
    from scipy.fft import irfft, rfft, rfftfreq

    n_fft = len(heard)
    found: Complex64Array = rfft(heard)
    source = np.asarray(rfft(played, n_fft), dtype=np.complex64)
    product = np.asarray(found * np.conj(source), dtype=np.complex64)
    power = np.abs(source) ** 2
    lags = irfft(product / (power + np.float32(FLOOR) * np.max(power)), n_fft)
    after = round(AFTER_S * rate_hz)
    response: Complex64Array = rfft(_keep(lags, rate_hz=rate_hz, after=after, first=0))
    empty: Complex64Array = rfft(_keep(lags, rate_hz=rate_hz, after=after, first=after + round(BEFORE_S * rate_hz)))
    predicted_spectrum: Complex64Array = (source * response).astype(np.complex64)
    predicted: Float32Array = irfft(predicted_spectrum, n_fft)
    high_pass = 1 / (1 + (LOW_CUT_HZ / np.maximum(rfftfreq(n_fft, 1 / rate_hz), 1.0)) ** 4)
    unpredicted: Float32Array = irfft((found - predicted_spectrum) * high_pass.astype(np.float32), n_fft)
    third, third_empty = _third_harmonic(found, played, timetable, low=low, rate_hz=rate_hz, n_fft=n_fft)
    spectra = _Spectra(
        bin_hz=rate_hz / n_fft, product=product, response=response, empty=empty, third=third, third_empty=third_empty
    )
    return spectra, predicted, unpredicted


def _keep(lags: Float32Array, *, rate_hz: int, after: int, first: int) -> Float32Array:
    """Keep what stands from a little before lag `first` to `after` lags later, with soft ends, at its place, shape (n_fft,)."""
    before = min(round(BEFORE_S * rate_hz), after // 2)
    window = np.ones(before + after)
    for n_soft, part in ((before // 2, window), (after // 3, window[::-1])):
        part[:n_soft] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(n_soft) + 0.5) / max(n_soft, 1))
    at = (first + np.arange(-before, after)) % len(lags)
    kept = np.zeros_like(lags)
    kept[at] = lags[at] * window
    return kept


def _third_harmonic(
    found: Complex64Array, played: Float32Array, timetable: Timetable, *, low: int, rate_hz: int, n_fft: int
) -> tuple[Complex64Array, Complex64Array]:
    """Response to a sweep at three times the frequency, and what the same look finds where there is none.

    Harmonics separate from the linear response in time (A. Farina, 108th AES Convention, Paris 2000). Deconvolving by the sweep
    with its phase times three, cos 3φ = 4 cos³φ − 3 cos φ, brings the third to lag 0 and moves the linear response L·ln 3 away.
    """
    from scipy.fft import irfft, rfft

    is_low = timetable.frequency_hz < THIRD_TOP * rate_hz
    if not timetable.is_sweep or not np.any(is_low):
        return np.zeros(0, dtype=np.complex64), np.zeros(0, dtype=np.complex64)
    tripled = (4 * played**3 / timetable.level**2 - 3 * played).astype(np.float32)
    reach = timetable.edges[is_low] - low
    tripled[: max(int(reach[0]), 0)] = 0.0
    tripled[max(int(reach[-1]), 0) :] = 0.0
    source = rfft(tripled, n_fft)
    power = np.abs(source) ** 2
    lags = irfft(found * np.conj(source) / (power + np.float32(1e-5) * max(np.max(power), 1e-30)), n_fft)
    after = round(THIRD_AFTER_S * rate_hz)
    third: Complex64Array = rfft(_keep(lags, rate_hz=rate_hz, after=after, first=0))
    empty: Complex64Array = rfft(_keep(lags, rate_hz=rate_hz, after=after, first=2 * after))
    return third, empty


def _look_at_band(spectra: _Spectra, edges_hz: FloatArray, *, rate_hz: int) -> tuple[float, float, float, float, float]:
    """Delay, group delay, gain, noise and third harmonic of one block."""
    first, last = (round(edge / spectra.bin_hz) for edge in sorted(edges_hz))
    band = slice(first, max(last, first + 3) + 1)
    delays = []
    for values in (spectra.product[band], spectra.response[band]):
        turn = np.sum(values[1:].astype(complex) * np.conj(values[:-1]))
        delays.append(-float(np.angle(turn)) / (2 * np.pi * spectra.bin_hz))
    gain, noise = (float(np.sqrt(np.median(np.abs(values[band]) ** 2))) for values in (spectra.response, spectra.empty))
    third = np.nan
    if len(spectra.third) and max(edges_hz) < THIRD_TOP * rate_hz:
        wide = slice(3 * band.start, 3 * band.stop)
        power, empty = (float(np.median(np.abs(values[wide]) ** 2)) for values in (spectra.third, spectra.third_empty))
        third = float(np.sqrt(power - empty)) if power > THIRD_CLEAR * empty else 0.0
    return delays[0], delays[1], gain, noise, third
