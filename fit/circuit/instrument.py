"""The instrument as instrument.toml states it: pickups, pots, capacitors, resistors, switches, and how they are joined.

::

    name = "…"
    output = "tip"                                # the point at the jack's tip; "ground" is its sleeve
    [pickup.bridge]
    ends = ["bridge hot", "ground"]               # the EMF is positive from the second to the first
    dcr = "7.9k ± 1%"                             # and, where they are known:
    inductance = "3.1 ± 1%"
    winding_capacitance = "110p ± 5p"
    eddy_loops = [[0.42, 9e3]]                    # shorted turns: [coupling k, corner 1/(2πτ) in Hz] of each
    eddy_spreads = [[0.35, 9.9e3, 1.2]]           # solid poles: [k, corner in Hz, half-width w of the spread of ln τ] of each
    [pickup.bridge.second]                        # only where the middle of a humbucker is led out: the same keys, and
    ends = ["bridge middle", "ground"]
    coupling = 0.3                                # k to the first coil; positive: in series, first to second, they add
    excitation = 1.0                              # EMF over that of the first coil
    [pot.volume]
    value = "500k ± 1%"                           # measured; or marked = "500k ± 20%", what is printed on it
    source = "meter no. 3"                        # of any part and pickup, where that is known: who says so,
    date = "2026-03-01"                           # and when
    taper = "audio"                               # or "linear"
    cw = "bus"                                    # lugs; an unused one is left out; cw is reached at 10
    wiper = "tip"
    ccw = "ground"
    [capacitor.tone]
    marked = "33n ± 10%"                          # its loss angle, where that is known: "33n ± 10% tan 0.4%"
    kind = "film"                                 # or "ceramic", "paper": how large its loss angle usually is
    between = ["tone link", "ground"]
    [resistor.bleed]
    value = "150k ± 5%"
    between = ["bus", "tip"]
    [switch.selector.positions]                   # which nodes each position joins
    neck = [["neck hot", "bus"]]
    both = [["neck hot", "bus"], ["bridge hot", "bus"]]
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import msgspec

from fit.circuit.coil import Profile
from measure.kinds import kind_of
from measure.marking import read_value
from measure.quantity import Quantity

MOST_POSITIONS = 32  # of one switch
MOST_JOINS = 64  # in one position
MAX_TEXT = 60  # [characters] of a name or a node
Taper = Literal["audio", "linear"]
Dielectric = Literal["film", "ceramic", "paper"]
Ends = tuple[str, str]
Unit = Literal["Ω", "F", "H", "Hz", ""]


class SecondCoil(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """Second coil of a pickup whose two coils are joined outside."""

    ends: Ends
    dcr: str | None = None
    inductance: str | None = None
    winding_capacitance: str | None = None
    eddy_loops: tuple[tuple[float, float], ...] = ()
    eddy_spreads: tuple[tuple[float, float, float], ...] = ()
    coupling: float = 0.0
    excitation: float = 1.0


class Pickup(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A pickup: one coil, or two with the second stated apart."""

    ends: Ends
    dcr: str | None = None
    inductance: str | None = None
    winding_capacitance: str | None = None
    eddy_loops: tuple[tuple[float, float], ...] = ()
    eddy_spreads: tuple[tuple[float, float, float], ...] = ()
    second: SecondCoil | None = None
    source: str | None = None
    date: str | None = None


