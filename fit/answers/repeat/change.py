"""Whether a quantity measured again is another, beyond what both intervals allow for."""

import math

from fit.answers.figures import Estimate
from fit.circuit.copper import TEMPERATURE_COEFFICIENT_PER_K, resistance_at

ROOM_BOUND_K = 3.0  # [K] of the winding where no temperature is stated: rooms differ between days; common practice, no source


def is_beyond(before: Estimate, after: Estimate, *, allowance: float = 0.0) -> bool:
    """Judge whether two results differ by more than both 95 % intervals allow for.

    Parameters
    ----------
    allowance : float
        95 % half-width of what else may differ between the two. [unit of the estimates]

    Notes
    -----
    The halves that face each other are added in squares (JCGM 100:2008, 5.1.2), as if nothing were shared. References that both
    results rest on are in both intervals and cancel in the difference, so this rather misses a change than it invents one.
    """
    gap = after.value - before.value
    low, high = (before, after) if gap > 0 else (after, before)
    return abs(gap) > math.sqrt((low.high - low.value) ** 2 + (high.value - high.low) ** 2 + allowance**2)


def resistance_allowance(before: Estimate, before_c: float | None, after_c: float | None) -> tuple[Estimate, float]:
    """Bring a winding resistance to another temperature, or say how far it may differ by temperature alone.

    Parameters
    ----------
    before_c, after_c : float or None
        Of the winding then and now; None where it is not stated. [°C]

    Returns
    -------
    brought : Estimate
        At `after_c` where both are stated. [Ω]
    allowance : float
        95 % half-width of the difference by temperature alone; 0 where both are stated. [Ω]
    """
    if before_c is None or after_c is None:
        return before, before.value * TEMPERATURE_COEFFICIENT_PER_K * ROOM_BOUND_K * math.sqrt(2)
    factor = resistance_at(1.0, from_celsius=before_c, to_celsius=after_c)
    scaled = {name: getattr(before, name) * factor for name in ("value", "standard_uncertainty", "low", "high")}
    return Estimate(unit=before.unit, coverage_factor=before.coverage_factor, distribution=before.distribution, **scaled), 0.0
