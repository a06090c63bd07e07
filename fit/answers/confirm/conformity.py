"""Whether a measured value lies inside its tolerance, by a rule that counts the uncertainty, and how probable that is."""

import math
from dataclasses import dataclass
from typing import Literal

from fit.answers.figures import Estimate
from fit.estimate.coverage import NORMAL_FACTOR

RULE = "guarded acceptance and guarded rejection, guard band w = U (expanded uncertainty, 95 %)"
STANDARD = "ISO/IEC 17025:2017, 7.8.6; ILAC-G8:09/2019; JCGM 106:2012, 8.3"
UPPER = 0.025  # [1] beyond a 95 % interval, on one side
LEAST_PART = 1e-3  # [1] of the standard deviation: a smaller rectangular or normal part is none
HALVINGS = 40
ONE_RECTANGLE = 1.6455  # [1] 0.95 √3, rounded up: 95 % of a rectangular distribution over its standard deviation

Side = Literal[
    "inside",
    "inside near lower limit",
    "inside near upper limit",
    "inside near both limits",
    "outside near lower limit",
    "outside near upper limit",
    "below",
    "above",
]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Decision:
    """A measured value against its two-sided tolerance.

    Attributes
    ----------
    limits : tuple of float
        Of the tolerance, lower and upper. [unit of the value]
    guard_band : float
        w = U, half of the 95 % interval. [unit of the value]
    acceptance : tuple of float or None
        What is accepted: the limits moved inwards by w; None where nothing is left between them. [unit of the value]
    side : str
        "inside" is accepted, "below" and "above" are rejected; "inside near …" and "outside near …" lie within w of a limit.
    conforming, nonconforming : float
        Probability that the true value lies inside the limits, and outside; together 1. [1]
    specific_risk : float or None
        Probability that the decision is wrong; None where none is made. [1]
    is_logarithmic : bool
        The guard band is a factor: it moves the logarithm of a limit.
    """

    limits: tuple[float, float]
    guard_band: float
    acceptance: tuple[float, float] | None
    side: Side
    conforming: float
    nonconforming: float
    specific_risk: float | None
    is_logarithmic: bool


def decide_conformity(measured: Estimate, *, low: float, high: float) -> Decision:
    """Judge a measured value by guarded acceptance and guarded rejection.

    Parameters
    ----------
    measured : Estimate
        U on either side is what its 95 % interval reaches there.
    low, high : float
        Limits of the tolerance. [unit of the value]

    Returns
    -------
    Decision
        Accepted if the value lies inside the limits by w or more, rejected if it lies outside by more than w.

    Raises
    ------
    ValueError
        If the limits are not in order.

    Notes
    -----
    Where the interval is symmetric in the logarithm, w is a factor: a limit is moved by the ratio of the interval's end and the
    value. What is accepted has its whole interval inside the limits, what is rejected has all of it outside.

    References
    ----------
    JCGM 106:2012, 8.3.2 (guarded acceptance), 8.3.3 (guarded rejection); ILAC-G8:09/2019, 4.2. Clauses of JCGM 106 from memory.
    """
    if not low < high:
        msg = f"lower limit {low:g} is not below the upper limit {high:g}"
        raise ValueError(msg)
    if is_logarithmic(measured):
        acceptance = (low * measured.value / measured.low, high * measured.value / measured.high)
    else:
        acceptance = (low + measured.value - measured.low, high - (measured.high - measured.value))
    conforming, nonconforming = conformance(measured, low=low, high=high)
    side = _side(measured, low, high)
    return Decision(
        limits=(low, high),
        guard_band=(measured.high - measured.low) / 2,
        acceptance=acceptance if acceptance[0] <= acceptance[1] else None,
        side=side,
        conforming=conforming,
        nonconforming=nonconforming,
        specific_risk={"inside": nonconforming, "below": conforming, "above": conforming}.get(side),
        is_logarithmic=is_logarithmic(measured),
    )


