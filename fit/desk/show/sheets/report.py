"""Everything about a pickup or a guitar on one page: the answer, the peak at the jack, what that means; folded, all the rest."""

from collections.abc import Mapping, Sequence

from fit.answers.confirm.confirmation import ConfirmAnswer
from fit.answers.confirm.conformity import RULE, STANDARD
from fit.answers.figures import Estimate
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.answers.predict.at_jack import AtJack
from fit.desk.show.sheet import (
    Block,
    Headlines,
    Listing,
    Mark,
    Meaning,
    Notice,
    Picture,
    Row,
    Section,
    Sheet,
    Table,
    Text,
    Verdict,
)
from fit.desk.show.sheets.confirm import LEVELS, part_rows
from fit.desk.show.sheets.fit import (
    HELPED_QUANTITIES,
    MISFIT_AT,
    agreement_rows,
    candidate_rows,
    misfit_lines,
    not_told,
    quantity_rows,
)
from fit.desk.show.sheets.inspect import OUTCOME_LEVELS, check_rows
from fit.desk.show.sheets.measurement import measurement_section
from fit.desk.show.sheets.notices import CIRCUIT, titled
from fit.desk.show.sheets.player import meaning_of_guitar, meaning_of_pickup
from fit.desk.show.sheets.takes import change_rows
from fit.desk.show.sheets.taper import taper_rows
from fit.desk.show.words import (
    CAUTIONS,
    SIMULATED_TEXT,
    WORDS,
    estimate_texts,
    headline_keys,
    in_sentence,
    quantity_name,
    temperature_text,
)
from measure.logbook.take import Take
from measure.quantity import Quantity

