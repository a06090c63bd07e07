"""What shielding does: the signal of a driven foil before and after, against frequency, whatever hums that day.

A foil at a known voltage couples into the wiring through a small capacitance. The ratio of its response after to that before is
the shielding's effect. Where the impedance at the jack is known from a fit, the capacitance itself comes out in farads.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fit.answers.digits import MINUS, spread_texts
from fit.answers.figures import COVERAGE, Estimate
from fit.answers.repeat.scatter import estimate_from_half
from measure.response import ComplexArray, FloatArray, Response

Verdict = Literal["fell", "rose", "not resolved", "at least"]

DB_PER_NEPER = 20 / np.log(10)
CLEAR = 0.1  # [1] noise over response; above it decibels with ± mislead (JCGM 102:2011, 9.3)
BAND_CLEAR = 0.25  # [1] the same of a whole band's mean
SPOT_HZ = 1000.0  # [Hz] the figure people ask for; any other may be asked for too
THIRD_OCTAVES = np.arange(-17, 14)  # of 10^(k/10) kHz, 20 Hz to 20 kHz: IEC 61260-1, base-ten system
COUPLING_HZ = (200.0, 2000.0)  # [Hz] over which capacitances are averaged: below the resonance, above the mains lines
NEAR = 10**0.05  # [1] a third-octave band to either side of its middle
FINEST_DB = -1  # [1] power of ten: tenths of a decibel in the sentence
TINY = 1e-150  # [1] stands in for 0 where a logarithm follows
SAME_GRID = 1e-6  # [1] of a frequency
ONE_SIDED, UPPER = 1.645, 0.975  # [1] 95 % of a normal distribution from one side; of Student's, half of what two sides leave


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BandChange:
    """What became of the foil's signal in one third-octave band.

    Attributes
    ----------
    frequency_hz : float
        Middle of the band. [Hz]
    change : Estimate or None
        After over before; None where too little stands out of the noise on one side. [dB]
    bound_db : float or None
        Where the signal after does not stand out of the noise: it fell by this at least (negative, 95 %). [dB]
    verdict : {"fell", "rose", "not resolved", "at least"}
        "at least": fell, by the bound or more.
    """

    frequency_hz: float
    change: Estimate | None
    bound_db: float | None
    verdict: Verdict


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Coupling:
    """Capacitance between foil and wiring, at n frequencies and as one figure.

    Attributes
    ----------
    capacitance_f, std_f : ndarray, shape (n,)
        abs(T / (s·Z)) and its noise. [F]
    mean : Estimate or None
        Over 200 Hz to 2 kHz, weighted by the noise; None where nothing there stands out of it. [F]
    """

    capacitance_f: FloatArray
    std_f: FloatArray
    mean: Estimate | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ShieldingAnswer:
    """Effect of a shielding job.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        At which both sides are known. [Hz]
    ratio_db, std_db : ndarray, shape (n,)
        After over before, and its standard deviation from the noise of both. [dB]
    is_clear : ndarray of bool, shape (n,)
        Both sides stand out of their noise, so that `ratio_db` means something.
    coupling_before, coupling_after : Coupling or None
        None where no impedance was given.
    simulated : bool
        A response was made by the virtual bench.
    """

    frequency_hz: FloatArray
    ratio_db: FloatArray
    std_db: FloatArray
    is_clear: NDArray[np.bool_]
    bands: tuple[BandChange, ...]
    coupling_before: Coupling | None
    coupling_after: Coupling | None
    text: str
    simulated: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Side:
    """Responses of one side at n common frequencies, k takes, and their mean."""

    values: ComplexArray  # (k, n)
    variances: FloatArray  # (k, n), both parts together
    mean: ComplexArray  # (n,)
    variance: FloatArray  # (n,) of the mean


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Power:
    """Mean power in a band, of all takes and of each."""

    mean: float
    std: float
    each: FloatArray  # (k,)
    is_clear: bool


def compare_shielding(
    before: Sequence[Response],
    after: Sequence[Response],
    *,
    impedance_before: ComplexArray | None = None,
    impedance_after: ComplexArray | None = None,
    impedance_relative_std: float = 0.0,
    spot_hz: float = SPOT_HZ,
) -> ShieldingAnswer:
    """Compare foil responses before and after a shielding job.

    Parameters
    ----------
    before, after : sequence of Response
        Jack over foil, one or more each, on a common grid as far as they overlap.
    impedance_before, impedance_after : ndarray of complex, shape (n,), optional
        Impedance at the jack with everything that is connected to it, at `common_frequencies`. [Ω]
    impedance_relative_std : float
        Relative standard uncertainty of their magnitude, common to all frequencies. [1]
    spot_hz : float
        Frequency of the figure in words. [Hz]

    Returns
    -------
    ShieldingAnswer
        Changes in dB, negative where the signal fell.

    Raises
    ------
    ValueError
        If a side is empty, the grids have nothing in common, or an impedance has another length.

    Notes
    -----
    The uncertainty is that of the noise, and with several takes a side their scatter where that is larger. Where the foil lay is
    not in it: it has to lie the same before and after.
    """
    frequency_hz = common_frequencies(before, after)
    old, new = _side(before, frequency_hz), _side(after, frequency_hz)
    sizes = [np.maximum(np.abs(side.mean), TINY) for side in (old, new)]
    noise = [side.variance / 2 / size**2 for side, size in zip((old, new), sizes, strict=True)]
    is_clear = np.all([np.sqrt(2 * each) < CLEAR for each in noise], axis=0)
    middles_hz = [float(middle_hz) for middle_hz in 1000 * 10 ** (THIRD_OCTAVES / 10)]
    bands = [_band(middle_hz, frequency_hz, old, new) for middle_hz in middles_hz]
    whole = tuple(band for band in bands if band is not None)
    return ShieldingAnswer(
        frequency_hz=frequency_hz,
        ratio_db=DB_PER_NEPER * np.log(sizes[1] / sizes[0]),
        std_db=DB_PER_NEPER * np.sqrt(noise[0] + noise[1]),
        is_clear=is_clear,
        bands=whole,
        coupling_before=_coupling(frequency_hz, old, impedance_before, relative_std=impedance_relative_std),
        coupling_after=_coupling(frequency_hz, new, impedance_after, relative_std=impedance_relative_std),
        text=_text(whole, spot_hz),
        simulated=any(response.origin.simulated for response in (*before, *after)),
    )


def common_frequencies(before: Sequence[Response], after: Sequence[Response]) -> FloatArray:
    """Frequencies that all responses share.

    Parameters
    ----------
    before, after : sequence of Response
        At least one each.

    Returns
    -------
    ndarray, shape (n,)
        Rising. [Hz]

    Raises
    ------
    ValueError
        If a side is empty, or nothing is shared.
    """
    if not before or not after:
        msg = f"{len(before)} response(s) before and {len(after)} after; at least one each is needed"
        raise ValueError(msg)
    shared = before[0].frequency_hz
    for response in (*before[1:], *after):
        at = np.clip(np.searchsorted(response.frequency_hz, shared), 1, max(len(response.frequency_hz) - 1, 1))
        near = np.stack([response.frequency_hz[at - 1], response.frequency_hz[np.minimum(at, len(response.frequency_hz) - 1)]])
        shared = shared[np.min(np.abs(near / shared - 1), axis=0) < SAME_GRID]
    if len(shared) == 0:
        msg = "the responses before and after have no frequency in common; they must be made on one grid"
        raise ValueError(msg)
    return np.array(shared)


def _at(response: Response, frequency_hz: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Value and total variance at frequencies that the response has."""
    near = np.clip(np.searchsorted(response.frequency_hz, frequency_hz * (1 - 2 * SAME_GRID)), 0, len(response.frequency_hz) - 1)
    return response.value[near], np.trace(response.covariance[near], axis1=1, axis2=2)


