"""Hum and noise of recordings as figures: each mains line, all of them together, and what is left, with uncertainties.

From takes in which nothing was played, or from the silences before and after a stimulus. The silence is cut into segments of
about a second; in the spectrum of each, the power close to multiples of the mains frequency is hum, the rest is noise, and the
noise between the lines stands in for that under them. Summing a line's power over its neighbourhood, rather than fitting a
wave to all of a long recording, keeps it whole when the mains frequency wanders.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from measure.response import Finding, FloatArray, Severity
from measure.signal.mains import LINE_OVER_NOISE, find_silences, fit_hum
from measure.signal.recording import Recording
from measure.signal.spectra import find_arrival

BAND_HZ = (20.0, 20e3)  # [Hz] in which noise and hum are summed
TOP_OF_RATE = 0.46  # [1] interfaces filter above this fraction of the sample rate
SEGMENT_S = 1.0  # [s] at most
SHORTEST_SEGMENT_S = 0.2  # [s] ten periods: a few bins lie free between the lines
SEARCH_S = 2.0  # [s] of a long silence in which the mains frequency is taken as constant
REACH_BINS = 3.0  # [1] of a segment's own resolution: a line's power lies within, its frequency slightly off or not
SAME_MAINS_HZ = 1.2  # [Hz] twice the range that the mains wanders over; 50 and 60 Hz lie further apart
HANN_VARIANCE = 35 / 18  # [1] of a mean of neighbouring bins over that of independent ones; equivalent bandwidth of Hann squared
FULL_SCALE_SINE = 2.0  # [1] mean square is multiplied by this: a full-scale sine is then 1, 0 dBFS (AES17)
LEAST_QUIET_S, GOOD_QUIET_S = 0.5, 3.0  # [s] of a take in which nothing is played
UNSTEADY_DB = 6.0  # [dB] between the loudest and the quietest segment; common practice, no source
DB_PER_RATIO = 10 / np.log(10)  # [dB] of a small relative change of a power
THIRD_OCTAVES = np.arange(-15, 13)  # of 10^(k/10) kHz, 31.5 Hz to 16 kHz: IEC 61260-1, base-ten system


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Level:
    """A level, a full-scale sine being 0 dBFS (AES17).

    Attributes
    ----------
    dbfs : float
        Of the mean power. [dBFS]
    std_db : float
        Standard uncertainty: the statistics of noise, or the scatter over segments and repeats where that is larger. [dB]
    freedom : float
        Degrees of freedom of `std_db`; infinite where there is one segment only, and so no scatter.
    """

    dbfs: float
    std_db: float
    freedom: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class NoiseLevels:
    """Hum and noise of the pickup's channel.

    Attributes
    ----------
    mains_hz : float or None
        Mains frequency; None where no line stands out of the noise. [Hz]
    line_order : ndarray of int, shape (k,)
        Lines that stand out; line j lies at `line_order[j]` times `mains_hz`.
    hum : Level or None
        Of all multiples of the mains frequency within the band together; None where no line stands out.
    hum_limit_dbfs : float or None
        Where no line stands out: the level of the strongest one that could have been overlooked. [dBFS]
    broadband : Level or None
        What is left without the lines, in the band; None where there is no silence, or a muted one.
    band_hz : tuple of two floats
        The band. [Hz]
    third_octave_hz : ndarray, shape (b,)
        Middle of third-octave bands. [Hz]
    third_octaves : tuple of Level, length b
        Of the noise without the lines, in each band; empty where `broadband` is None.
    segment_dbfs : ndarray, shape (n,)
        Noise without the lines, segment by segment. [dBFS]
    length_s : float
        Silence looked at, all recordings together. [s]
    n_recordings : int
        Repeats that the levels are taken from.
    findings : tuple of Finding
        What was noticed on the way.
    """

    mains_hz: float | None
    line_order: NDArray[np.int_]
    lines: tuple[Level, ...]
    hum: Level | None
    hum_limit_dbfs: float | None
    broadband: Level | None
    band_hz: tuple[float, float]
    third_octave_hz: FloatArray
    third_octaves: tuple[Level, ...]
    segment_dbfs: FloatArray
    length_s: float
    n_recordings: int
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Segment:
    """Powers of one segment with their variances; 1 is a full-scale sine."""

    group: int  # number of its recording
    length_s: float
    hum: tuple[float, float]
    lines: FloatArray  # (k, 2)
    noise: tuple[float, float]
    thirds: FloatArray  # (b, 2)
    density_at_mains: float  # [1/Hz], two-sided, of the mean square


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Mains:
    """What hums: in each piece of silence its frequency, and the lines that stand out anywhere."""

    frequency_hz: dict[tuple[int, int], float] = field(default_factory=dict)  # by (recording, first sample)
    orders: tuple[int, ...] = ()
    longest_s: float = 0.0


def noise_levels(recordings: Sequence[Recording], *, stimulus: FloatArray | None = None, is_quiet: bool = False) -> NoiseLevels:
    """Hum and noise of the pickup's channel, over all recordings.

    Parameters
    ----------
    recordings : sequence of Recording
        One or several of one rate, each the repeat of the others.
    stimulus : ndarray, shape (n,), optional
        What was played; it tells where the silences are when there is no reference channel.
    is_quiet : bool
        Nothing was played: all of each recording counts. Otherwise the silences before and after the sweep do.

    Returns
    -------
    NoiseLevels
        With uncertainties from the statistics of the noise and from the scatter over segments and repeats.

    Raises
    ------
    ValueError
        If there is no recording, or the rates differ.

    Notes
    -----
    The scatter tells how steady hum and noise were while the recordings were made. What another day would bring is told by
    further takes only.
    """
    if not recordings:
        msg = "no recording given"
        raise ValueError(msg)
    rates = sorted({recording.rate_hz for recording in recordings})
    if len(rates) > 1:
        msg = f"recordings at different sample rates: {rates} Hz"
        raise ValueError(msg)
    band_hz = (BAND_HZ[0], min(BAND_HZ[1], TOP_OF_RATE * rates[0]))
    silences = [_silences(recording, stimulus, is_quiet=is_quiet) for recording in recordings]
    pieces = [[piece for part in parts for piece in _cut(part, SEARCH_S * rates[0])] for parts in silences]
    if not is_quiet:
        pieces = silences
    mains = _find_mains(recordings, silences, pieces, is_quiet=is_quiet)
    segments = [
        segment
        for number, recording in enumerate(recordings)
        for piece in pieces[number]
        for segment in _measure_piece(recording, number, piece, mains=mains, band_hz=band_hz)
    ]
    return _summarise(segments, mains, band_hz=band_hz, n_recordings=len(recordings))


def judge_quiet(levels: NoiseLevels) -> tuple[Finding, ...]:
    """Judge a take in which nothing was played.

    Returns
    -------
    tuple of Finding
        ``"length"``, ``"muted"`` and ``"unsteady"``.
    """
    length_s = levels.length_s / levels.n_recordings
    severity: Severity = "reject" if length_s < LEAST_QUIET_S else "warn" if length_s < GOOD_QUIET_S else "pass"
    text = f"{length_s:.1f} s recorded (least {LEAST_QUIET_S:g} s, good from {GOOD_QUIET_S:g} s)"
    text += "" if severity == "pass" else "; record ten seconds"
    findings = [Finding(code="length", severity=severity, text=text, figure=length_s, unit="s")]
    is_muted = any(finding.code == "muted" for finding in levels.findings)
    is_heard = len(levels.segment_dbfs) > 0
    text = "the input was open: its own noise is there" if is_heard else "not judged: too short"
    quiet = Finding(code="muted", severity="pass", text=text, figure=0.0 if is_heard else None)
    findings += [finding for finding in levels.findings if finding.code == "muted"] if is_muted else [quiet]
    if len(levels.segment_dbfs) < 2:
        return (*findings, Finding(code="unsteady", severity="pass", text="not judged: needs two segments of silence"))
    span_db = float(np.ptp(levels.segment_dbfs))
    text = f"the noise changed by {span_db:.1f} dB during the recording (limit {UNSTEADY_DB:g} dB)"
    if span_db <= UNSTEADY_DB:
        return (*findings, Finding(code="unsteady", severity="pass", text=text, figure=span_db, unit="dB"))
    text += ": something sounded or was touched; leave instrument and cable alone and record again"
    return (*findings, Finding(code="unsteady", severity="warn", text=text, figure=span_db, unit="dB"))


def _silences(recording: Recording, stimulus: FloatArray | None, *, is_quiet: bool) -> list[slice]:
    """Where nothing is played, as far as it is long enough."""
    n, rate_hz = len(recording.samples), recording.rate_hz
    if is_quiet:
        parts: tuple[slice, ...] = (slice(0, n),)
    elif recording.reference_channel is None and stimulus is not None:
        # The pickup's signal fades in out of the noise: the stimulus itself says where it starts.
        arrival = find_arrival(recording, np.asarray(stimulus, dtype=float))
        before, after = find_silences(np.asarray(stimulus, dtype=float), rate_hz)
        parts = (slice(0, max(0, min(n, arrival + before.stop))), slice(max(0, min(n, arrival + after.start)), n))
    else:
        parts = find_silences(recording.samples[:, (recording.reference_channel or recording.pickup_channel) - 1], rate_hz)
    return [part for part in parts if part.stop - part.start >= SHORTEST_SEGMENT_S * rate_hz]


def _cut(part: slice, n_most: float) -> list[slice]:
    """Equal pieces of at most so many samples."""
    n_pieces = max(1, int(np.ceil((part.stop - part.start) / n_most)))
    edges = np.linspace(part.start, part.stop, n_pieces + 1).astype(int)
    return [slice(int(low), int(high)) for low, high in pairwise(edges)]


def _find_mains(
    recordings: Sequence[Recording], silences: list[list[slice]], pieces: list[list[slice]], *, is_quiet: bool
) -> _Mains:
    """Mains frequency of each piece: found in it where nothing was played, in both silences together otherwise."""
    found: dict[tuple[int, int], float] = {}
    orders: dict[tuple[int, int], NDArray[np.int_]] = {}
    longest_s = 0.0
    for number, recording in enumerate(recordings):
        searched = [(piece,) for piece in pieces[number]] if is_quiet else [tuple(silences[number])]
        for parts in searched:
            if not parts:
                continue
            longest_s = max(longest_s, *((part.stop - part.start) / recording.rate_hz for part in parts))
            hum = fit_hum(recording, parts)
            if hum is not None:
                for part in parts:
                    found[number, part.start] = hum.frequency_hz
                    orders[number, part.start] = hum.order
    if not found:
        return _Mains(longest_s=longest_s)
    usual_hz = float(np.median(list(found.values())))
    kept = {at: value for at, value in found.items() if abs(value - usual_hz) < SAME_MAINS_HZ}
    if not kept:  # as many at 50 as at 60 Hz: chance, not hum
        return _Mains(longest_s=longest_s)
    usual_hz = float(np.median(list(kept.values())))
    everywhere = {
        (number, piece.start): kept.get((number, piece.start), usual_hz)
        for number in range(len(recordings))
        for piece in pieces[number]
    }
    standing = sorted({int(order) for at in kept for order in orders[at]})
    return _Mains(frequency_hz=everywhere, orders=tuple(standing), longest_s=longest_s)


def _measure_piece(
    recording: Recording, number: int, piece: slice, *, mains: _Mains, band_hz: tuple[float, float]
) -> list[_Segment]:
    """Powers of each segment of a piece."""
    mains_hz = mains.frequency_hz.get((number, piece.start))
    segments = []
    for part in _cut(piece, SEGMENT_S * recording.rate_hz):
        n = part.stop - part.start
        if mains_hz is not None:
            # Whole periods: the lines then lie on bins, and leak nowhere through this window.
            n = min(n, round(np.floor(n * mains_hz / recording.rate_hz) * recording.rate_hz / mains_hz))
        samples = recording.samples[part.start : part.start + n, recording.pickup_channel - 1].astype(float)
        segments.append(
            _measure_segment(samples, recording.rate_hz, group=number, mains_hz=mains_hz, orders=mains.orders, band_hz=band_hz)
        )
    return segments


def _measure_segment(
    samples: FloatArray,
    rate_hz: float,
    *,
    group: int,
    mains_hz: float | None,
    orders: tuple[int, ...],
    band_hz: tuple[float, float],
) -> _Segment:
    """Split the spectrum of one segment into lines and noise."""
    n = len(samples)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(n) + 0.5) / n)
    power = np.abs(np.fft.rfft((samples - samples.mean()) * window)) ** 2 / (rate_hz * np.sum(window**2))
    bin_hz = rate_hz / n
    first, last = int(np.ceil(band_hz[0] / bin_hz)), int(np.floor(band_hz[1] / bin_hz))
    power, frequency_hz = power[first : last + 1], bin_hz * np.arange(first, last + 1)
    step_hz = mains_hz or 50.0
    order = np.rint(frequency_hz / step_hz).astype(int)
    is_line = np.zeros(len(power), dtype=bool)
    if mains_hz is not None:
        is_line = (np.abs(frequency_hz - order * mains_hz) <= REACH_BINS * bin_hz * (1 + 1e-9)) & (order > 0)
    n_all, n_free = np.bincount(order), np.bincount(order, weights=~is_line)
    free = np.bincount(order, weights=np.where(is_line, 0.0, power))
    known = n_free > 0
    density = np.interp(np.arange(len(free)), np.flatnonzero(known), free[known] / n_free[known])
    scale = 2 * FULL_SCALE_SINE * bin_hz  # both signs of frequency
    filled = np.where(is_line, density[order], power)
    variance = HANN_VARIANCE * density**2 * n_all / np.maximum(n_free, 1)  # of a filled bin, its neighbours' share included
    lines = _line_powers(power, order, is_line, density=density, variance=variance, scale=scale)
    edges_hz = 1000 * 10 ** ((THIRD_OCTAVES[:, None] + np.array([-0.5, 0.5])) / 10)
    low, high = np.searchsorted(frequency_hz, edges_hz).T
    totals = [np.concatenate([[0.0], np.cumsum(each)]) for each in (filled, variance[order])]
    noise = [(scale * float(totals[0][-1])), scale**2 * float(totals[1][-1])]
    return _Segment(
        group=group,
        length_s=n / rate_hz,
        hum=(float(lines[1:, 0].sum()), float(lines[1:, 1].sum())),
        lines=lines[list(orders)] if orders else np.zeros((0, 2)),
        noise=(noise[0], noise[1]),
        thirds=np.stack([scale * (totals[0][high] - totals[0][low]), scale**2 * (totals[1][high] - totals[1][low])], axis=1),
        density_at_mains=float(density[min(1, len(density) - 1)]),
    )


def _line_powers(
    power: FloatArray,
    order: NDArray[np.int_],
    is_line: NDArray[np.bool_],
    *,
    density: FloatArray,
    variance: FloatArray,
    scale: float,
) -> FloatArray:
    """Power of each line and its variance, noise under it taken off; shape (highest order + 1, 2)."""
    size = len(density)
    n_line = np.bincount(order, weights=is_line, minlength=size)
    found = scale * (np.bincount(order, weights=np.where(is_line, power, 0.0), minlength=size) - n_line * density)
    # A wave of power p: 2·p·b from its product with the noise, whose power in its window is b; and the noise's own variance.
    spread = 2 * np.maximum(found, 0.0) * scale * HANN_VARIANCE * density + scale**2 * n_line * variance
    return np.stack([np.where(n_line > 0, found, 0.0), np.where(n_line > 0, spread, 0.0)], axis=1)


def _summarise(segments: list[_Segment], mains: _Mains, *, band_hz: tuple[float, float], n_recordings: int) -> NoiseLevels:
    """Levels over all segments."""
    findings: list[Finding] = []
    noise = _level([segment.noise for segment in segments], segments)
    if not segments:
        text = f"no silence of {SHORTEST_SEGMENT_S:g} s or more: hum and noise cannot be told; leave half a second at both ends"
        findings.append(Finding(code="no-silence", severity="warn", text=text))
    elif noise is None:
        text = "the silence is digital silence, as of a muted or gated input: it tells nothing; record with the input open"
        findings.append(Finding(code="muted", severity="reject", text=text, figure=1.0))
    is_humming = bool(mains.frequency_hz) and bool(segments)
    lines = [_level([tuple(segment.lines[at]) for segment in segments], segments) for at in range(len(mains.orders))]
    standing = [at for at, line in enumerate(lines) if line is not None]
    limit = None
    if segments and not is_humming and mains.longest_s > 0 and noise is not None:
        # Hann window: a line's power over that of noise is length·|a|²/(6·S), |a|² its power against a full-scale sine.
        density = float(np.mean([segment.density_at_mains for segment in segments]))
        limit = float(10 * np.log10(6 * LINE_OVER_NOISE * density / mains.longest_s)) if density > 0 else None
    thirds = [_level([tuple(segment.thirds[at]) for segment in segments], segments) for at in range(len(THIRD_OCTAVES))]
    middle_hz = 1000 * 10 ** (THIRD_OCTAVES / 10)
    inside = [at for at, level in enumerate(thirds) if level is not None and middle_hz[at] * 10**0.05 <= band_hz[1]]
    return NoiseLevels(
        mains_hz=float(np.median(list(mains.frequency_hz.values()))) if is_humming else None,
        line_order=np.array([mains.orders[at] for at in standing], dtype=int),
        lines=tuple(line for line in lines if line is not None),
        hum=_level([segment.hum for segment in segments], segments) if is_humming else None,
        hum_limit_dbfs=limit,
        broadband=noise,
        band_hz=band_hz,
        third_octave_hz=middle_hz[inside],
        third_octaves=tuple(level for at in inside if (level := thirds[at]) is not None),
        segment_dbfs=np.array([10 * np.log10(segment.noise[0]) for segment in segments if segment.noise[0] > 0]),
        length_s=float(sum(segment.length_s for segment in segments)),
        n_recordings=n_recordings,
        findings=tuple(findings),
    )


def _level(powers: Sequence[tuple[float, ...]], segments: list[_Segment]) -> Level | None:
    """Mean power over segments, weighted by length; None where it is not above 0."""
    if not powers:
        return None
    value, variance = np.array(powers).T
    share = np.array([segment.length_s for segment in segments])
    mean = float(np.average(value, weights=share))
    if mean <= 0.0:
        return None
    share = share / share.sum()
    variances, freedom = [float(np.sum(share**2 * variance))], np.inf
    groups = np.array([segment.group for segment in segments])
    if len(value) > 1:
        variances.append(float(np.sum(share**2 * (value - mean) ** 2)) * len(value) / (len(value) - 1))
        freedom = len(value) - 1
    numbers = np.unique(groups)
    if len(numbers) > 1:
        repeats = np.array([np.average(value[groups == number], weights=share[groups == number]) for number in numbers])
        variances.append(float(np.var(repeats, ddof=1)) / len(repeats))
        freedom = len(repeats) - 1
    return Level(
        dbfs=float(10 * np.log10(mean)), std_db=float(DB_PER_RATIO * np.sqrt(max(variances)) / mean), freedom=float(freedom)
    )
