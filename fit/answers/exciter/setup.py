"""Of what an exciter is made and what it works on, and how its turns lie on the former."""

import math
from dataclasses import dataclass

from fit.answers.exciter.turns import Turns

MOST_TURNS = 3000  # far more than an exciter wants; keeps the sum over pairs of turns short


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """The coil.

    Attributes
    ----------
    turns : int
        1 to 3000.
    wire_m, enamelled_m : float
        Diameter bare, and over the enamel. [m], [m]
    is_round : bool
        The former is a cylinder, else a rectangular block.
    former_width_m, former_depth_m : float
        Sides of the former, bare; its diameter twice. [m], [m]
    length_m : float
        Room along the axis. [m]
    room_m : float
        Room across: the deepest the winding may become. [m]
    celsius : float
        Temperature of the copper. [°C]
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """Output and sense resistor.

    Attributes
    ----------
    level_v : float
        RMS of the sine with nothing connected. [V]
    source_ohm : float
        Resistance inside the output. [Ω]
    sense_ohm : float
        In series with the coil. [Ω]
    minimum_load_ohm : float
        The least that the output may be asked to drive. [Ω]
    rating_w : float
        Of the sense resistor. [W]
    """

    level_v: float
    source_ohm: float
    sense_ohm: float
    minimum_load_ohm: float
    rating_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PickupCoil:
    """The pickup's winding, as far as the coupling goes.

    Attributes
    ----------
    turns : float
        How many. [1]
    is_round : bool
        A circle, else a rectangle.
    width_m, depth_m : float
        Sides of the mean turn; its diameter twice. [m], [m]
    height_m, build_m : float
        Extent of the winding along the axis, and across it. [m], [m]
    gap_m : float
        From the winding to the exciter's near face. [m]
    iron : float
        What pole pieces do to the coupling: its factor. [1]
    """

    turns: float
    is_round: bool
    width_m: float
    depth_m: float
    height_m: float
    build_m: float
    gap_m: float
    iron: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """All that an exciter's figures rest on.

    Attributes
    ----------
    winding : Winding
        The coil.
    drive : Drive
        What drives it.
    pickup : PickupCoil
        What it drives.
    """

    winding: Winding
    drive: Drive
    pickup: PickupCoil


def turns_per_layer(winding: Winding) -> int:
    """Count the turns that lie beside each other on the former.

    Parameters
    ----------
    winding : Winding
        The coil.

    Returns
    -------
    int
        At least 1.

    Raises
    ------
    ValueError
        If not even one turn has room.
    """
    if not 0 < winding.enamelled_m <= min(winding.length_m, winding.room_m) * (1 + 1e-9):
        msg = (
            f"a wire of {1e3 * winding.enamelled_m:.3g} mm with its enamel has no room in a winding space of "
            f"{1e3 * winding.length_m:.3g} mm by {1e3 * winding.room_m:.3g} mm: take a thinner wire or a larger former"
        )
        raise ValueError(msg)
    return math.floor(winding.length_m / winding.enamelled_m * (1 + 1e-9))


def layers_that_fit(winding: Winding) -> int:
    """Count the layers that have room above each other.

    Parameters
    ----------
    winding : Winding
        The coil.

    Returns
    -------
    int
        At least 1 for a wire that has room at all.
    """
    return math.floor(winding.room_m / winding.enamelled_m * (1 + 1e-9))


def wound_layers(winding: Winding, per_layer: int) -> tuple[Turns, ...]:
    """Lay the turns, layer upon layer, the last one as far as they go.

    Parameters
    ----------
    winding : Winding
        The coil.
    per_layer : int
        Turns in a full layer.

    Returns
    -------
    tuple of Turns
        From the former outwards.
    """
    layers = []
    for i in range(math.ceil(winding.turns / per_layer)):
        out_m = (i + 0.5) * winding.enamelled_m
        n = min(per_layer, winding.turns - i * per_layer)
        half_m = (winding.former_width_m / 2 + out_m, winding.former_depth_m / 2 + out_m)
        layers.append(Turns(half_width_m=half_m[0], half_depth_m=half_m[1], n=n, is_round=winding.is_round))
    return tuple(layers)


def turn_length_m(winding: Winding, i: int) -> float:
    """Length of one turn in a layer.

    Parameters
    ----------
    winding : Winding
        The coil.
    i : int
        Layer, 0 on the former.

    Returns
    -------
    float
        At the wire's centre; corners of a block are rounded by the layers below. [m]
    """
    out_m = 2 * math.pi * (i + 0.5) * winding.enamelled_m
    if winding.is_round:
        return math.pi * winding.former_width_m + out_m
    return 2 * (winding.former_width_m + winding.former_depth_m) + out_m


def check_setup(setup: Setup) -> None:
    """See that every value makes sense.

    Parameters
    ----------
    setup : Setup
        As read.

    Raises
    ------
    ValueError
        If a value is not above 0, or there are too many turns.
    """
    winding = setup.winding
    if not 1 <= winding.turns <= MOST_TURNS:
        msg = f"{winding.turns} turns: expected 1 to {MOST_TURNS}; an exciter has 50 to 200 (common practice)"
        raise ValueError(msg)
    if not 0 < winding.wire_m <= winding.enamelled_m:
        msg = f"a wire of {1e3 * winding.wire_m:g} mm cannot be {1e3 * winding.enamelled_m:g} mm thick with its enamel"
        raise ValueError(msg)
    above_0 = {
        "former": min(winding.former_width_m, winding.former_depth_m),
        "level": setup.drive.level_v,
        "sense resistor": setup.drive.sense_ohm,
        "resistor's rating": setup.drive.rating_w,
        "distance": setup.pickup.gap_m,
        "pickup's turns": setup.pickup.turns,
        "pickup's height": setup.pickup.height_m,
        "pickup's inner size": min(setup.pickup.width_m, setup.pickup.depth_m) - setup.pickup.build_m,
    }
    for name, value in above_0.items():
        if not (math.isfinite(value) and value > 0):
            msg = f"the {name} is {value:g}, it must be above 0"
            raise ValueError(msg)
