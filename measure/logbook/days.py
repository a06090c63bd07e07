"""Which takes of a logbook were made on one day at the bench."""

from collections.abc import Sequence

from measure.logbook.take import Take, parse_time

NIGHT_S = 8 * 3600.0  # [s] a pause as long ends a day at the bench, whatever the date in UTC does meanwhile


def days_of(takes: Sequence[Take]) -> dict[str, int]:
    """Give each take of a logbook, in the order they were made, the number of its day at the bench, from 0."""
    days: dict[str, int] = {}
    day, before = 0, None
    for take in takes:
        time = parse_time(take.time_utc)
        if before is not None and (time - before).total_seconds() >= NIGHT_S:
            day += 1
        before = time
        days[take.name] = day
    return days
