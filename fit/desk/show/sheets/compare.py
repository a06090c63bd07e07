"""What a comparison found, for people and as one JSON document."""

from typing import Any

import msgspec

from fit.answers.compare.comparison import Change, CompareAnswer, ResponseChange
from fit.answers.compare.noise import LevelChange, NoiseChange
from fit.answers.compare.shielding import Coupling, ShieldingAnswer
from fit.answers.digits import allowed_digits
from fit.answers.figures import Estimate
from fit.circuit.realparts import is_beside
from fit.desk.show.document import guitar
from fit.desk.show.document.pieces import NamedTake, Value, numbers, value_of, value_or_none
from fit.desk.show.sheet import Block, Cell, Listing, Mark, Meaning, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import CIRCUIT, simulated_notice, titled, warnings_section
from fit.desk.show.sheets.player import meaning_of_compare
from fit.desk.show.words import MINUS, estimate_texts, in_order, in_sentence, quantity_name
from measure.quantity import format_quantity

MOST_TOLD = 4  # changes in the verdict
FOLLOWS = ("resonance_", "q_", "peak_", "lc_")  # what follows from other values
SHOWN_BANDS_HZ = (100.0, 1000.0, 10000.0)  # of the third octaves, in the table
PICTURE = Picture(
    name="change",
    heading="Change against frequency",
    caption="After over before, with bands of 95 %: the response at the jack for the same field, a foil's signal, or both.",
)


def sheet_of_compare(
    parts: CompareAnswer | None,
    noise: NoiseChange | None,
    shielding: ShieldingAnswer | None,
    *,
    simulated: bool,
    warnings: tuple[str, ...],
) -> Sheet:
    """Lay out what a job changed.

    Parameters
    ----------
    parts, noise, shielding : answers, or None
        None where the takes do not tell it.
    simulated : bool
        A take came from the virtual bench.
    warnings : tuple of str
        What was noticed outside the answers.

    Returns
    -------
    Sheet
        Part by part, response by response, hum and noise, a foil's signal.
    """
    blocks: list[Block] = [_verdict(parts, noise, shielding), *simulated_notice(is_simulated=simulated)]
    noticed = list(warnings)
    blocks += [PICTURE] if is_drawn(parts, shielding) else []
    meaning = meaning_of_compare(parts)
    blocks += [*([Meaning(meaning)] if meaning else []), CIRCUIT]
    if parts is not None:
        blocks += _parts_blocks(parts)
        noticed += [finding.text for finding in parts.findings if finding.severity == "warn"]
    if noise is not None:
        notes = tuple(dict.fromkeys((*noise.hum.notes, *noise.noise.notes, *noise.notes)))
        blocks.append(Section((Table(_noise_rows(noise)), Listing(notes)), heading="Hum and noise", is_folded=True))
    if shielding is not None:
        said = Text((shielding.text,), is_note=True)
        inside: tuple[Block, ...] = (said, Table(_band_rows(shielding)), *_coupling_texts(shielding))
        blocks.append(Section(inside, heading="Foil near the wiring, after against before", is_folded=True))
    blocks += warnings_section(dict.fromkeys(noticed))
    return Sheet(title=titled("What the job changed", is_simulated=simulated), blocks=tuple(blocks))


def is_drawn(parts: CompareAnswer | None, shielding: ShieldingAnswer | None) -> bool:
    """Say whether there is a response on both sides to draw."""
    return shielding is not None or (parts is not None and bool(parts.responses))


# What changed, in one sentence; below it one line for each thing that was compared.
def _verdict(parts: CompareAnswer | None, noise: NoiseChange | None, shielding: ShieldingAnswer | None) -> Verdict:
    changed, lines = [], []
    if parts is not None and parts.outcome != "good":
        reasons = [finding.text for finding in parts.findings if finding.severity == "reject"]
        return Verdict("INDICATIVE ONLY: what was measured and what was stated do not go together.", "bad", tuple(reasons))
    if parts is not None:
        found = {key: one for key in in_order(parts.quantities) if (one := parts.quantities[key]).verdict == "changed"}
        causes = [key for key in found if not is_beside(key) and not key.rpartition(".")[2].startswith(FOLLOWS)]
        shown = (causes or list(found))[:MOST_TOLD]
        changed += [f"{in_sentence(key)} {_change_text(found[key].change)}" for key in shown]
        lines.append(f"{len(found)} of {len(parts.quantities)} values changed by more than chance")
    for name, level in (("hum", noise.hum), ("noise", noise.noise)) if noise is not None else ():
        if level.verdict != "not resolved" and (level.change is not None or level.bound_db is not None):
            bound = "" if level.bound_db is None else f"at least {_signed(level.bound_db, 'dB')}"
            changed.append(f"{name} {bound if level.change is None else _change_text(level.change)}")
        else:
            lines.append(f"No change of {name} was found")
    if shielding is not None:
        lines.append(f"Foil near the wiring: {shielding.text}")
    if changed:
        return Verdict(f"CHANGED: {'; '.join(changed)}.", "look", tuple(lines))
    is_foil_alone = parts is None and noise is None and shielding is not None
    text = lines.pop() if is_foil_alone else "NOTHING CHANGED that these takes can tell."
    return Verdict(text, "good", tuple(lines))


