"""Which coil to wind for an output: turns, wire and sense resistor within the ratings."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from fit.answers.exciter.limits import SAFE_SHARE, WARM_K
from fit.answers.exciter.rating import coil_figures, emf_key, setup_figures
from fit.answers.exciter.setup import MOST_TURNS, Setup, check_setup, layers_that_fit, turns_per_layer
from measure.quantity import nearest_preferred, preferred_values

LEVEL_HZ = 1e3  # [Hz] at which a wanted voltage in the pickup is meant
ALIKE = 0.05  # [1] wires that differ less in what they bring: the thicker one is easier to wind
USUAL_TURNS = 200  # [1] more is hard to wind and brings more than inputs take; common practice, no source
HAND_WOUND = 0.8  # [1] of the turns that would lie layer upon layer; common practice, no source
USUAL_SENSE_OHM = 100.0  # [Ω] common practice, no source
THICKEST_M = 0.3e-3  # [m] beyond it a coil is stiff to wind; common practice, no source
ROUNDS = 4  # the coil's own resistance shares in the current; it settles at once


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """One wire that could be taken.

    Attributes
    ----------
    name : str
        As people ask for it, ``"0.2 mm"`` or ``"AWG 32"``.
    bare_m, enamelled_m : float
        Diameters. [m], [m]
    """

    name: str
    bare_m: float
    enamelled_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignWish:
    """What is wanted of a coil.

    Attributes
    ----------
    corner_hz : float
        The least that the corner of coil and sense resistor should be. [Hz]
    current_a : float or None
        Wanted RMS current; None for what the resistor gives. [A]
    emf_v : float or None
        Wanted RMS voltage in the pickup at 1 kHz; None for the most within the corner. [V]
    keep_sense : bool
        The sense resistor is given; otherwise it is chosen.
    """

    wires: tuple[Wire, ...]
    corner_hz: float
    current_a: float | None
    emf_v: float | None
    keep_sense: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A coil to wind.

    Attributes
    ----------
    unmet : dict
        What of the wish it misses: name to one line.
    """

    setup: Setup
    wire: Wire
    unmet: dict[str, str]


def design_exciter(setup: Setup, wish: DesignWish) -> Design:
    """Choose turns, wire and sense resistor.

    Parameters
    ----------
    setup : Setup
        Former, drive and pickup; turns and wire are not looked at, the sense resistor only where it is to be kept.

    Returns
    -------
    Design
        Turns as many as the corner allows (200 at most), or as few as give the wanted voltage; the thickest wire up to 0.3 mm
        of those that bring about as much; the sense resistor 100 Ω or what the ratings ask for, or that of the wanted current.

    Raises
    ------
    ValueError
        If no wire has room on the former, or a value is not above 0.
    """
    designs = [_with_wire(setup, wish, wire) for wire in wish.wires if _has_room(setup, wire)]
    if not designs:
        if wish.wires:
            turns_per_layer(_wired(setup, wish.wires[0]).winding)  # says so
        msg = "no wire is offered to wind with"
        raise ValueError(msg)
    figures = [_figures(design) for design in designs]
    missed = [len(_unmet(design, found, wish)) for design, found in zip(designs, figures, strict=True)]
    able = [i for i in range(len(designs)) if missed[i] == min(missed)]
    reached = wish.emf_v is not None and not any("wanted-emf" in _unmet(designs[i], figures[i], wish) for i in able)
    worth = "corner" if reached else emf_key(LEVEL_HZ)
    best = max(figures[i][worth] for i in able)
    are_equal = reached and min(missed) == 0  # all give what was wanted, above the corner
    alike = able if are_equal else [i for i in able if figures[i][worth] >= best * (1 - ALIKE)]
    handy = [i for i in alike if designs[i].winding.wire_m <= THICKEST_M] or alike
    chosen = max(handy, key=lambda i: designs[i].winding.wire_m)
    wire = next(wire for wire in wish.wires if wire.bare_m == designs[chosen].winding.wire_m)
    return Design(setup=designs[chosen], wire=wire, unmet=_unmet(designs[chosen], figures[chosen], wish))


def smallest_sense_ohm(setup: Setup) -> float:
    """Smallest preferred sense resistor (E12) that overloads neither output nor itself, whatever the coil.

    Returns
    -------
    float
        Resistance. [Ω]

    Raises
    ------
    ValueError
        If there is none up to 1 MΩ.
    """
    drive = setup.drive
    for decade in range(7):
        for mantissa in preferred_values("E12"):
            ohm = round(mantissa * 10**decade, 9)
            power_w = (drive.level_v / (ohm + drive.source_ohm)) ** 2 * ohm
            if ohm >= max(drive.minimum_load_ohm, 1.0) and power_w <= SAFE_SHARE * drive.rating_w:
                return ohm
    msg = f"no sense resistor up to 1 MΩ stands {drive.level_v:g} V: state a smaller --source-level"
    raise ValueError(msg)


