"""Recordings to a response: the complex ratio pickup over reference on a logarithmic grid, with its noise.

Spectra of both channels, mains lines taken out, are summed over the cells of each band (`spectra`) and their ratio is
estimated band by band without bias (`bands`). The noise spectra of the silences over the energy of the excitation give the
covariance of numerator and denominator, and `ratio_covariance` that of their ratio. Repeats are averaged by the same step.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.errors import MeasureError
from measure.response import ComplexArray, Finding, FloatArray, Origin, Response, median
from measure.signal.bands import (
    POINTS_PER_OCTAVE,
    TINY,
    BandRatio,
    Cells,
    band_ratio,
    band_width_hz,
    grid_frequencies,
    sum_bands,
    take_bands,
    take_noise_off,
)
from measure.signal.mains import (
    GUARD_AFTER_S,
    GUARD_BEFORE_S,
    SHORTEST_SILENCE_S,
    Hum,
    find_silences,
    fit_hum,
    near_stimulus,
    noise_density,
)
from measure.signal.recording import Recording
from measure.signal.spectra import (
    DelayGate,
    Fetch,
    channel_reader,
    delay_gate,
    energy_cells,
    find_arrival,
    plan_segments,
    stimulus_reader,
)
from measure.version import VERSION

LOWEST_HZ = 20.0  # [Hz]
TOP_OF_RATE = 0.46  # [1] interfaces filter above this fraction of the sample rate
DROP_AT_EDGE = 0.1  # [1] excitation below this fraction of that within half an octave: the stimulus ends here
BINS_A_BAND = 2.0  # [1] the lowest band holds as many bins of the recording's own resolution
LEAST_COMMON = 0.5  # [1] noise over response, above which a recording without silence holds no stimulus
SCATTER_START = 1e-4  # [1] noise over signal that the first pass without a silence assumes
SCATTER_BANDS = 5  # [1] bands over which the scatter is averaged
OPEN_SHARE = 1e-3  # [1] of the samples of a silence that differ from the one before: hum or noise of a fraction of a step do it
FLOAT_BITS = 24  # [bits] assumed of formats that do not say
EXCITATION_OVER_NOISE = 30.0  # [1] in the reference channel
NOISY_RATIO = 0.1  # [1] relative standard deviation above which decibels and degrees mislead (JCGM 102:2011, 9.3)


def ratio_covariance(numerator: ComplexArray, denominator: ComplexArray, covariance: FloatArray) -> FloatArray:
    """Propagate the covariance of numerator and denominator to their ratio.

    Parameters
    ----------
    numerator, denominator : ndarray of complex, shape (n,)
        Estimates.
    covariance : ndarray, shape (n, 4, 4)
        Of (Re numerator, Im numerator, Re denominator, Im denominator).

    Returns
    -------
    ndarray, shape (n, 2, 2)
        Of (Re, Im) of numerator / denominator.

    Notes
    -----
    Linear propagation, JCGM 100:2008 equation (13), in the matrix form of JCGM 102:2011, 6.2.1.3. It holds while the
    standard deviation of the denominator is small against its magnitude.
    """
    by_numerator = 1 / denominator
    by_denominator = -numerator / denominator**2
    jacobian = np.empty((len(numerator), 2, 4))
    for at, slope in ((0, by_numerator), (2, by_denominator)):
        jacobian[:, 0, at], jacobian[:, 0, at + 1] = slope.real, -slope.imag
        jacobian[:, 1, at], jacobian[:, 1, at + 1] = slope.imag, slope.real
    result = jacobian @ covariance @ jacobian.transpose(0, 2, 1)
    return (result + result.transpose(0, 2, 1)) / 2


def mean_ratio(numerator: ComplexArray, denominator: ComplexArray) -> tuple[ComplexArray, FloatArray]:
    """Ratio of the means of repeated pairs, with the covariance that their scatter tells.

    Parameters
    ----------
    numerator, denominator : ndarray of complex, shape (r, n)
        r >= 2 repeats of simultaneous observations.

    Returns
    -------
    value : ndarray of complex, shape (n,)
        Mean numerator over mean denominator.
    covariance : ndarray, shape (n, 2, 2)
        Of its (Re, Im): of the mean, so 1/r of that of one repeat.

    Raises
    ------
    ValueError
        If the shapes differ or there are fewer than two repeats.

    References
    ----------
    JCGM 100:2008 (GUM), annex H.2, approach 1.
    """
    if numerator.shape != denominator.shape or numerator.ndim != 2 or len(numerator) < 2:
        msg = f"expected two arrays of one shape (repeats >= 2, n), got {numerator.shape} and {denominator.shape}"
        raise ValueError(msg)
    return _ratio_of_means(numerator, denominator, _scatter(numerator, denominator) / len(numerator))


def estimate_response(
    recordings: Sequence[Recording],
    *,
    stimulus: FloatArray | None = None,
    remove_hum: bool = True,
    note: str = "",
    time_utc: str = "",
    device: str = "",
) -> Response:
    """Response of one take: pickup over reference, averaged over its recordings.

    Parameters
    ----------
    recordings : sequence of Recording
        One, or several repeats of the same with one rate.
    stimulus : ndarray, shape (n,), optional
        What was played; needed only where the reference channel was not recorded.
    remove_hum : bool
        Find and subtract mains lines.
    note, time_utc, device : str
        For the response's origin.

    Returns
    -------
    Response
        On the grid 1000·2^(k/16) Hz, where the excitation is; with the covariance of its noise.

    Raises
    ------
    ValueError
        If there is no recording, the rates differ, or there is neither reference channel nor stimulus.
    MeasureError
        If the recording holds no usable excitation, or its channels have nothing in common.
    """
    _check_call(recordings, stimulus)
    observations = [_observe(recording, stimulus, remove_hum=remove_hum) for recording in recordings]
    low = max(o.frequency_hz[0] for o in observations)
    high = min(o.frequency_hz[-1] for o in observations)
    rows = [_between(o, low, high) for o in observations]
    numerator = np.stack([o.numerator for o in rows])
    denominator = np.stack([o.denominator for o in rows])
    covariance = np.mean([o.covariance for o in rows], axis=0) / len(rows)
    value, covariance = _ratio_of_means(numerator, denominator, covariance)
    if len(rows) > 1:
        covariance = covariance * _excess_scatter(mean_ratio(numerator, denominator)[1], covariance, len(rows))[:, None, None]
    findings = [finding for o in observations for finding in o.findings] + _noisy_finding(value, covariance)
    return Response(
        frequency_hz=rows[0].frequency_hz,
        value=value,
        covariance=covariance,
        origin=_origin(recordings, note=note, time_utc=time_utc, device=device),
        findings=tuple(findings),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Noise:
    """Noise of both channels on the grid."""

    density: FloatArray  # (n, 2) [s]
    cross: ComplexArray  # (n,) [s]
    is_from_silence: bool
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Observation:
    """One recording on the grid: pickup and reference as projected on the excitation of each band."""

    frequency_hz: FloatArray
    numerator: ComplexArray
    denominator: ComplexArray
    covariance: FloatArray  # (n, 4, 4)
    findings: tuple[Finding, ...]


def _check_call(recordings: Sequence[Recording], stimulus: FloatArray | None) -> None:
    if not recordings:
        msg = "no recording given"
        raise ValueError(msg)
    if len({recording.rate_hz for recording in recordings}) > 1:
        msg = f"repeats at different sample rates: {[recording.rate_hz for recording in recordings]} Hz"
        raise ValueError(msg)
    if stimulus is None and any(recording.reference_channel is None for recording in recordings):
        msg = "a recording without a reference channel needs the sweep that was played"
        raise ValueError(msg)


def _ratio_of_means(
    numerator: ComplexArray, denominator: ComplexArray, covariance: FloatArray
) -> tuple[ComplexArray, FloatArray]:
    """Ratio of means over repeats; the covariance is that of the means."""
    top, bottom = numerator.mean(axis=0), denominator.mean(axis=0)
    return top / bottom, ratio_covariance(top, bottom, covariance)


def _scatter(numerator: ComplexArray, denominator: ComplexArray) -> FloatArray:
    """Sample covariance of one repeat, (n, 4, 4)."""
    parts = np.stack([numerator.real, numerator.imag, denominator.real, denominator.imag])
    deviation = parts - parts.mean(axis=1, keepdims=True)
    return np.einsum("arn,brn->nab", deviation, deviation) / (numerator.shape[0] - 1)


def _between(observation: _Observation, low_hz: float, high_hz: float) -> _Observation:
    keep = (observation.frequency_hz >= low_hz) & (observation.frequency_hz <= high_hz)
    return _Observation(
        frequency_hz=observation.frequency_hz[keep],
        numerator=observation.numerator[keep],
        denominator=observation.denominator[keep],
        covariance=observation.covariance[keep],
        findings=observation.findings,
    )


def _excess_scatter(scatter: FloatArray, predicted: FloatArray, n_repeats: int) -> FloatArray:
    """How much more the repeats scatter than their silences predict; 1 where that is not significant."""
    ratio = np.trace(scatter, axis1=1, axis2=2) / np.maximum(np.trace(predicted, axis1=1, axis2=2), TINY)
    mean = _running_mean(ratio, POINTS_PER_OCTAVE + 1)
    # Each band has two parts, real and imaginary; at the ends half as many bands are averaged.
    chance = 4 * np.sqrt(2 / (2 * (POINTS_PER_OCTAVE / 2 + 1) * (n_repeats - 1)))
    return np.where(mean > 1 + chance, mean, 1.0)


def _noisy_finding(value: ComplexArray, covariance: FloatArray) -> list[Finding]:
    ratio = np.sqrt(np.trace(covariance, axis1=1, axis2=2)) / np.maximum(np.abs(value), 1e-300)
    n_noisy = int(np.sum(ratio > NOISY_RATIO))
    if n_noisy == 0:
        return []
    text = (
        f"At {n_noisy} of {len(value)} frequencies the standard deviation exceeds {NOISY_RATIO:.0%} of the response (worst "
        f"{ratio.max():.0%}): decibels and degrees with ± mislead there. Play louder, bring the coil closer, or repeat."
    )
    return [Finding(code="noisy-response", severity="warn", text=text, figure=float(ratio.max()))]


def _origin(recordings: Sequence[Recording], *, note: str, time_utc: str, device: str) -> Origin:
    return Origin(
        tool_version=VERSION,
        time_utc=time_utc,
        device=device,
        rate_hz=float(recordings[0].rate_hz),
        n_repeats=len(recordings),
        recording_sha256=tuple(recording.sha256 for recording in recordings if recording.sha256),
        simulated=any(recording.simulated for recording in recordings),
        note=note,
    )


def _observe(recording: Recording, stimulus: FloatArray | None, *, remove_hum: bool) -> _Observation:
    """Project one recording on its excitation, band by band."""
    rate_hz = float(recording.rate_hz)
    arrival = 0 if recording.reference_channel is not None else find_arrival(recording, _known(stimulus))
    silences = near_stimulus(_silences(recording, stimulus, arrival), rate_hz)
    first, n = int(silences[0].start), int(silences[1].stop - silences[0].start)
    recording = replace(recording, samples=recording.samples[first : first + n])
    arrival, silences = arrival - first, (_moved(silences[0], -first), _moved(silences[1], -first))
    hum = fit_hum(recording, silences) if remove_hum else None
    pickup, reference = _readers(recording, stimulus, arrival, hum)
    is_between_silences = silences[0].stop > silences[0].start and silences[1].stop > silences[1].start
    plan = plan_segments(n, rate_hz=rate_hz, is_between_silences=is_between_silences)
    low_hz = max(LOWEST_HZ, BINS_A_BAND * rate_hz / plan[0] / float(band_width_hz(np.ones(1))[0]))
    grid_hz = grid_frequencies(low_hz, TOP_OF_RATE * rate_hz)
    cells, length_s = energy_cells(grid_hz, pickup, reference, n=n, rate_hz=rate_hz, plan=plan)
    noise = _noise(recording, silences, (pickup, reference), grid_hz)
    keep = _excited(cells, noise.density[:, 1] * length_s, n=len(grid_hz), name=recording.name)
    gate = _gate(recording, stimulus, grid_hz[keep])
    if gate is not None:
        cells, length_s = energy_cells(grid_hz, pickup, reference, n=n, rate_hz=rate_hz, plan=plan, gate=gate)
    grid_hz, cells, noise = grid_hz[keep], take_bands(cells, keep), _noise_at(noise, keep)
    if not noise.is_from_silence:
        noise = _noise_from_scatter(cells, grid_hz, length_s=length_s)
    ratio = _ratio(cells, grid_hz, noise, length_s=length_s)
    if not noise.is_from_silence:
        _check_coherence(ratio, noise, name=recording.name)
    root = np.sqrt(ratio.energy)
    return _Observation(
        frequency_hz=grid_hz,
        numerator=ratio.value * root,
        denominator=root.astype(complex),
        covariance=_observation_covariance(grid_hz, noise, ratio.energy, hum=hum, length_s=length_s),
        findings=noise.findings,
    )


def _moved(part: slice, by: int) -> slice:
    return slice(part.start + by, part.stop + by)


def _check_coherence(ratio: BandRatio, noise: _Noise, *, name: str) -> None:
    """Refuse a recording without silence in which the channels have nothing in common: nothing was played.

    Raises
    ------
    MeasureError
        If the noise exceeds half the response at half of the frequencies.
    """
    share = np.sqrt(noise.density[:, 0] / np.maximum(ratio.energy, TINY)) / np.maximum(np.abs(ratio.value), TINY)
    middle = float(median(share))
    if middle > LEAST_COMMON:
        msg = (
            f"{name or 'the recording'}: nothing of the reference arrives in the pickup's channel (noise {middle:.0%} of the "
            f"response at half of the frequencies, {LEAST_COMMON:.0%} allowed). Check that the sweep was played and recorded."
        )
        raise MeasureError(msg)


def _gate(recording: Recording, stimulus: FloatArray | None, grid_hz: FloatArray) -> DelayGate | None:
    if recording.reference_channel is not None:
        return None
    edges_hz = _band_edges(grid_hz)
    return delay_gate(_known(stimulus), float(edges_hz[0]), float(edges_hz[-1]), rate_hz=float(recording.rate_hz))


def _ratio(cells: Cells, grid_hz: FloatArray, noise: _Noise, *, length_s: float) -> BandRatio:
    n = len(grid_hz)
    clean = take_noise_off(cells, auto=noise.density[:, 1] * length_s, cross=noise.cross * length_s)
    size = np.abs(sum_bands(clean, clean.cross, n)) / np.maximum(sum_bands(clean, clean.auto, n), TINY)
    return band_ratio(clean, grid_hz, noise_density=noise.density[:, 0] + size**2 * noise.density[:, 1])


def _known(stimulus: FloatArray | None) -> FloatArray:
    return np.zeros(0) if stimulus is None else np.asarray(stimulus, dtype=float)


def _silences(recording: Recording, stimulus: FloatArray | None, arrival: int) -> tuple[slice, slice]:
    """Find them in what excites: the reference channel, or the known stimulus."""
    n, rate_hz = len(recording.samples), float(recording.rate_hz)
    if recording.reference_channel is not None:
        return find_silences(recording.samples[:, recording.reference_channel - 1], rate_hz)
    known = _known(stimulus)
    before, after = find_silences(known, rate_hz)
    start = min(max(arrival + before.stop, 0), n)
    # The stimulus file may end with its last sound; what the recording holds after that is silence too.
    end = arrival + (after.start if after.stop > after.start else len(known) + round(GUARD_AFTER_S * rate_hz))
    if before.stop == before.start:
        start = max(0, min(arrival - round(GUARD_BEFORE_S * rate_hz), n))
    return slice(0, start), slice(min(max(end, 0), n), n)


def _readers(recording: Recording, stimulus: FloatArray | None, arrival: int, hum: Hum | None) -> tuple[Fetch, Fetch]:
    pickup = channel_reader(recording.samples, recording.pickup_channel - 1, hum=hum, hum_column=0)
    if recording.reference_channel is None:
        return pickup, stimulus_reader(_known(stimulus), arrival)
    return pickup, channel_reader(recording.samples, recording.reference_channel - 1, hum=hum, hum_column=1)


def _noise(recording: Recording, silences: tuple[slice, slice], readers: tuple[Fetch, Fetch], grid_hz: FloatArray) -> _Noise:
    """Noise of pickup and reference from the silences, mains lines taken out."""
    has_reference = recording.reference_channel is not None
    n, total = len(grid_hz), 0
    density: FloatArray = np.zeros((n, 2))
    cross: ComplexArray = np.zeros(n, dtype=complex)
    for part in silences:
        length = part.stop - part.start
        if length < SHORTEST_SILENCE_S * recording.rate_hz:
            continue
        quiet = np.stack([fetch(part.start, part.stop) for fetch in (readers if has_reference else readers[:1])])
        part_density, part_cross = noise_density(quiet, grid_hz, rate_hz=recording.rate_hz)
        density[:, : len(quiet)] += length * part_density.T
        cross += length * part_cross
        total += length
    density /= max(total, 1)
    cross /= max(total, 1)
    findings, floor = [], _quantisation_density(recording)
    if total and np.any(density[:, 0] < floor):
        findings.append(_quiet_finding(is_open=_is_open(recording, silences)))
    floors = np.array([floor, floor if has_reference else 0.0])
    density = np.maximum(density, floors)
    return _Noise(density=density, cross=cross, is_from_silence=total > 0, findings=tuple(findings))


def _is_open(recording: Recording, silences: tuple[slice, slice]) -> bool:
    """Tell whether the pickup's channel moves by itself in the silence, if only by a step: it was not muted."""
    channel = recording.samples[:, recording.pickup_channel - 1]
    parts = [channel[part] for part in silences if part.stop - part.start >= SHORTEST_SILENCE_S * recording.rate_hz]
    return all(np.mean(part[1:] != part[:-1]) > OPEN_SHARE for part in parts)


