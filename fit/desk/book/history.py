"""What the fits of a logbook found, by date, in results/: derived/ may be deleted, this is what lasts."""

from collections.abc import Sequence

import msgspec

from fit.answers.figures import Estimate
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.repeat.change import is_beyond, resistance_allowance
from fit.desk.book.derived import stated_sha256
from fit.desk.book.kept_fit import changed_takes, fingerprints
from fit.desk.show.document.history import KeptResults, PastResult
from fit.desk.show.document.pieces import Value, value_of
from fit.desk.show.sheets.history import Earlier, lasting
from measure.errors import FileError
from measure.logbook.days import NIGHT_S
from measure.logbook.disk import DAMAGE, describe, one_line, read_small
from measure.logbook.store import RESULTS, Logbook, instrument_path, list_takes, write_result
from measure.logbook.take import parse_time, time_now
from measure.logbook.writers import one_writer

HISTORY_FILE = "history.json"
LIMIT_BYTES = 20_000_000
MOST_KEPT = 5000  # results; those fitted first go first
RESISTANCE = "dc_resistance"


def read_history(logbook: Logbook) -> tuple[PastResult, ...]:
    """Read what the fits found, in the order they were made.

    Raises
    ------
    FileError
        If the file is damaged; one line with the cure.
    """
    path = logbook.path / RESULTS / HISTORY_FILE
    if not path.exists():
        return ()
    try:
        kept = msgspec.json.decode(read_small(path, LIMIT_BYTES, below=logbook.path), type=KeptResults).results
    except DAMAGE as err:
        cure = "move it away, and what is fitted from now on is kept in a new one"
        msg = f"{one_line(path)} is damaged ({describe(err, {})}): {cure}"
        raise FileError(msg) from None

    # what a take is of may have been mended since
    items = {take.name: take.conditions.item for take in list_takes(logbook).takes if take.conditions.item is not None}
    now = [next((items[name] for name in one.takes if name in items), one.item) for one in kept]
    return tuple(msgspec.structs.replace(one, item=item) for one, item in zip(kept, now, strict=True))


def keep_in_history(logbook: Logbook, answer: PickupAnswer, *, kept: Sequence[PastResult] | None = None) -> PastResult:
    """Keep what a fit found; a result of the same takes goes.

    Parameters
    ----------
    kept : sequence of PastResult or None
        What is kept already; None reads it.

    Raises
    ------
    FileError
        If the file is damaged, or cannot be written.
    """
    found = result_of(logbook, answer)
    with one_writer(logbook.path):
        others = [one for one in (read_history(logbook) if kept is None else kept) if set(one.takes) != set(found.takes)]
        whole = KeptResults(results=(*others, found)[-MOST_KEPT:])
        write_result(logbook, HISTORY_FILE, msgspec.json.format(msgspec.json.encode(whole), indent=1))
    return found


def result_of(logbook: Logbook, answer: PickupAnswer) -> PastResult:
    """Put what a fit found as it is kept."""
    takes = [take for take in list_takes(logbook).takes if take.name in answer.takes]
    warm = [take.conditions.temperature_c for take in takes if take.conditions.temperature_c is not None]
    return PastResult(
        begun_utc=takes[0].time_utc,
        measured_utc=takes[-1].time_utc,
        fitted_utc=time_now(),
        item=next((take.conditions.item for take in takes if take.conditions.item is not None), None),
        takes=tuple(take.name for take in takes),
        stated={take.name: stated_sha256(take) for take in takes},
        simulated=answer.simulated,
        outcome=answer.outcome,
        temperature_c=warm[0] if warm else None,
        values={key: value_of(estimate) for key, estimate in answer.quantities.items() if "@" not in key},
    )


