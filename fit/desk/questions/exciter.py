"""The command exciter: what a coil does, or which coil to wind."""

import math
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

import msgspec

from fit.answers.exciter.design import USUAL_SENSE_OHM, DesignWish, Wire, design_exciter
from fit.answers.exciter.rating import analyse_exciter
from fit.answers.exciter.setup import Drive, PickupCoil, Setup, Winding
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.pitch import pitch_hz
from fit.desk.book.rig import rig_of
from fit.desk.show.document.exciter import ExciterDocument, TextbookFormula, VoltageAt, WoundCoil
from fit.desk.show.document.pieces import checks_of, value_of
from fit.desk.show.figures.exciter import exciter_figure
from fit.desk.show.lengths import read_length, read_level_v, read_sides, read_wire, wires_to_choose
from fit.desk.show.sheets.exciter import PICTURE, Shown, sheet_of_exciter
from measure.logbook.rig import sense_resistor
from measure.logbook.store import open_logbook
from measure.marking import read_value
from measure.quantity import Quantity, parse_quantity

# Inside an output, and the least load it is made for [Ω]: common practice, no source.
OUTPUTS = {"headphone": (30.0, 16.0), "line": (100.0, 600.0)}
ROOM_CELSIUS = 20.0
LENGTH_BOUND = 0.03  # [1] of a length without ±: a ruler's
WIRE_BOUND = 0.015  # [1] of a wire's diameter: about the tolerance of IEC 60317, from memory
LEVEL_BOUND = 0.1  # [1] of a level read from a data sheet or a meter
SOURCE_BOUND = 0.5  # [1] of a resistance inside an output
SENSE_BOUND = 0.05  # [1] of a resistor without ±
KELVIN_BOUND = 3.0  # [K] of the coil's temperature
GAP_BOUND = 0.2  # [1] of the distance: 1 mm of 5
TURNS_BOUND = 0.1  # [1] of a pickup's turns where they are told
# Iron, and a winding whose size is assumed: half to twice the voltage is a 95 % interval.
IRON_BOUND = math.sqrt(3) * math.log(2) / 1.96
# A usual single coil, without its iron: common practice, no source.
USUAL_PICKUP_TURNS, USUAL_PICKUP_SIZE, USUAL_PICKUP_HEIGHT, PICKUP_BUILD = 8000.0, "58x10", "11", 0.4
LARGEST_TURNS = 100_000
USUAL_CORNER = "20k"  # [Hz] the least of a coil to wind
USUAL: dict[str, Any] = {
    "former": "20", "length": "8", "depth": "3", "rating": "0.25", "source": "headphone", "source_level": "1 V",
    "source_resistance": None, "minimum_load": None, "temperature_c": None, "distance": "5",
    "pickup_turns": None, "pickup_size": None, "pickup_height": None,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ExciterWish:
    """What is asked, as it was typed; None where it was not.

    Attributes
    ----------
    turns : int or None
        Of a coil there is; None for a coil to wind.
    wire : str or None
        Gauge or diameter; for a coil to wind also "AWG" or "mm".
    former, length, depth : str
        Bare former, and the room for the winding along and across.
    temperature_c : float or None
        Of the coil; None for 20 °C. [°C]
    distance : str
        From the exciter's face to the pickup's winding.
    """

    turns: int | None
    wire: str | None
    former: str
    length: str
    depth: str
    source: str
    source_level: str
    source_resistance: str | None
    minimum_load: str | None
    sense_resistor: str | None
    rating: str
    temperature_c: float | None
    distance: str
    pickup_turns: float | None
    pickup_size: str | None
    pickup_height: str | None
    at: tuple[str, ...]
    corner: str
    current: str | None
    pickup_voltage: str | None


def plan_exciter(desk: Desk, wish: ExciterWish) -> Outcome:
    """Say what an exciter does, or which one to wind.

    Parameters
    ----------
    desk : Desk
        Where; a rig there gives the sense resistor.

    Returns
    -------
    Outcome
        Figures, and what is outside of its limits.

    Raises
    ------
    ValueError
        If something is missing or wrong; one line.
    """
    sense = _stated_sense(desk, wish)
    setup, bounds, assumed = _read(wish, sense)
    at_hz = tuple(pitch_hz(text) for text in wish.at)
    unmet: dict[str, str] = {}
    if wish.turns is None:
        design = design_exciter(setup, _design_wish(wish, keep_sense=sense is not None))
        setup, wire, unmet = design.setup, design.wire, design.unmet
    else:
        if wish.wire is None:
            msg = 'say of which wire the turns are: --wire "0.2 mm" or --wire "AWG 32"; without --turns, a coil is proposed'
            raise ValueError(msg)
        for option, value in (("--current", wish.current), ("--pickup-voltage", wish.pickup_voltage)):
            if value is not None:
                msg = f"{option} is for a coil to wind: leave out --turns"
                raise ValueError(msg)
        wire = read_wire(wish.wire)
    answer = analyse_exciter(setup, bounds=bounds, at_hz=at_hz)
    shown = Shown(answer=answer, wire=wire.name, typed=_typed(wish), is_design=wish.turns is None, unmet=unmet, assumed=assumed)
    draw = partial(exciter_figure, answer)
    return Outcome(document=_document(shown, wire), sheet=sheet_of_exciter(shown), figures={PICTURE.name: draw})


def usual_exciter() -> tuple[str, Winding, float]:
    """Choose the coil to wind where nothing is asked for: its wire, its winding, its sense resistor in ohms."""
    nothing: dict[str, Any] = {"turns": None, "wire": None, "sense_resistor": None, "current": None, "pickup_voltage": None}
    wish = ExciterWish(**nothing, **USUAL, at=(), corner=USUAL_CORNER)
    setup, _, _ = _read(wish, None)
    design = design_exciter(setup, _design_wish(wish, keep_sense=False))
    return design.wire.name, design.setup.winding, design.setup.drive.sense_ohm


# What was typed and still holds for the coil that is proposed.
def _typed(wish: ExciterWish) -> str:
    words = []
    for option, usual in USUAL.items():
        value = getattr(wish, option)
        if value is not None and value != usual:
            text = f"{value:g}" if isinstance(value, float) else value
            words.append(f"--{option.removesuffix('_c').replace('_', '-')} " + (f'"{text}"' if " " in text else text))
    return " ".join(words)


def _read(wish: ExciterWish, sense: Quantity | None) -> tuple[Setup, dict[str, float], tuple[str, ...]]:
    winding, bounds = _read_winding(wish)
    drive, drive_bounds, drive_assumed = _read_drive(wish, sense)
    pickup, pickup_bounds, pickup_assumed = _read_pickup(wish)
    setup = Setup(winding=winding, drive=drive, pickup=pickup)
    return setup, bounds | drive_bounds | pickup_bounds, (*drive_assumed, *pickup_assumed)


def _read_winding(wish: ExciterWish) -> tuple[Winding, dict[str, float]]:
    width, depth = read_sides(wish.former, of="former")
    wire = wires_to_choose(wish.wire)[0] if wish.turns is None or wish.wire is None else read_wire(wish.wire)
    winding = Winding(
        turns=1 if wish.turns is None else wish.turns,
        wire_m=wire.bare_m,
        enamelled_m=wire.enamelled_m,
        is_round=depth is None,
        former_width_m=width.value_m,
        former_depth_m=(depth or width).value_m,
        length_m=read_length(wish.length, of="length").value_m,
        room_m=read_length(wish.depth, of="depth").value_m,
        celsius=_celsius(wish),
    )
    bounds = {
        "winding.wire_m": WIRE_BOUND,
        "winding.enamelled_m": LENGTH_BOUND,
        "winding.former_width_m": width.bound or LENGTH_BOUND,
        "winding.celsius": KELVIN_BOUND / max(abs(_celsius(wish)), 1.0),
    }
    if depth is not None:
        bounds["winding.former_depth_m"] = depth.bound or LENGTH_BOUND
    return winding, bounds


def _stated_sense(desk: Desk, wish: ExciterWish) -> Quantity | None:
    if wish.sense_resistor is not None:
        return read_value(wish.sense_resistor, "resistance")
    return sense_resistor(rig_of(open_logbook(desk.logbook)))


def _read_drive(wish: ExciterWish, sense: Quantity | None) -> tuple[Drive, dict[str, float], tuple[str, ...]]:
    source_ohm, minimum_ohm = OUTPUTS[wish.source]
    assumed = []
    if wish.source_resistance is None:
        assumed.append(f"{source_ohm:g} Ω inside the {wish.source} output (--source-resistance)")
    else:
        source_ohm = 0.0 if wish.source_resistance.strip() in ("0", "0R") else parse_quantity(wish.source_resistance, "Ω").value
    if wish.minimum_load is None:
        assumed.append(f"made for loads from {minimum_ohm:g} Ω up (--minimum-load)")
    else:
        minimum_ohm = parse_quantity(wish.minimum_load, "Ω").value
    if sense is not None and wish.sense_resistor is None:
        assumed.append(f"sense resistor {sense.text} from rig.toml")
    elif sense is None and wish.turns is not None:
        assumed.append(f"sense resistor {USUAL_SENSE_OHM:g} Ω (--sense-resistor)")
    drive = Drive(
        level_v=read_level_v(wish.source_level),
        source_ohm=source_ohm,
        sense_ohm=USUAL_SENSE_OHM if sense is None else sense.value,
        minimum_load_ohm=minimum_ohm,
        rating_w=_watt(wish.rating),
    )
    sense_bound = SENSE_BOUND if sense is None or sense.bound is None else sense.bound / sense.value
    bounds = {"drive.level_v": LEVEL_BOUND, "drive.source_ohm": SOURCE_BOUND, "drive.sense_ohm": sense_bound}
    return drive, bounds, tuple(assumed)


def _read_pickup(wish: ExciterWish) -> tuple[PickupCoil, dict[str, float], tuple[str, ...]]:
    width, depth = read_sides(wish.pickup_size or USUAL_PICKUP_SIZE, of="pickup's size")
    gap = read_length(wish.distance, of="distance")
    turns = USUAL_PICKUP_TURNS if wish.pickup_turns is None else wish.pickup_turns
    if not 1 <= turns <= LARGEST_TURNS:
        msg = f"{turns:g} turns on the pickup: expected 1 to {LARGEST_TURNS}; usual are 5000 to 10000 (common practice)"
        raise ValueError(msg)
    pickup = PickupCoil(
        turns=turns,
        is_round=depth is None,
        width_m=width.value_m,
        depth_m=(depth or width).value_m,
        height_m=read_length(wish.pickup_height or USUAL_PICKUP_HEIGHT, of="pickup's height").value_m,
        build_m=PICKUP_BUILD * min(width.value_m, (depth or width).value_m),
        gap_m=gap.value_m,
        iron=1.0,
    )
    size = USUAL_PICKUP_SIZE.replace("x", " × ")
    unknown = [f"{turns:g} turns"] if wish.pickup_turns is None else []
    if wish.pickup_size is None:
        unknown.append(f"mean turn {size} mm")
    if wish.pickup_height is None:
        unknown.append(f"{USUAL_PICKUP_HEIGHT} mm high")
    assumed = (f"pickup: {', '.join(unknown)} (--pickup-turns, --pickup-size, --pickup-height)",) if unknown else ()
    bounds = {
        "pickup.gap_m": gap.bound or GAP_BOUND,
        "pickup.turns": TURNS_BOUND,
        "pickup.iron": IRON_BOUND,
    }
    return pickup, bounds, assumed


def _design_wish(wish: ExciterWish, *, keep_sense: bool) -> DesignWish:
    return DesignWish(
        wires=wires_to_choose(wish.wire),
        corner_hz=parse_quantity(wish.corner, "Hz").value,
        current_a=None if wish.current is None else parse_quantity(wish.current, "A").value,
        emf_v=None if wish.pickup_voltage is None else parse_quantity(wish.pickup_voltage, "V").value,
        keep_sense=keep_sense,
    )


def _watt(text: str) -> float:
    written = text.strip().removesuffix("W").strip()
    numerator, slash, denominator = written.partition("/")
    try:
        watt = parse_quantity(numerator, "").value / (parse_quantity(denominator, "").value if slash else 1.0)
    except ValueError:
        watt = math.nan
    if not 1e-3 <= watt <= 1e3:
        msg = f'rating "{text[:40]}" is not a power: expected watts such as 0.25, 1/4 W or 1'
        raise ValueError(msg)
    return watt


def _document(shown: Shown, wire: Wire) -> ExciterDocument:
    answer = shown.answer
    formula = TextbookFormula(name=answer.formula, inductance_h=answer.formula_h) if answer.formula else None
    return ExciterDocument(
        mode="design" if shown.is_design else "analysis",
        winding=WoundCoil(
            **asdict(answer.setup.winding),
            wire=wire.name,
            layers=answer.layers,
            turns_per_layer=answer.turns_per_layer,
            build_m=answer.build_m,
            fill=answer.fill,
            fits=answer.findings[0].severity == "pass",
        ),
        drive=answer.setup.drive,
        pickup=answer.setup.pickup,
        quantities={name: value_of(estimate) for name, estimate in answer.quantities.items()},
        pickup_voltage=tuple(
            VoltageAt(frequency_hz=hz, **msgspec.structs.asdict(value_of(emf))) for hz, emf in answer.emf.items()
        ),
        formula=formula,
        checks=checks_of(answer.findings),
        unmet=shown.unmet,
        assumed=shown.assumed,
        warnings=tuple(shown.warnings()),
    )


def _celsius(wish: ExciterWish) -> float:
    return ROOM_CELSIUS if wish.temperature_c is None else wish.temperature_c
