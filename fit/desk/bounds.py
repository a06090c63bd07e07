"""Bounds that are taken for granted where a person states none, and the sentence that says so."""

import math
from dataclasses import replace

from measure.quantity import Quantity

ASSUMED_BOUNDS = {"Ω": 0.05, "F": 0.10, "Hz": 0.05, "H": 0.05}  # [1] common for parts without a marking; no source


def assumption(part: Quantity, what: str) -> str:
    """Say which bound is taken for granted for a value without ±.

    Parameters
    ----------
    part : Quantity
        Without a bound.
    what : str
        Which value it is.

    Returns
    -------
    str
        One line.
    """
    percent = 100 * ASSUMED_BOUNDS[part.unit]
    return f"{part.text} ({what}) was given without ±; ± {percent:.0f} % is assumed. A measured bound makes the result better."


def bounded(part: Quantity, what: str, warnings: list[str]) -> Quantity:
    """Give a value a bound where it has none.

    Parameters
    ----------
    part : Quantity
        As read.
    what : str
        Which value it is.
    warnings : list of str
        What is assumed is added to it.

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
