"""Everything as one page."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import page_with_drawing
from fit.desk.book.equipment import equipment_rows, reference_rows
from fit.desk.book.fits import FitWish, answer_for, last_wish
from fit.desk.book.history import earlier_of, result_of
from fit.desk.book.instrument import LIMIT_BYTES, load_of_rig, read_instrument_file
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
from measure.logbook.disk import read_small
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook
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
    page = partial(report_of, logbook, answer, wish.dcr, warnings)
    made = Outcome(document=document, lines=(f"Report: {file}",), figures=figures_of(answer, logbook), page=page)
    save_page(made, file)
    return made


def figures_of(answer: PickupAnswer, logbook: Logbook | None = None) -> "dict[str, Draw]":
    """Figures of a fit, by name; without a logbook no control is known."""
    tapers = read_tapers(answer.quantities, answer.tapers)
    return {
        RESPONSE.name: partial(response_figure, answer),
        LOADED.name: partial(loaded_figure, answer),
        JACK.name: partial(jack_figure, answer, partial(pickups_at_jack, logbook, answer) if logbook is not None else tuple),
        BUDGET.name: partial(budget_figure, answer),
        TAPERS.name: partial(taper_figure, tapers, simulated=answer.simulated),
        ELLIPSE.name: partial(ellipse_figure, answer),
    }


def pickups_at_jack(logbook: Logbook, answer: PickupAnswer) -> "tuple[AtJack, ...]":
    """Predict each pickup of the guitar that was fitted with its controls in place; nothing where there is no guitar."""
    from fit.answers.predict.at_jack import predict_at_jack

    path, load = instrument_path(logbook), _load(logbook)
    if not path.exists() or answer.parts is None or not answer.tapers or not load:
        return ()
    return predict_at_jack(read_instrument_file(path), load=load, measured=answer.parts)


def report_of(logbook: Logbook, answer: PickupAnswer, dcr: str | None, warnings: tuple[str, ...]) -> Sheet:
    """Lay out a fit with the logbook around it."""
    takes = list_takes(logbook).takes
    rig, path = rig_of(logbook), instrument_path(logbook)
    instrument = read_instrument_file(path) if path.exists() else None
    fitted = [take for take in takes if take.name in answer.takes]
    sheet = sheet_of_report(
        answer,
        takes=takes,
        rig=[(key, value) for key, value in rig_rows(rig)],
        references=reference_rows(fitted, rig, instrument, dcr=dcr),
        equipment=equipment_rows(fitted, rig),
        warnings=warnings,
        verdicts=_verdicts(logbook, answer),
        more=earlier_section(_earlier(logbook, answer)),
        at_jack=pickups_at_jack(logbook, answer),
        load=_load(logbook),
    )
    return page_with_drawing(sheet, instrument_path(logbook), parts=answer.parts)


def _earlier(logbook: Logbook, answer: PickupAnswer) -> Earlier | None:
    try:
        return earlier_of(logbook, result_of(logbook, answer))
    except FileError:
        return None  # that the file is damaged, the fit says


def _load(logbook: Logbook) -> dict[str, Quantity]:
    try:
        return load_of_rig(rig_of(logbook))
    except ValueError:  # an impedance needs no input to be stated
        return {}


def _verdicts(logbook: Logbook, answer: PickupAnswer) -> "tuple[ConfirmAnswer, ...]":
    """Judge every part that instrument.toml calls marked and that the takes tell."""
    from fit.circuit.layouts import is_starting_text
    from fit.desk.questions.confirm import judge_part

    path = instrument_path(logbook)
    if path.exists() and is_starting_text(read_small(path, LIMIT_BYTES).decode("utf-8", errors="replace")):
        return ()  # nobody has read these markings off the parts
    return tuple(judge_part(key, quantity, answer) for key, quantity in marked_in(logbook, answer).items())


def marked_in(logbook: Logbook, answer: PickupAnswer) -> dict[str, Quantity]:
    """List the parts that instrument.toml calls marked and that the takes tell, with their markings."""
    from fit.circuit.instrument import stated_values

    if not instrument_path(logbook).exists():
        return {}
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    marked = {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}
    return {key: quantity for key, quantity in marked.items() if key in answer.quantities}
