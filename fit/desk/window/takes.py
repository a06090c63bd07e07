"""The logbook on the page: takes by day with outcome, checks, note and a small picture; a note amended."""

from itertools import groupby
from pathlib import Path

import numpy as np

from fit.desk.bench.mend import amend
from fit.desk.book.desk import silent_desk
from fit.desk.book.response import take_response
from fit.desk.show.sheets.takes import OUTCOMES, stated_text
from fit.desk.show.words import plain_text
from fit.desk.window import messages
from fit.desk.window.computed import Day, TakeLine, Takes
from fit.desk.window.messages import Curve
from fit.desk.window.result import thin
from fit.desk.window.what_if import DB_PER_NEPER, hertz, levels
from measure.errors import MeasureError
from measure.logbook.days import days_of
from measure.logbook.store import Logbook, list_takes, open_logbook, removed_folders
from measure.logbook.take import Take

SMALL_POINTS = 96  # of a small picture
LOW_HZ, HIGH_HZ = 40.0, 20e3  # [Hz] that it shows


def list_all(folder: Path, *, said: str = "") -> Takes:
    """List the takes of a logbook.

    Parameters
    ----------
    said : str
        What was done before.

    Raises
    ------
    FileError
        If it is no logbook.
    """
    if not folder.exists():
        return Takes(logbook=plain_text(str(folder.resolve())), days=(), damaged={}, removed=())
    logbook = open_logbook(folder)
    listing = list_takes(logbook)
    days = days_of(listing.takes)
    groups = groupby(listing.takes, key=lambda take: days[take.name])
    return Takes(
        logbook=plain_text(str(folder.resolve())),
        days=tuple(_day(logbook, list(takes)) for _, takes in groups),
        damaged={plain_text(name): plain_text(why) for name, why in listing.damaged.items()},
        removed=tuple(map(plain_text, removed_folders(logbook))),
        said=said,
    )


def amend_note(folder: Path, asked: messages.TakeAmend) -> Takes:
    """Put another note on a take, as ``takes amend --note`` does.

    Raises
    ------
    FileError
        If there is no such take.
    """
    amend(silent_desk(folder), asked.name, {"note": asked.note.strip()})
    return list_all(folder, said=f"Note of take {plain_text(asked.name)} kept; its recordings are untouched.")


def _day(logbook: Logbook, takes: list[Take]) -> Day:
    return Day(date=takes[0].time_utc[:10], takes=tuple(_line(logbook, take) for take in takes))


def _line(logbook: Logbook, take: Take) -> TakeLine:
    stated = take.conditions
    facts = [stated.item or "", stated_text(stated), f"by {stated.operator}" if stated.operator else ""]
    return TakeLine(
        name=take.name,
        time_utc=take.time_utc,
        text=plain_text("; ".join(fact for fact in facts if fact)),
        outcome=take.outcome,
        level=OUTCOMES[take.outcome],
        checks=tuple(plain_text(one.text) for one in take.findings if one.severity != "pass"),
        note=stated.note,
        marks=tuple(word for word, is_so in (("simulated", take.simulated), ("amended", take.amended)) if is_so),
        picture=_picture(logbook, take),
    )


# What cannot be drawn is listed without a picture: why, its checks tell.
def _picture(logbook: Logbook, take: Take) -> Curve | None:
    if take.outcome == "rejected" or take.conditions.method == "quiet":
        return None
    try:
        response = take_response(logbook, take)
    except (MeasureError, ValueError, OSError):
        return None
    shown = np.flatnonzero((response.frequency_hz >= LOW_HZ) & (response.frequency_hz <= HIGH_HZ) & (response.value != 0))
    if not shown.size:
        return None
    at = shown[thin(response.frequency_hz[shown], SMALL_POINTS)]
    db = DB_PER_NEPER * np.log(np.abs(response.value[at]))
    return Curve(label=take.name, frequency_hz=hertz(response.frequency_hz[at]), db=levels(np.round(db, 2)))