class Pot(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A potentiometer; at least two of its lugs are used."""

    taper: Taper
    value: str | None = None
    marked: str | None = None
    cw: str | None = None
    wiper: str | None = None
    ccw: str | None = None
    source: str | None = None
    date: str | None = None


class Part(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A capacitor or a resistor; the kind of a capacitor says what its loss tangent usually is."""

    between: Ends
    value: str | None = None
    marked: str | None = None
    kind: Dielectric | None = None
    source: str | None = None
    date: str | None = None

    @property
    def loss_tangent(self) -> float | None:
        """Of a capacitor, as stated behind the value or the marking."""
        text = self.value if self.value is not None else self.marked
        return None if text is None else read_value(text, "capacitor").loss_tangent


class Switch(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A switch: pairs of nodes that are joined in each position."""

    positions: dict[str, tuple[Ends, ...]]


class Instrument(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """All of instrument.toml, each part by its name."""

    name: str = ""
    output: str = "tip"
    pickup: dict[str, Pickup] = {}
    pot: dict[str, Pot] = {}
    capacitor: dict[str, Part] = {}
    resistor: dict[str, Part] = {}
    switch: dict[str, Switch] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What an instrument states of one value.

    Attributes
    ----------
    quantity : Quantity or None
        What counts: the measured value, else the marked one; None where neither is stated.
    is_marked : bool
        Only printed on the part, not measured.
    unit : str
        Ω, F, H, Hz, or empty for a pure number.
    """

    quantity: Quantity | None
    is_marked: bool
    unit: Unit


def stated_values(instrument: Instrument) -> dict[str, Stated]:
    """List every value of an instrument, stated or not.

    Returns
    -------
    dict
        ``"bridge.inductance"``, ``"bridge.second.dcr"``, ``"bridge.eddy_loop_1.corner"``,
        ``"bridge.eddy_spread_1.half_width"``, ``"bridge.coupling"``, ``"pot.volume"``, ``"capacitor.tone"``,
        ``"resistor.bleed"`` … to what is stated.
    """
    out: dict[str, Stated] = {}
    for name, pickup in instrument.pickup.items():
        out |= _coil_values(name, pickup)
        if pickup.second is not None:
            out |= _coil_values(f"{name}.second", pickup.second)
            out[f"{name}.coupling"] = _number(pickup.second.coupling, "")
    for key, part, unit in parts_of(instrument):
        text = part.value if part.value is not None else part.marked
        kind = kind_of(key)
        quantity = None if text is None or kind is None else read_value(text, kind)
        out[key] = Stated(quantity=quantity, is_marked=part.value is None and part.marked is not None, unit=unit)
    return out


def coils_of(instrument: Instrument) -> dict[str, Pickup | SecondCoil]:
    """List every coil by its name.

    Returns
    -------
    dict
        ``"bridge"``, ``"bridge.second"`` … in the order of the file.
    """
    coils: dict[str, Pickup | SecondCoil] = {}
    for name, pickup in instrument.pickup.items():
        coils[name] = pickup
        if pickup.second is not None:
            coils[f"{name}.second"] = pickup.second
    return coils


def eddies_of(name: str, coil: Pickup | SecondCoil) -> tuple[tuple[str, Profile], ...]:
    """List the eddy losses of a coil.

    Returns
    -------
    tuple of (str, str)
        What the names of each loss's values begin with, such as ``"bridge.eddy_loop_1"``, and its profile.
    """
    loops: list[tuple[str, Profile]] = [(f"{name}.eddy_loop_{number}", "loop") for number in range(1, len(coil.eddy_loops) + 1)]
    return *loops, *((f"{name}.eddy_spread_{number}", "spread") for number in range(1, len(coil.eddy_spreads) + 1))


def lugs_of(pot: Pot) -> dict[str, str]:
    """List the lugs of a pot that are used.

    Returns
    -------
    dict
        ``"cw"``, ``"wiper"``, ``"ccw"`` to the node there.
    """
    lugs = {"cw": pot.cw, "wiper": pot.wiper, "ccw": pot.ccw}
    return {lug: node for lug, node in lugs.items() if node is not None}


def parts_of(instrument: Instrument) -> Iterator[tuple[str, Pot | Part, Unit]]:
    """Go through pots, capacitors and resistors.

    Yields
    ------
    str, Pot or Part, str
        ``"pot.volume"`` …, the part, the unit of its value.
    """
    for name, pot in instrument.pot.items():
        yield f"pot.{name}", pot, "Ω"
    for name, part in instrument.capacitor.items():
        yield f"capacitor.{name}", part, "F"
    for name, part in instrument.resistor.items():
        yield f"resistor.{name}", part, "Ω"


def _coil_values(name: str, coil: Pickup | SecondCoil) -> dict[str, Stated]:
    texts: dict[str, tuple[str | None, Unit]] = {
        "inductance": (coil.inductance, "H"),
        "dcr": (coil.dcr, "Ω"),
        "winding_capacitance": (coil.winding_capacitance, "F"),
    }
    out = {}
    for key, (text, unit) in texts.items():
        kind = kind_of(f"{name}.{key}")
        quantity = None if text is None or kind is None else read_value(text, kind)
        out[f"{name}.{key}"] = Stated(quantity=quantity, is_marked=False, unit=unit)
    for (key, _), (coupling, corner_hz, *widths) in zip(
        eddies_of(name, coil), (*coil.eddy_loops, *coil.eddy_spreads), strict=True
    ):
        out[f"{key}.coupling"] = _number(coupling, "")
        out[f"{key}.corner"] = _number(corner_hz, "Hz")
        out |= {f"{key}.half_width": _number(width, "") for width in widths}
    return out


def _number(value: float, unit: Unit) -> Stated:
    quantity = Quantity(value=value, standard_uncertainty=None, bound=None, unit=unit, text=f"{value:g}")
    return Stated(quantity=quantity, is_marked=False, unit=unit)
