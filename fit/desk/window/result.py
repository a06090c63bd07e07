"""What was found, for the page: the answer first, responses with model and error bars, and the takes that would narrow it."""

import contextlib
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import numpy as np

from fit.answers.figures import COVERAGE, NextTake
from fit.answers.figures import Curve as Agreement
from fit.answers.pickup.answer import PickupAnswer
from fit.circuit.controls import split_settings
from fit.desk.book.desk import silent_desk
from fit.desk.book.fits import FitWish, fit_of, last_wish
from fit.desk.book.instrument import instrument_beside
from fit.desk.book.next_step import free_name
from fit.desk.guide.console import JOBS, read_memory, takes_of
from fit.desk.guide.plan import with_further
from fit.desk.guide.session import Job
from fit.desk.questions.fit import fit_takes
from fit.desk.questions.report import report_of
from fit.desk.show.document.pieces import plain
from fit.desk.show.page import fragment
from fit.desk.show.sheet import Drawing, Section, Sheet
from fit.desk.show.sheets.fit import is_loss, sheet_of_fit
from fit.desk.show.words import command_text, in_order, plain_text, quantity_name
from fit.desk.window import messages
from fit.desk.window.computed import FittedTake, Narrower, Result
from fit.desk.window.messages import Curve
from fit.desk.window.what_if import DB_PER_NEPER, hertz, levels
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.store import Logbook, list_takes, open_logbook
from measure.logbook.take import Take
from measure.response import FloatArray

FITTED = ("exciter", "impedance")  # methods whose takes tell parts
MOST_NARROWER = 6
MOST_POINTS = 400  # of a curve on the page


def result_of(folder: Path, asked: messages.ResultOpen) -> Result:
    """Fit takes, or read the fit that is kept, as ``fit`` does.

    Returns
    -------
    Result
        Without an answer where nothing was fitted yet and no take is named.

    Raises
    ------
    ValueError
        If the takes do not go together.
    FileError
        If there is no such take.
    """
    if not folder.exists():
        return nothing_found(())
    logbook = open_logbook(folder)
    choices = tuple(take.name for take in list_takes(logbook).takes if _is_fit_for_it(take))
    wish = last_wish(logbook, is_needed=False)
    if asked.takes and (asked.takes != wish.names or (asked.dcr or None) != wish.dcr):
        wish = FitWish(names=asked.takes, dcr=asked.dcr or None)
    if not wish.names:
        return nothing_found(choices)
    desk = silent_desk(folder)
    found = fit_takes(desk, wish)
    made = fit_of(desk, logbook, wish)
    answer = made.answer
    first, _ = parted(report_of(logbook, answer, wish.dcr, made.warnings, instrument_beside(logbook)))
    _, rest = parted(sheet_of_fit(answer, warnings=made.warnings, with_limits=True))
    return Result(
        takes=answer.takes,
        choices=choices,
        answer_html=fragment(first),
        sheet_html=fragment(rest),
        fitted=tuple(_fitted(one) for one in answer.curves),
        narrower=_narrower(logbook, answer),
        job=_job_of(logbook, answer.takes),
        outcome=answer.outcome,
        simulated=answer.simulated,
        document=plain(found.document),
    )


def nothing_found(choices: tuple[str, ...]) -> Result:
    """Answer where nothing was fitted yet."""
    return Result(
        takes=(),
        choices=choices,
        answer_html="",
        sheet_html="",
        fitted=(),
        narrower=(),
        job="",
        outcome="",
        simulated=False,
        document=None,
    )


def parted(sheet: Sheet) -> tuple[Sheet, Sheet]:
    """Part what comes first, to stand above the curves, from the sections; drawings, whose style a page refuses, are left out."""
    blocks = tuple(block for block in sheet.blocks if not isinstance(block, Drawing))
    first = next((place for place, block in enumerate(blocks) if isinstance(block, Section)), len(blocks))
    return Sheet(sheet.title, blocks[:first]), Sheet(sheet.title, blocks[first:])


