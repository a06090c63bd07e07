"""Has a kept coil drifted? Charts of individuals, of moving ranges, and of an exponentially weighted moving average.

ISO 7870-2 (Shewhart charts) and ISO 7870-6 (EWMA charts), with limits that also hold while there are few measurements.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import FloatArray

LEAST_POINTS = 8  # before there are limits: with fewer the scatter is known to worse than a third; common practice, no source
BASELINE_POINTS = 20  # from which on the baseline stands still; common practice, no source
WIDTH = 3.0  # [1] of the limits of individuals, in standard deviations: ISO 7870-2
EWMA_WEIGHT = 0.2  # [1] of the newest measurement: among the usual ones that which finds a lasting shift of 1 σ soonest
# [1] with it one false alarm in 370 measurements, as the individuals have: S. V. Crowder, Technometrics 29 (1987) 401
EWMA_WIDTH = 2.86
D2, D4 = 1.128, 3.267  # [1] mean range of two over their standard deviation; upper limit over the mean range: ISO 7870-2
ROUNDING = 1e-12  # [1] of a value, that no measurement is free of
RANGE_VARIANCE, RANGE_COVARIANCE = 0.57080, 0.12777  # [1] of ranges of two, with the next, over the squared mean: normal law


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Baseline:
    """What a coil gave while all was well: mean, and mean moving range over d2."""

    centre: float
    sigma: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Chart:
    """One chart, each array of shape (n,).

    Attributes
    ----------
    points, low, high : ndarray
        What is drawn, and its limits; NaN where there is no point. [unit]
    centre : float
        [unit]
    is_outside : ndarray of bool
        Which points lie outside of their limits.
    """

    points: FloatArray
    centre: float
    low: FloatArray
    high: FloatArray
    is_outside: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Drift:
    """Where a kept coil has got to.

    Attributes
    ----------
    since : int
        First measurement after the step that explains the measurements best.
    size : float
        Mean since then, less the baseline's centre. [unit]
    is_lasting : bool
        The weighted average lies outside, or the last two measurements do; else the latest alone.
    """

    since: int
    size: float
    is_lasting: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Charts:
    """The three charts of one quantity, and what they say.

    Attributes
    ----------
    members : tuple of int
        The measurements that it rests on.
    drift : Drift or None
        None where the latest measurement and the latest average lie within their limits.
    """

    baseline: Baseline
    members: tuple[int, ...]
    individuals: Chart
    moving_range: Chart
    ewma: Chart
    drift: Drift | None


def baseline_of(values: Sequence[float] | FloatArray) -> Baseline:
    """Take centre and scatter from measurements.

    Parameters
    ----------
    values : sequence of float, or ndarray, shape (n,)
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
    return Baseline(centre=float(np.mean(values)), sigma=float(np.mean(np.abs(np.diff(values)))) / D2)


def moving_range_chart(values: Sequence[float], baseline: Baseline) -> Chart:
    """Chart the distance of each measurement from the one before (ISO 7870-2).

    Parameters
    ----------
    values : sequence of float, length n
        In the order of time. [unit]

    Returns
    -------
    Chart
        Its first point is missing; limits 0 and D4 times the mean range.
    """
    points = np.concatenate([[np.nan], np.abs(np.diff(values))])
    mean = D2 * baseline.sigma
    low, high = np.zeros(len(points)), np.full(len(points), D4 * mean)
    return Chart(points=points, centre=mean, low=low, high=high, is_outside=points > high)