FIRST_QUANTITIES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded", "resonance_loaded")
RESPONSE = Picture(
    name="response",
    heading="",
    caption="Dots are measured, lines are the model. Below, what is left between them: bars are 95 % of the noise, the grey band "
    "is the smooth difference that the intervals allow for.",
)
LOADED = Picture(
    name="loaded",
    heading="At the jack",
    caption="Voltage at the jack for a constant voltage in the (first) winding, with cable and input connected, without controls "
    "and added parts. The stripe and the bar at the peak are 95 % intervals.",
)
JACK = Picture(
    name="jack",
    heading="At the jack",
    caption="Voltage at the jack for a constant voltage in the winding of each pickup, with cable, input and all controls: pots "
    "at 10, the switch where the pickup is heard by itself. Bands, and the bars at the peaks, are 95 % intervals.",
)
BUDGET = Picture(
    name="budget",
    heading="",
    caption="Half-widths of 95 % intervals over the value, all on one scale: hatched the whole, plain what each source would "
    "leave by itself (their squares add up). A better reference part shortens its own bar.",
)
TAPERS = Picture(
    name="tapers",
    heading="",
    caption="Share of the track from ccw to wiper over the rotation, with 95 % intervals, beside the nominal laws; grey, what is "
    "usual of audio pots (common practice, no source).",
)
ELLIPSE = Picture(
    name="ellipse",
    heading="",
    caption="Inductance and winding capacitance together lie within the ellipse in 95 of 100 such measurements (JCGM 102:2011, "
    "6.5.2, coverage factor 2.45); the bars are the 95 % interval of each by itself. A slant says that one goes with the other.",
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
    at_jack: Sequence[AtJack] = (),
    load: Mapping[str, Quantity] | None = None,
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
        What stands below the values, such as an earlier day.
    at_jack : sequence of AtJack
        Of a guitar each pickup with all controls in place.
    load : mapping or None
        ``"input.resistance"`` and ``"input.capacitance"`` as the rig states them.
    """
    meaning = meaning_of_guitar(at_jack, load or {}) if at_jack else meaning_of_pickup(answer, load or {})
    blocks: tuple[Block, ...] = (
        *_opening(answer, verdicts),
        _headlines(answer, at_jack),
        *_marked_parts(verdicts),
        JACK if at_jack else LOADED,
        *([Meaning(meaning)] if meaning else []),
        CIRCUIT,
        *_noticed(answer, warnings),
        _values(answer),
        *more,
        *_judged_parts(verdicts),
        *_untold(answer),
        Section(
            (RESPONSE, Section((Table(agreement_rows(answer)),), label="Agreement")),
            heading="Every take with its model",
            is_folded=True,
        ),
        *_uncertainty(answer),
        _model(answer),
        *_takes(takes, answer),
        measurement_section(answer, [take for take in takes if take.name in answer.takes], equipment),
        _bench(rig, references),
        Section((Listing(CAUTIONS),), heading="Cautions", is_folded=True),
        Section((Table(tuple(WORDS.items()), has_head=False),), heading="What the words mean", is_folded=True),
    )
    items = dict.fromkeys(take.conditions.item for take in takes if take.name in answer.takes and take.conditions.item)
    what = ", ".join(items) or ("a guitar" if answer.tapers else "a pickup")
    return Sheet(title=titled(f"Measurement report: {what}", is_simulated=answer.simulated), blocks=blocks)


def _opening(answer: PickupAnswer, verdicts: Sequence[ConfirmAnswer]) -> list[Block]:
    n_takes = len(answer.takes)
    blocks: list[Block] = [Notice((f"{SIMULATED_TEXT.capitalize()}.",))] if answer.simulated else []
    if answer.outcome != "good":
        first, *others = misfit_lines(answer)
        return [Verdict(first, "bad", tuple(others)), *blocks]
    what = "The guitar" if answer.tapers else "The pickup"
    told = f"{what} is told by {n_takes} take{'s' if n_takes > 1 else ''}; model and measurement agree."
    sound = [one for one in verdicts if one.verdict == "within marking"]
    odd = [f"{in_sentence(one.part)} {one.verdict}" for one in verdicts if one.verdict != "within marking"]
    counted = f"{len(sound)} of {len(verdicts)} marked parts within their marking"
    lines = (f"{'; '.join([counted, *odd])}.",) if verdicts else ()
    is_odd = any(one.verdict == "outside marking" for one in verdicts)
    return [Verdict(told, "look" if is_odd else "good", lines), *blocks]


def _headlines(answer: PickupAnswer, at_jack: Sequence[AtJack]) -> Headlines:
    values: list[tuple[str, Estimate]] = []
    peaks = {one.pickup: one.curve.peak_frequency for one in at_jack}
    for key in headline_keys(answer.quantities, FIRST_QUANTITIES):
        if key.endswith("resonance_loaded") and at_jack:  # without the controls, which is not what is heard
            pickup = key.rpartition(".")[0] or next(iter(peaks))
            peak = peaks.get(pickup)
            name = f"{pickup}: peak at the jack" if len(peaks) > 1 else "Peak at the jack"
            values += [] if peak is None else [(name[:1].upper() + name[1:], peak)]
        else:
            values.append((quantity_name(key), answer.quantities[key]))
    is_good = answer.outcome == "good"
    label, doubt = ("Values with 95 % intervals", "") if is_good else ("Indicative only", "indicative only")
    return Headlines(label, tuple(values), doubt)


def _noticed(answer: PickupAnswer, warnings: Sequence[str]) -> list[Block]:
    noticed = (*warnings, *(finding.text for finding in answer.findings if finding.severity == "warn"))
    blocks: list[Block] = [Notice(tuple(dict.fromkeys(noticed)))] if noticed else []
    untold = "; ".join(names for names, _, _ in not_told(answer))
    return [*blocks, *([Text((f"Not told by these takes: {untold}.",))] if untold else [])]


def _values(answer: PickupAnswer) -> Section:
    blocks: list[Block] = [Table(quantity_rows(answer))]
    tapers = taper_rows(read_tapers(answer.quantities, answer.tapers))
    if tapers:
        blocks.append(Section((TAPERS, Table(tapers)), heading="Tapers, share of the track from ccw to wiper"))
    blocks += [Text((f"Taken on trust: {one.text}.",)) for one in answer.findings if one.code == "rests-on"]
    heading = "All values" if answer.outcome == "good" else "All values, indicative only"
    return Section(tuple(blocks), heading=heading, is_folded=True)


def _untold(answer: PickupAnswer) -> tuple[Section, ...]:
    blocks: list[Block] = []
    for names, why, following in (*not_told(answer), *not_told(answer, of_losses=True)):
        text = f"Not told by these takes: {names}. Why: {why}."
        blocks.append(Text((f"{text} Cheapest next take: {following}." if following else text,)))
    rows: list[Row] = [("to know better", "take", "95 % interval then")]
    for key in headline_keys(answer.next_takes, HELPED_QUANTITIES):
        takes = answer.next_takes.get(key, ())[:1]
        rows += [(quantity_name(key), take.text, f"± {196 * take.predicted_relative_std:.2g} %") for take in takes]
    if len(rows) > 1:
        blocks.append(Table(tuple(rows)))
    return (Section(tuple(blocks), heading="What a further take would tell", is_folded=True),) if blocks else ()


def coils_told(answer: PickupAnswer) -> tuple[str, ...]:
    """Name the pickups of which inductance and winding capacitance are told together, with their covariance."""
    names = () if answer.parts is None else answer.parts.names
    owners = [key.removesuffix(".inductance") for key in names if key.endswith(".inductance")]
    return tuple(one for one in owners if f"{one}.winding_capacitance" in names)


def _marked_parts(verdicts: Sequence[ConfirmAnswer]) -> tuple[Section, ...]:
    if not verdicts:
        return ()
    rows: list[Row] = [("marked part", "marked", "measured", "verdict")]
    for one in verdicts:
        marked = "" if one.marked is None else one.marked.text
        measured = "" if one.measured is None else estimate_texts(one.measured)[0]
        rows.append((quantity_name(one.part), marked, measured, Mark(one.verdict, LEVELS[one.verdict])))
    return (Section((Table(tuple(rows)),)),)


def _judged_parts(verdicts: Sequence[ConfirmAnswer]) -> tuple[Section, ...]:
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
    return (Section((rule, *parts), heading="How marked parts were judged", is_folded=True),)


def _uncertainty(answer: PickupAnswer) -> tuple[Section, ...]:
    sections = []
    if any(answer.budget.values()):
        sections.append(Section((BUDGET,), heading="What limits each value", is_folded=True))
    if coils_told(answer):
        sections.append(Section((ELLIPSE,), heading="Inductance and capacitance together", is_folded=True))
    return tuple(sections)


def _model(answer: PickupAnswer) -> Section:
    floor = answer.floor
    shared = "the same in all takes of a placement" if floor.common else "different from take to take"
    text = (
        f"Chosen: {answer.model_name}. Left between model and measurement is a smooth difference of "
        f"{100 * floor.value:.2g} %, {shared}, alike over about {floor.correlation_octaves:.2g} octaves; "
        f"the intervals allow for it. From {100 * MISFIT_AT:.2g} % on it is a misfit."
    )
    rows = candidate_rows(answer, head="model")
    return Section((Text((text,)), *([Table(rows)] if rows else [])), heading="Model", is_folded=True)


def _takes(takes: Sequence[Take], answer: PickupAnswer) -> tuple[Section, ...]:
    fitted = [take for take in takes if take.name in answer.takes]
    others = [take for take in takes if take.name not in answer.takes]
    rows: list[Row] = [("take", "what it is", "outcome")]
    rows += [(take.name, _stated(take), _outcome_mark(take)) for take in fitted]
    each = tuple(
        Section(
            (Text((_facts(take),), is_note=True), *_changes(take), Table(check_rows(take.findings))),
            heading=take.name,
            mark=_outcome_mark(take),
            is_folded=True,
        )
        for take in fitted
    )
    sections = [Section((Table(tuple(rows)), *each), heading="Takes and their checks", is_folded=True)] if fitted else []
    if others:
        left: list[Row] = [("take", "what it is", "outcome", "what was noticed")]
        left += [(take.name, _stated(take), _outcome_mark(take), _noticed_in(take)) for take in others]
        heading = f"Not used for the values: {len(others)} take{'s' if len(others) > 1 else ''}"
        sections.append(Section((Table(tuple(left)),), heading=heading, is_folded=True))
    return tuple(sections)


def _changes(take: Take) -> tuple[Table, ...]:
    return (Table(change_rows(take.amended, with_time=True)),) if take.amended else ()


def _outcome_mark(take: Take) -> Mark:
    return Mark(take.outcome, OUTCOME_LEVELS.get(take.outcome, "bad"))


def _noticed_in(take: Take) -> str:
    return " ".join(f"{one.code}: {one.text}." for one in take.findings if one.severity != "pass")


def _stated(take: Take) -> str:
    controls = ", ".join(f"{name}={value}" for name, value in take.conditions.controls.items())
    over = f"coil over {take.conditions.coil_over}" if take.conditions.coil_over else ""
    added = f"added: {take.conditions.added}" if take.conditions.added else "nothing added"
    return " · ".join(fact for fact in (over, added, controls, " ".join(take.conditions.note.split())) if fact)


def _facts(take: Take) -> str:
    repeats = f", {len(take.recordings)} repeats" if len(take.recordings) > 1 else ""
    sound = "measured elsewhere" if take.kind == "response" else f"{take.rate_hz} Hz{repeats}"
    stated = take.conditions
    facts = (
        stated.item or "",
        _stated(take),
        temperature_text(stated.temperature_c),
        f"by {stated.operator}" if stated.operator else "",
        take.time_utc,
        sound + (", simulated" if take.simulated else ""),
    )
    return " · ".join(fact for fact in facts if fact)


def _bench(rig: Sequence[tuple[str, str]], references: Sequence[tuple[str, ...]]) -> Section:
    tables = [Table((("", "stated"), *rig))]
    has_origin = any(any(row[2:]) for row in references)
    head = ("reference", "stated", "source", "date") if has_origin else ("reference", "stated")
    tables += [Table((head, *(row[: len(head)] for row in references)))] if references else []
    return Section(tuple(tables), heading="Rig and references", is_folded=True)
