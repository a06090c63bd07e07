"""The command fit: what the pickup is, or the guitar."""

from dataclasses import asdict, replace
from functools import partial

import msgspec

from fit.answers.parts.fitted import measured_document
from fit.answers.pickup.answer import PickupAnswer
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.fits import RESULT_FILE, FitWish, fit_of
from fit.desk.book.history import earlier_of, keep_in_history, read_history, result_of
from fit.desk.book.instrument import LIMIT_BYTES, instrument_beside
from fit.desk.book.kept_fit import fingerprints, text_sha256
from fit.desk.book.next_step import after_fit
from fit.desk.questions.report import figures_of, marked_in, report_of
from fit.desk.show.document.pickup import fit_document
from fit.desk.show.document.pieces import plain
from fit.desk.show.sheets.fit import sheet_of_fit
from fit.desk.show.sheets.history import Earlier, earlier_section
from fit.desk.show.sheets.notices import next_section
from measure.errors import FileError
from measure.logbook.disk import read_small
from measure.logbook.store import Logbook, instrument_path, open_logbook, write_result

NOT_BY_DATE = "not kept among the results by date"


def fit_takes(desk: Desk, wish: FitWish, *, leads_on: bool = False) -> Outcome:
    """Say what the pickup is.

    Parameters
    ----------
    leads_on : bool
        Say what to type next.

    Returns
    -------
    Outcome
        Values with intervals, and what they rest on.
    """
    import json

    logbook = open_logbook(desk.logbook)
    found = fit_of(desk, logbook, wish)
    answer, warnings = found.answer, found.warnings
    before, complaint = _earlier(logbook, answer)
    warnings = (*warnings, *complaint)
    document = fit_document(answer, warnings=warnings, released=found.released)
    if before is not None:
        document = msgspec.structs.replace(document, earlier=before.result)
    kept = {"wish": asdict(found.wish), "answer": plain(document), "parts": _parts_document(logbook, answer)}
    kept["stated"] = {name: sha256 for name, sha256 in fingerprints(logbook).items() if name in answer.takes}
    write_result(logbook, RESULT_FILE, json.dumps(kept, ensure_ascii=False, indent=1).encode())
    if not complaint:  # only now: where the fit itself cannot be kept, nothing is
        late = _kept_by_date(logbook, answer)
        warnings, document = (*warnings, *late), msgspec.structs.replace(document, warnings=(*document.warnings, *late))
    sheet = sheet_of_fit(answer, warnings=warnings)
    beside = instrument_beside(logbook)
    following = after_fit(logbook, found, marked_in(beside, answer)) if leads_on else ""
    return Outcome(
        document=document,
        sheet=replace(sheet, blocks=(*sheet.blocks, *earlier_section(before), *next_section(following))),
        figures=figures_of(answer, logbook, beside),
        page=partial(report_of, logbook, answer, found.wish.dcr, warnings, beside),
    )


def _earlier(logbook: Logbook, answer: PickupAnswer) -> tuple[Earlier | None, tuple[str, ...]]:
    """Find what was found before; where the file is damaged, that is said and nothing else suffers."""
    try:
        kept = read_history(logbook)
        return earlier_of(logbook, result_of(logbook, answer), kept=kept), ()
    except FileError as err:
        return None, (f"{NOT_BY_DATE}: {err}",)


def _kept_by_date(logbook: Logbook, answer: PickupAnswer) -> tuple[str, ...]:
    """Keep what was found beside what was before; where that cannot be written, it is said."""
    try:
        keep_in_history(logbook, answer)
    except FileError as err:
        return (f"{NOT_BY_DATE}: {err}",)
    return ()


def _parts_document(logbook: Logbook, answer: PickupAnswer) -> dict[str, object] | None:
    """Values for predictions, with the fingerprint of the instrument.toml that they belong to."""
    if answer.parts is None:
        return None
    path = instrument_path(logbook)
    fingerprint = text_sha256(read_small(path, LIMIT_BYTES)) if path.exists() else ""
    return measured_document(replace(answer.parts, instrument_sha256=fingerprint))
