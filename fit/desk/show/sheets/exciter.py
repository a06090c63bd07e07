"""An exciter's figures for people."""

from collections.abc import Sequence
from dataclasses import dataclass

from fit.answers.exciter.rating import ExciterAnswer
from fit.answers.figures import Estimate
from fit.desk.show.sheet import Block, Listing, Picture, Row, Section, Sheet, Table, Text, Verdict
from measure.quantity import format_quantity

CAUTION = "Sweeps are loud: monitors down, headphones off the ears. If coil or resistor becomes more than warm, turn down."
PICTURE = Picture(
    name="levels",
    heading="To expect in the pickup",
    caption="Voltage in the winding, before its resonance, at the frequencies asked for; bars are 95 % intervals.",
)
NAMES = {
    "resistance": "Coil's resistance",
    "inductance": "Inductance",
    "wire_length": "Wire, without its ends",
    "corner": "Corner, coil and sense resistor",
    "corner_with_source": "Corner, output's resistance too",
    "current": "Current",
    "sense_voltage": "Across the sense resistor",
    "sense_power": "Heat in the sense resistor",
    "coil_power": "Heat in the coil",
}
MILLI = {"A": "mA", "W": "mW"}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Shown:
    """What is to be shown.

    Attributes
    ----------
    wire : str
        As people ask for it.
    typed : str
        Options that were typed, former to pickup, as they are typed.
    is_design : bool
        A coil to wind, not one that there is.
    unmet : dict
        Of what was wanted, what is missed.
    assumed : tuple of str
        What was not typed.
    """

    answer: ExciterAnswer
    wire: str
    typed: str
    is_design: bool
    unmet: dict[str, str]
    assumed: tuple[str, ...]

    def warnings(self) -> list[str]:
        """Say what is outside of its limits, each only once."""
        noticed = [f.text for f in self.answer.findings if f.severity != "pass" and f.code not in self.unmet]
        return [*self.unmet.values(), *noticed]


def sheet_of_exciter(shown: Shown) -> Sheet:
    """Lay out what an exciter does, or which one to wind.

    Returns
    -------
    Sheet
        The coil, its figures, what to expect of it, what to look at.
    """
    answer = shown.answer
    drive = answer.setup.drive
    level = f"{drive.level_v:.3g} V rms ({2**0.5 * drive.level_v:.3g} V peak)"
    figures: list[Row] = [("", "value", "95 % interval")]
    figures += [_row(name, answer.quantities[key]) for key, name in NAMES.items()]
    expected = tuple(_row(format_quantity(hz, "Hz"), emf) for hz, emf in answer.emf.items())
    usual = "before its resonance, where a bare pickup gives about ten times as much (common practice)"
    warnings = shown.warnings()
    sound = Verdict("Output, resistor and coil are within their limits.", "good")
    verdict = Verdict(f"LOOK AT THIS: {warnings[0]}", "bad", tuple(warnings[1:])) if warnings else sound
    blocks: tuple[Block, ...] = (
        verdict,
        *(Text((line,), is_note=index > 0) for index, line in enumerate(_head(shown))),
        PICTURE,
        Section((Table(tuple(figures)), *(Text((line,), is_note=True) for line in _formula(answer))), label="What it does"),
        Section(
            (Table(expected, has_head=False), Text((usual,), is_note=True)),
            heading=f"To expect in the pickup {1e3 * answer.setup.pickup.gap_m:.3g} mm away, output at {level}",
        ),
        Section(
            (*_listed("Assumed", shown.assumed), *_next(shown), Text((CAUTION,))),
            label="What to look at",
        ),
    )
    return Sheet(title="An exciter to wind" if shown.is_design else "An exciter", blocks=blocks)


def _head(shown: Shown) -> list[str]:
    answer, winding, drive = shown.answer, shown.answer.setup.winding, shown.answer.setup.drive
    verb = "Wind" if shown.is_design else "Exciter:"
    shape = (
        f"a round former of {1e3 * winding.former_width_m:.3g} mm"
        if winding.is_round
        else f"a former of {1e3 * winding.former_width_m:.3g} × {1e3 * winding.former_depth_m:.3g} mm"
    )
    layers = "1 layer" if answer.layers == 1 else f"{answer.layers} layers of up to {answer.turns_per_layer}"
    turns = "turn" if winding.turns == 1 else "turns"
    room = f"{1e3 * winding.length_m:.3g} mm long, {1e3 * winding.room_m:.3g} mm deep"
    return [
        f"{verb} {winding.turns} {turns} of {shown.wire} enamelled copper wire on {shape}, no iron",
        f"{layers}, {1e3 * answer.build_m:.2g} mm deep; the winding room ({room}) is {100 * answer.fill:.0f} % full",
        f"in series with a sense resistor of {drive.sense_ohm:.4g} Ω ({drive.rating_w:g} W)",
    ]


def _row(name: str, estimate: Estimate) -> Row:
    if estimate.unit in MILLI:
        scaled = [1e3 * getattr(estimate, field) for field in ("value", "standard_uncertainty", "low", "high")]
        estimate = Estimate(
            value=scaled[0], standard_uncertainty=scaled[1], low=scaled[2], high=scaled[3], unit=MILLI[estimate.unit]
        )
    return (name, estimate)


def _formula(answer: ExciterAnswer) -> list[str]:
    line = "inductance: sum over all pairs of turns (Maxwell's circles), exact but for how the turns lie"
    if not answer.formula:
        return ["inductance: sum over all pairs of turns (Neumann's rectangles), exact but for how the turns lie"]
    found_h = answer.quantities["inductance"].value
    off = 100 * (answer.formula_h / found_h - 1)
    return [line, f"{answer.formula} gives {format_quantity(answer.formula_h, 'H')}, {off:+.1f} %".replace("-", "−")]


def _listed(head: str, texts: Sequence[str]) -> tuple[Section, ...]:
    return (Section((Listing(tuple(texts)),), heading=head, is_apart=False),) if texts else ()


def _next(shown: Shown) -> tuple[Section, ...]:
    if not shown.is_design:
        return ()
    winding, ohm = shown.answer.setup.winding, f"{shown.answer.setup.drive.sense_ohm:g}"
    words = f'--turns {winding.turns} --wire "{shown.wire}" --sense-resistor {ohm} {shown.typed}'
    rig = f'coilsweep rig --reference current --sense-resistor "{ohm} ± 1%"'
    items = (
        ("wind it, compare its resistance with a multimeter, and state the resistor:", rig),
        ("for other turns, or what it does at another level:", f"coilsweep exciter {words}".rstrip()),
    )
    return (Section((Listing(items),), heading="Next", is_apart=False),)
