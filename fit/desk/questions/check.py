"""The command check: a kept coil, measured now and then, on control charts; a drift warns later results."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from fit.answers.digits import interval_texts
from fit.answers.repeat.control_chart import BASELINE_POINTS, EWMA_WEIGHT, LEAST_POINTS, Chart, Charts, chart_coil
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drift import change_text, drift_size, drift_warnings
from fit.desk.book.take import take_to_fit
from fit.desk.book.take_sets import FittedSet, TakeSets, common_quantities, fit_sets, named, shown_quantities, split_into_sets
from fit.desk.show.document import Document
from fit.desk.show.words import SIMULATED_TEXT, in_sentence, plain_text, quantity_name, table_lines
from measure.errors import FileError
from measure.logbook.checked import CheckedCoil, DriftRecord, keep_checked
from measure.logbook.naming import check_name
from measure.logbook.store import Logbook, list_takes, open_logbook
from measure.logbook.take import Take, time_now
from measure.response import FloatArray

SEPARATORS = ("-", "_", ".")  # between a coil's name and the rest of a take's
MOST_LISTED = 12  # names in a message
SHOWN_LATEST = 3  # values, where there are too few for limits

State = Literal["within limits", "drifted", "outside", "too few"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckWish:
    """What is to be checked, as it was typed.

    Attributes
    ----------
    coil : str
        Name of the kept coil.
    names : tuple of str
        Its takes; empty for all whose names are the coil's or begin with it.
    dcr : str or None
        From a multimeter.
    quantity : str or None
        That is drawn; None for the one that is furthest off.
    """

    coil: str
    names: tuple[str, ...] = ()
    dcr: str | None = None
    quantity: str | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checked:
    """What a check found, for lines, document and picture.

    Attributes
    ----------
    coil : str
        Its name.
    split : TakeSets
        How the takes were put together.
    fitted : tuple of FittedSet
        The measurements in the order of time.
    values : dict of str to tuple of float
        Each quantity's, in the order in which people ask for them. [`units`]
    units : dict of str to str
        Of the quantities.
    charts : dict of str to Charts
        Empty where there are too few measurements.
    untold : tuple of str
        Quantities that not every measurement tells.
    warnings : tuple of str
        One line each.
    """

    coil: str
    split: TakeSets
    fitted: tuple[FittedSet, ...]
    values: dict[str, tuple[float, ...]]
    units: dict[str, str]
    charts: dict[str, Charts]
    untold: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def simulated(self) -> bool:
        """A take came from the virtual bench."""
        return any(one.answer.simulated for one in self.fitted)

    @property
    def state(self) -> State:
        """What it came to."""
        drifts = [charts.drift for charts in self.charts.values() if charts.drift is not None]
        if not self.charts:
            return "too few"
        if not drifts:
            return "within limits"
        return "drifted" if any(drift.is_lasting for drift in drifts) else "outside"


def check_coil(desk: Desk, wish: CheckWish, *, plot_file: Path | None = None) -> Outcome:
    """Say whether a kept coil still measures as it did, and keep that for later results.

    Parameters
    ----------
    desk : Desk
        Where.
    wish : CheckWish
        Coil and takes.
    plot_file : Path or None
        Picture to be written, ending in .png or .svg.

    Returns
    -------
    Outcome
        Charts with their limits, and what they say.

    Raises
    ------
    ValueError
        If the coil has no name that takes could have, a quantity is asked for that is not told, or one is to be drawn of too few
        measurements.
    FileError
        If it has no takes.
    """
    from fit.desk.show.figures.repeat import check_figure, require_picture, write_picture

    if plot_file is not None:
        require_picture(plot_file)
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
    if plot_file is not None and not found.charts:
        msg = f"{_few_text(len(fitted))}; there is nothing to draw yet"
        raise ValueError(msg)
    if found.charts:
        keep_checked(logbook, wish.coil, _record(found))
    if plot_file is not None:
        write_picture(check_figure(found, wish.quantity or _furthest(found)), plot_file)
        desk.say(f"Written: {plot_file}")
    return Outcome(lines=tuple(check_lines(found)), document=check_document(found))


def check_lines(found: Checked) -> list[str]:
    """Everything that ``check`` says.

    Parameters
    ----------
    found : Checked
        What was found.

    Returns
    -------
    list of str
        Lines for a terminal.
    """
    n, n_takes = len(found.fitted), len(found.split.loads)
    when = f", {found.fitted[0].takes.date} to {found.fitted[-1].takes.date}" if n else ""
    each = f"each of {f'{n_takes} takes' if n_takes > 1 else 'one take'} ({'; '.join(found.split.loads)})"
    lines = [f"Kept coil {plain_text(found.coil)}: {n} measurement{'s' if n != 1 else ''}{when}, {each}"]
    lines += [SIMULATED_TEXT] if found.simulated else []
    if not found.charts:
        lines.append(f"{_few_text(n)}.")
        latest = {key: found.values[key][-SHOWN_LATEST:] for key in _shown(found)}
        rows = [(quantity_name(key), *(_value_text(found, key, value) for value in values)) for key, values in latest.items()]
        return lines + (["", "The latest", *table_lines(rows)] if rows else []) + _closing_lines(found)
    lines += [*state_lines(found), "", *table_lines(chart_rows(found))]
    n_baseline = min(len(charts.members) for charts in found.charts.values())
    rests = f"The baseline is {n_baseline} measurements"
    rests += f"; it grows to {BASELINE_POINTS}, and limits become narrower until then." if n_baseline < BASELINE_POINTS else "."
    return [*lines, "", rests, *_earlier_lines(found), *_closing_lines(found)]


def state_lines(found: Checked) -> list[str]:
    """Say in words what the charts came to.

    Parameters
    ----------
    found : Checked
        With charts.

    Returns
    -------
    list of str
        One line, or two.
    """
    if found.state == "within limits":
        return ["WITHIN LIMITS: the latest measurement and its weighted average lie where the coil has always been."]
    head = "DRIFTED" if found.state == "drifted" else "OUTSIDE"
    cure = (
        "Look at what all results share: the clipped-on part, clips, cable and input, the sense resistor, the temperature of the "
        "room. Results of takes made since then carry a warning."
    )
    again = "One measurement can be a slip: measure the coil again. Until then results of newer takes carry a warning."
    return [f"{head}: {drift_size(_record(found))}.", cure if found.state == "drifted" else again]


def chart_rows(found: Checked) -> list[tuple[str, ...]]:
    """Rows of the table of charts.

    Parameters
    ----------
    found : Checked
        With charts.

    Returns
    -------
    list of tuple of str
        Quantity, baseline, latest and limits, average and limits, what they say; the first row is the heading.
    """
    rows: list[tuple[str, ...]] = [("", "baseline", "latest", "its limits", "average", "its limits", "")]
    for key in _shown(found):
        charts, unit = found.charts[key], found.units[key]
        pairs = [_latest_texts(chart, unit) for chart in (charts.individuals, charts.ewma)]
        says = "within"
        if charts.drift is not None:
            far = change_text(charts.drift.size, charts.baseline.centre, unit)
            kind = "drifted" if charts.drift.is_lasting else "outside"
            says = f"{kind}, {far} since {found.fitted[charts.drift.since].takes.date}"
        elif charts.moving_range.is_outside[-1]:
            says = "within, but a jump from the one before"
        rows.append((quantity_name(key), _value_text(found, key, charts.baseline.centre), *pairs[0], *pairs[1], says))
    return rows


def check_document(found: Checked) -> Document:
    """Put the answer as ``check --json`` states it.

    Parameters
    ----------
    found : Checked
        What was found.

    Returns
    -------
    dict
        A coilsweep.check/1 document.
    """
    n = len(found.fitted)
    return {
        "schema": "coilsweep.check/1",
        "coil": found.coil,
        "simulated": found.simulated,
        "outcome": found.state,
        "loads": list(found.split.loads),
        "n_measurements": n,
        "n_needed": max(LEAST_POINTS - n, 0),
        "measurements": [{"takes": list(one.takes.names), "time_utc": _time(one)} for one in found.fitted],
        "quantities": {key: _quantity_document(found, key) for key in found.values},
        "not_told": list(found.untold),
        "warnings": list(found.warnings),
    }


# Takes that a person would call the coil's: its name, alone or with something behind a separator.
def _takes_of(logbook: Logbook, wish: CheckWish) -> tuple[list[Take], list[str]]:
    if wish.names:
        return [take_to_fit(logbook, name) for name in wish.names], []
    listed = list_takes(logbook).takes
    begins = tuple(f"{wish.coil}{mark}" for mark in SEPARATORS)
    own = [take for take in listed if take.name == wish.coil or take.name.startswith(begins)]
    usable = [take for take in own if take.outcome != "rejected" and take.method != "quiet"]
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
    notes = [f"{named(spare)}: not on the charts, which have one measurement for each placement"] if spare else []
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


def _record(found: Checked) -> CheckedCoil:
    drifts = {}
    for key, charts in found.charts.items():
        if charts.drift is not None:
            since = charts.drift.since
            drifts[key] = DriftRecord(
                centre=charts.baseline.centre,
                size=charts.drift.size,
                unit=found.units[key],
                since_take=found.fitted[since].takes.names[0],
                since_utc=_time(found.fitted[since]),
                good_until_utc=_time(found.fitted[since - 1]) if since else "",
                is_lasting=charts.drift.is_lasting,
            )
    return CheckedCoil(judged_utc=time_now(), n_measurements=len(found.fitted), simulated=found.simulated, drifts=drifts)


def _furthest(found: Checked) -> str:
    shown = _shown(found)

    def distance(key: str) -> float:
        charts = found.charts[key]
        if charts.drift is None:
            return 0.0
        return abs(charts.drift.size) / (charts.baseline.sigma or 1.0)

    return max(shown, key=distance)


def _shown(found: Checked) -> list[str]:
    return shown_quantities(list(found.values))


def _time(one: FittedSet) -> str:
    return one.takes.takes[-1].time_utc


def _few_text(n: int) -> str:
    missing = LEAST_POINTS - n
    more = f"{missing} more measurements are" if missing > 1 else "one more measurement is"
    return f"{more} needed before limits can be drawn ({LEAST_POINTS} in all)"


def _value_text(found: Checked, key: str, value: float) -> str:
    std = max(one.answer.quantities[key].standard_uncertainty for one in found.fitted)
    if key in found.charts:
        std = found.charts[key].baseline.sigma
    return interval_texts(value, value - 2 * std, value + 2 * std, found.units[key])[0]


# A point may lie outside of its limits, so each is written by itself, with digits for the distance between them.
def _latest_texts(chart: Chart, unit: str) -> tuple[str, str]:
    value, low, high = float(chart.points[-1]), float(chart.low[-1]), float(chart.high[-1])
    middle, half = (low + high) / 2, (high - low) / 2
    return interval_texts(value, value - half, value + half, unit)[0], interval_texts(middle, low, high, unit)[1]


def _earlier_lines(found: Checked) -> list[str]:
    """Name measurements that lay outside before, and are not part of what the charts say now."""
    lines = []
    for key in _shown(found):
        charts = found.charts[key]
        end = len(found.fitted) if charts.drift is None else charts.drift.since
        where = np.flatnonzero((charts.individuals.is_outside | charts.ewma.is_outside)[:end])
        if len(where):
            takes = ", ".join(plain_text(found.fitted[index].takes.names[0]) for index in where.tolist())
            lines.append(f"Outside before, but not now: {in_sentence(key)} in take {takes}")
    return lines


def _closing_lines(found: Checked) -> list[str]:
    lines = []
    if found.untold:
        lines += ["", f"Not told by every measurement: {', '.join(in_sentence(key) for key in found.untold)}"]
    if found.warnings:
        lines += ["", "Warnings", *(f"  {plain_text(text)}" for text in found.warnings)]
    return lines


def _quantity_document(found: Checked, key: str) -> Document:
    document: Document = {"unit": found.units[key], "values": list(found.values[key])}
    if key not in found.charts:
        return document
    charts = found.charts[key]
    document |= {"centre": charts.baseline.centre, "sigma": charts.baseline.sigma, "baseline": list(charts.members)}
    document |= {"individuals": _chart_document(charts.individuals), "moving_range": _chart_document(charts.moving_range)}
    document |= {"ewma": {"weight": EWMA_WEIGHT} | _chart_document(charts.ewma), "drift": None}
    if charts.drift is not None:
        since = found.fitted[charts.drift.since]
        document["drift"] = {
            "size": charts.drift.size,
            "is_lasting": charts.drift.is_lasting,
            "since_take": since.takes.names[0],
            "since_utc": _time(since),
        }
    return document


def _chart_document(chart: Chart) -> Document:
    return {
        "points": _numbers(chart.points),
        "centre": chart.centre,
        "low": _numbers(chart.low),
        "high": _numbers(chart.high),
        "outside": np.flatnonzero(chart.is_outside).tolist(),
    }


def _numbers(values: FloatArray) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
