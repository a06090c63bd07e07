"""Which takes are of one day at the bench."""

from datetime import UTC, datetime, timedelta

import msgspec

from measure.logbook.days import days_of
from measure.logbook.store import read_take
from tests.kept_takes import keep, new_book


def test_a_day_ends_with_a_pause_of_a_night_not_with_a_date(tmp_path):
    book = new_book(tmp_path)
    keep(book, "open")
    take = read_take(book, "open")
    evening = datetime(2026, 5, 4, 23, 50, tzinfo=UTC)
    hours = {"late": 0, "later": 0.5, "after-midnight": 8.4, "next-noon": 16.5, "next-evening": 23}
    takes = [
        msgspec.structs.replace(take, name=name, time_utc=(evening + timedelta(hours=after)).isoformat().replace("+00:00", "Z"))
        for name, after in hours.items()
    ]
    assert days_of(takes) == {"late": 0, "later": 0, "after-midnight": 0, "next-noon": 1, "next-evening": 1}
    assert days_of([]) == {}
