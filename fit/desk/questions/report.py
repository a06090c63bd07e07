"""Everything as one page."""

from collections.abc import Sequence
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

from fit.answers.pickup.answer import PickupAnswer
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.evidence import FitWish, last_wish
from fit.desk.book.fits import answer_for
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.rig import rig_of, rig_rows
from fit.desk.show.document import Document
from fit.desk.show.words import temperature_text
from measure.errors import FileError
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook

if TYPE_CHECKING:
    from fit.answers.confirm.confirmation import ConfirmAnswer
    from fit.desk.show.page import Sheet


def write_report(
    desk: Desk, file: Path, *, names: Sequence[str] = (), dcr: str | None = None, at_hand: str | None = None
) -> Outcome:
    """Write everything as one page.

    Parameters
    ----------
    desk : Desk
        Where.
    file : Path
        To be written; an older one is replaced in one step.
    names : sequence of str
        Takes; empty for those of the last fit.
    dcr, at_hand : str or None
        As for a fit; None for those of the last fit.

    Returns
    -------
    Outcome
        Where the page is.

    Raises
    ------
    FileError
        If its folder is not there.
    """
    from fit.desk.show.page import report_html

    if not file.parent.is_dir():
        msg = f"{file}: there is no folder {file.parent}; make it, or choose another place"
        raise FileError(msg)
    logbook = open_logbook(desk.logbook)
    last = last_wish(logbook, is_needed=not names)
    wish = FitWish(
        names=tuple(names) or last.names,
        dcr=last.dcr if dcr is None else dcr,
        at_hand=last.at_hand if at_hand is None else at_hand,
    )
    answer, warnings = answer_for(desk, logbook, wish)
    page = report_html(_sheet(logbook, answer, wish, warnings))
    _replace(file, page)
    document: Document = {"schema": "coilsweep.report/1", "file": str(file), "takes": list(answer.takes)}
    document |= {"simulated": answer.simulated, "outcome": answer.outcome, "warnings": list(warnings)}
    return Outcome(lines=(f"Report: {file}",), document=document)


def _sheet(logbook: Logbook, answer: PickupAnswer, wish: FitWish, warnings: tuple[str, ...]) -> "Sheet":
    from fit.desk.show.page import Sheet, TakeSheet
    from measure.logbook.take import time_now

    listed = list_takes(logbook)
    sheets = []
    for take in sorted(listed.takes, key=lambda take: take.name not in answer.takes):
        repeats = f", {len(take.recordings)} repeats" if len(take.recordings) > 1 else ""
        sound = "measured elsewhere" if take.kind == "response" else f"{take.rate_hz} Hz{repeats}"
        sound += ", simulated" if take.simulated else ""
        sheets.append(
            TakeSheet(
                name=take.name,
                added=take.conditions.added,
                controls=", ".join(f"{name}={value}" for name, value in take.conditions.controls.items()),
                note=take.conditions.note,
                made=take.time_utc,
                sound=sound,
                outcome=take.outcome,
                findings=take.findings,
                is_fitted=take.name in answer.takes,
                temperature=temperature_text(take.conditions.temperature_c),
            )
        )
    references = [("dcr", wish.dcr)] if wish.dcr else []
    references += _known_rows(logbook, has_dcr=wish.dcr is not None)
    fitted = [take for take in listed.takes if take.name in answer.takes]
    references += [(f"added in {take.name}", take.conditions.added) for take in fitted if take.conditions.added]
    return Sheet(
        answer=answer,
        takes=tuple(sheets),
        rig=tuple((key, value) for key, value in rig_rows(rig_of(logbook))),
        references=tuple(references),
        warnings=warnings,
        made_by=f"coilsweep {metadata.version('coilsweep')}, {time_now()}",
        verdicts=_verdicts(logbook, answer),
    )


def _known_rows(logbook: Logbook, *, has_dcr: bool) -> list[tuple[str, str]]:
    """List what instrument.toml states with a bound, and a fit therefore relies on; a dcr that was typed goes before its own."""
    from fit.circuit.instrument import stated_values

    if not instrument_path(logbook).exists():
        return []
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    known = {
        key: one.quantity.text
        for key, one in stated.items()
        if one.quantity is not None and one.quantity.bound is not None and not one.is_marked
    }
    return [(f"{key}, instrument.toml", text) for key, text in known.items() if not (has_dcr and key.endswith(".dcr"))]


def _verdicts(logbook: Logbook, answer: PickupAnswer) -> "tuple[ConfirmAnswer, ...]":
    """Judge every part that instrument.toml calls marked and that the takes tell."""
    from fit.circuit.instrument import stated_values
    from fit.desk.questions.confirm import judge_part

    if not instrument_path(logbook).exists():
        return ()
    stated = stated_values(read_instrument_file(instrument_path(logbook)))
    marked = {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}
    return tuple(judge_part(key, quantity, answer) for key, quantity in marked.items() if key in answer.quantities)


# In one step, so that an interrupted run leaves the old page whole.
def _replace(file: Path, page: str) -> None:
    draft = file.with_name(f".{file.name}.writing")
    try:
        draft.write_text(page, encoding="utf-8")
        draft.replace(file)
    except OSError as err:
        draft.unlink(missing_ok=True)
        msg = f"{file}: cannot be written ({err.strerror}). Check the folder, its permissions and the space on the disk."
        raise FileError(msg) from err