def _is_fit_for_it(take: Take) -> bool:
    return take.conditions.method in FITTED and take.outcome != "rejected"


def thin(frequency_hz: FloatArray, most: int = MOST_POINTS) -> np.ndarray:
    """Choose points evenly over octaves, where there are more than a page can show.

    Returns
    -------
    ndarray of int
        Places of those that are kept, from the lowest on.
    """
    if len(frequency_hz) <= most:
        return np.arange(len(frequency_hz))
    wanted = np.geomspace(frequency_hz[0], frequency_hz[-1], most)
    return np.unique(np.clip(np.searchsorted(frequency_hz, wanted), 0, len(frequency_hz) - 1))


def _fitted(one: Agreement) -> FittedTake:
    at = thin(one.frequency_hz)
    measured, model = np.abs(one.measured[at]), np.abs(one.model[at])
    half = COVERAGE * DB_PER_NEPER * one.measured_std[at] / measured / np.sqrt(2)
    measured_db, model_db = DB_PER_NEPER * np.log(measured), DB_PER_NEPER * np.log(model)
    left = model_db - measured_db
    frequency_hz = hertz(one.frequency_hz[at])
    name = plain_text(one.take)

    def with_bars(db: FloatArray) -> Curve:
        return Curve(label=name, frequency_hz=frequency_hz, db=levels(db), low_db=levels(db - half), high_db=levels(db + half))

    return FittedTake(
        take=name,
        measured=with_bars(measured_db),
        model=Curve(label=f"{name}, model", frequency_hz=frequency_hz, db=levels(model_db)),
        residual=with_bars(left),
    )


# A take that narrows several values is told once, with the one that it narrows most.
def _narrower(logbook: Logbook, answer: PickupAnswer) -> tuple[Narrower, ...]:
    found: dict[tuple[str, tuple[str, ...]], tuple[float, Narrower]] = {}
    for key, take in _proposals(answer):
        estimate = answer.quantities.get(key)
        now = None if estimate is None or not estimate.value else estimate.standard_uncertainty / abs(estimate.value)
        gain = 1e9 if now is None else now / max(take.predicted_relative_std, 1e-9)
        if gain > 1.1 and gain > found.get((take.add, take.controls), (0.0, None))[0]:
            percent = 100 * (COVERAGE if estimate is None else estimate.coverage_factor)  # as the interval in the table
            is_now = "" if now is None else f" (now ± {percent * now:.2g} %)"
            reach = f"{quantity_name(key)} to ± {percent * take.predicted_relative_std:.2g} %{is_now}"
            found[take.add, take.controls] = (gain, _told(logbook, take, reach))
    ranked = sorted(found.values(), key=lambda one: -one[0])
    return tuple(one for _, one in ranked[:MOST_NARROWER])


# Where the takes were made otherwise, the guide cannot go on from them.
def _job_of(logbook: Logbook, names: tuple[str, ...]) -> Job | Literal[""]:
    for job in JOBS:
        with contextlib.suppress(FileError):  # a damaged session is told of where it is opened
            memory = read_memory(logbook, job)
            if memory is not None and set(takes_of(memory)) == set(names) and with_further(memory, Conditions()) is not None:
                return job
    return ""


def _proposals(answer: PickupAnswer) -> Iterable[tuple[str, NextTake]]:
    for one in answer.not_identified:
        if one.next_take is not None:
            yield one.quantity, one.next_take
    for key in in_order(key for key in answer.next_takes if not is_loss(key)):
        for take in answer.next_takes[key]:
            yield key, take


def _told(logbook: Logbook, take: NextTake, reach: str) -> Narrower:
    controls = split_settings(take.controls)
    words = ["take", free_name(logbook, "further"), *(["--add", take.add] if take.add else [])]
    words += [word for name, at in controls.items() for word in ("--set", f"{name}={at}")]
    return Narrower(
        text=plain_text(f"{take.text}: {reach}"),
        added=take.add,
        controls=controls,
        command=command_text(words, logbook.path),
    )