def _change_text(change: Estimate) -> str:
    text = estimate_texts(change)[0]
    return text if text.startswith(MINUS) else f"+{text}"


def _parts_blocks(parts: CompareAnswer) -> list[Block]:
    names = " and ".join(", ".join(side) for side in (parts.before, parts.after))
    blocks: list[Block] = [Text((f"Before and after, in one fit of {names}",))]
    rule = f"changed: beyond {parts.beyond:.1f} standard uncertainties, which 5 of 100 comparisons reach by chance"
    blocks.append(Section((Table(_part_rows(parts)), Text((rule,), is_note=True)), label="Part by part"))
    untold = tuple(f"{quantity_name(key)}: {why}" for key, why in _untold(parts).items())
    if untold:
        blocks.append(Section((Listing(untold),), heading="Not told by these takes", is_folded=True))
    responses = tuple(_response_text(pair) for pair in parts.responses)
    if responses:
        blocks.append(Section((Listing(responses),), heading="Response at the jack, for the same field", is_folded=True))
    return blocks


def compare_document(
    parts: CompareAnswer | None,
    noise: NoiseChange | None,
    shielding: ShieldingAnswer | None,
    *,
    takes: tuple[NamedTake, ...],
    simulated: bool,
    warnings: tuple[str, ...],
) -> guitar.CompareDocument:
    """Put a comparison as ``compare --json`` states it; what the takes do not tell is None, and has no key."""
    found = () if parts is None else tuple(finding.text for finding in parts.findings if finding.severity != "pass")
    told: dict[str, Any] = {}
    if parts is not None:
        told |= {
            "quantities": {key: _changed_quantity(change) for key, change in parts.quantities.items()},
            "not_identified": tuple(guitar.Untold(quantity=key, why=why) for key, why in _untold(parts).items()),
            "changed_beyond_standard_uncertainties": parts.beyond,
            "floor": guitar.SmoothDifference(value=parts.floor.value, correlation_octaves=parts.floor.correlation_octaves),
            "model": guitar.ModelName(name=parts.model_name),
        }
        pairs = tuple(_changed_response(pair) for pair in parts.responses)
        if pairs:
            largest = max(pairs, key=lambda pair: abs(pair.max_change_db))
            told["response"] = guitar.LargestChange(**msgspec.structs.asdict(largest), pairs=pairs)
    if noise is not None:
        told |= {"hum": _changed_level(noise.hum), "noise": _changed_level(noise.noise), "noise_notes": noise.notes}
    if shielding is not None:
        told["shielding"] = _shielding(shielding)
    return guitar.CompareDocument(
        simulated=simulated,
        outcome="good" if parts is None else parts.outcome,
        warnings=(*warnings, *found),
        takes=takes,
        **told,
    )


def _untold(parts: CompareAnswer) -> dict[str, str]:
    """List what the takes do not tell, and why; what a part has beside its value nobody misses."""
    return {key: why for key, why in parts.not_identified.items() if not is_beside(key)}


def _part_rows(parts: CompareAnswer) -> tuple[Row, ...]:
    rows: list[Row] = [("", "before", "after", "change", "95 % interval", "verdict")]
    for key in in_order(parts.quantities):
        change = parts.quantities[key]
        sides = (_side_text(change.before), _side_text(change.after))
        rows.append((quantity_name(key), *sides, change.change, verdict_mark(change.verdict)))
    return tuple(rows)


def verdict_mark(verdict: str) -> Cell:
    """Colour a verdict that asks to be looked at."""
    return Mark(verdict, "look") if verdict == "changed" else verdict


