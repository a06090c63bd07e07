"""What the silences of a recording tell: where they are, which mains lines hum in them, what noise is left.

The mains frequency is found, not assumed: 50 or 60 Hz, each within 1.1 %. Its lines are fitted in the silences
before and after the sweep together, so the phase is held over the whole recording, and then subtracted from all of it.
"""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from measure.response import ComplexArray, FloatArray, median
from measure.signal.recording import Recording, Samples
from measure.signal.transforms import fast_length

Numbers = TypeVar("Numbers", FloatArray, ComplexArray)

NOMINAL_HZ = (50.0, 60.0)  # [Hz] the two mains frequencies in use
FREQUENCY_RANGE = 0.011  # [1] how far the mains may be off its nominal value
TOP_LINE_HZ = 3200.0  # [Hz] lines above are left in; they lie far from each other compared with a band
FIT_RATE_HZ = 8000.0  # [Hz] the silences are averaged down to about this rate for the fit
SHORTEST_SILENCE_S = 0.08  # [s] shorter ones say nothing about lines 50 Hz apart
LONGEST_SILENCE_S = 30.0  # [s] of either is used: farther away the mains has wandered, and there is only noise to collect
LINE_OVER_NOISE = 30.0  # [1] power of a line over that of its neighbours; chance reaches 12 about once in 1e5
FEWEST_BINS = 20.0  # [1] on either side, for the noise to be known to some 20 %
DRIFT_OVER_NOISE = 20.0  # [1] square of a drift over its variance; chance reaches it about once in 1e4
MOST_LINES = 24  # [1] the strongest are taken
ONSET_BELOW_PEAK = 1e-3  # [1] -60 dB: the stimulus is on above this fraction of its peak
LOUDEST_SILENCE = 0.2  # [1] of the peak; what is louder at both ends is no silence
BLOCK_S = 0.005  # [s] step in which the onset is looked for
BLOCKS_AT_ONCE = 128
TIMES_AT_ONCE = 2048  # [1] of the fit
GUARD_BEFORE_S = 0.01  # [s] kept clear before the onset
GUARD_AFTER_S = 0.06  # [s] kept clear after the end, for the pickup to ring down


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hum:
    """Mains lines of a recording, as they were fitted in its silences.

    Attributes
    ----------
    frequency_hz : float
        Of the mains. [Hz]
    order : ndarray of int, shape (k,)
        Line j lies at `order[j]` times `frequency_hz`.
    amplitude : ndarray of complex, shape (k, 1 or 2)
        Of pickup and reference: peak amplitude and phase at sample 0; full scale is 1.
    drift_per_s : ndarray of complex, shape (k, 1 or 2)
        How the amplitude changes with time, from the two silences. [1/s]
    rate_hz : float
        Sample rate. [Hz]
    silence_s : float
        Length of the silences that it was fitted in. [s]
    """

    frequency_hz: float
    order: NDArray[np.int_]
    amplitude: ComplexArray
    drift_per_s: ComplexArray
    rate_hz: float
    silence_s: float


def line_levels(hum: Hum) -> FloatArray:
    """Root mean square of each line.

    Returns
    -------
    ndarray, shape (k, channels)
        Full scale is 1.
    """
    return np.abs(hum.amplitude) / np.sqrt(2)


def find_silences(samples: FloatArray | Samples, rate_hz: float) -> tuple[slice, slice]:
    """Where nothing is played: before the stimulus, and after it.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The reference channel, or the pickup's where there is no reference.
    rate_hz : float
        Sample rate. [Hz]

    Returns
    -------
    tuple of two slices
        Before and after; empty where the stimulus starts or ends with the recording, or where it does not stand out of the
        noise. Guards on both sides are left out.
    """
    n = len(samples)
    block = max(1, round(BLOCK_S * rate_hz))
    n_blocks = n // block
    if n_blocks < 4:
        return slice(0, 0), slice(n, n)
    peak = np.empty(n_blocks)
    for first in range(0, n_blocks, BLOCKS_AT_ONCE):
        last = min(first + BLOCKS_AT_ONCE, n_blocks)
        # A copy without gaps is read many times faster than every second sample in place.
        piece = np.ascontiguousarray(samples[first * block : last * block]).reshape(-1, block)
        peak[first:last] = np.maximum(piece.max(axis=1), -piece.min(axis=1))
    edge = max(4, round(0.05 / BLOCK_S))
    floor = min(peak[:edge].max(), peak[-edge:].max())
    if floor > LOUDEST_SILENCE * peak.max():
        return slice(0, 0), slice(n, n)
    on = np.flatnonzero(peak > max(ONSET_BELOW_PEAK * peak.max(), 3.0 * floor))
    if len(on) == 0:
        return slice(0, 0), slice(n, n)
    before = max(0, on[0] * block - round(GUARD_BEFORE_S * rate_hz))
    after = min(n, (on[-1] + 1) * block + round(GUARD_AFTER_S * rate_hz))
    return slice(0, before), slice(after, n)


