"""What is said of a value as it was typed: what it was taken for, what is odd, which tolerance is taken for granted."""

from dataclasses import replace

from measure.kinds import KINDS, Kind, assume_tolerance, kind_of_unit
from measure.quantity import Quantity


def assumption(part: Quantity, what: str, kind: Kind | None = None) -> str:
    """Say which tolerance is taken for granted where a value states none; the kind follows from the unit where none is given."""
    percent = 100 * KINDS[kind or kind_of_unit(part.unit)].tolerance
    return f"{part.text} ({what}) states no tolerance; ± {percent:.0f} % is assumed (common practice)"


def remarks(part: Quantity, what: str, kind: Kind | None = None) -> tuple[str, ...]:
    """Say what a marking was taken for, what is odd about it, and what is assumed."""
    told = [f"{what}: {one}" for one in (part.understood, part.doubt) if one]
    return (*told, *([assumption(part, what, kind)] if part.bound is None else []))


def bounded(part: Quantity, what: str, warnings: list[str], kind: Kind | None = None) -> Quantity:
    """Give a value a bound where it has none, and say what is odd or assumed; the kind follows from the unit where none is given.

    Returns
    -------
    Quantity
        With its bound, or the assumed one.
    """
    warnings += remarks(replace(part, understood=""), what, kind)  # which was said when it was typed
    return assume_tolerance(part, kind or kind_of_unit(part.unit))


def as_text(part: Quantity) -> str:
    """Write a value again with its bound, and with the loss tangent and the temperature that were stated with it.

    Parameters
    ----------
    part : Quantity
        As read, or with an assumed bound.

    Returns
    -------
    str
        With its unit, so that no code is seen in it; `measure.quantity.parse_quantity` reads it back.

    Examples
    --------
    >>> from measure.quantity import parse_quantity
    >>> as_text(parse_quantity("6.35k ± 0.5% at 24C"))
    '6350Ω ± 0.5% at 24C'
    """
    bound = "" if part.bound is None else f" ± {100 * part.bound / part.value:.9g}%"
    tangent = "" if part.loss_tangent is None else f" tan {f'{100 * part.loss_tangent:.6f}'.rstrip('0').rstrip('.')}%"
    temperature = "" if part.temperature_c is None else f" at {part.temperature_c:g}C"
    return f"{part.value:.9g}{part.unit}{bound}{tangent}{temperature}"
