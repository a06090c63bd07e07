"""Has a kept coil drifted? Charts of individuals, of moving ranges, and of an exponentially weighted moving average.

ISO 7870-2 (Shewhart charts) and ISO 7870-6 (EWMA charts). Centre and scatter come from the first measurements, the baseline.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.response import FloatArray

LEAST_POINTS = 8  # before limits are drawn: with fewer the scatter is known to worse than a third; common practice, no source
BASELINE_POINTS = 20  # from which on limits stand still; common practice, no source
WIDTH = 3.0  # [1] of the limits of individuals, in standard deviations: ISO 7870-2
EWMA_WEIGHT = 0.2  # [1] of the newest measurement: finds a drift of one standard deviation soonest among the usual ones
# [1] with it one false alarm in 370 measurements, as the individuals have: S. V. Crowder, Technometrics 29 (1987) 401
EWMA_WIDTH = 2.86
D2, D4 = 1.128, 3.267  # [1] mean range of two over their standard deviation; upper limit over the mean range: ISO 7870-2, table
RANGE_VARIANCE, RANGE_COVARIANCE = 0.57080, 0.12777  # [1] of ranges of two, with the next, over the squared mean: normal law


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Baseline:
    """What a coil gave while all was well.

    Attributes
    ----------
    centre, sigma : float
        Mean, and mean moving range over d2. [unit]
    n_points : int or None
        Measurements it rests on; None where both are known beforehand.
    """

    centre: float
    sigma: float
    n_points: int | None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Chart:
    """One chart, each array of shape (n,).

    Attributes
    ----------
    points, low, high : ndarray
        What is drawn, and its limits. NaN where there is no point. [unit]
    centre : float
        [unit]
    is_outside : ndarray of bool
        Which points lie outside of the limits.
    """

    points: FloatArray
    centre: float
    low: FloatArray
    high: FloatArray
    is_outside: np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Drift:
    """Where a kept coil has got to.

    Attributes
    ----------
    first : int
        First of the points that lie outside without a break up to the latest.
    began : int
        Last point before which the average lay on the other side of the centre: there or later it began (Nishina 1992).
    size : float
        Latest average less centre; where that lies within its limits, latest measurement less centre. [unit]
    is_lasting : bool
        The average lies outside, not just the latest measurement.
    """

    first: int
    began: int
    size: float
    is_lasting: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Charts:
    """The three charts of one quantity, and what they say."""

    baseline: Baseline
    individuals: Chart
    moving_range: Chart
    ewma: Chart
    drift: Drift | None


def baseline_of(values: Sequence[float]) -> Baseline:
    """Take centre and scatter from measurements.

    Parameters
    ----------
    values : sequence of float
        In the order of time, at least two. [unit]

    Returns
    -------
    Baseline
        Its scatter by moving ranges, which a slow drift hardly widens.

    Raises
    ------
    ValueError
        If there are fewer than two.
    """
    if len(values) < 2:
        msg = f"{len(values)} measurement: a moving range needs two"
        raise ValueError(msg)
    ranges = np.abs(np.diff(values))
    return Baseline(centre=float(np.mean(values)), sigma=float(np.mean(ranges)) / D2, n_points=len(values))


def individuals_chart(values: Sequence[float], baseline: Baseline, *, width: float = WIDTH, is_plain: bool = False) -> Chart:
    r"""Chart single measurements (ISO 7870-2).

    Parameters
    ----------
    values : sequence of float, length n
        In the order of time, the baseline's first. [unit]
    baseline : Baseline
        Centre and scatter.
    width : float
        Of the limits, in standard deviations. [1]
    is_plain : bool
        Limits at ± `width` times sigma, as the standard has them for many points.

    Returns
    -------
    Chart
        Without `is_plain` the limits allow for a short baseline, see Notes.

    Notes
    -----
    With m points, centre and scatter are themselves uncertain, and plain limits alarm far more often than 1 in 370. So the
    limits are those of a difference of known variance under a scatter of ν degrees of freedom: Student's t at the same chance
    stands for `width`, and :math:`\sum_i (w_i - c/m\,[i \le m])^2` for the variance, w the weights of the measurements in what
    is drawn and c their sum. The idea is that of K. C. B. Roes, R. J. M. M. Does, Y. Schurink, J. Quality Technology 25 (1993)
    188; with many points the limits become the plain ones.
    """
    return _chart(values, baseline, np.eye(len(values)), width=width, is_plain=is_plain)


def moving_range_chart(values: Sequence[float], baseline: Baseline) -> Chart:
    """Chart the distance of each measurement from the one before (ISO 7870-2).

    Parameters
    ----------
    values : sequence of float, length n
        In the order of time. [unit]
    baseline : Baseline
        With its scatter.

    Returns
    -------
    Chart
        Its first point is missing; limits 0 and D4 times the mean range.
    """
    points = np.concatenate([[np.nan], np.abs(np.diff(values))])
    mean = D2 * baseline.sigma
    low, high = np.zeros(len(points)), np.full(len(points), D4 * mean)
    return Chart(points=points, centre=mean, low=low, high=high, is_outside=points > high)


def ewma_chart(
    values: Sequence[float], baseline: Baseline, *, weight: float = EWMA_WEIGHT, width: float = EWMA_WIDTH, is_plain: bool = False
) -> Chart:
    r"""Chart the exponentially weighted moving average (ISO 7870-6), which finds small lasting shifts.

    Parameters
    ----------
    values : sequence of float, length n
        In the order of time, the baseline's first. [unit]
    baseline : Baseline
        Centre, where the average begins, and scatter.
    weight : float
        Of the newest measurement, λ, above 0 and at most 1. [1]
    width : float
        Of the limits, in standard deviations of the average. [1]
    is_plain : bool
        As for `individuals_chart`.

    Returns
    -------
    Chart
        Plain limits are :math:`\pm L \sigma \sqrt{\lambda/(2-\lambda)\,(1-(1-\lambda)^{2t})}`.

    Raises
    ------
    ValueError
        If the weight is not in its range.
    """
    if not 0 < weight <= 1:
        msg = f"the weight of the newest measurement is {weight}, expected above 0 and at most 1"
        raise ValueError(msg)
    age = np.subtract.outer(np.arange(len(values)), np.arange(len(values)))
    weights = np.where(age >= 0, weight * (1 - weight) ** np.maximum(age, 0), 0.0)
    return _chart(values, baseline, weights, width=width, is_plain=is_plain)


def chart_coil(values: Sequence[float], *, n_baseline: int = BASELINE_POINTS) -> Charts:
    """Draw the three charts of one quantity of a kept coil and say whether it has drifted.

    Parameters
    ----------
    values : sequence of float
        In the order of time, at least `LEAST_POINTS`. [unit]
    n_baseline : int
        The first so many are the baseline; all, where there are fewer.

    Returns
    -------
    Charts
        A drift where the latest measurement or the latest average lies outside.

    Raises
    ------
    ValueError
        If there are too few.
    """
    if min(len(values), n_baseline) < LEAST_POINTS:
        msg = f"{min(len(values), n_baseline)} measurements: limits need {LEAST_POINTS}"
        raise ValueError(msg)
    baseline = baseline_of(values[:n_baseline])
    individuals, ewma = individuals_chart(values, baseline), ewma_chart(values, baseline)
    return Charts(
        baseline=baseline,
        individuals=individuals,
        moving_range=moving_range_chart(values, baseline),
        ewma=ewma,
        drift=_drift(individuals, ewma),
    )


def range_freedom(n_points: int) -> float:
    """Degrees of freedom of a scatter from the mean moving range of two.

    Parameters
    ----------
    n_points : int
        At least two.

    Returns
    -------
    float
        1 over twice the relative variance, in which neighbouring ranges are correlated.

    Examples
    --------
    >>> round(range_freedom(20), 1)
    11.7
    """
    n_ranges = n_points - 1
    return n_ranges**2 / (2 * (n_ranges * RANGE_VARIANCE + 2 * (n_ranges - 1) * RANGE_COVARIANCE))


def _chart(values: Sequence[float], baseline: Baseline, weights: FloatArray, *, width: float, is_plain: bool) -> Chart:
    """Chart the sums of `weights`, shape (n, n), times the distances from the centre."""
    points = baseline.centre + weights @ (np.asarray(values, dtype=float) - baseline.centre)
    from_centre = weights
    if baseline.n_points is not None and not is_plain:
        in_baseline = np.arange(len(values)) < baseline.n_points
        from_centre = weights - np.outer(weights.sum(axis=1), in_baseline) / baseline.n_points
        width = _widened(width, range_freedom(baseline.n_points))
    half = width * baseline.sigma * np.sqrt(np.sum(from_centre**2, axis=1))
    low, high = baseline.centre - half, baseline.centre + half
    return Chart(points=points, centre=baseline.centre, low=low, high=high, is_outside=(points < low) | (points > high))


def _widened(width: float, freedom: float) -> float:
    """Student's t that is passed as rarely as a normal deviate passes `width`."""
    from scipy.special import stdtrit

    return float(-stdtrit(freedom, 0.5 * math.erfc(width / math.sqrt(2))))


def _drift(individuals: Chart, ewma: Chart) -> Drift | None:
    outside = individuals.is_outside | ewma.is_outside
    if not outside[-1]:
        return None
    is_lasting = bool(ewma.is_outside[-1])
    chart = ewma if is_lasting else individuals
    inside = np.flatnonzero(~outside)
    side = np.sign(ewma.points - ewma.centre)
    other = np.flatnonzero(side != side[-1])
    first = int(inside[-1]) + 1 if len(inside) else 0
    began = min(int(other[-1]) + 1 if len(other) else 0, first)
    return Drift(first=first, began=began, size=float(chart.points[-1] - chart.centre), is_lasting=is_lasting)