def _side(responses: Sequence[Response], frequency_hz: FloatArray) -> _Side:
    rows = [_at(response, frequency_hz) for response in responses]
    values, variances = np.stack([row[0] for row in rows]), np.stack([row[1] for row in rows])
    mean, variance = values.mean(axis=0), variances.mean(axis=0) / len(rows)
    if len(rows) > 1:
        variance = np.maximum(variance, np.sum(np.abs(values - mean) ** 2, axis=0) / (len(rows) - 1) / len(rows))
    return _Side(values=values, variances=variances, mean=mean, variance=variance)


def _band(middle_hz: float, frequency_hz: FloatArray, old: _Side, new: _Side) -> BandChange | None:
    """Change of the mean power in one band; None where the band is not whole."""
    step = frequency_hz[1] / frequency_hz[0] if len(frequency_hz) > 1 else np.inf
    inside = (frequency_hz > middle_hz / NEAR) & (frequency_hz <= middle_hz * NEAR)
    is_whole = frequency_hz[0] <= middle_hz / NEAR * step and frequency_hz[-1] >= middle_hz * NEAR / step
    if not np.any(inside) or not is_whole:
        return None
    was, now = _band_power(old, inside), _band_power(new, inside)
    if not was.is_clear:
        return BandChange(frequency_hz=middle_hz, change=None, bound_db=None, verdict="not resolved")
    if not now.is_clear:
        most = max(now.mean, 0.0) + ONE_SIDED * now.std
        bound_db = float(DB_PER_NEPER / 2 * np.log(most / (was.mean - ONE_SIDED * was.std)))
        return BandChange(
            frequency_hz=middle_hz,
            change=None,
            bound_db=bound_db if bound_db < 0 else None,
            verdict="at least" if bound_db < 0 else "not resolved",
        )
    change_db = float(DB_PER_NEPER / 2 * np.log(now.mean / was.mean))
    std, half = _spread(was, now)
    estimate = estimate_from_half(change_db, std=std, half=half, unit="dB")
    verdict: Verdict = "not resolved" if abs(change_db) <= half else "fell" if change_db < 0 else "rose"
    return BandChange(frequency_hz=middle_hz, change=estimate, bound_db=None, verdict=verdict)


