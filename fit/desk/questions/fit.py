"""The command fit: what the pickup is, or the guitar."""

from dataclasses import asdict, replace
from functools import partial

from fit.answers.parts.fitted import measured_document
from fit.answers.pickup.answer import PickupAnswer
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.evidence import RESULT_FILE, FitWish
from fit.desk.book.fits import fit_of
from fit.desk.book.instrument import LIMIT_BYTES
from fit.desk.book.kept_fit import text_sha256
from fit.desk.questions.report import figures_of, report_of
from fit.desk.show.document.pickup import fit_document
from fit.desk.show.document.pieces import plain
from fit.desk.show.sheets.fit import sheet_of_fit
from measure.logbook.disk import read_small
from measure.logbook.store import Logbook, instrument_path, open_logbook, write_result


def fit_takes(desk: Desk, wish: FitWish) -> Outcome:
    """Say what the pickup is.

    Returns
    -------
    Outcome
        Values with intervals, and what they rest on.
    """
    import json

    logbook = open_logbook(desk.logbook)
    found = fit_of(desk, logbook, wish)
    answer, warnings = found.answer, found.warnings
    document = fit_document(answer, warnings=warnings, released=found.released)
    kept = {"wish": asdict(wish), "answer": plain(document), "parts": _parts_document(logbook, answer)}
    write_result(logbook, RESULT_FILE, json.dumps(kept, ensure_ascii=False, indent=1).encode())
    return Outcome(
        document=document,
        sheet=sheet_of_fit(answer, warnings=warnings),
        figures=figures_of(answer, logbook),
        page=partial(report_of, logbook, answer, wish, warnings),
    )


def _parts_document(logbook: Logbook, answer: PickupAnswer) -> dict[str, object] | None:
    """Values for predictions, with the fingerprint of the instrument.toml that they belong to."""
    if answer.parts is None:
        return None
    path = instrument_path(logbook)
    fingerprint = text_sha256(read_small(path, LIMIT_BYTES)) if path.exists() else ""
    return measured_document(replace(answer.parts, instrument_sha256=fingerprint))