def chart_coil(values: Sequence[float]) -> Charts:
    r"""Draw the three charts of one quantity of a kept coil and say whether it has drifted.

    Parameters
    ----------
    values : sequence of float
        In the order of time, at least `LEAST_POINTS`. [unit]

    Returns
    -------
    Charts
        Each measurement is judged by the baseline as it was before it.

    Raises
    ------
    ValueError
        If there are too few.

    Notes
    -----
    The first `LEAST_POINTS` begin the baseline, and each later measurement that lies within its limits joins, up to
    `BASELINE_POINTS`; what has drifted does not. With m measurements centre and scatter are themselves uncertain, and with plain
    limits ten times as many false alarms come as 1 in 370. So the limits are those of a difference of known variance over a
    scatter of ν degrees of freedom: for the width in standard deviations stands Student's t of the same chance, for the variance
    :math:`\sigma^2 \sum_i (w_i - c/m\,[i \in B])^2`, w the weights of the measurements in what is charted, c their sum, B the
    baseline (the idea: K. C. B. Roes, R. J. M. M. Does, Y. Schurink, J. Quality Technology 25 (1993) 188; limits that move with
    each measurement: D. M. Hawkins, The Statistician 36 (1987) 299). A measurement outside of its limits enters the average as if
    it lay on them, so that one slip does not pull the average out for long.
    """
    n = len(values)
    if n < LEAST_POINTS:
        msg = f"{n} measurements: limits need {LEAST_POINTS}"
        raise ValueError(msg)
    measured, held = np.array(values, dtype=float), np.array(values, dtype=float)
    weights = (np.eye(n), ewma_weights(n, EWMA_WEIGHT))
    members = list(range(LEAST_POINTS))
    middle, points, half = np.zeros(n), np.zeros((2, n)), np.zeros((2, n))
    for at in range(n):
        baseline = baseline_of(measured[members])
        middle[at] = baseline.centre
        half[:, at] = [
            _half_width(weights[chart][at], members, width=width) * baseline.sigma
            for chart, width in enumerate((WIDTH, EWMA_WIDTH))
        ]
        held[at] = np.clip(measured[at], middle[at] - half[0, at], middle[at] + half[0, at])
        points[:, at] = measured[at], middle[at] + weights[1][at] @ (held - middle[at])
        is_within = bool(np.all(np.abs(points[:, at] - middle[at]) <= half[:, at] + ROUNDING * abs(middle[at])))
        if is_within and at >= LEAST_POINTS and len(members) < BASELINE_POINTS:
            members.append(at)
    baseline = baseline_of(measured[members])
    individuals, ewma = (_chart(points[chart], middle, half[chart], baseline.centre) for chart in range(2))
    return Charts(
        baseline=baseline,
        members=tuple(members),
        individuals=individuals,
        moving_range=moving_range_chart(values, baseline),
        ewma=ewma,
        drift=_drift(measured - baseline.centre, individuals, ewma),
    )


def range_freedom(n_points: int) -> float:
    """Find the degrees of freedom of a scatter from the mean moving range of two.

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


def ewma_weights(n: int, weight: float) -> FloatArray:
    """Weights of the measurements in each exponentially weighted moving average, shape (n, n) (ISO 7870-6).

    Parameters
    ----------
    weight : float
        Of the newest one, λ, above 0 and at most 1. [1]

    Returns
    -------
    ndarray, shape (n, n)
        A row for each average; what a row leaves to 1 lies on the centre, where the average began.
    """
    age = np.subtract.outer(np.arange(n), np.arange(n))
    return np.where(age >= 0, weight * (1 - weight) ** np.maximum(age, 0), 0.0)


def _chart(points: FloatArray, middle: FloatArray, half: FloatArray, centre: float) -> Chart:
    half = np.maximum(half, ROUNDING * np.abs(middle))
    low, high = middle - half, middle + half
    return Chart(points=points, centre=centre, low=low, high=high, is_outside=(points < low) | (points > high))


def _half_width(weights: FloatArray, members: Sequence[int], *, width: float) -> float:
    """Half of the distance between limits, over the scatter of the baseline."""
    from scipy.special import stdtrit

    chance = 0.5 * math.erfc(width / math.sqrt(2))
    from_centre = weights.copy()
    from_centre[list(members)] -= weights.sum() / len(members)
    return float(-stdtrit(range_freedom(len(members)), chance) * np.sqrt(np.sum(from_centre**2)))


def _drift(away: FloatArray, individuals: Chart, ewma: Chart) -> Drift | None:
    """Say whether the latest lies outside, and find the step that began it by maximum likelihood.

    T. R. Samuel, J. J. Pignatiello, J. A. Calvin, Quality Engineering 10 (1998) 521.
    """
    if not (individuals.is_outside[-1] or ewma.is_outside[-1]):
        return None
    is_lasting = bool(ewma.is_outside[-1] or individuals.is_outside[-2])
    n_since = np.arange(len(away), 0, -1)
    means = np.cumsum(away[::-1])[::-1] / n_since
    since = int(np.argmax(n_since * means**2)) if is_lasting else len(away) - 1
    return Drift(since=since, size=float(means[since]), is_lasting=is_lasting)
