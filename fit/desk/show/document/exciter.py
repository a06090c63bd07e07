"""What the command exciter says as JSON."""

from typing import Literal

from fit.answers.exciter.setup import Drive, PickupCoil
from fit.desk.show.document.pieces import Check, Document, Piece, Value


class WoundCoil(Piece, frozen=True, kw_only=True):
    """The exciter's coil.

    Attributes
    ----------
    turns : int
        How many.
    wire_m, enamelled_m : float
        Diameter bare, and over the enamel. [m]
    is_round : bool
        The former is a cylinder, else a rectangular block.
    former_width_m, former_depth_m : float
        Sides of the former, bare; its diameter twice. [m]
    length_m : float
        Room along the axis. [m]
    room_m : float
        The deepest that the winding may become. [m]
    celsius : float
        Temperature of the copper. [°C]
    wire : str
        As people ask for it.
    layers, turns_per_layer : int
        How the turns lie.
    build_m : float
        Depth of the winding. [m]
    fill : float
        Share of the room that wire and enamel take. [1]
    fits : bool
        The winding fits into the room.
    """

    turns: int
    wire_m: float
    enamelled_m: float
    is_round: bool
    former_width_m: float
    former_depth_m: float
    length_m: float
    room_m: float
    celsius: float
    wire: str
    layers: int
    turns_per_layer: int
    build_m: float
    fill: float
    fits: bool


class VoltageAt(Value, frozen=True, kw_only=True):
    """RMS voltage induced in the pickup, at one frequency; null stands for what is not finite.

    Attributes
    ----------
    frequency_hz : float
        [Hz]
    """

    frequency_hz: float


class TextbookFormula(Piece, frozen=True, kw_only=True):
    """The inductance by a formula for this shape.

    Attributes
    ----------
    name : str
        Of the formula.
    inductance_h : float
        By it. [H]
    """

    name: str
    inductance_h: float


class ExciterDocument(Document, frozen=True, kw_only=True, tag="coilsweep.exciter/1"):
    """What an exciter does, or which one to wind.

    Attributes
    ----------
    mode : {"design", "analysis"}
        A coil to wind, or one that there is.
    winding : WoundCoil
        The coil.
    drive : Drive
        Output and sense resistor.
    pickup : PickupCoil
        What the coil lies over.
    quantities : dict of str to Value
        Figures by name.
    pickup_voltage : tuple of VoltageAt
        One for each frequency that was asked for.
    formula : TextbookFormula or None
        Null where there is none for this shape.
    checks : tuple of Check
        What is outside of its limits, and the cure.
    unmet : dict of str to str
        Of what was wanted, what is missed.
    assumed : tuple of str
        What was not typed, one line each.
    warnings : tuple of str
        What was noticed, one line each.
    """

    mode: Literal["design", "analysis"]
    winding: WoundCoil
    drive: Drive
    pickup: PickupCoil
    quantities: dict[str, Value]
    pickup_voltage: tuple[VoltageAt, ...]
    formula: TextbookFormula | None
    checks: tuple[Check, ...]
    unmet: dict[str, str]
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]
