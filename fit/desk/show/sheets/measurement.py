"""What a measurement report says of a measurement beside its results: what was measured, with what, and how sure that is."""

from collections.abc import Iterable, Sequence

from fit.answers.confirm.conformity import RULE, STANDARD
from fit.answers.pickup.answer import PickupAnswer
from fit.desk.show.sheet import Block, Row, Section, Table, Text
from fit.desk.show.words import PART_KINDS, in_order, quantity_name, temperature_text
from measure.logbook.take import Take
from measure.quantity import format_quantity

# What each value is a value of; of parts by their kind.
MEASURANDS = {
    "inductance": "of the winding, small signals, at frequencies so low that no eddy currents flow",
    "winding_capacitance": "the one capacitance across the winding that stands for those between its turns",
    "dc_resistance": "of the winding, at the temperature of the takes",
    "resonance_unloaded": "frequency of the highest output of the pickup with nothing connected",
    "q_unloaded": "sharpness of that resonance",
    "resonance_loaded": "frequency of the highest output behind cable and input, without controls and added parts",
    "q_loaded": "sharpness of that resonance",
    "pot": "resistance of the whole track, from end to end",
    "capacitor": "capacitance of the part where it takes part in the response, 20 Hz to 20 kHz",
    "resistor": "resistance of the part",
}
STATEMENT = (
    "This is a measurement report and no calibration certificate. It tells what ISO/IEC 17025:2017, 7.8, lists for reports, as "
    "far as it is known; conformity with that standard is not claimed. The results hold for the item as it was measured."
)


def measurement_section(answer: PickupAnswer, takes: Sequence[Take], equipment: Sequence[tuple[str, ...]]) -> Section:
    """Lay out item, measurands, equipment, uncertainty and decision rule.

    Parameters
    ----------
    takes : sequence of Take
        That the values rest on, in the order they were made.
    equipment : sequence of (str, str)
        Kind of each device, and which one it was.
    """
    blocks: list[Block] = [Text((STATEMENT,)), Table(item_rows(takes), has_head=False)]
    keys = [key for key in in_order(answer.quantities) if _measurand(key)]
    rows: list[Row] = [("measurand", "what it is")]
    rows += [(quantity_name(key), _measurand(key)) for key in keys]
    blocks.append(Section((Table(tuple(rows)),), heading="Measurands"))
    blocks.append(Section((Table(tuple(equipment), has_head=False),), heading="Equipment"))
    rows = [("", "standard uncertainty", "coverage factor", "distribution")]
    for key in keys:
        one = answer.quantities[key]
        std = format_quantity(one.standard_uncertainty, "" if one.unit == "1" else one.unit, 2)
        rows.append((quantity_name(key), std, f"{one.coverage_factor:.2f}", one.distribution))
    how = (
        "Expanded uncertainty: an interval holds the true value with a probability of about 95 % (JCGM 100:2008, 6). Half of it "
        "is the standard uncertainty times the coverage factor, which the distribution sets (JCGM 101:2008)."
    )
    blocks.append(Section((Text((how,)), Table(tuple(rows))), heading="Uncertainty"))
    blocks.append(Section((Text((f"Where a part is judged by its marking: {RULE} ({STANDARD}).",)),), heading="Decision rule"))
    return Section(tuple(blocks), heading="The measurement")


def item_rows(takes: Sequence[Take]) -> tuple[Row, ...]:
    """Rows of what was measured, by whom, when and how."""
    stated = [take.conditions for take in takes]
    warm = sorted({one.temperature_c for one in stated if one.temperature_c is not None})
    days = sorted({take.time_utc[:10] for take in takes})
    methods = ", ".join(dict.fromkeys(f"{take.conditions.method}{_elsewhere(take)}" for take in takes))
    rows: list[Row] = [
        ("item", _listed(one.item for one in stated)),
        ("operator", _listed(one.operator for one in stated)),
        ("measured", f"{days[0]} to {days[-1]}, UTC" if len(days) > 1 else f"{days[0]}, UTC" if days else "not stated"),
        ("temperature", " to ".join(temperature_text(one) for one in dict.fromkeys(warm[:1] + warm[-1:])) or "not stated"),
        ("method", f"{methods}; one model is fitted to all takes together"),
    ]
    return tuple(rows)


def _listed(texts: Iterable[str | None]) -> str:
    known = [text for text in dict.fromkeys(texts) if text]
    return ", ".join(known) or "not stated"


def _elsewhere(take: Take) -> str:
    return " (response measured elsewhere)" if take.kind == "response" else ""


def _measurand(key: str) -> str:
    kind, _, rest = key.partition(".")
    if kind in PART_KINDS:
        return MEASURANDS[kind] if "." not in rest and "@" not in rest else ""
    return MEASURANDS.get(key.rpartition(".")[2], "") if "eddy_" not in key else ""
