"""Takes put together by placement and day."""

import shutil
from datetime import UTC, datetime, timedelta

import pytest

from fit.desk.book.take_sets import split_into_sets
from measure.logbook.store import list_takes, open_logbook
from tests.kept_coil import Bench, date_take, write_repeat

WOBBLY = Bench(set_f=0.1e-12, placement_f=3e-12, day_f=0.0, placement_field=0.0, day_k=0.0)
DESIGN = ((2, 1), (1, 2))


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Six sets of two takes, two placements on each of two days; the cable lies 3 pF (1 σ) off from one to the next."""
    folder = tmp_path_factory.mktemp("repeat") / "book"
    names = write_repeat(folder, DESIGN, bench=WOBBLY, seed=4)
    return folder, names


def split(book, names):
    logbook = open_logbook(book)
    return split_into_sets(logbook, [take for take in list_takes(logbook).takes if take.name in names])


def test_sets_are_one_take_of_each_load_by_placement_and_day(book):
    folder, names = book
    found = split(folder, names)
    assert [(one.day, one.placement) for one in found.sets] == [(0, 0), (0, 0), (0, 1), (1, 2), (1, 3), (1, 3)]
    assert [one.names for one in found.sets] == [(f"coil-{n}", f"coil-{n}-1n") for n in range(1, 7)]
    assert found.loads == ("nothing added", "1n ± 1%")
    assert found.notes == ()


def test_takes_that_make_up_no_set_are_left_out_and_named(book):
    folder, names = book
    found = split(folder, [name for name in names if name not in ("coil-2-1n", "coil-3")])
    assert [one.names[0] for one in found.sets] == ["coil-1", "coil-4", "coil-5", "coil-6"]
    assert [note.split(":")[0] for note in found.notes] == ["take coil-3-1n", "take coil-2"]
    assert [one.placement for one in found.sets] == [0, 1, 2, 2]


def test_a_day_ends_with_a_night_not_with_a_date(book, tmp_path):
    """Takes before and after midnight belong to one evening; the same placement a night later counts as another, and is named."""
    folder, _ = book
    copy = tmp_path / "book"
    shutil.copytree(folder, copy)
    evening = datetime(2026, 5, 4, 23, 50, tzinfo=UTC)
    for index, minutes in enumerate((0, 20, 12 * 60)):
        for name, after in (("", 0), ("-1n", 1)):
            date_take(copy, f"coil-{index + 1}{name}", evening + timedelta(minutes=minutes + after))
    for name in ("coil-3", "coil-3-1n"):
        file = copy / "takes" / name / "take.json"
        file.write_text(file.read_text(encoding="utf-8").replace('"coil_moved": true', '"coil_moved": false'), encoding="utf-8")
    found = split(copy, [f"coil-{index}{part}" for index in (1, 2, 3) for part in ("", "-1n")])
    assert [(one.day, one.placement) for one in found.sets] == [(0, 0), (0, 0), (1, 1)]
    assert "without --coil-moved" in found.notes[0]