def conformance(measured: Estimate, *, low: float, high: float) -> tuple[float, float]:
    r"""Probability that a true value lies inside two limits, and that it does not.

    Normal: :math:`p_c = \Phi((T_U - y)/u) - \Phi((T_L - y)/u)`, in the logarithm where the interval is symmetric there. An
    interval with a smaller coverage factor has a rectangular part: Φ is then that of the sum of a rectangular and a normal
    distribution with this coverage factor.

    Parameters
    ----------
    measured : Estimate
        What is known of the value: the measurement alone.
    low, high : float
        Limits; infinite for none. [unit of the value]

    Returns
    -------
    conforming, nonconforming : float
        Each by itself, so that a small one keeps its digits. [1]

    References
    ----------
    JCGM 106:2012, 7.2 to 7.4 (from memory).
    """
    if measured.low >= measured.value or measured.high <= measured.value:
        is_inside = low <= measured.value <= high
        return float(is_inside), float(not is_inside)
    factor = NORMAL_FACTOR if measured.distribution == "profile" else measured.coverage_factor
    below, above = (factor * _reach(measured, limit) for limit in (low, high))
    share = _rectangular_share(factor)
    # both ends on one side of the value: from the tail that has no 1 in it
    nearer, farther = (below, above) if below > 0 else (-above, -below)
    return _tail(nearer, share) - _tail(farther, share), _tail(-below, share) + _tail(above, share)


def is_logarithmic(measured: Estimate) -> bool:
    """Tell whether an interval is rather symmetric in the logarithm than in the value itself."""
    if measured.low <= 0:
        return False
    by_ratio = abs(measured.low * measured.high / measured.value - measured.value)
    return by_ratio <= abs(measured.low + measured.high - 2 * measured.value)


def _reach(measured: Estimate, limit: float) -> float:
    """Find how far a limit lies off the value, over how far the interval reaches on that side; below the value negative."""
    end = measured.high if limit > measured.value else measured.low
    if is_logarithmic(measured):
        off = math.log(limit / measured.value) if limit > 0 else -math.inf
        return off / abs(math.log(end / measured.value))
    return (limit - measured.value) / abs(end - measured.value)


def _rectangular_share(factor: float) -> float:
    """Find the standard deviation of the rectangular part of a sum of unit variance that has this coverage factor."""
    if factor >= NORMAL_FACTOR:
        return 0.0
    if factor < ONE_RECTANGLE:
        return 1.0
    least, most = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        least, most = (middle, most) if _tail(factor, middle) > UPPER else (least, middle)
    return most


def _tail(z: float, share: float) -> float:
    """Probability that a sum of unit variance exceeds z: a rectangular part of standard deviation `share`, the rest normal.

    The normal tail Q averaged over the rectangle: its integral is z·Q(z) − φ(z).
    """
    half, rest = math.sqrt(3) * share, math.sqrt(max(1 - share**2, 0.0))
    if half < LEAST_PART:
        return _normal_tail(z)
    if rest < LEAST_PART:
        return min(max((half - z) / (2 * half), 0.0), 1.0)
    if math.isinf(z):
        return float(z < 0)
    ends = ((z + half) / rest, (z - half) / rest)
    upper, lower = (end * _normal_tail(end) - math.exp(-(end**2) / 2) / math.sqrt(2 * math.pi) for end in ends)
    return min(max(rest / (2 * half) * (upper - lower), 0.0), 1.0)


# 1 − Φ of JCGM 106.
def _normal_tail(z: float) -> float:
    return math.erfc(z / math.sqrt(2)) / 2


def _side(measured: Estimate, low: float, high: float) -> Side:
    if measured.high < low:
        return "below"
    if measured.low > high:
        return "above"
    if measured.value < low:
        return "outside near lower limit"
    if measured.value > high:
        return "outside near upper limit"
    is_low, is_high = measured.low < low, measured.high > high
    if is_low and is_high:
        return "inside near both limits"
    if is_low:
        return "inside near lower limit"
    return "inside near upper limit" if is_high else "inside"
