"""The command confirm: whether a part is what is marked on it."""

from pathlib import Path

from fit.answers.confirm.confirmation import ConfirmAnswer, confirm_part
from fit.answers.confirm.marking import read_marking
from fit.answers.figures import Contribution
from fit.answers.pickup.characterisation import PickupAnswer
from fit.circuit.instrument import Instrument, parts_of, stated_values
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.evidence import FitWish, answer_for
from fit.desk.book.instrument import read_instrument_file
from fit.desk.show.document import Document, decision_document, estimate_document, next_take_document
from fit.desk.show.sheets.confirm import part_rows
from fit.desk.show.words import SIMULATED_TEXT, plain_text, table_lines
from measure.errors import FileError
from measure.logbook.store import instrument_path, open_logbook
from measure.quantity import Quantity, format_quantity

SHOWN_SOURCES = 4
LEAST_SHARE = 0.005  # [1] of the variance, that is worth a line


def confirm_part_of(
    desk: Desk, part: str, wish: FitWish, *, marking: str | None = None, plot_file: Path | None = None
) -> Outcome:
    """Fit the takes and compare one part with its marking.

    Parameters
    ----------
    desk : Desk
        Where.
    part : str
        As in instrument.toml, for example ``"capacitor.tone"``.
    wish : FitWish
        Takes and references.
    marking : str or None
        As printed on the part, a code such as ``"333K"`` or a quantity; None for that of instrument.toml.
    plot_file : Path or None
        Picture to be written, ending in .png.

    Returns
    -------
    Outcome
        Marked, measured, verdict.

    Raises
    ------
    ValueError
        If there is no such part or marking, or the picture's name does not end in .png.
    FileError
        If there is no instrument.toml, or it states the part as known.
    """
    if plot_file is not None and plot_file.suffix.lower() != ".png":
        msg = f"{plot_file}: the picture is written as PNG, give a name that ends in .png"
        raise ValueError(msg)
    logbook = open_logbook(desk.logbook)
    path = instrument_path(logbook)
    if not path.exists():
        msg = f"{path} is not there, so no part is known to be marked: begin one with coilsweep instrument --layout NAME"
        raise FileError(msg)
    marked = marking_of(read_instrument_file(path), part, path)
    if marking is not None:
        marked = read_marking(marking, "F" if part.startswith("capacitor.") else "Ω")
    fitted, warnings = answer_for(desk, logbook, wish)
    answer = judge_part(part, marked, fitted)
    if answer.tolerance_assumed and answer.tolerance is not None and marked is not None:
        text = f"{marked.text} is marked without a tolerance; ± {100 * answer.tolerance:.0f} % is assumed (common practice)"
        warnings = (text, *warnings)
    if plot_file is not None:
        from fit.desk.show.figures.style import write_png
        from fit.desk.show.figures.verdict import confirm_figure

        write_png(confirm_figure(answer, is_simulated=fitted.simulated), plot_file)
        desk.say(f"Written: {plot_file}")
    noticed = tuple(dict.fromkeys((*warnings, *(one.text for one in fitted.findings if one.severity == "warn"))))
    budget = fitted.budget.get(part, ())
    lines = confirm_lines(answer, budget, takes=fitted.takes, simulated=fitted.simulated)
    if noticed:
        lines += ["", "Warnings", *(f"  {plain_text(text)}" for text in noticed)]
    document = confirm_document(answer, budget)
    document |= {"takes": list(fitted.takes), "simulated": fitted.simulated, "outcome": fitted.outcome, "warnings": list(noticed)}
    return Outcome(lines=tuple(lines), document=document)


def judge_part(part: str, marked: Quantity | None, fitted: PickupAnswer) -> ConfirmAnswer:
    """Take a part's value from a fit and compare it with its marking.

    Parameters
    ----------
    part : str
        Name of the value.
    marked : Quantity or None
        None where nothing is.
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


def confirm_lines(
    answer: ConfirmAnswer, budget: tuple[Contribution, ...], *, takes: tuple[str, ...], simulated: bool
) -> list[str]:
    """Everything that ``confirm`` says but for warnings.

    Parameters
    ----------
    answer : ConfirmAnswer
        What was found.
    budget : tuple of Contribution
        What the measured value's uncertainty consists of.
    takes : tuple of str
        Their names.
    simulated : bool
        They came from the virtual bench.

    Returns
    -------
    list of str
        Lines for a terminal.
    """
    lines = [f"{plain_text(answer.part)}, from {', '.join(plain_text(take) for take in takes)}"]
    if simulated:
        lines.append(SIMULATED_TEXT)
    lines += [f"{answer.verdict.upper()}: {plain_text(answer.why)}", "", *table_lines(part_rows(answer))]
    if answer.measured is not None and budget:
        total = sum(one.contribution**2 for one in budget)
        largest = sorted(budget, key=lambda one: -abs(one.contribution))[:SHOWN_SOURCES]
        shares = [(one, one.contribution**2 / total) for one in largest]
        rows = [
            (
                plain_text(one.source),
                f"± {format_quantity(1.96 * abs(one.contribution), answer.measured.unit, 2)}",
                f"{100 * share:.0f} %",
            )
            for one, share in shares
            if share >= LEAST_SHARE
        ]
        lines += ["", "What makes it uncertain (95 %, share of the variance)", *table_lines(rows)]
    if answer.next_take is not None:
        reach = 196 * answer.next_take.predicted_relative_std
        lines += ["", f"What would tell: {plain_text(answer.next_take.text)}: {answer.part} to ± {reach:.2g} %"]
    return lines


def confirm_document(answer: ConfirmAnswer, budget: tuple[Contribution, ...]) -> Document:
    """Put the answer as ``confirm --json`` states it.

    Parameters
    ----------
    answer : ConfirmAnswer
        What was found.
    budget : tuple of Contribution
        Of the measured value.

    Returns
    -------
    dict
        A coilsweep.confirm/1 document without takes and warnings.
    """
    marked = None
    if answer.marked is not None:
        marked = {
            "text": answer.marked.text,
            "value": answer.marked.value,
            "unit": answer.marked.unit,
            "tolerance": answer.tolerance,
            "tolerance_assumed": answer.tolerance_assumed,
            "allowed": [answer.marked_low, answer.marked_high],
        }
    return {
        "schema": "coilsweep.confirm/1",
        "part": answer.part,
        "marked": marked,
        "measured": None if answer.measured is None else estimate_document(answer.measured),
        "deviation": answer.deviation,
        "verdict": answer.verdict,
        "why": answer.why,
        **decision_document(answer.decision, unit="F" if answer.part.startswith("capacitor.") else "Ω"),
        "nearest_preferred": answer.nearest_preferred,
        "code": answer.code,
        "next_take": next_take_document(answer.next_take),
        "budget": [{"source": one.source, "contribution": one.contribution} for one in budget],
    }


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