def near_stimulus(silences: tuple[slice, slice], rate_hz: float) -> tuple[slice, slice]:
    """Cut off of two silences what lies far from the stimulus.

    Parameters
    ----------
    silences : tuple of two slices
        Before the stimulus, and after it.

    Returns
    -------
    tuple of two slices
        At most `LONGEST_SILENCE_S` of either.
    """
    before, after = silences
    most = round(LONGEST_SILENCE_S * rate_hz)
    return slice(max(before.start, before.stop - most), before.stop), slice(after.start, min(after.stop, after.start + most))


def fit_hum(recording: Recording, silences: tuple[slice, ...]) -> Hum | None:
    """Find the mains lines in the silences of a recording.

    Parameters
    ----------
    recording : Recording
        Its pickup and reference channel are fitted, with one mains frequency.

    Returns
    -------
    Hum or None
        None where no line stands out of the noise, or the silences are too short to tell.
    """
    rate_hz = float(recording.rate_hz)
    usable = [part for part in silences if part.stop - part.start >= SHORTEST_SILENCE_S * rate_hz]
    if not usable:
        return None
    step = max(1, round(rate_hz / FIT_RATE_HZ))
    channels = [c - 1 for c in (recording.pickup_channel, recording.reference_channel) if c is not None]
    pieces = [_thin(recording.samples[part][:, channels], step) for part in usable]
    times_s = [
        (part.start + (step - 1) / 2 + step * np.arange(len(piece))) / rate_hz for part, piece in zip(usable, pieces, strict=True)
    ]
    found = _find_lines(max(pieces, key=len), rate_hz / step)
    if found is None:
        return None
    frequency_hz, order = found
    time_s, value = np.concatenate(times_s), np.concatenate(pieces)
    value = value - value.mean(axis=0)
    frequency_hz = _refine_frequency(time_s, value, frequency_hz=frequency_hz, order=order)
    amplitude = _fit_amplitudes(time_s, value, frequency_hz=frequency_hz, order=order)
    drift_per_s = np.zeros_like(amplitude)
    if len(usable) > 1:
        amplitude, drift_per_s = _fit_drift(time_s, value, amplitude, frequency_hz=frequency_hz, order=order)
    line_hz = order * frequency_hz
    gain = np.sin(np.pi * line_hz * step / rate_hz) / (step * np.sin(np.pi * line_hz / rate_hz))
    amplitude, drift_per_s = amplitude / gain[:, None], drift_per_s / gain[:, None]
    silence_s = sum(part.stop - part.start for part in usable) / rate_hz
    return Hum(
        frequency_hz=frequency_hz,
        order=order,
        amplitude=amplitude,
        drift_per_s=drift_per_s,
        rate_hz=rate_hz,
        silence_s=silence_s,
    )