def _quiet_finding(*, is_open: bool) -> Finding:
    """Say that rounding to steps is what the noise was taken from."""
    code = "silence-too-quiet"
    if is_open:
        text = "The noise lies below the steps of the samples, and was taken from the steps: more bits a sample would show it."
        return Finding(code=code, severity="pass", text=text)
    text = "The silence around the sweep is quieter than the steps of its samples (muted, gated or made by a program): "
    text += "the noise was taken from the steps alone. Record with the input open throughout."
    return Finding(code=code, severity="warn", text=text)


def _quantisation_density(recording: Recording) -> float:
    """Density of the noise of rounding to steps: white, variance step²/12."""
    step = 2.0 ** (1 - (recording.n_bits or FLOAT_BITS))
    return step**2 / 12 / recording.rate_hz


def _noise_at(noise: _Noise, keep: slice) -> _Noise:
    return _Noise(
        density=noise.density[keep], cross=noise.cross[keep], is_from_silence=noise.is_from_silence, findings=noise.findings
    )


def _noise_from_scatter(cells: Cells, grid_hz: FloatArray, *, length_s: float) -> _Noise:
    """Noise of the pickup from what its own excitation does not explain, where there is no silence."""
    n = len(grid_hz)
    freedom = np.maximum(band_width_hz(grid_hz) * length_s - 1, 0.0)
    density = SCATTER_START * sum_bands(cells, cells.power, n) / length_s / band_width_hz(grid_hz)
    text = (
        "No silence before and after the sweep: noise was taken from the scatter within each band, and mains lines stayed in. "
        "Leave half a second of silence at both ends."
    )
    findings = (Finding(code="no-silence", severity="warn", text=text),)
    for _ in range(2):
        density = np.maximum(density, TINY)
        noise = _Noise(
            density=np.stack([density, np.zeros(n)], axis=1),
            cross=np.zeros(n, dtype=complex),
            is_from_silence=False,
            findings=findings,
        )
        left = _ratio(cells, grid_hz, noise, length_s=length_s).left
        density = _running_mean(left, SCATTER_BANDS) / np.maximum(_running_mean(freedom, SCATTER_BANDS), TINY)
    return _Noise(density=np.stack([density, np.zeros(n)], axis=1), cross=noise.cross, is_from_silence=False, findings=findings)


