"""Everything as one page."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import with_instrument
from fit.desk.book.equipment import equipment_rows, reference_rows
from fit.desk.book.fits import FitWish, answer_for, last_wish
from fit.desk.book.history import earlier_of, result_of
from fit.desk.book.instrument import InstrumentFile, instrument_beside, load_of_rig
from fit.desk.book.output import require_folder, require_free, save_page
from fit.desk.book.rig import rig_of, rig_rows
from fit.desk.show.document.pickup import ReportDocument
from fit.desk.show.document.pieces import named_takes
from fit.desk.show.figures.fit import budget_figure, ellipse_figure, jack_figure, loaded_figure, response_figure
from fit.desk.show.figures.taper import taper_figure
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.history import Earlier, earlier_section
from fit.desk.show.sheets.report import BUDGET, ELLIPSE, JACK, LOADED, RESPONSE, TAPERS, sheet_of_report
from measure.errors import FileError
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, list_takes, open_logbook
from measure.quantity import Quantity

if TYPE_CHECKING:
    from fit.answers.confirm.confirmation import ConfirmAnswer
    from fit.answers.predict.at_jack import AtJack
    from fit.desk.show.figures.style import Draw

REPORT_FILE = "report.html"


def write_report(
    desk: Desk,
    file: Path | None = None,
    *,
    names: Sequence[str] = (),
    dcr: str | None = None,
    at_hand: str | None = None,
    replace: bool = False,
) -> Outcome:
    """Write everything as one page.

    Parameters
    ----------
    file : Path or None
        To be written; None for report.html in the logbook, where an older one is replaced in one step.
    names : sequence of str
        Takes; empty for those of the last fit.
    dcr, at_hand : str or None
        As for a fit; None for those of the last fit.
    replace : bool
        Another file, too, is written over.

    Raises
    ------
    FileError
        If its folder is not there, or something is there already that may not be replaced.
    """
    require_free(file or Path(), may_replace=replace or file is None)
    file = file or desk.logbook / REPORT_FILE
    require_folder(file)
    logbook = open_logbook(desk.logbook)
    last = last_wish(logbook, is_needed=not names)
    wish = FitWish(
        names=tuple(names) or last.names,
        dcr=last.dcr if dcr is None else dcr,
        at_hand=last.at_hand if at_hand is None else at_hand,
    )
    answer, warnings = answer_for(desk, logbook, wish)
    document = ReportDocument(
        file=str(file),
        written=(str(file),),
        takes=named_takes(answer.takes, "fitted"),
        simulated=answer.simulated,
        outcome=answer.outcome,
        warnings=warnings,
    )
    beside = instrument_beside(logbook)
    page = partial(report_of, logbook, answer, wish.dcr, warnings, beside)
    figures = figures_of(answer, logbook, beside)
    made = Outcome(document=document, lines=(f"Report: {file}",), figures=figures, page=page)
    save_page(made, file)
    return made


def figures_of(answer: PickupAnswer, logbook: Logbook | None = None, beside: InstrumentFile | None = None) -> "dict[str, Draw]":
    """Figures of a fit, by name; without a logbook no control is known.

    Parameters
    ----------
    beside : InstrumentFile or None
        What states the guitar, where something does.
    """
    tapers = read_tapers(answer.quantities, answer.tapers)

    def at_jack() -> "tuple[AtJack, ...]":
        return () if logbook is None else pickups_at_jack(beside, answer, _load(rig_of(logbook)))

    return {
        RESPONSE.name: partial(response_figure, answer),
        LOADED.name: partial(loaded_figure, answer),
        JACK.name: partial(jack_figure, answer, at_jack),
        BUDGET.name: partial(budget_figure, answer),
        TAPERS.name: partial(taper_figure, tapers, simulated=answer.simulated),
        ELLIPSE.name: partial(ellipse_figure, answer),
    }


def pickups_at_jack(beside: InstrumentFile | None, answer: PickupAnswer, load: dict[str, Quantity]) -> "tuple[AtJack, ...]":
    """Predict each pickup of the guitar that was fitted with its controls in place; nothing where there is no guitar."""
    from fit.answers.predict.at_jack import predict_at_jack

    if beside is None or answer.parts is None or not answer.tapers or not load:
        return ()
    return predict_at_jack(beside.instrument, load=load, measured=answer.parts)


def report_of(
    logbook: Logbook, answer: PickupAnswer, dcr: str | None, warnings: tuple[str, ...], beside: InstrumentFile | None
) -> Sheet:
    """Lay out a fit with the logbook around it.

    Parameters
    ----------
    beside : InstrumentFile or None
        What states the guitar, where something does.
    """
    takes, rig = list_takes(logbook).takes, rig_of(logbook)
    load, instrument = _load(rig), None if beside is None else beside.instrument
    fitted = [take for take in takes if take.name in answer.takes]
    sheet = sheet_of_report(
        answer,
        takes=takes,
        rig=[(key, value) for key, value in rig_rows(rig)],
        references=reference_rows(fitted, rig, instrument, dcr=dcr),
        equipment=equipment_rows(fitted, rig),
        warnings=warnings,
        verdicts=_verdicts(beside, answer),
        more=earlier_section(_earlier(logbook, answer)),
        at_jack=pickups_at_jack(beside, answer, load),
        load=load,
    )
    return sheet if instrument is None else with_instrument(sheet, instrument, parts=answer.parts)


def _earlier(logbook: Logbook, answer: PickupAnswer) -> Earlier | None:
    try:
        return earlier_of(logbook, result_of(logbook, answer))
    except FileError:
        return None  # that the file is damaged, the fit says


def _load(rig: Rig) -> dict[str, Quantity]:
    try:
        return load_of_rig(rig)
    except ValueError:  # an impedance needs no input to be stated
        return {}


def _verdicts(beside: InstrumentFile | None, answer: PickupAnswer) -> "tuple[ConfirmAnswer, ...]":
    """Judge every part that instrument.toml calls marked and that the takes tell."""
    from fit.desk.questions.confirm import judge_part

    return tuple(judge_part(key, quantity, answer) for key, quantity in marked_in(beside, answer).items())


def marked_in(beside: InstrumentFile | None, answer: PickupAnswer) -> dict[str, Quantity]:
    """List the parts that instrument.toml calls marked and that the takes tell, with their markings."""
    marked = {} if beside is None else beside.marked
    return {key: quantity for key, quantity in marked.items() if key in answer.quantities}