# Turns and sense resistor for one wire; each asks for the other.
def _with_wire(setup: Setup, wish: DesignWish, wire: Wire) -> Setup:
    wired = _wired(setup, wire)
    if wish.keep_sense:
        return _with_turns(wired, wish)
    least_ohm = smallest_sense_ohm(wired)
    if wish.current_a is None:
        return _with_turns(_with_sense(wired, max(least_ohm, USUAL_SENSE_OHM)), wish)
    coil_ohm = 0.0
    for _ in range(ROUNDS):
        rest_ohm = wired.drive.level_v / wish.current_a - wired.drive.source_ohm - coil_ohm
        sense_ohm = least_ohm if rest_ohm <= least_ohm else nearest_preferred(rest_ohm, "E24")
        is_settled = coil_ohm > 0 and sense_ohm == wired.drive.sense_ohm
        if is_settled:
            break
        wired = _with_turns(_with_sense(wired, sense_ohm), wish)
        coil_ohm = coil_figures(wired, turns_per_layer(wired.winding))["resistance"]
    return wired


def _with_turns(setup: Setup, wish: DesignWish) -> Setup:
    per_layer = turns_per_layer(setup.winding)
    most = max(min(math.floor(HAND_WOUND * per_layer * layers_that_fit(setup.winding)), MOST_TURNS), 1)

    if wish.emf_v is not None:
        wanted_v = wish.emf_v
        return _wound(setup, _first(lambda turns: _figures(_wound(setup, turns))[emf_key(LEVEL_HZ)] >= wanted_v, most))
    corner_hz, limit = wish.corner_hz, min(most, USUAL_TURNS) + 1
    too_many = _first(lambda turns: coil_figures(_wound(setup, turns), per_layer)["corner"] < corner_hz, limit)
    return _wound(setup, max(too_many - 1, 1))


# The smallest number from 1 up for which it holds, by halving; `most` where it never does.
def _first(is_true: Callable[[int], bool], most: int) -> int:
    low, high = 1, most
    while low < high:
        middle = (low + high) // 2
        if is_true(middle):
            high = middle
        else:
            low = middle + 1
    return low


def _unmet(setup: Setup, found: dict[str, float], wish: DesignWish) -> dict[str, str]:
    missed = {}
    if wish.emf_v is not None and found[emf_key(LEVEL_HZ)] < 0.99 * wish.emf_v:
        missed["wanted-emf"] = (
            f"the wanted {1e3 * wish.emf_v:.3g} mV at 1 kHz is out of reach on this former: expect "
            f"{1e3 * found[emf_key(LEVEL_HZ)]:.3g} mV; lay the coil closer, or give more level, "
            "a smaller sense resistor or a larger former"
        )
    if wish.current_a is not None and not math.isclose(found["current"], wish.current_a, rel_tol=0.06):
        missed["wanted-current"] = _current_missed(setup, found, wish.current_a, keep_sense=wish.keep_sense)
    if found["corner"] < 0.999 * wish.corner_hz:
        missed["corner"] = (
            f"the wanted corner of {wish.corner_hz / 1e3:.3g} kHz is missed: expect {found['corner'] / 1e3:.3g} kHz"
        )
    if found["coil_rise"] > WARM_K:
        missed["coil-warmth"] = f"the coil would become {found['coil_rise']:.2g} K warmer than the room: less level"
    return missed


def _current_missed(setup: Setup, found: dict[str, float], current_a: float, *, keep_sense: bool) -> str:
    drive = setup.drive
    head = f"the wanted {1e3 * current_a:.3g} mA is not reached: expect {1e3 * found['current']:.3g} mA"
    if keep_sense:
        level_v = current_a * (found["load"] + drive.source_ohm)
        rest_ohm = drive.level_v / current_a - drive.source_ohm - found["resistance"]
        other = f", or a sense resistor of {rest_ohm:.3g} Ω" if rest_ohm > 0 else ""
        return f"{head}; it takes {level_v:.3g} V rms{other}"
    return (
        f"{head}, the most at {drive.level_v:.3g} V rms into no less than {drive.minimum_load_ohm:g} Ω with "
        f"{drive.rating_w:g} W in the resistor; it takes another level, an output made for a smaller load, or a larger rating"
    )


def _figures(setup: Setup) -> dict[str, float]:
    return setup_figures(setup, turns_per_layer(setup.winding), at_hz=(LEVEL_HZ,))


def _has_room(setup: Setup, wire: Wire) -> bool:
    return wire.enamelled_m <= min(setup.winding.length_m, setup.winding.room_m)


def _wired(setup: Setup, wire: Wire) -> Setup:
    winding = replace(setup.winding, turns=1, wire_m=wire.bare_m, enamelled_m=wire.enamelled_m)
    wired = replace(setup, winding=winding)
    check_setup(wired)
    return wired


def _wound(setup: Setup, turns: int) -> Setup:
    return replace(setup, winding=replace(setup.winding, turns=turns))


def _with_sense(setup: Setup, sense_ohm: float) -> Setup:
    return replace(setup, drive=replace(setup.drive, sense_ohm=sense_ohm))
