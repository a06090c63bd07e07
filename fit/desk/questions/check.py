"""The command check: a kept coil, measured now and then, on control charts; a drift warns later results."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from fit.answers.repeat.control_chart import LEAST_POINTS, chart_coil
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drift import drift_warnings
from fit.desk.book.fits import take_to_fit
from fit.desk.book.take_sets import common_quantities, fit_sets, split_into_sets
from fit.desk.show.figures.repeat import check_figure
from fit.desk.show.sheets.check import PICTURE, Checked, check_document, record_of, sheet_of_check, shown_of
from fit.desk.show.sheets.take_sets import FittedSet, TakeSets, named
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.drifts import keep_checked
from measure.logbook.naming import check_name
from measure.logbook.store import Logbook, list_takes, open_logbook
from measure.logbook.take import Take

SEPARATORS = ("-", "_", ".")  # between a coil's name and the rest of a take's
MOST_LISTED = 12  # names in a message


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckWish:
    """What is to be checked, as it was typed.

    Attributes
    ----------
    names : tuple of str
        Its takes; empty for all whose names are the coil's or begin with it.
    quantity : str or None
        That is drawn; None for the one that is furthest off.
    """

    coil: str
    names: tuple[str, ...] = ()
    dcr: str | None = None
    quantity: str | None = None


def check_coil(desk: Desk, wish: CheckWish) -> Outcome:
    """Say whether a kept coil still measures as it did, and keep that for later results.

    Returns
    -------
    Outcome
        Charts with their limits, and what they say.

    Raises
    ------
    ValueError
        If the coil has no name that takes could have, or a quantity is asked for that is not told.
    FileError
        If it has no takes.
    """
    check_name(wish.coil)
    logbook = open_logbook(desk.logbook)
    takes, noticed = _takes_of(logbook, wish)
    split = split_into_sets(logbook, takes)
    split, spare = _one_each(split)
    known = drift_warnings(logbook, takes)
    fitted, warnings = fit_sets(desk, logbook, split, dcr=wish.dcr)
    fitted, lacking = _telling(fitted)
    warnings = (*noticed, *spare, *lacking, *(text for text in warnings if text not in known))
    found = _chart(wish.coil, split, fitted, warnings)
    if wish.quantity is not None and wish.quantity not in found.values:
        told = ", ".join(found.values) or "none"
        msg = f'"{plain_text(wish.quantity[:60])}" is no quantity that every measurement tells; these are: {told}'
        raise ValueError(msg)
    if found.charts:
        keep_checked(logbook, wish.coil, record_of(found))
    quantity = wish.quantity or (_furthest(found) if found.charts else "")
    figures = {PICTURE.name: partial(check_figure, found, quantity)}
    return Outcome(document=check_document(found), sheet=sheet_of_check(found), figures=figures)


# Takes that a person would call the coil's: its name, alone or with something behind a separator.
def _takes_of(logbook: Logbook, wish: CheckWish) -> tuple[list[Take], list[str]]:
    if wish.names:
        return [take_to_fit(logbook, name) for name in wish.names], []
    listed = list_takes(logbook).takes
    begins = tuple(f"{wish.coil}{mark}" for mark in SEPARATORS)
    own = [take for take in listed if take.name == wish.coil or take.name.startswith(begins)]
    usable = [take for take in own if take.outcome != "rejected" and take.conditions.method != "quiet"]
    if not usable:
        there = ", ".join(take.name for take in listed[:MOST_LISTED]) or "none yet"
        msg = (
            f"no take to be fitted is called {wish.coil} or {wish.coil}-…: measure the kept coil under such names, for example "
            f"coilsweep take {wish.coil}-1, or name its takes: coilsweep check {wish.coil} NAME...; there are: {there}"
        )
        raise FileError(msg)
    rejected = [take.name for take in own if take.outcome == "rejected"]
    notes = [f"{named(rejected)}: rejected, and left out"] if rejected else []
    return [take_to_fit(logbook, take.name) for take in usable], notes


def _one_each(split: TakeSets) -> tuple[TakeSets, list[str]]:
    """Keep the first set of each placement: repeats within one would make the scatter look smaller than it is."""
    first = {one.placement: one for one in reversed(split.sets)}
    kept = tuple(one for one in split.sets if first[one.placement] is one)
    spare = [name for one in split.sets if first[one.placement] is not one for name in one.names]
    notes = [f"{named(spare)}: not on the charts, which have one measurement each time the exciter is laid down"] if spare else []
    return TakeSets(sets=kept, loads=split.loads, notes=split.notes), notes


def _telling(fitted: tuple[FittedSet, ...]) -> tuple[tuple[FittedSet, ...], list[str]]:
    """Leave out misfits that tell less than the rest; the others stay, for what a drift does may be a misfit."""
    good = [one for one in fitted if one.answer.outcome == "good"]
    told = set(common_quantities(good)[0] if good else ())
    kept = tuple(one for one in fitted if one.answer.outcome == "good" or told <= set(one.answer.quantities))
    lost = [name for one in fitted if one not in kept for name in one.takes.names]
    return kept, [f"{named(lost)}: not on the charts, for they misfit and do not tell what the others do"] if lost else []


def _chart(coil: str, split: TakeSets, fitted: tuple[FittedSet, ...], warnings: Sequence[str]) -> Checked:
    told, untold = common_quantities(fitted) if fitted else ([], [])
    values = {key: tuple(one.answer.quantities[key].value for one in fitted) for key in told}
    return Checked(
        coil=coil,
        split=split,
        fitted=fitted,
        values=values,
        units={key: fitted[0].answer.quantities[key].unit for key in told},
        charts={key: chart_coil(own) for key, own in values.items()} if len(fitted) >= LEAST_POINTS else {},
        untold=tuple(untold),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _furthest(found: Checked) -> str:
    shown = shown_of(found)

    def distance(key: str) -> float:
        charts = found.charts[key]
        if charts.drift is None:
            return 0.0
        return abs(charts.drift.size) / (charts.baseline.sigma or 1.0)

    return max(shown, key=distance)
