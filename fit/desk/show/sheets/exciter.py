"""An exciter's figures as lines for people."""

from collections.abc import Sequence
from dataclasses import dataclass

from fit.answers.exciter.rating import ExciterAnswer
from fit.answers.figures import Estimate
from fit.desk.show.words import estimate_texts, plain_text, table_lines
from measure.quantity import format_quantity

CAUTION = "Sweeps are loud: monitors down, headphones off the ears. If coil or resistor becomes more than warm, turn down."
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
    answer : ExciterAnswer
        What was found.
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
        """Say what is outside of its limits, each only once.

        Returns
        -------
        list of str
            One line each.
        """
        noticed = [f.text for f in self.answer.findings if f.severity != "pass" and f.code not in self.unmet]
        return [*self.unmet.values(), *noticed]


def exciter_lines(shown: Shown) -> list[str]:
    """Put an exciter for people.

    Parameters
    ----------
    shown : Shown
        What was found.

    Returns
    -------
    list of str
        Lines.
    """
    answer = shown.answer
    drive = answer.setup.drive
    level = f"{drive.level_v:.3g} V rms ({2**0.5 * drive.level_v:.3g} V peak)"
    warnings = shown.warnings()
    return [
        *_head(shown),
        "",
        *table_lines([("", "value", "95 % interval"), *(_row(name, answer.quantities[key]) for key, name in NAMES.items())]),
        *_formula(answer),
        "",
        f"To expect in the pickup {1e3 * answer.setup.pickup.gap_m:.3g} mm away, output at {level}",
        *table_lines([_row(format_quantity(hz, "Hz"), emf) for hz, emf in answer.emf.items()]),
        "  before its resonance, where a bare pickup gives about ten times as much (common practice)",
        "",
        *(_listed("Look at this", warnings) or ["Output, resistor and coil are within their limits."]),
        *_listed("Assumed", shown.assumed),
        *_next(shown),
        CAUTION,
    ]


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
        f"  {layers}, {1e3 * answer.build_m:.2g} mm deep; the winding room ({room}) is {100 * answer.fill:.0f} % full",
        f"  in series with a sense resistor of {drive.sense_ohm:.4g} Ω ({drive.rating_w:g} W)",
    ]


def _row(name: str, estimate: Estimate) -> tuple[str, str, str]:
    if estimate.unit in MILLI:
        scaled = [1e3 * getattr(estimate, field) for field in ("value", "standard_uncertainty", "low", "high")]
        estimate = Estimate(
            value=scaled[0], standard_uncertainty=scaled[1], low=scaled[2], high=scaled[3], unit=MILLI[estimate.unit]
        )
    return (name, *estimate_texts(estimate))


def _formula(answer: ExciterAnswer) -> list[str]:
    line = "  inductance: sum over all pairs of turns (Maxwell's circles), exact but for how the turns lie"
    if not answer.formula:
        return ["  inductance: sum over all pairs of turns (Neumann's rectangles), exact but for how the turns lie"]
    found_h = answer.quantities["inductance"].value
    off = 100 * (answer.formula_h / found_h - 1)
    return [line, f"  {answer.formula} gives {format_quantity(answer.formula_h, 'H')}, {off:+.1f} %".replace("-", "−")]


def _listed(head: str, texts: Sequence[str]) -> list[str]:
    return [head, *(f"  {plain_text(text)}" for text in texts)] if texts else []


def _next(shown: Shown) -> list[str]:
    if not shown.is_design:
        return []
    winding, ohm = shown.answer.setup.winding, f"{shown.answer.setup.drive.sense_ohm:g}"
    words = f'--turns {winding.turns} --wire "{shown.wire}" --sense-resistor {ohm} {plain_text(shown.typed)}'
    return [
        "Next",
        "  wind it, compare its resistance with a multimeter, and state the resistor:",
        f'    coilsweep rig --reference current --sense-resistor "{ohm} ± 1%"',
        "  for other turns, or what it does at another level:",
        f"    coilsweep exciter {words}".rstrip(),
    ]