def by_day(results: Sequence[PastResult]) -> tuple[PastResult, ...]:
    """Of each day at the bench the good result that tells most, of such the one fitted last, in the order they were measured.

    What rests on takes of several days is of none.
    """
    days: list[list[PastResult]] = []
    of_one_day = [one for one in results if one.outcome == "good" and _is_within(one.begun_utc, one.measured_utc)]
    for one in sorted(of_one_day, key=lambda one: parse_time(one.measured_utc)):
        if not days or not _is_within(days[-1][-1].measured_utc, one.measured_utc):
            days.append([])
        days[-1].append(one)
    return tuple(max(day, key=lambda one: (len(lasting(values_of(one))), parse_time(one.fitted_utc))) for day in days)


def earlier_result(
    logbook: Logbook, found: PastResult, *, is_one_item: bool, kept: Sequence[PastResult] | None = None
) -> PastResult | None:
    """Find the last good result of the same item from a day before, by takes that are still what they were.

    Parameters
    ----------
    is_one_item : bool
        Whatever no item is stated of is one: the logbook is of one guitar.
    kept : sequence of PastResult or None
        What is kept; None reads it.
    """
    if found.item is None and not is_one_item:
        return None
    now = fingerprints(logbook)
    before = [
        one
        for one in (read_history(logbook) if kept is None else kept)
        if (one.item, one.simulated) == (found.item, found.simulated)
        and parse_time(one.measured_utc) < parse_time(found.begun_utc)
        and not _is_within(one.measured_utc, found.begun_utc)
        and not changed_takes(now, one.stated)
    ]
    return next(iter(reversed(by_day(before))), None)


def earlier_of(logbook: Logbook, found: PastResult, *, kept: Sequence[PastResult] | None = None) -> Earlier | None:
    """Find what was found of the same item on the last day before, beside what is found now; None where nothing is known.

    Parameters
    ----------
    kept : sequence of PastResult or None
        What is kept; None reads it.
    """
    result = earlier_result(logbook, found, is_one_item=instrument_path(logbook).exists(), kept=kept)
    if result is None:
        return None
    before = values_of(result)
    values = {key: before[key] for key in lasting(before) if key in found.values}
    changed = frozenset(key for key in values if is_changed(key, result, found))
    return Earlier(result=result, values=values, changed=changed)


def values_of(result: PastResult) -> dict[str, Estimate]:
    """Values of a result with their intervals; those that are not finite are left out."""
    estimates = {key: _estimate(value) for key, value in result.values.items()}
    return {key: estimate for key, estimate in estimates.items() if estimate is not None}


def is_changed(key: str, before: PastResult, after: PastResult) -> bool:
    """Judge whether a quantity differs between two results by more than both intervals, and temperature, allow for."""
    first, second = _estimate(before.values[key]), _estimate(after.values[key])
    if first is None or second is None:
        return False
    allowance = 0.0
    if key.rpartition(".")[2] == RESISTANCE:
        first, allowance = resistance_allowance(first, before.temperature_c, after.temperature_c)
    return is_beyond(first, second, allowance=allowance)


def changes_of(results: Sequence[PastResult]) -> dict[str, tuple[bool | None, ...]]:
    """Judge what lasts of an item, from each result to the next that tells it; None where there is nothing to judge."""
    each = [values_of(one) for one in results]
    found: dict[str, tuple[bool | None, ...]] = {}
    for key in lasting(dict.fromkeys(key for own in each for key in own)):
        marks: list[bool | None] = []
        before: PastResult | None = None
        for one, own in zip(results, each, strict=True):
            marks.append(None if before is None or key not in own else is_changed(key, before, one))
            before = one if key in own else before
        found[key] = tuple(marks)
    return found


def _estimate(value: Value) -> Estimate | None:
    low, high = value.interval_95
    if value.value is None or value.standard_uncertainty is None or low is None or high is None or value.coverage_factor is None:
        return None
    return Estimate(
        value=value.value,
        unit=value.unit,
        standard_uncertainty=value.standard_uncertainty,
        low=low,
        high=high,
        coverage_factor=value.coverage_factor,
        distribution=value.distribution,
    )


def _is_within(one_utc: str, other_utc: str) -> bool:
    """See whether two times are of one day at the bench."""
    return abs((parse_time(other_utc) - parse_time(one_utc)).total_seconds()) < NIGHT_S
