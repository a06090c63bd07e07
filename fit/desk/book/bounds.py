"""Bounds that are taken for granted where a person states none, and the sentence that says so."""

import math
from dataclasses import replace

from measure.quantity import Quantity

ASSUMED_BOUNDS = {"Ω": 0.05, "F": 0.10, "Hz": 0.05, "H": 0.05}  # [1] common for parts without a marking; no source


def assumption(part: Quantity, what: str) -> str:
    """Say which bound is taken for granted for a value without ±."""
    percent = 100 * ASSUMED_BOUNDS[part.unit]
    return f"{part.text} ({what}) was given without ±; ± {percent:.0f} % is assumed. A measured bound makes the result better."


def bounded(part: Quantity, what: str, warnings: list[str]) -> Quantity:
    """Give a value a bound where it has none.

    Returns
    -------
    Quantity
        With its bound, or the assumed one.
    """
    if part.bound is None:
        warnings.append(assumption(part, what))
        bound = ASSUMED_BOUNDS[part.unit] * part.value
        return replace(part, bound=bound, standard_uncertainty=bound / math.sqrt(3))  # rectangular: JCGM 100, 4.3.7
    return part


def as_text(part: Quantity) -> str:
    """Write a value again with its bound, and with the loss tangent and the temperature that were stated with it.

    Parameters
    ----------
    part : Quantity
        As read, or with an assumed bound.

    Returns
    -------
    str
        Without its unit; `measure.quantity.parse_quantity` reads it back.

    Examples
    --------
    >>> from measure.quantity import parse_quantity
    >>> as_text(parse_quantity("6.35k ± 0.5% at 24C"))
    '6350 ± 0.5% at 24C'
    """
    bound = "" if part.bound is None else f" ± {100 * part.bound / part.value:.9g}%"
    tangent = "" if part.loss_tangent is None else f" tan {f'{100 * part.loss_tangent:.6f}'.rstrip('0').rstrip('.')}%"
    temperature = "" if part.temperature_c is None else f" at {part.temperature_c:g}C"
    return f"{part.value:.9g}{bound}{tangent}{temperature}"
