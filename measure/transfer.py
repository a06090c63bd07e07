"""Recordings to a response: the complex ratio pickup over reference on a logarithmic grid, with its noise.

The method, in four steps. (1) Spectra of both channels, mains lines taken out; cross and auto spectrum are summed over
narrow cells, 64 in each 1/16 octave. (2) Around each grid frequency a rational function (one pole, three zeros' worth of
numerator) is fitted over five bands: the pilot, which holds the shape of the response inside the band. (3) The value is the
pilot scaled by least squares to the cells of its own band alone: bands do not overlap, so the noise of neighbours is nearly
independent, and a resonance inside the band leaves no bias. (4) The noise spectra of the silences, over the energy of the
excitation in the band, give the covariance of numerator and denominator, and `ratio_covariance` that of their ratio.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import metadata

import numpy as np

from measure.bands import PARTS, POINTS_PER_OCTAVE, Cells, band_ratio, band_width_hz, grid_frequencies, sum_bands, sum_cells
from measure.errors import MeasureError
from measure.hum import Hum, find_silences, fit_hum, hum_samples, noise_density
from measure.recording import Recording
from measure.response import ComplexArray, Finding, FloatArray, Origin, Response

LOWEST_HZ = 20.0  # [Hz]
TOP_OF_RATE = 0.46  # [1] interfaces filter above this fraction of the sample rate
SEGMENT_SAMPLES = 1 << 20  # samples; longer recordings are cut into overlapping segments
WHOLE_SAMPLES = 1 << 21  # samples; up to here a recording between silences is transformed whole
DROP_AT_EDGE = 0.25  # [1] excitation below this fraction of that half an octave away: the stimulus ends here
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
    mean_numerator, mean_denominator = numerator.mean(axis=0), denominator.mean(axis=0)
    covariance = _scatter(numerator, denominator) / len(numerator)
    return mean_numerator / mean_denominator, ratio_covariance(mean_numerator, mean_denominator, covariance)


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
        If the recording holds no usable excitation.
    """
    _check_call(recordings, stimulus)
    observations = [_observe(recording, stimulus, remove_hum=remove_hum) for recording in recordings]
    low = max(o.frequency_hz[0] for o in observations)
    high = min(o.frequency_hz[-1] for o in observations)
    rows = [_between(o, low, high) for o in observations]
    numerator = np.stack([o.numerator for o in rows])
    denominator = np.stack([o.denominator for o in rows])
    predicted = sum(o.covariance for o in rows) / len(rows)
    if len(rows) > 1:
        predicted = predicted * _excess_scatter(_scatter(numerator, denominator), predicted, len(rows))[:, None, None]
    top, bottom = numerator.mean(axis=0), denominator.mean(axis=0)
    value, covariance = top / bottom, ratio_covariance(top, bottom, predicted / len(rows))
    findings = [finding for o in observations for finding in o.findings] + _noisy_finding(value, covariance)
    return Response(
        frequency_hz=rows[0].frequency_hz,
        value=value,
        covariance=covariance,
        origin=_origin(recordings, note=note, time_utc=time_utc, device=device),
        findings=tuple(findings),
    )


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
        msg = "a recording without a reference channel needs the stimulus that was played"
        raise ValueError(msg)


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
    ratio = np.trace(np.linalg.solve(predicted, scatter), axis1=1, axis2=2) / 4
    width = POINTS_PER_OCTAVE
    kernel = np.ones(min(width, len(ratio)))
    count = np.convolve(np.ones(len(ratio)), kernel, mode="same")
    mean = np.convolve(ratio, kernel, mode="same") / count
    chance = 3 * np.sqrt(2 / (4 * count * (n_repeats - 1)))
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
    try:
        version = metadata.version("coilsweep")
    except metadata.PackageNotFoundError:
        version = ""
    return Origin(
        tool_version=version,
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
    reference = _reference(recording, stimulus)
    silences = find_silences(reference, rate_hz)
    hum = fit_hum(recording, silences) if remove_hum else None
    length_s = len(reference) / rate_hz
    spectra = _whole_spectra(recording, reference, hum)
    low_hz = max(LOWEST_HZ, 2 * float(1 / (band_width_hz(np.ones(1))[0] * length_s)))
    grid_hz = grid_frequencies(low_hz, TOP_OF_RATE * rate_hz)
    cells = sum_cells(grid_hz, **spectra)
    noise, cross_noise, findings = _noise(recording, silences, hum, grid_hz)
    if recording.reference_channel is None:
        noise[:, 1], cross_noise[:] = 0.0, 0.0
    grid_hz, cells, keep = _excited(grid_hz, cells, noise[:, 1] * length_s, name=recording.name)
    noise, cross_noise = noise[keep], cross_noise[keep]
    clean = _without_noise(cells, noise, cross_noise, length_s)
    plain = np.abs(sum_bands(clean, clean.cross, len(grid_hz)) / sum_bands(clean, clean.auto, len(grid_hz)))
    ratio, energy = band_ratio(clean, grid_hz, noise_density=noise[:, 0] + plain**2 * noise[:, 1])
    root = np.sqrt(energy)
    return _Observation(
        frequency_hz=grid_hz,
        numerator=ratio * root,
        denominator=root.astype(complex),
        covariance=_observation_covariance(grid_hz, noise, cross_noise, energy, hum=hum, length_s=length_s),
        findings=tuple(findings),
    )


def _reference(recording: Recording, stimulus: FloatArray | None) -> FloatArray:
    """Reference channel, or the stimulus moved to where it arrives."""
    if recording.reference_channel is not None:
        return recording.samples[:, recording.reference_channel - 1].astype(float)
    assert_stimulus = np.asarray(stimulus, dtype=float)
    return _aligned(recording, assert_stimulus)


def _aligned(recording: Recording, stimulus: FloatArray) -> FloatArray:
    import scipy.fft

    pickup = recording.samples[:, recording.pickup_channel - 1].astype(float)
    n_fft = scipy.fft.next_fast_len(len(pickup) + len(stimulus), real=True)
    spectrum = scipy.fft.rfft(stimulus, n_fft)
    power = np.abs(spectrum) ** 2
    impulse = scipy.fft.irfft(scipy.fft.rfft(pickup, n_fft) * spectrum.conj() / (power + 1e-4 * power.max()), n_fft)
    arrival = int(np.argmax(np.abs(impulse)))
    arrival -= n_fft if arrival > len(pickup) else 0
    aligned = np.zeros(len(pickup))
    start, stop = max(arrival, 0), min(arrival + len(stimulus), len(pickup))
    aligned[start:stop] = stimulus[start - arrival : stop - arrival]
    return aligned


def _whole_spectra(recording: Recording, reference: FloatArray, hum: Hum | None) -> dict:
    """Energy spectra of the whole recording at once."""
    import scipy.fft

    n = len(reference)
    pickup = recording.samples[:, recording.pickup_channel - 1].astype(float)
    if hum is not None:
        pickup -= hum_samples(hum, 0, n, column=0)
        if hum.amplitude.shape[1] == 2:
            reference = reference - hum_samples(hum, 0, n, column=1)
    n_fft = scipy.fft.next_fast_len(n, real=True)
    top = scipy.fft.rfft(pickup, n_fft)
    bottom = scipy.fft.rfft(reference, n_fft)
    scale = 1.0 / recording.rate_hz**2
    cross = top * bottom.conj()
    cross *= scale
    return {
        "cross": cross,
        "auto": (bottom.real**2 + bottom.imag**2) * scale,
        "power": (top.real**2 + top.imag**2) * scale,
        "bin_hz": recording.rate_hz / n_fft,
    }


def _noise(
    recording: Recording, silences: tuple[slice, slice], hum: Hum | None, grid_hz: FloatArray
) -> tuple[FloatArray, ComplexArray, list[Finding]]:
    """Noise density (n, 2) of pickup and reference, their cross density (n,), from the silences."""
    channels = [recording.pickup_channel - 1] + ([] if recording.reference_channel is None else [recording.reference_channel - 1])
    density, cross, total = np.zeros((len(grid_hz), 2)), np.zeros(len(grid_hz), dtype=complex), 0
    for part in silences:
        n = part.stop - part.start
        if n < 0.05 * recording.rate_hz:
            continue
        quiet = recording.samples[part][:, channels].astype(float)
        if hum is not None:
            for column in range(quiet.shape[1]):
                quiet[:, column] -= hum_samples(hum, part.start, part.stop, column=column)
        part_density, part_cross = noise_density(quiet, grid_hz, rate_hz=recording.rate_hz)
        density[:, : quiet.shape[1]] += n * part_density
        cross += n * part_cross
        total += n
    density, cross = density / max(total, 1), cross / max(total, 1)
    n_bits = recording.n_bits or 24
    floor = (2.0 ** (1 - n_bits)) ** 2 / 12 / recording.rate_hz
    return np.maximum(density, floor), cross, []


def _excited(grid_hz: FloatArray, cells: Cells, noise_energy: FloatArray, *, name: str) -> tuple[FloatArray, Cells, slice]:
    """The run of bands in which the stimulus really is."""
    n = len(grid_hz)
    density = sum_bands(cells, cells.auto, n) / np.maximum(sum_bands(cells, cells.width_hz, n), 1e-300)
    half = POINTS_PER_OCTAVE // 2
    padded = np.pad(density, half)
    around = np.max(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    good = (density > DROP_AT_EDGE * around) & (density > EXCITATION_OVER_NOISE * noise_energy) & (density > 1e-9 * density.max())
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    if len(edges) == 0:
        msg = f"{name or 'the recording'}: no excitation in the reference channel. Check the cables, the channels and the level."
        raise MeasureError(msg)
    run = int(np.argmax(np.diff(edges)[::2]))
    keep = slice(int(edges[2 * run]), int(edges[2 * run + 1]))
    inside = (cells.band >= keep.start) & (cells.band < keep.stop)
    kept = Cells(
        frequency_hz=cells.frequency_hz[inside],
        spread_hz=cells.spread_hz[inside],
        width_hz=cells.width_hz[inside],
        band=cells.band[inside] - keep.start,
        part=cells.part[inside] - keep.start * PARTS,
        cross=cells.cross[inside],
        auto=cells.auto[inside],
        power=cells.power[inside],
    )
    return grid_hz[keep], kept, keep


def _without_noise(cells: Cells, noise: FloatArray, cross_noise: ComplexArray, length_s: float) -> Cells:
    """Take the noise's own energy off, which would pull the ratio down."""
    extent = cells.width_hz * length_s
    return Cells(
        frequency_hz=cells.frequency_hz,
        spread_hz=cells.spread_hz,
        width_hz=cells.width_hz,
        band=cells.band,
        part=cells.part,
        cross=cells.cross - cross_noise[cells.band] * extent,
        auto=cells.auto - noise[cells.band, 1] * extent,
        power=cells.power - noise[cells.band, 0] * extent,
    )


def _observation_covariance(
    grid_hz: FloatArray, noise: FloatArray, cross_noise: ComplexArray, energy: FloatArray, *, hum: Hum | None, length_s: float
) -> FloatArray:
    """Covariance of (Re, Im) of numerator and denominator, from the noise densities."""
    width_hz = band_width_hz(grid_hz)
    top, bottom = noise[:, 0], noise[:, 1]
    # Second order: noise of one channel times noise of the other; it counts where the reference is weak.
    top = top + noise[:, 0] * noise[:, 1] * length_s * width_hz / energy
    if hum is not None:
        # A line is known as well as the silences tell it; its error is one line within the band.
        lines = np.histogram(hum.order * hum.frequency_hz, _band_edges(grid_hz))[0]
        factor = 1 + lines / (hum.silence_s * width_hz)
        top, bottom = top * factor, bottom * factor
    covariance = np.zeros((len(grid_hz), 4, 4))
    for i in (0, 1):
        covariance[:, i, i] = top / 2
        covariance[:, i + 2, i + 2] = bottom / 2
        covariance[:, i, i + 2] = covariance[:, i + 2, i] = cross_noise.real / 2
    covariance[:, 1, 2] = covariance[:, 2, 1] = cross_noise.imag / 2
    covariance[:, 0, 3] = covariance[:, 3, 0] = -cross_noise.imag / 2
    return covariance


def _band_edges(grid_hz: FloatArray) -> FloatArray:
    half = 2 ** (0.5 / POINTS_PER_OCTAVE)
    return np.concatenate([grid_hz / half, grid_hz[-1:] * half])
