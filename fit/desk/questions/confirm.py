"""The command confirm: whether a part is what is marked on it."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from msgspec import UNSET

from fit.answers.confirm.confirmation import ConfirmAnswer, confirm_part
from fit.answers.pickup.answer import PickupAnswer
from fit.circuit.instrument import parts_of, stated_values
from fit.desk.book.bounds import remarks
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import with_instrument
from fit.desk.book.fits import FitWish, answer_for
from fit.desk.book.instrument import InstrumentFile, open_instrument_file
from fit.desk.show.document.pickup import ConfirmDocument, Marking
from fit.desk.show.document.pieces import further_take, named_takes, rule_of, value_or_none
from fit.desk.show.figures.verdict import confirm_figure
from fit.desk.show.sheets.confirm import PICTURE, WAYS, sheet_of_confirm
from measure.errors import FileError
from measure.kinds import kind_of
from measure.logbook.conditions import Conditions
from measure.logbook.store import instrument_path, open_logbook, read_take
from measure.marking import read_value
from measure.quantity import Quantity

GIVE_DCR = 'the resistance of the winding by a multimeter, for example --dcr "6.35k ± 1%"'
ADD_KNOWN = (
    'one more take with a known part across the jack, for example --add "1n ± 1%", '
    "the exciter left where it is, the controls as in another take"
)
NAME_PARTS = 'one more take with another known part: name those you have, --have "470p ± 1%, 2n2 ± 1%", and the best is told'
SAY_MARKING = "what is printed on it, for example --marked {}, or written into instrument.toml"
UNTOUCHED = ": its markings are only usual ones as long as nobody has changed it"
EXAMPLES = {"capacitor": "223K", "pot": "B250K", "resistor": "4K7"}


def confirm_part_of(desk: Desk, part: str, wish: FitWish, *, marking: str | None = None) -> Outcome:
    """Fit the takes and compare one part with its marking.

    Parameters
    ----------
    part : str
        As in instrument.toml, for example ``"capacitor.tone"``.
    marking : str or None
        As printed on the part, a code such as ``"333K"`` or a quantity; None for that of instrument.toml.

    Raises
    ------
    ValueError
        If there is no such part or marking.
    FileError
        If there is no instrument.toml, or it states the part as known.
    """
    logbook = open_logbook(desk.logbook)
    path = instrument_path(logbook)
    if not path.exists():
        msg = f"{path} is not there, so no part is known to be marked: begin one with coilsweep instrument --layout NAME"
        raise FileError(msg)
    beside = open_instrument_file(path)
    marked = marking_of(beside, part)
    kind = kind_of(part)
    if marking is not None and kind is not None:
        marked = read_value(marking, kind)
    fitted, warnings = answer_for(desk, logbook, wish)
    answer = judge_part(part, marked, fitted)
    if marked is not None:
        warnings = (*remarks(replace(marked, understood=""), f"marked on {part}", kind), *warnings)  # the sheet says it at once
    made = [read_take(logbook, name, verify=False).conditions for name in fitted.takes]
    ways = ways_out(answer, fitted, beside, made=made, dcr=wish.dcr)
    noticed = tuple(dict.fromkeys((*warnings, *(one.text for one in fitted.findings if one.severity == "warn"))))
    budget = fitted.budget.get(part, ())
    sheet = sheet_of_confirm(answer, budget, takes=fitted.takes, simulated=fitted.simulated, warnings=noticed, ways=ways)
    document = confirm_document(answer, fitted, warnings=(*(f"{WAYS}: {way}" for way in ways), *noticed))
    draw = partial(confirm_figure, answer, is_simulated=fitted.simulated)
    page = partial(with_instrument, sheet, beside.instrument, asked=part, parts=fitted.parts)
    return Outcome(document=document, sheet=sheet, figures={PICTURE.name: draw}, page=page)


def ways_out(
    answer: ConfirmAnswer, fitted: PickupAnswer, beside: InstrumentFile, *, made: Sequence[Conditions], dcr: str | None
) -> tuple[str, ...]:
    """Say what leads on where there is no verdict and no take is known that would give one.

    Parameters
    ----------
    made : sequence of Conditions
        Of the takes that were fitted.
    dcr : str or None
        The winding's resistance, as it was stated.
    """
    if answer.verdict != "not resolved" or fitted.outcome != "good":
        return ()
    ways = []
    if answer.marked is None:
        text = SAY_MARKING.format(EXAMPLES[answer.part.partition(".")[0]])
        ways.append(f"{text}{UNTOUCHED}" if beside.is_untouched else text)
    is_told = answer.marked is None and answer.measured is not None
    if is_told or answer.next_take is not None:
        return tuple(ways)
    known = [*([ADD_KNOWN] if not any(one.added for one in made) else []), *([GIVE_DCR] if dcr is None else [])]
    return (*ways, *(known or [NAME_PARTS]))


def judge_part(part: str, marked: Quantity | None, fitted: PickupAnswer) -> ConfirmAnswer:
    """Take a part's value from a fit and compare it with its marking.

    Parameters
    ----------
    fitted : PickupAnswer
        A misfit gives no verdict.

    Returns
    -------
    ConfirmAnswer
        With the take that would tell, where none of these does.
    """
    measured = fitted.quantities.get(part)
    untold = next((one for one in fitted.not_identified if one.quantity == part), None)
    if measured is None:
        why, next_take = ("these takes do not tell it", None) if untold is None else (untold.why, untold.next_take)
        return confirm_part(part, marked=marked, measured=None, why_not=why, next_take=next_take)
    if fitted.outcome != "good":
        doubts = [one.text for one in fitted.findings if one.severity == "reject"]
        why = f"the value is indicative only: {doubts[0] if doubts else 'model and measurement do not go together'}"
        return confirm_part(part, marked=marked, measured=measured, why_not=why)
    helpful = () if marked is None else fitted.next_takes.get(part, ())
    return confirm_part(part, marked=marked, measured=measured, next_take=helpful[0] if helpful else None)


def confirm_document(answer: ConfirmAnswer, fitted: PickupAnswer, *, warnings: tuple[str, ...]) -> ConfirmDocument:
    """Put the answer, and the fit that it comes from, as ``confirm --json`` states them."""
    marked, decision = answer.marked, answer.decision
    return ConfirmDocument(
        part=answer.part,
        marked=None
        if marked is None
        else Marking(
            text=marked.text,
            understood=marked.understood or UNSET,
            value=marked.value,
            unit=marked.unit,
            tolerance=answer.tolerance,
            tolerance_assumed=answer.tolerance_assumed,
            allowed=(answer.marked_low, answer.marked_high),
        ),
        measured=value_or_none(answer.measured),
        deviation=answer.deviation,
        verdict=answer.verdict,
        why=answer.why,
        decision_rule=rule_of(decision, unit="F" if answer.part.startswith("capacitor.") else "Ω"),
        conformance_probability=None if decision is None else decision.conforming,
        specific_risk=None if decision is None else decision.specific_risk,
        nearest_preferred=answer.nearest_preferred,
        code=answer.code,
        next_take=None if answer.next_take is None else further_take(answer.next_take),
        budget=fitted.budget.get(answer.part, ()),
        takes=named_takes(fitted.takes, "fitted"),
        simulated=fitted.simulated,
        outcome=fitted.outcome,
        warnings=warnings,
    )


def marking_of(beside: InstrumentFile, part: str) -> Quantity | None:
    """Find what is marked on a part; what is stated as known is a reference of the fit and cannot be tested by it.

    Returns
    -------
    Quantity or None
        None where nothing is marked, or nobody has changed the file since it was begun.

    Raises
    ------
    ValueError
        If there is no such part.
    FileError
        If the part is stated as known.
    """
    file, names = beside.path.name, [key for key, _, _ in parts_of(beside.instrument)]
    if part not in names:
        msg = f'there is no part "{part[:60]}" in {file}, expected one of {", ".join(names) or "none: it states no parts"}'
        raise ValueError(msg)
    stated = stated_values(beside.instrument)[part]
    if stated.quantity is not None and not stated.is_marked:
        text = stated.quantity.text
        msg = f'{file} states {part} as known, so the fit relies on it and cannot test it: write marked = "{text}" for value'
        raise FileError(msg)
    return beside.marked.get(part)
