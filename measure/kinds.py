"""What things of one kind have: the unit, the tolerance that is assumed, what is usual and what is possible."""

import math
from dataclasses import dataclass, replace
from typing import Literal

from measure.quantity import Quantity

Kind = Literal[
    "capacitor",
    "pot",
    "resistor",
    "dcr",
    "inductance",
    "winding capacitance",
    "input resistance",
    "input capacitance",
    "resistance",
    "sense resistor",
    "corner",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class KindOfValue:
    """What things of one kind have; common practice, no source.

    Attributes
    ----------
    tolerance : float
        Relative bound that is assumed where none is stated. [1]
    usual : tuple of float
        A bare number outside of it has lost its prefix; one that was written with a prefix or a unit is told as odd. [`unit`]
    possible : tuple of float
        Nothing of the kind lies outside. [`unit`]
    what : str
        As a sentence names it.
    """

    unit: str
    tolerance: float
    usual: tuple[float, float]
    possible: tuple[float, float]
    what: str


KINDS: dict[Kind, KindOfValue] = {
    "capacitor": KindOfValue(unit="F", tolerance=0.10, usual=(1e-12, 1e-6), possible=(1e-14, 1e-3), what="capacitor"),
    "pot": KindOfValue(unit="Ω", tolerance=0.20, usual=(1e4, 5e6), possible=(1e3, 2e7), what="pot"),
    "resistor": KindOfValue(unit="Ω", tolerance=0.05, usual=(100.0, 2.2e7), possible=(1e-2, 1e10), what="resistor"),
    "dcr": KindOfValue(unit="Ω", tolerance=0.05, usual=(100.0, 2e5), possible=(1e-1, 1e6), what="winding"),
    "inductance": KindOfValue(unit="H", tolerance=0.05, usual=(1e-3, 100.0), possible=(1e-7, 1e4), what="pickup"),
    "winding capacitance": KindOfValue(unit="F", tolerance=0.10, usual=(1e-13, 1e-8), possible=(1e-16, 1e-6), what="winding"),
    "input resistance": KindOfValue(unit="Ω", tolerance=0.05, usual=(1e3, 1e11), possible=(1.0, 1e12), what="input"),
    "input capacitance": KindOfValue(unit="F", tolerance=0.10, usual=(1e-13, 1e-7), possible=(1e-18, 1e-4), what="input"),
    "resistance": KindOfValue(unit="Ω", tolerance=0.05, usual=(1e-2, 1e9), possible=(1e-3, 1e12), what="resistor"),
    "sense resistor": KindOfValue(unit="Ω", tolerance=0.05, usual=(1.0, 5e3), possible=(1e-2, 5e4), what="sense resistor"),
    "corner": KindOfValue(unit="Hz", tolerance=0.05, usual=(50.0, 1e7), possible=(1e-3, 1e9), what="exciter"),
}
PRINTED: tuple[Kind, ...] = ("capacitor", "pot", "resistor")  # on these a marking stands
LIKELY: dict[Kind, tuple[float, float]] = {  # what is offered where a prefix is missing; common practice, no source
    "capacitor": (10e-12, 1e-6),
    "pot": (1e4, 2e6),
    "resistor": (1e3, 1e7),
    "dcr": (1e3, 1e5),
    "inductance": (0.1, 30.0),
    "input resistance": (2e4, 2e7),
    "input capacitance": (5e-12, 5e-9),
    "winding capacitance": (1e-11, 1e-9),
    "sense resistor": (1.0, 1e3),
    "corner": (5e2, 5e5),
}


def kind_of(key: str) -> Kind | None:
    """Find the kind of a value by its name.

    Parameters
    ----------
    key : str
        ``"capacitor.tone"``, ``"pot.volume"``, ``"bridge.dcr"``, ``"input.resistance"`` …

    Returns
    -------
    str or None
        None of what has no kind: shares of losses, corners of eddy loops.
    """
    first, last = key.partition(".")[0], key.rpartition(".")[2]
    if first == "input" and last in ("resistance", "capacitance"):
        return "input resistance" if last == "resistance" else "input capacitance"
    for kind in PRINTED:
        if first == kind:
            return kind
    named: dict[str, Kind] = {"dcr": "dcr", "inductance": "inductance", "winding_capacitance": "winding capacitance"}
    return named.get(last)


def kind_of_unit(unit: str) -> Kind:
    """Find the kind of a part of which only the unit is known.

    Parameters
    ----------
    unit : str
        Ω, F, H or Hz.
    """
    kinds: dict[str, Kind] = {"Ω": "resistor", "F": "capacitor", "H": "inductance", "Hz": "corner"}
    return kinds[unit]


def assume_tolerance(quantity: Quantity, kind: Kind) -> Quantity:
    """Give a value the tolerance that things of its kind usually have, where it states none.

    Returns
    -------
    Quantity
        As it was, where it has a bound.
    """
    if quantity.bound is not None:
        return quantity
    bound = KINDS[kind].tolerance * quantity.value
    return replace(quantity, bound=bound, standard_uncertainty=bound / math.sqrt(3))  # rectangular: JCGM 100, 4.3.7