def _side_text(side: Estimate | None) -> str:
    if side is None:
        return ""
    digits = allowed_digits(side.value, (side.high - side.low) / 2, most=4 if side.unit == "1" else 3)
    return f"{side.value:#.{digits}g}" if side.unit == "1" else format_quantity(side.value, side.unit, digits)


def _response_text(pair: ResponseChange) -> str:
    value, interval = estimate_texts(pair.largest)
    place = format_quantity(float(f"{pair.at_hz:.3g}"), "Hz")
    return f"{pair.before} to {pair.after}: most at {place}, {value} ({interval}): {pair.verdict}"


def _noise_rows(noise: NoiseChange) -> tuple[Row, ...]:
    rows: list[Row] = [("", "before", "after", "change", "95 % interval", "verdict")]
    for name, level in (("Hum", noise.hum), ("Noise without it", noise.noise)):
        sides = ["none found" if side is None else _signed(side, "dBFS") for side in (level.before_dbfs, level.after_dbfs)]
        bound = "" if level.bound_db is None else f"at least {_signed(level.bound_db, 'dB')}"
        change: Row = (bound, "") if level.change is None else (level.change,)
        rows.append((name, *sides, *change, level.verdict))
    return tuple(rows)


def _signed(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}".replace("-", MINUS)


def _band_rows(shielding: ShieldingAnswer) -> tuple[Row, ...]:
    rows: list[Row] = [("band", "change", "95 % interval", "verdict")]
    for wanted in SHOWN_BANDS_HZ:
        band = min(shielding.bands, key=lambda one: abs(one.frequency_hz / wanted - 1), default=None)
        if band is None or abs(band.frequency_hz / wanted - 1) > 0.1:
            continue
        bound = "" if band.bound_db is None else _signed(band.bound_db, "dB or more")
        change: Row = (bound, "") if band.change is None else (band.change,)
        rows.append((format_quantity(float(f"{band.frequency_hz:.3g}"), "Hz"), *change, band.verdict))
    return tuple(rows)


def _coupling_texts(shielding: ShieldingAnswer) -> list[Text]:
    texts = []
    for side, coupling in (("before", shielding.coupling_before), ("after", shielding.coupling_after)):
        if coupling is not None and coupling.mean is not None:
            value, interval = estimate_texts(coupling.mean)
            texts.append(Text((f"capacitance between foil and wiring {side}: {value} ({interval})",), is_note=True))
    return texts


def _coupling(coupling: Coupling | None) -> Value | None:
    return None if coupling is None else value_or_none(coupling.mean)


def _changed_quantity(change: Change) -> guitar.ChangedQuantity:
    return guitar.ChangedQuantity(
        before=value_or_none(change.before),
        after=value_or_none(change.after),
        change=value_of(change.change),
        verdict=change.verdict,
    )


def _changed_response(pair: ResponseChange) -> guitar.ChangedResponse:
    return guitar.ChangedResponse(
        before=pair.before,
        after=pair.after,
        max_change_db=pair.largest.value,
        at_hz=pair.at_hz,
        standard_uncertainty_db=pair.largest.standard_uncertainty,
        verdict=pair.verdict,
        frequency_hz=tuple(pair.frequency_hz.tolist()),
        change_db=tuple(pair.change_db.tolist()),
        change_db_std=tuple(pair.change_db_std.tolist()),
        measured_db=tuple(pair.measured_db.tolist()),
    )


def _changed_level(level: LevelChange) -> guitar.ChangedLevel:
    return guitar.ChangedLevel(
        change=value_or_none(level.change),
        at_least_db=level.bound_db,
        verdict=level.verdict,
        before_dbfs=level.before_dbfs,
        after_dbfs=level.after_dbfs,
        scatter_db=level.scatter_db,
        notes=level.notes,
    )


def _shielding(shielding: ShieldingAnswer) -> guitar.Shielding:
    return guitar.Shielding(
        text=shielding.text,
        capacitance_before=_coupling(shielding.coupling_before),
        capacitance_after=_coupling(shielding.coupling_after),
        frequency_hz=tuple(shielding.frequency_hz.tolist()),
        ratio_db=numbers(shielding.ratio_db),
        std_db=numbers(shielding.std_db),
        bands=tuple(
            guitar.ShieldingBand(
                frequency_hz=band.frequency_hz,
                change=value_or_none(band.change),
                at_least_db=band.bound_db,
                verdict=band.verdict,
            )
            for band in shielding.bands
        ),
    )
