"""The command repeat: how well the bench repeats, and whether the stated intervals hold on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from fit.answers.repeat.repeatability import Result, judge_repeatability, own_part
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.fits import take_to_fit
from fit.desk.book.take_sets import common_quantities, fit_sets, split_into_sets
from fit.desk.show.figures.repeat import repeat_figure
from fit.desk.show.sheets.repeat import PICTURE, Repeated, advice_of, repeat_document, sheet_of_repeat
from fit.desk.show.sheets.take_sets import FittedSet, sets_text
from measure.logbook.store import open_logbook


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatWish:
    """What is to be judged, as it was typed."""

    names: tuple[str, ...]
    dcr: str | None = None


def repeat_takes(desk: Desk, wish: RepeatWish) -> Outcome:
    """Say how well the bench repeats.

    Returns
    -------
    Outcome
        Standard deviations with their intervals, what they do to a result, whether stated intervals hold.

    Raises
    ------
    ValueError
        If the takes make up fewer than two sets, or have no quantity in common.
    """
    logbook = open_logbook(desk.logbook)
    split = split_into_sets(logbook, [take_to_fit(logbook, name) for name in wish.names])
    if len(split.sets) < 2:
        there = sets_text(split, 1) if split.sets else "no whole set"
        msg = (
            f"these takes make up {there}, a spread needs two: lay the coil down anew, make the same takes again "
            "(--coil-moved with the first), and name all of them"
        )
        raise ValueError(msg)
    whole, warnings = fit_sets(desk, logbook, split, dcr=wish.dcr)
    fitted = tuple(one for one in whole if one.answer.outcome == "good")
    if len(fitted) < len(whole):
        warnings = (f"{len(whole) - len(fitted)} of {len(whole)} sets misfit and are left out", *warnings)
    if len(fitted) < 2:
        how = f"coilsweep fit {' '.join(split.sets[0].names)}"
        msg = f"{len(fitted)} of {len(split.sets)} sets came out good, a spread needs two: see {how}"
        raise ValueError(msg)
    told, untold = common_quantities(fitted)
    if not told:
        msg = "no quantity is told by every set: see coilsweep fit for what a set of these takes tells"
        raise ValueError(msg)
    quantities = {key: judge_repeatability(_results(fitted, key), n_quantities=len(told)) for key in told}
    found = Repeated(
        split=split,
        fitted=fitted,
        quantities=quantities,
        untold=tuple(untold),
        advice=advice_of(quantities[told[0]], fitted),
        warnings=warnings,
    )
    figures = {PICTURE.name: partial(repeat_figure, found)}
    return Outcome(document=repeat_document(found), sheet=sheet_of_repeat(found), figures=figures)


def _results(fitted: Sequence[FittedSet], key: str) -> list[Result]:
    return [
        Result(
            day=one.takes.day,
            placement=one.takes.placement,
            value=one.answer.quantities[key].value,
            stated_std=one.answer.quantities[key].standard_uncertainty,
            stated_half=(one.answer.quantities[key].high - one.answer.quantities[key].low) / 2,
            own_std=own_part(one.answer.budget.get(key, ())),
        )
        for one in fitted
    ]
