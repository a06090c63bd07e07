"""One function a command: inspect, fit, report. Plain data in, lines and one JSON document out."""

from dataclasses import asdict, replace
from pathlib import Path

from fit.answers.parts.fitted import measured_document
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.tapers import read_tapers
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.evidence import RESULT_FILE, FitWish
from fit.desk.book.fits import fit_of
from fit.desk.book.instrument import LIMIT_BYTES
from fit.desk.book.kept_fit import text_sha256
from fit.desk.show.document import Document, answer_document
from fit.desk.show.sheets.fit import answer_lines
from measure.logbook.disk import read_small
from measure.logbook.store import Logbook, instrument_path, open_logbook, write_result


def fit_takes(desk: Desk, wish: FitWish, *, plot_file: Path | None = None, taper_file: Path | None = None) -> Outcome:
    """Say what the pickup is.

    Parameters
    ----------
    desk : Desk
        Where.
    wish : FitWish
        Takes and references.
    plot_file, taper_file : Path or None
        Pictures to be written, of the fit and of the pots' tapers, ending in .png.

    Returns
    -------
    Outcome
        Values with intervals, and what they rest on.

    Raises
    ------
    ValueError
        If the picture's name does not end in .png.
    """
    import json

    for file in (plot_file, taper_file):
        if file is not None and file.suffix.lower() != ".png":
            msg = f"{file}: the picture is written as PNG, give a name that ends in .png"
            raise ValueError(msg)
    logbook = open_logbook(desk.logbook)
    found = fit_of(desk, logbook, wish)
    answer, warnings = found.answer, found.warnings
    document = answer_document(answer, warnings=warnings, released=found.released)
    kept = {"wish": asdict(wish), "answer": document, "parts": _parts_document(logbook, answer)}
    write_result(logbook, RESULT_FILE, json.dumps(kept, ensure_ascii=False, indent=1).encode())
    if plot_file is not None:
        from fit.desk.show.figures.style import response_figure, write_png

        write_png(response_figure(answer), plot_file)
        desk.say(f"Written: {plot_file}")
    if taper_file is not None:
        from fit.desk.show.figures.style import write_png
        from fit.desk.show.figures.taper import taper_figure

        write_png(taper_figure(read_tapers(answer.quantities, answer.tapers), simulated=answer.simulated), taper_file)
        desk.say(f"Written: {taper_file}")
    return Outcome(lines=tuple(answer_lines(answer, warnings=warnings)), document=document)


def _parts_document(logbook: Logbook, answer: PickupAnswer) -> Document | None:
    """Values for predictions, with the fingerprint of the instrument.toml that they belong to."""
    if answer.parts is None:
        return None
    path = instrument_path(logbook)
    fingerprint = text_sha256(read_small(path, LIMIT_BYTES)) if path.exists() else ""
    return measured_document(replace(answer.parts, instrument_sha256=fingerprint))