def hum_samples(hum: Hum, start: int, stop: int, *, column: int = 0) -> FloatArray:
    """Waveform of the mains lines.

    Parameters
    ----------
    column : int
        0 the pickup, 1 the reference.

    Returns
    -------
    ndarray, shape (stop - start,)
        Full scale is 1.
    """
    n = stop - start
    # Blocks as long as there are many of them: the fewest exponentials.
    block = 1 << max(1, int(n - 1).bit_length() // 2)
    n_blocks = -(-n // block)
    omega = 2j * np.pi * hum.order * hum.frequency_hz / hum.rate_hz
    begin_s = (start + block * np.arange(n_blocks)) / hum.rate_hz
    amplitude = hum.amplitude[:, column] + begin_s[:, None] * hum.drift_per_s[:, column]
    outer = amplitude * np.exp(omega * (start + block * np.arange(n_blocks))[:, None])
    inner = np.exp(omega[:, None] * np.arange(block))
    # A real product of half the size: Re(a b) = Re a Re b - Im a Im b.
    left = np.concatenate([outer.real, -outer.imag], axis=1)
    right = np.concatenate([inner.real, inner.imag], axis=0)
    return (left @ right).reshape(-1)[:n]


def noise_density(
    samples: FloatArray, frequency_hz: FloatArray, *, rate_hz: float, half_width_octaves: float = 0.5
) -> tuple[FloatArray, ComplexArray]:
    """Spectral density of the noise in one silence, smoothed along frequency.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        One silence, mains lines taken out; one channel or two.
    frequency_hz : ndarray, shape (k,)
        Where to give it. [Hz]
    rate_hz : float
        Sample rate. [Hz]
    half_width_octaves : float
        Of the smoothing; wider where that holds too few bins.

    Returns
    -------
    density : ndarray, shape (channels, k)
        Two-sided: the variance is its integral from -rate/2 to rate/2. [1/Hz]
    cross : ndarray of complex, shape (k,)
        Density of first times conjugate of second channel; 0 with one channel. [1/Hz]
    """
    n = samples.shape[1]
    # (1 - x²)² falls off like a Hann window, without a cosine for each sample.
    window = (1 - np.linspace(-1, 1, n) ** 2) ** 2
    n_fft = fast_length(n)
    spectrum = np.fft.rfft((samples - samples.mean(axis=1, keepdims=True)) * window, n_fft, axis=1)
    scale = 1.0 / (rate_hz * np.sum(window**2))
    power = (spectrum.real**2 + spectrum.imag**2) * scale
    bin_hz = rate_hz / n_fft
    n_bins = power.shape[1]
    centre = frequency_hz / bin_hz
    spread = np.maximum(centre * (2**half_width_octaves - 2**-half_width_octaves) / 2, FEWEST_BINS * n_fft / n)
    low = np.clip(np.floor(centre - spread).astype(int), 2, n_bins - 2)
    high = np.clip(np.ceil(centre + spread).astype(int), low + 1, n_bins - 1)
    tilts = [_tilt(channel, bin_hz) for channel in power]
    # Smoothing is done on what the tilt leaves over: a slope would otherwise pull the mean to its high side.
    density = np.stack(
        [_tilted_mean(p, t, low, high, bin_hz=bin_hz, at_hz=frequency_hz) for p, t in zip(power, tilts, strict=True)]
    )
    if len(power) == 1:
        return density, np.zeros(len(frequency_hz), dtype=complex)
    cross = spectrum[0] * spectrum[1].conj() * scale
    return density, _window_mean(cross, low, high)


def _tilted_mean(
    power: FloatArray,
    tilt: tuple[float, float],
    low: NDArray[np.int_],
    high: NDArray[np.int_],
    *,
    bin_hz: float,
    at_hz: FloatArray,
) -> FloatArray:
    """Mean of power[low:high] as it would be at `at_hz`, for a spectrum of the form white + flicker / f."""
    white, flicker = tilt
    if flicker == 0.0:
        return _window_mean(power, low, high)
    expected = white + (flicker / bin_hz) / np.maximum(np.arange(len(power)), 1)
    return _window_mean(power / expected, low, high) * (white + flicker / at_hz)


def _window_mean(values: Numbers, low: NDArray[np.int_], high: NDArray[np.int_]) -> Numbers:
    """Mean of values[low:high], window by window, by running sums."""
    total = np.concatenate([np.zeros(1, dtype=values.dtype), np.cumsum(values)])
    return (total[high] - total[low]) / (high - low)


def _tilt(power: FloatArray, bin_hz: float) -> tuple[float, float]:
    """White and 1/f part of a periodogram, by relative least squares over bands of equal ratio."""
    edge = np.geomspace(3, len(power), 40).astype(int)
    edge = edge[np.diff(edge, prepend=0) > 0]
    count = np.diff(edge)
    mean = np.add.reduceat(power[: edge[-1]], edge[:-1]) / count
    if mean.min() <= 0.0:
        return 1.0, 0.0  # digital silence: nothing to tilt
    inverse_hz = np.add.reduceat(1 / (bin_hz * np.arange(edge[0], edge[-1])), edge[:-1] - edge[0]) / count
    columns = np.stack([np.ones(len(mean)), inverse_hz], axis=1)
    expected = mean
    for _ in range(4):
        weight = np.sqrt(count) / expected
        white, flicker = np.linalg.lstsq(columns * weight[:, None], mean * weight, rcond=None)[0]
        white = max(float(white), float(mean.min()) * 1e-2)
        flicker = max(float(flicker), 0.0)
        expected = columns @ np.array([white, flicker])
    return white, flicker


def _thin(samples: Samples, step: int) -> FloatArray:
    """Means of `step` samples each."""
    n = len(samples) // step
    return samples[: n * step].reshape(n, step, samples.shape[1]).mean(axis=1, dtype=float)


def _find_lines(value: FloatArray, rate_hz: float) -> tuple[float, NDArray[np.int_]] | None:
    """Mains frequency to a few hundredths of a hertz, and the orders that stand out of the noise."""
    n = len(value)
    n_fft = fast_length(4 * n)
    window = np.hanning(n + 2)[1:-1]
    spectrum = np.fft.rfft(((value - value.mean(axis=0)) * window[:, None]).T, n_fft, axis=1)
    power = np.abs(spectrum) ** 2
    bin_hz = rate_hz / n_fft
    candidates, scores, orders = [], [], []
    for nominal_hz in NOMINAL_HZ:
        frequency_hz = nominal_hz * (1 + np.linspace(-FREQUENCY_RANGE, FREQUENCY_RANGE, 45))
        order = np.arange(1, int(min(TOP_LINE_HZ, 0.4 * rate_hz) / nominal_hz) + 1)
        at = np.rint(np.outer(frequency_hz, order) / bin_hz).astype(int)
        # Noise under each line: the median between it and its neighbours, which leakage of the window does not reach.
        half = max(1, int(0.5 * nominal_hz / bin_hz))
        around = np.rint(order * nominal_hz / bin_hz).astype(int)
        index = np.clip(around[:, None] + np.arange(-half, half), 1, power.shape[1] - 1)
        noise = median(power[:, index], axis=2) / np.log(2) + 1e-300
        ratio = np.max(power[:, at] / noise[:, None, :], axis=0)
        scores.append(np.sum(np.log1p(ratio / LINE_OVER_NOISE), axis=1))
        candidates.append(frequency_hz)
        orders.append((order, ratio))
    which = int(np.argmax([s.max() for s in scores]))
    best = int(np.argmax(scores[which]))
    order, ratio = orders[which]
    strength = ratio[best]
    keep = np.flatnonzero(strength > LINE_OVER_NOISE)
    if len(keep) == 0:
        return None
    keep = np.sort(keep[np.argsort(strength[keep])[::-1][:MOST_LINES]])
    coarse_hz = float(candidates[which][best])
    return _sharpen(power.sum(axis=0), order[keep], coarse_hz, bin_hz=bin_hz), order[keep]


def _sharpen(power: FloatArray, order: NDArray[np.int_], coarse_hz: float, *, bin_hz: float) -> float:
    """Mains frequency from the summits of its lines, by a parabola through the logarithms of three bins."""
    reach = max(2, int(np.ceil(FREQUENCY_RANGE * coarse_hz / bin_hz)))
    near = np.rint(order * coarse_hz / bin_hz).astype(int)[:, None] + np.arange(-reach, reach + 1)
    near = np.clip(near, 2, len(power) - 3)
    summit = near[np.arange(len(order)), np.argmax(power[near], axis=1)]
    left, middle, right = (np.log(power[summit + k] + 1e-300) for k in (-1, 0, 1))
    bend = np.minimum(left - 2 * middle + right, -1e-9)
    found_hz = bin_hz * (summit + np.clip(0.5 * (left - right) / bend, -1, 1)) / order
    return float(np.average(found_hz, weights=power[summit] * order))


def _columns(time_s: FloatArray, frequency_hz: float, order: NDArray[np.int_]) -> ComplexArray:
    """exp(j 2π f k t) for each order, as powers of the first: no more exponentials than samples."""
    first = np.exp(2j * np.pi * frequency_hz * time_s)
    columns = np.empty((len(order), len(time_s)), dtype=complex)
    power, at = np.ones_like(first), 0
    for i, k in enumerate(order):
        while at < k:
            power = power * first
            at += 1
        columns[i] = power
    return columns


def _refine_frequency(time_s: FloatArray, value: FloatArray, *, frequency_hz: float, order: NDArray[np.int_]) -> float:
    """Gauss-Newton steps on the mains frequency, all lines and channels together."""
    centre_s = time_s.mean()
    for _ in range(6):
        amplitude = _fit_amplitudes(time_s - centre_s, value, frequency_hz=frequency_hz, order=order)
        columns = _columns(time_s - centre_s, frequency_hz, order)
        model = (amplitude.T @ columns).real.T
        slope = (2j * np.pi * ((order[:, None] * amplitude).T @ columns)).real.T * (time_s - centre_s)[:, None]
        # Each channel counts by its own noise.
        left = value - model
        weight = 1 / (np.mean(left**2, axis=0) + 1e-30)
        curvature = float(np.sum(weight * slope**2))
        if curvature == 0.0:
            break
        change_hz = float(np.sum(weight * slope * left)) / curvature
        frequency_hz += float(np.clip(change_hz, -0.05, 0.05))
        if abs(change_hz) < 1e-7:
            break
    return frequency_hz


def _fit_amplitudes(
    time_s: FloatArray,
    value: FloatArray,
    *,
    frequency_hz: float,
    order: NDArray[np.int_],
    drifting: NDArray[np.bool_] | None = None,
) -> ComplexArray:
    """Least squares for all lines together; columns of `value` are channels. Drifts of the lines named follow the amplitudes."""
    n_lines = len(order) + (0 if drifting is None else int(np.count_nonzero(drifting)))
    normal, right = np.zeros((2 * n_lines + 1, 2 * n_lines + 1)), np.zeros((2 * n_lines + 1, value.shape[1]))
    for first in range(0, len(time_s), TIMES_AT_ONCE):
        part = slice(first, first + TIMES_AT_ONCE)
        columns = _columns(time_s[part], frequency_hz, order)
        if drifting is not None:
            columns = np.concatenate([columns, time_s[part] * columns[drifting]], axis=0)
        # The offset is fitted along: a mean taken before would hold a part of a line that does not end on a whole period.
        design = np.concatenate([columns.real, -columns.imag, np.ones((1, columns.shape[1]))], axis=0)
        normal += design @ design.T
        right += design @ value[part]
    solution = np.linalg.solve(normal, right)
    return solution[:n_lines] + 1j * solution[n_lines : 2 * n_lines]


def _fit_drift(
    time_s: FloatArray, value: FloatArray, amplitude: ComplexArray, *, frequency_hz: float, order: NDArray[np.int_]
) -> tuple[ComplexArray, ComplexArray]:
    """Let lines that differ between the silences by more than the noise change linearly with time."""
    centre_s = float(time_s.mean())
    free = _fit_amplitudes(
        time_s - centre_s, value, frequency_hz=frequency_hz, order=order, drifting=np.ones(len(order), dtype=bool)
    )
    columns = _columns(time_s, frequency_hz, order)
    turn = np.exp(-2j * np.pi * frequency_hz * order * centre_s)[:, None]
    start, slope = free[: len(order)] * turn, free[len(order) :] * turn
    left = value - (start.T @ columns + (time_s - centre_s) * (slope.T @ columns)).real.T
    noise = 2 * np.mean(left**2, axis=0) / np.sum((time_s - centre_s) ** 2)
    drifting = np.any(np.abs(slope) ** 2 > DRIFT_OVER_NOISE * (noise + np.finfo(float).tiny), axis=1)
    if not np.any(drifting):
        return amplitude, np.zeros_like(amplitude)
    fit = _fit_amplitudes(time_s - centre_s, value, frequency_hz=frequency_hz, order=order, drifting=drifting)
    drift = np.zeros_like(amplitude)
    drift[drifting] = fit[len(order) :]
    return (fit[: len(order)] - centre_s * drift) * turn, drift * turn
