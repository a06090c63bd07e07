"""Everything about a pickup or a guitar on one page: values, pictures, takes and their checks, and what all of it rests on."""

from collections.abc import Sequence

from fit.answers.confirm.confirmation import ConfirmAnswer
from fit.answers.confirm.conformity import RULE, STANDARD
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.show.sheet import Block, Headlines, Level, Listing, Mark, Notice, Picture, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.confirm import LEVELS, part_rows
from fit.desk.show.sheets.fit import (
    HELPED_QUANTITIES,
    MISFIT_AT,
    agreement_rows,
    candidate_rows,
    check_rows,
    misfit_lines,
    not_told,
    quantity_rows,
)
from fit.desk.show.sheets.measurement import measurement_section
from fit.desk.show.sheets.notices import titled
from fit.desk.show.sheets.takes import change_rows
from fit.desk.show.sheets.taper import taper_rows
from fit.desk.show.words import CAUTIONS, SIMULATED_TEXT, WORDS, headline_keys, quantity_name, temperature_text
from measure.logbook.take import Take

FIRST_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded", "resonance_loaded")
OUTCOME_LEVELS: dict[str, Level] = {"good": "good", "usable": "look"}
RESPONSE = Picture(
    name="response",
    heading="Response",
    caption="Dots are measured, lines are the model. Below, what is left between them: bars are 95 % of the noise, the grey band "
    "is the smooth difference that the intervals allow for.",
)
LOADED = Picture(
    name="loaded",
    heading="At the jack",
    caption="Voltage at the jack for a constant voltage in the (first) winding, with cable and input connected, without controls "
    "and added parts. The stripe and the bar at the peak are 95 % intervals.",
)
BUDGET = Picture(
    name="budget",
    heading="What limits each value",
    caption="Contribution of each source to the standard uncertainty, relative to the value. A better reference part shortens "
    "its own bar.",
)
TAPERS = Picture(
    name="tapers",
    heading="Tapers",
    caption="Share of the track from ccw to wiper over the rotation, with 95 % intervals, beside the nominal laws.",
)


def sheet_of_report(
    answer: PickupAnswer,
    *,
    takes: Sequence[Take],
    rig: Sequence[tuple[str, str]] = (),
    references: Sequence[tuple[str, ...]] = (),
    equipment: Sequence[tuple[str, ...]] = (),
    warnings: Sequence[str] = (),
    verdicts: Sequence[ConfirmAnswer] = (),
    more: Sequence[Section] = (),
) -> Sheet:
    """Lay out everything that is known of a pickup or a guitar.

    Parameters
    ----------
    rig : sequence of (str, str)
        What it states, row by row.
    references : sequence of (str, str, str, str)
        Known values that the fit used, with their source and its date.
    equipment : sequence of (str, str)
        What the takes were made with.
    warnings : sequence of str
        What was noticed outside the fit.
    verdicts : sequence of ConfirmAnswer
        Of the parts that carry a marking.
    more : sequence of Section
        Between the values and the pictures.
    """
    pictures = [RESPONSE, LOADED]
    pictures += [BUDGET] if any(answer.budget.values()) else []
    pictures += [TAPERS] if read_tapers(answer.quantities, answer.tapers) else []
    blocks: tuple[Block, ...] = (
        *_opening(answer, warnings),
        _values(answer),
        *_marked_parts(verdicts),
        *more,
        *pictures,
        _model(answer),
        Section(tuple(_take(take, answer) for take in _fitted_first(takes, answer)), heading="Takes and their checks"),
        measurement_section(answer, [take for take in takes if take.name in answer.takes], equipment),
        _bench(rig, references),
        Section((Listing(CAUTIONS),), heading="Cautions"),
        Section((Table(tuple(WORDS.items()), has_head=False),), heading="What the words mean"),
    )
    items = dict.fromkeys(take.conditions.item for take in takes if take.name in answer.takes and take.conditions.item)
    what = ", ".join(items) or ("a guitar" if answer.tapers else "a pickup")
    return Sheet(title=titled(f"Measurement report: {what}", is_simulated=answer.simulated), blocks=blocks)


def _opening(answer: PickupAnswer, warnings: Sequence[str]) -> list[Block]:
    n_takes = len(answer.takes)
    blocks: list[Block] = [Text((f"From {n_takes} take{'s' if n_takes > 1 else ''}: {', '.join(answer.takes)}.",))]
    if answer.simulated:
        blocks.append(Notice((f"{SIMULATED_TEXT.capitalize()}.",)))
    is_good = answer.outcome == "good"
    if not is_good:
        blocks.append(Notice(tuple(misfit_lines(answer)), "bad"))
    keys = headline_keys(answer.quantities, FIRST_QUANTITIES)
    values = tuple((quantity_name(key), answer.quantities[key]) for key in keys)
    label, doubt = ("Values with 95 % intervals", "") if is_good else ("Indicative only", "indicative only")
    blocks.append(Headlines(label, values, doubt))
    noticed = (*warnings, *(finding.text for finding in answer.findings if finding.severity == "warn"))
    return [*blocks, *(Notice((text,)) for text in dict.fromkeys(noticed))]