def _band_power(side: _Side, inside: NDArray[np.bool_]) -> _Power:
    """Mean power in a band, that of the noise taken off; noise of neighbouring frequencies is independent."""
    magnitude, variance = np.abs(side.values[:, inside]) ** 2, side.variances[:, inside]
    signal = magnitude - variance
    n_takes, n = signal.shape
    spread = np.sum(2 * np.maximum(signal, 0.0) * variance + variance**2, axis=1) / n**2
    each = signal.mean(axis=1)
    mean, std = float(each.mean()), float(np.sqrt(spread.sum()) / n_takes)
    is_clear = mean > 0 and std < BAND_CLEAR * mean
    return _Power(mean=mean, std=std, each=each, is_clear=is_clear)


def _spread(was: _Power, now: _Power) -> tuple[float, float]:
    """Find a change's standard uncertainty and half of its 95 % interval, from noise, or from the takes' scatter."""
    from scipy.special import stdtrit

    noise_db = float(DB_PER_NEPER / 2 * np.hypot(was.std / was.mean, now.std / now.mean))
    freedom = len(was.each) + len(now.each) - 2
    if freedom == 0 or min(was.each.min(), now.each.min()) <= 0:
        return noise_db, COVERAGE * noise_db
    logs = [DB_PER_NEPER / 2 * np.log(side.each) for side in (was, now)]
    scatter_db = np.sqrt(sum(float(np.sum((log - log.mean()) ** 2)) for log in logs) / freedom)
    seen_db = float(scatter_db * np.sqrt(1 / len(was.each) + 1 / len(now.each)))
    return max(noise_db, seen_db), max(COVERAGE * noise_db, float(seen_db * stdtrit(freedom, UPPER)))


def _coupling(frequency_hz: FloatArray, side: _Side, impedance: ComplexArray | None, *, relative_std: float) -> Coupling | None:
    if impedance is None:
        return None
    if impedance.shape != frequency_hz.shape:
        msg = f"impedance has shape {impedance.shape}, expected {frequency_hz.shape}: one value at each common frequency"
        raise ValueError(msg)
    by_farad = 2j * np.pi * frequency_hz * impedance
    capacitance = np.abs(side.mean / by_farad)
    std = np.sqrt(side.variance / 2) / np.abs(by_farad)
    inside = (frequency_hz >= COUPLING_HZ[0]) & (frequency_hz <= COUPLING_HZ[1]) & (side.variance > 0)
    mean = None
    if np.any(inside):
        weight = 1 / side.variance[inside]
        scale = float(np.sum(weight * np.abs(by_farad[inside]) ** 2))
        value = abs(float(np.sum(weight * (by_farad[inside].conj() * side.mean[inside]).real)) / scale)
        uncertainty = float(np.hypot(1 / np.sqrt(2 * scale), relative_std * value))
        half = COVERAGE * uncertainty
        mean = Estimate(value=value, unit="F", standard_uncertainty=uncertainty, low=max(value - half, 0.0), high=value + half)
    return Coupling(capacitance_f=capacitance, std_f=std, mean=mean)


def _text(bands: tuple[BandChange, ...], spot_hz: float) -> str:
    """Say the figure in words."""
    if not bands:
        return "No third octave lies whole within the responses."
    band = min(bands, key=lambda each: abs(np.log(each.frequency_hz / spot_hz)))
    at = f"at {band.frequency_hz / 1000:.3g} kHz" if band.frequency_hz >= 999 else f"at {band.frequency_hz:.0f} Hz"
    if band.change is None:
        if band.bound_db is None:
            return f"{at} the plate's signal does not stand out of the noise: raise its voltage or record repeats"
        return f"{at} the plate's signal fell by {-band.bound_db:.0f} dB at least: what is left is noise"
    is_resolved = band.verdict != "not resolved"
    half_db = (band.change.high - band.change.low) / 2
    value, half = spread_texts(abs(band.change.value) if is_resolved else band.change.value, half_db, finest=FINEST_DB)
    if is_resolved:
        return f"{at} the plate's signal {band.verdict} by {value} dB ± {half}"
    sign = "" if value.startswith(MINUS) else "+"
    return f"{at} no change of the plate's signal is resolved: {sign}{value} dB ± {half}"
