"""What is said of a kept coil."""

from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from fit.answers.digits import interval_texts
from fit.answers.repeat.control_chart import BASELINE_POINTS, EWMA_WEIGHT, LEAST_POINTS, Chart, Charts, Drift
from fit.desk.show.document import pickup
from fit.desk.show.document.pickup import State
from fit.desk.show.document.pieces import numbers
from fit.desk.show.sheet import Block, Level, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.drift import change_text, drift_size
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.sheets.take_sets import FittedSet, TakeSets, shown_quantities
from fit.desk.show.words import in_sentence, quantity_name
from measure.logbook.drifts import CheckedCoil, DriftRecord
from measure.logbook.take import time_now

SHOWN_LATEST = 3  # values, where there are too few for limits
PICTURE = Picture(
    name="charts",
    heading="Charts",
    caption="Each measurement, its distance from the one before, and the weighted average; limits dashed, what lies outside is "
    "ringed.",
)
STATE_LEVELS: dict[State, Level] = {"within limits": "good", "drifted": "bad", "outside": "look", "too few": "look"}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Checked:
    """What a check found, for lines, document and picture.

    Attributes
    ----------
    split : TakeSets
        How the takes were put together.
    values : dict of str to tuple of float
        Each quantity's, in the order in which people ask for them. [`units`]
    charts : dict of str to Charts
        Empty where there are too few measurements.
    untold : tuple of str
        Quantities that not every measurement tells.
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


def sheet_of_check(found: Checked) -> Sheet:
    """Lay out whether a kept coil still measures as it did.

    Returns
    -------
    Sheet
        Charts with their limits, and what they say.
    """
    n, n_takes = len(found.fitted), len(found.split.loads)
    when = f", {found.fitted[0].takes.date} to {found.fitted[-1].takes.date}" if n else ""
    each = f"each of {f'{n_takes} takes' if n_takes > 1 else 'one take'} ({'; '.join(found.split.loads)})"
    head = f"Kept coil {found.coil}: {n} measurement{'s' if n != 1 else ''}{when}, {each}"
    first, *others = state_lines(found) if found.charts else [f"{few_text(len(found.fitted))}."]
    verdict = Verdict(first, STATE_LEVELS[found.state] if found.charts else "look", tuple(others))
    blocks: list[Block] = [verdict, *simulated_notice(is_simulated=found.simulated), Text((head,))]
    blocks += _charts_blocks(found) if found.charts else _few_blocks(found)
    if found.untold:
        text = f"Not told by every measurement: {', '.join(in_sentence(key) for key in found.untold)}"
        blocks.append(Section((Text((text,)),)))
    blocks += warnings_section(found.warnings)
    return Sheet(title=titled(f"Kept coil {found.coil}: {found.state}", is_simulated=found.simulated), blocks=tuple(blocks))


def _few_blocks(found: Checked) -> list[Block]:
    latest = {key: found.values[key][-SHOWN_LATEST:] for key in shown_of(found)}
    rows = tuple((quantity_name(key), *(_value_text(found, key, value) for value in values)) for key, values in latest.items())
    return [Section((Table(rows, has_head=False),), heading="The latest")] if rows else []


def _charts_blocks(found: Checked) -> list[Block]:
    n_baseline = min(len(charts.members) for charts in found.charts.values())
    rests = f"The baseline is {n_baseline} measurements"
    rests += f"; it grows to {BASELINE_POINTS}, and limits become narrower until then." if n_baseline < BASELINE_POINTS else "."
    told = (rests, *_earlier_texts(found))
    return [
        PICTURE,
        Section((Table(chart_rows(found)),), label="Latest measurement and weighted average"),
        Section(tuple(Text((text,)) for text in told)),
    ]


def state_lines(found: Checked) -> list[str]:
    """Say in words what the charts came to."""
    if found.state == "within limits":
        return ["WITHIN LIMITS: the latest measurement and its weighted average lie where the coil has always been."]
    head = "DRIFTED" if found.state == "drifted" else "OUTSIDE"
    cure = (
        "Look at what all results share: the clipped-on part, clips, cable and input, the sense resistor, the temperature of the "
        "room. Results of takes made since then carry a warning."
    )
    again = "One measurement can be a slip: measure the coil again. Until then results of newer takes carry a warning."
    return [f"{head}: {drift_size(record_of(found))}.", cure if found.state == "drifted" else again]


def chart_rows(found: Checked) -> tuple[Row, ...]:
    """Rows of the table of charts.

    Returns
    -------
    tuple
        Quantity, baseline, latest and limits, average and limits, what they say; the first row is the heading.
    """
    rows: list[Row] = [("", "baseline", "latest", "its limits", "average", "its limits", "")]
    for key in shown_of(found):
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
    return tuple(rows)


def check_document(found: Checked) -> pickup.CheckDocument:
    """Put the answer as ``check --json`` states it."""
    n = len(found.fitted)
    return pickup.CheckDocument(
        coil=found.coil,
        simulated=found.simulated,
        outcome=found.state,
        loads=found.split.loads,
        n_measurements=n,
        n_needed=max(LEAST_POINTS - n, 0),
        measurements=tuple(pickup.Measurement(takes=one.takes.names, time_utc=_time(one)) for one in found.fitted),
        quantities={key: _checked_quantity(found, key) for key in found.values},
        not_told=found.untold,
        warnings=found.warnings,
    )


def record_of(found: Checked) -> CheckedCoil:
    """Put what later results need to know of a drift, as the logbook keeps it."""
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


def shown_of(found: Checked) -> list[str]:
    """Choose the quantities that lines and pictures show."""
    return shown_quantities(list(found.values))


def _time(one: FittedSet) -> str:
    return one.takes.takes[-1].time_utc


def few_text(n: int) -> str:
    """Say how many measurements are missing before limits can be drawn."""
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


def _earlier_texts(found: Checked) -> list[str]:
    """Name measurements that lay outside before, and are not part of what the charts say now."""
    lines = []
    for key in shown_of(found):
        charts = found.charts[key]
        end = len(found.fitted) if charts.drift is None else charts.drift.since
        where = np.flatnonzero((charts.individuals.is_outside | charts.ewma.is_outside)[:end])
        if len(where):
            takes = ", ".join(found.fitted[index].takes.names[0] for index in where.tolist())
            lines.append(f"Outside before, but not now: {in_sentence(key)} in take {takes}")
    return lines


def _checked_quantity(found: Checked, key: str) -> pickup.CheckedQuantity:
    plain = pickup.CheckedQuantity(unit=found.units[key], values=found.values[key])
    if key not in found.charts:
        return plain
    charts = found.charts[key]
    return msgspec.structs.replace(
        plain,
        centre=charts.baseline.centre,
        sigma=charts.baseline.sigma,
        baseline=charts.members,
        individuals=pickup.ControlChart(**_drawn(charts.individuals)),
        moving_range=pickup.ControlChart(**_drawn(charts.moving_range)),
        ewma=pickup.AverageChart(weight=EWMA_WEIGHT, **_drawn(charts.ewma)),
        drift=None if charts.drift is None else _drifted(found, charts.drift),
    )


def _drifted(found: Checked, drift: Drift) -> pickup.Drifted:
    since = found.fitted[drift.since]
    return pickup.Drifted(size=drift.size, is_lasting=drift.is_lasting, since_take=since.takes.names[0], since_utc=_time(since))


def _drawn(chart: Chart) -> dict[str, Any]:
    return {
        "points": numbers(chart.points),
        "centre": chart.centre,
        "low": numbers(chart.low),
        "high": numbers(chart.high),
        "outside": tuple(np.flatnonzero(chart.is_outside).tolist()),
    }
