"""Everything as one page."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.equipment import equipment_rows, reference_rows
from fit.desk.book.evidence import FitWish, last_wish
from fit.desk.book.fits import answer_for
from fit.desk.book.history import earlier_of
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.output import require_folder, save_page
from fit.desk.book.rig import rig_of, rig_rows
from fit.desk.show.document.pickup import ReportDocument
from fit.desk.show.figures.style import budget_figure, loaded_figure, response_figure
from fit.desk.show.figures.taper import taper_figure
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.history import Earlier, earlier_section
from fit.desk.show.sheets.report import BUDGET, LOADED, RESPONSE, TAPERS, sheet_of_report
from measure.errors import FileError
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook
from measure.quantity import Quantity

if TYPE_CHECKING:
    from fit.answers.confirm.confirmation import ConfirmAnswer
    from fit.desk.show.figures.style import Draw


def write_report(
    desk: Desk, file: Path, *, names: Sequence[str] = (), dcr: str | None = None, at_hand: str | None = None
) -> Outcome:
    """Write everything as one page.

    Parameters
    ----------
    file : Path
        To be written; an older one is replaced in one step.
    names : sequence of str
        Takes; empty for those of the last fit.
    dcr, at_hand : str or None
        As for a fit; None for those of the last fit.

    Raises
    ------
    FileError
        If its folder is not there.
    """
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
        file=str(file), takes=answer.takes, simulated=answer.simulated, outcome=answer.outcome, warnings=warnings
    )
    page = partial(report_of, logbook, answer, wish, warnings)
    made = Outcome(document=document, lines=(f"Report: {file}",), figures=figures_of(answer), page=page)
    save_page(made, file)
    return made


def figures_of(answer: PickupAnswer) -> "dict[str, Draw]":
    """Figures of a fit, by name."""
    tapers = read_tapers(answer.quantities, answer.tapers)
    return {
        RESPONSE.name: partial(response_figure, answer),
        LOADED.name: partial(loaded_figure, answer),
        BUDGET.name: partial(budget_figure, answer),
        TAPERS.name: partial(taper_figure, tapers, simulated=answer.simulated),
    }


def report_of(logbook: Logbook, answer: PickupAnswer, wish: FitWish, warnings: tuple[str, ...]) -> Sheet:
    """Lay out a fit with the logbook around it."""
    takes = list_takes(logbook).takes
    rig, path = rig_of(logbook), instrument_path(logbook)
    instrument = read_instrument_file(path) if path.exists() else None
    fitted = [take for take in takes if take.name in answer.takes]
    return sheet_of_report(
        answer,
        takes=takes,
        rig=[(key, value) for key, value in rig_rows(rig)],
        references=reference_rows(fitted, rig, instrument, dcr=wish.dcr),
        equipment=equipment_rows(fitted, rig),
        warnings=warnings,
        verdicts=_verdicts(logbook, answer),
        more=earlier_section(_earlier(logbook, answer, wish)),
    )


def _earlier(logbook: Logbook, answer: PickupAnswer, wish: FitWish) -> Earlier | None:
    try:
        return earlier_of(logbook, answer, wish.names)
    except FileError:
        return None  # that the file is damaged, the fit says


def _verdicts(logbook: Logbook, answer: PickupAnswer) -> "tuple[ConfirmAnswer, ...]":
    """Judge every part that instrument.toml calls marked and that the takes tell."""
    from fit.desk.questions.confirm import judge_part

    return tuple(judge_part(key, quantity, answer) for key, quantity in marked_in(logbook, answer).items())


def marked_in(logbook: Logbook, answer: PickupAnswer) -> dict[str, Quantity]:
    """List the parts that instrument.toml calls marked and that the takes tell, with their markings."""
    from fit.circuit.instrument import stated_values

    if not instrument_path(logbook).exists():
        return {}
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    marked = {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}
    return {key: quantity for key, quantity in marked.items() if key in answer.quantities}