def _values(answer: PickupAnswer) -> Section:
    blocks: list[Block] = [Table(quantity_rows(answer))]
    tapers = taper_rows(read_tapers(answer.quantities, answer.tapers))
    if tapers:
        blocks.append(Section((Table(tapers),), heading="Tapers, share of the track from ccw to wiper"))
    blocks += [Text((f"Taken on trust: {one.text}.",)) for one in answer.findings if one.code == "rests-on"]
    for names, why, following in not_told(answer):
        text = f"Not told by these takes: {names}. Why: {why}."
        blocks.append(Text((f"{text} Cheapest next take: {following}." if following else text,)))
    rows: list[Row] = [("to know better", "take", "95 % interval then")]
    for key in headline_keys(answer.next_takes, HELPED_QUANTITIES):
        takes = answer.next_takes.get(key, ())[:1]
        rows += [(quantity_name(key), take.text, f"± {196 * take.predicted_relative_std:.2g} %") for take in takes]
    if len(rows) > 1:
        blocks.append(Section((Table(tuple(rows)),), heading="What a further take would tell"))
    return Section(tuple(blocks), heading="All values" if answer.outcome == "good" else "All values, indicative only")


def _marked_parts(verdicts: Sequence[ConfirmAnswer]) -> tuple[Section, ...]:
    if not verdicts:
        return ()
    parts = tuple(
        Section(
            (Text((one.why,)), Table(tuple(part_rows(one)), has_head=False)),
            heading=quantity_name(one.part),
            mark=Mark(one.verdict, LEVELS[one.verdict]),
        )
        for one in verdicts
    )
    rule = Text((f"Decision rule: {RULE} ({STANDARD}).",), is_note=True)
    return (Section((rule, *parts), heading="Marked parts"),)


def _model(answer: PickupAnswer) -> Section:
    floor = answer.floor
    shared = "the same in all takes of a placement" if floor.common else "different from take to take"
    text = (
        f"Chosen: {answer.model_name}. Left between model and measurement is a smooth difference of "
        f"{100 * floor.value:.2g} %, {shared}, alike over about {floor.correlation_octaves:.2g} octaves; "
        f"the intervals allow for it. From {100 * MISFIT_AT:.2g} % on it is a misfit."
    )
    rows = candidate_rows(answer, head="model")
    agreement = Section((Table(agreement_rows(answer)),), heading="Agreement")
    return Section((Text((text,)), *([Table(rows)] if rows else []), agreement), heading="Model")


def _fitted_first(takes: Sequence[Take], answer: PickupAnswer) -> list[Take]:
    return sorted(takes, key=lambda take: take.name not in answer.takes)


def _take(take: Take, answer: PickupAnswer) -> Section:
    role = "" if take.name in answer.takes else ", not used for the values"
    controls = ", ".join(f"{name}={value}" for name, value in take.conditions.controls.items())
    repeats = f", {len(take.recordings)} repeats" if len(take.recordings) > 1 else ""
    sound = "measured elsewhere" if take.kind == "response" else f"{take.rate_hz} Hz{repeats}"
    stated = take.conditions
    facts = (
        stated.item or "",
        f"added: {take.conditions.added}" if take.conditions.added else "nothing added",
        f"controls: {controls}" if controls else "",
        temperature_text(stated.temperature_c),
        f"by {stated.operator}" if stated.operator else "",
        take.time_utc,
        sound + (", simulated" if take.simulated else ""),
        " ".join(take.conditions.note.split()),
    )
    told = Text((" · ".join(fact for fact in facts if fact),), is_note=True)
    mark = Mark(f"{take.outcome}{role}", OUTCOME_LEVELS.get(take.outcome, "bad"))
    changes = (Table(change_rows(take.amended, with_time=True)),) if take.amended else ()
    return Section((told, *changes, Table(check_rows(take.findings))), heading=take.name, mark=mark)


def _bench(rig: Sequence[tuple[str, str]], references: Sequence[tuple[str, ...]]) -> Section:
    tables = [Table((("", "stated"), *rig))]
    has_origin = any(any(row[2:]) for row in references)
    head = ("reference", "stated", "source", "date") if has_origin else ("reference", "stated")
    tables += [Table((head, *(row[: len(head)] for row in references)))] if references else []
    return Section(tuple(tables), heading="Rig and references")
