"""Estimates whose interval comes from the scatter of a few takes, by Student's t, rather than from a fit."""

from fit.answers.figures import Estimate
from measure.quantity import NORMAL_FACTOR

WIDER = 1e-3  # [1] over the normal factor, from which on it is another distribution


def estimate_from_half(value: float, *, std: float, half: float, unit: str) -> Estimate:
    """Put a value with half of its 95 % interval.

    Parameters
    ----------
    value : float
        [`unit`]
    std, half : float
        Standard uncertainty, and half of the interval. [`unit`]

    Returns
    -------
    Estimate
        Its coverage factor is the one over the other; "t" where that is wider than a normal distribution's (JCGM 100:2008, G.3).

    Examples
    --------
    >>> estimate_from_half(-14.0, std=0.1, half=0.43, unit="dB").distribution
    't'
    """
    factor = half / std if std > 0 else NORMAL_FACTOR
    return Estimate(
        value=value,
        unit=unit,
        standard_uncertainty=std,
        low=value - half,
        high=value + half,
        coverage_factor=factor,
        distribution="t" if factor > NORMAL_FACTOR + WIDER else "normal",
    )
