"""What a job changed, for the page: responses one over the other, their difference with its band, verdicts in words."""

from pathlib import Path

import numpy as np

from fit.answers.compare.comparison import ResponseChange
from fit.answers.compare.shielding import ShieldingAnswer
from fit.answers.figures import COVERAGE
from fit.desk.book.desk import silent_desk
from fit.desk.book.response import take_response
from fit.desk.questions.compare import CompareWish, compare_kept, compare_sides
from fit.desk.show.document.pieces import plain
from fit.desk.show.page import fragment
from fit.desk.show.sheet import Sheet
from fit.desk.show.words import plain_text
from fit.desk.window import messages
from fit.desk.window.computed import ChangedResponse, Compared
from fit.desk.window.messages import Curve
from fit.desk.window.result import parted, thin
from fit.desk.window.what_if import DB_PER_NEPER, hertz, levels
from measure.logbook.store import Logbook, list_takes, open_logbook, read_take
from measure.response import FloatArray

NOTHING = Sheet("", ())


def compared_of(folder: Path, asked: messages.CompareOpen) -> Compared:
    """Compare takes of both sides as ``compare`` does.

    Returns
    -------
    Compared
        Without an answer where no side is named and the takes do not say which were made after a job.

    Raises
    ------
    ValueError
        If the two sides have nothing in common, or a take is named twice.
    """
    if not folder.exists():
        return _nothing(())
    logbook = open_logbook(folder)
    usable = [take for take in list_takes(logbook).takes if take.outcome != "rejected"]
    choices = tuple(take.name for take in usable)
    before, after = asked.before, asked.after
    if not (before or after):
        after = tuple(take.name for take in usable if take.conditions.is_after)
        before = tuple(take.name for take in usable if not take.conditions.is_after) if after else ()
    if not (before or after):
        return _nothing(choices)
    desk, wish = silent_desk(folder), CompareWish(before=before, after=after)
    told = compare_sides(desk, wish)
    found = compare_kept(desk, logbook, wish)
    first, rest = parted(told.sheet) if told.sheet is not None else (NOTHING, NOTHING)
    return Compared(
        before=before,
        after=after,
        choices=choices,
        answer_html=fragment(first),
        sheet_html=fragment(rest),
        responses=tuple(_changed(logbook, one) for one in found.parts.responses) if found.parts is not None else (),
        foil=None if found.shielding is None else _foil(found.shielding),
        simulated=found.simulated,
        document=plain(told.document),
    )


def _nothing(choices: tuple[str, ...]) -> Compared:
    return Compared(
        before=(),
        after=(),
        choices=choices,
        answer_html="",
        sheet_html="",
        responses=(),
        foil=None,
        simulated=False,
        document=None,
    )


def _changed(logbook: Logbook, pair: ResponseChange) -> ChangedResponse:
    frequency_hz = hertz(pair.frequency_hz)
    label = f"{plain_text(pair.before)} to {plain_text(pair.after)}"
    return ChangedResponse(
        before=plain_text(pair.before),
        after=plain_text(pair.after),
        overlay=tuple(_response(logbook, name) for name in (pair.before, pair.after)),
        change=_banded(label, pair.frequency_hz, pair.change_db, COVERAGE * pair.change_db_std),
        recorded=Curve(label=f"{label}, recorded", frequency_hz=frequency_hz, db=levels(pair.measured_db)),
    )


def _response(logbook: Logbook, name: str) -> Curve:
    response = take_response(logbook, read_take(logbook, name))
    at = thin(response.frequency_hz)
    size = np.abs(response.value[at])
    std = np.sqrt(np.trace(response.covariance[at], axis1=1, axis2=2) / 2)
    half = COVERAGE * DB_PER_NEPER * std / np.maximum(size, np.finfo(float).tiny)
    db = DB_PER_NEPER * np.log(np.maximum(size, np.finfo(float).tiny))
    return _banded(plain_text(name), response.frequency_hz[at], db, half)


def _foil(shielding: ShieldingAnswer) -> Curve:
    clear = shielding.is_clear
    half = COVERAGE * shielding.std_db[clear]
    return _banded("signal of the foil", shielding.frequency_hz[clear], shielding.ratio_db[clear], half)


def _banded(label: str, frequency_hz: FloatArray, db: FloatArray, half: FloatArray) -> Curve:
    return Curve(
        label=label,
        frequency_hz=hertz(frequency_hz),
        db=levels(db),
        low_db=levels(db - half),
        high_db=levels(db + half),
    )