def _excited(cells: Cells, noise_energy: FloatArray, *, n: int, name: str) -> slice:
    """Return the run of bands in which the stimulus really is.

    Raises
    ------
    MeasureError
        If it is nowhere.
    """
    width = np.maximum(np.bincount(cells.band, cells.count, n) * cells.bin_hz, TINY)
    density = sum_bands(cells, cells.auto, n) / width
    three = _running_mean(density, 3)
    around = _running_mean(density, POINTS_PER_OCTAVE + 1)
    good = (three > DROP_AT_EDGE * around) & (density > EXCITATION_OVER_NOISE * noise_energy) & (three > 1e-9 * density.max())
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    if len(edges) == 0:
        msg = f"{name or 'the recording'}: no excitation in the reference channel. Check the cables, the channels and the level."
        raise MeasureError(msg)
    run = int(np.argmax(np.diff(edges)[::2]))
    return slice(int(edges[2 * run]), int(edges[2 * run + 1]))


def _running_mean(values: FloatArray, width: int) -> FloatArray:
    kernel = np.ones(width)
    return np.convolve(values, kernel, mode="same") / np.convolve(np.ones(len(values)), kernel, mode="same")


def _observation_covariance(
    grid_hz: FloatArray, noise: _Noise, energy: FloatArray, *, hum: Hum | None, length_s: float
) -> FloatArray:
    """Covariance of (Re, Im) of numerator and denominator, from the noise densities."""
    width_hz = band_width_hz(grid_hz)
    top, bottom = noise.density.T
    # Second order: noise of one channel times noise of the other; it counts where the reference is weak.
    top = top + top * bottom * length_s * width_hz / energy
    if hum is not None:
        # A line is known as well as the silences tell it; its error is one line within the band.
        lines = np.histogram(hum.order * hum.frequency_hz, _band_edges(grid_hz))[0]
        factor = 1 + lines / (hum.silence_s * width_hz)
        top, bottom = top * factor, bottom * factor
    covariance = np.zeros((len(grid_hz), 4, 4))
    for i in (0, 1):
        covariance[:, i, i] = top / 2
        covariance[:, i + 2, i + 2] = bottom / 2
        covariance[:, i, i + 2] = covariance[:, i + 2, i] = noise.cross.real / 2
    covariance[:, 1, 2] = covariance[:, 2, 1] = noise.cross.imag / 2
    covariance[:, 0, 3] = covariance[:, 3, 0] = -noise.cross.imag / 2
    return covariance


def _band_edges(grid_hz: FloatArray) -> FloatArray:
    half = 2 ** (0.5 / POINTS_PER_OCTAVE)
    return np.concatenate([grid_hz / half, grid_hz[-1:] * half])
