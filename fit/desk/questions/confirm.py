"""The command confirm: whether a part is what is marked on it."""

from dataclasses import replace
from functools import partial
from pathlib import Path

from msgspec import UNSET

from fit.answers.confirm.confirmation import ConfirmAnswer, confirm_part
from fit.answers.pickup.answer import PickupAnswer
from fit.circuit.instrument import Instrument, parts_of, stated_values
from fit.desk.book.bounds import remarks
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import page_with_drawing
from fit.desk.book.fits import FitWish, answer_for
from fit.desk.book.instrument import read_instrument_file
from fit.desk.show.document.pickup import ConfirmDocument, Marking
from fit.desk.show.document.pieces import further_take, named_takes, rule_of, value_or_none
from fit.desk.show.figures.verdict import confirm_figure
from fit.desk.show.sheets.confirm import PICTURE, sheet_of_confirm
from measure.errors import FileError
from measure.kinds import kind_of
from measure.logbook.store import instrument_path, open_logbook
from measure.marking import read_value
from measure.quantity import Quantity

GIVE_DCR = 'what may tell it: the resistance of the winding by a multimeter, for example --dcr "6.35k ± 1%"'


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
    marked = marking_of(read_instrument_file(path), part, path)
    kind = kind_of(part)
    if marking is not None and kind is not None:
        marked = read_value(marking, kind)
    fitted, warnings = answer_for(desk, logbook, wish)
    answer = judge_part(part, marked, fitted)
    if marked is not None:
        warnings = (*remarks(replace(marked, understood=""), f"marked on {part}", kind), *warnings)  # the sheet says it at once
    if answer.verdict == "not resolved" and answer.next_take is None and wish.dcr is None:
        warnings = (GIVE_DCR, *warnings)
    noticed = tuple(dict.fromkeys((*warnings, *(one.text for one in fitted.findings if one.severity == "warn"))))
    budget = fitted.budget.get(part, ())
    sheet = sheet_of_confirm(answer, budget, takes=fitted.takes, simulated=fitted.simulated, warnings=noticed)
    document = confirm_document(answer, fitted, warnings=noticed)
    draw = partial(confirm_figure, answer, is_simulated=fitted.simulated)
    page = partial(page_with_drawing, sheet, path, asked=part, parts=fitted.parts)
    return Outcome(document=document, sheet=sheet, figures={PICTURE.name: draw}, page=page)


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
    helpful = fitted.next_takes.get(part, ())
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


def marking_of(instrument: Instrument, part: str, path: Path) -> Quantity | None:
    """Find what is marked on a part; what is stated as known is a reference of the fit and cannot be tested by it.

    Raises
    ------
    ValueError
        If there is no such part.
    FileError
        If the part is stated as known.
    """
    names = [key for key, _, _ in parts_of(instrument)]
    if part not in names:
        msg = f'there is no part "{part[:60]}" in {path.name}, expected one of {", ".join(names) or "none: it states no parts"}'
        raise ValueError(msg)
    stated = stated_values(instrument)[part]
    if stated.quantity is not None and not stated.is_marked:
        text = stated.quantity.text
        msg = f'{path.name} states {part} as known, so the fit relies on it and cannot test it: write marked = "{text}" for value'
        raise FileError(msg)
    return stated.quantity
