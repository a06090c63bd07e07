"""Results by date: kept with every fit, found again by item and day, and doubted where their takes changed."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from fit.answers.figures import Estimate
from fit.desk.book import kept_fit
from fit.desk.book.history import (
    HISTORY_FILE,
    by_day,
    changes_of,
    earlier_of,
    earlier_result,
    is_changed,
    keep_in_history,
    read_history,
    result_of,
    values_of,
)
from measure.errors import FileError
from measure.logbook.mend import amend_take, name_in_results, rename_take
from measure.logbook.store import list_takes
from tests.answer_by_hand import answer
from tests.kept_coil import date_take
from tests.kept_takes import keep, new_book


def estimate(value, std, unit):
    return Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std)


def found(inductance=2.6, dcr=6000.0, *, takes=()):
    quantities = {"inductance": estimate(inductance, 0.01, "H"), "dc_resistance": estimate(dcr, 5.0, "Ω")}
    return replace(answer(simulated=False), quantities=quantities, takes=tuple(takes))


@pytest.fixture
def book(tmp_path):
    book = new_book(tmp_path)
    for month in (3, 5, 7):
        for name, minutes in ((f"open-{month}", 0), (f"plus-{month}", 1)):
            keep(book, name, item="neck", temperature_c=20.0 + month)
            date_take(book.path, name, datetime(2026, month, 2, 17, tzinfo=UTC) + timedelta(minutes=minutes))
    return book


def names(month):
    return (f"open-{month}", f"plus-{month}")


def test_a_fit_is_kept_with_what_it_rests_on(book):
    kept = keep_in_history(book, found(takes=names(3)))
    assert read_history(book) == (kept,)
    assert (kept.item, kept.takes, kept.temperature_c, kept.measured_utc[:10]) == ("neck", names(3), 23.0, "2026-03-02")
    assert kept.values["inductance"].value == 2.6
    assert set(kept.stated) == set(names(3))


def test_a_fit_of_the_same_takes_takes_the_place_of_the_one_before(book):
    keep_in_history(book, found(2.6, takes=names(3)))
    keep_in_history(book, found(2.7, takes=names(3)[:1]))
    keep_in_history(book, found(2.8, takes=tuple(reversed(names(3)))))
    assert [one.values["inductance"].value for one in read_history(book)] == [2.7, 2.8]


def test_of_each_day_the_good_one_that_was_fitted_last_counts(book):
    kept = [
        keep_in_history(book, found(2.6, takes=names(5))),
        keep_in_history(book, found(2.5, takes=names(3)[:1])),
        keep_in_history(book, found(2.7, takes=names(3))),
        keep_in_history(book, replace(found(9.9), outcome="misfit", takes=names(3)[1:])),
        keep_in_history(book, found(8.8, takes=(names(3)[0], names(5)[0]))),  # of two days, so of none
        keep_in_history(
            book, replace(found(), quantities={"q_loaded": estimate(4.0, 0.1, "1")}, takes=names(5)[:1])
        ),  # tells less
    ]
    kept = [msgspec.structs.replace(one, fitted_utc=f"2026-08-0{day}T00:00:00Z") for day, one in enumerate(kept, start=1)]
    assert [one.values["inductance"].value for one in by_day(kept)] == [2.7, 2.6]


def test_the_same_item_in_march(book):
    keep_in_history(book, found(2.31, takes=names(3)))
    keep_in_history(book, found(9.0, takes=(*names(3), *names(5))))  # of two days
    earlier = earlier_of(book, result_of(book, found(2.6, dcr=6000 * (1 + 0.00393 * 2), takes=names(5))))
    assert earlier.result.measured_utc[:10] == "2026-03-02"
    assert earlier.values["inductance"].value == 2.31
    assert earlier.changed == {"inductance"}  # the winding was 2 K colder, and is 0.8 % lower for that alone


@pytest.mark.parametrize(
    ("key", "value"), [("item", "bridge"), ("item", None), ("simulated", True), ("begun_utc", "2026-03-02T17:05:00Z")]
)
def test_other_items_other_benches_and_the_same_day_are_no_earlier_result(book, key, value):
    keep_in_history(book, found(takes=names(3)))
    now = result_of(book, found(takes=names(5)))
    assert earlier_result(book, now, is_one_item=True) is not None
    assert earlier_result(book, msgspec.structs.replace(now, **{key: value}), is_one_item=True) is None


def test_what_no_item_is_stated_of_is_one_only_in_the_logbook_of_a_guitar(book):
    for name in (*names(3), *names(5)):
        amend_take(book, name, {"item": None})
    keep_in_history(book, found(takes=names(3)))
    assert earlier_of(book, result_of(book, found(takes=names(5)))) is None
    (book.path / "instrument.toml").write_text("", encoding="utf-8")
    assert earlier_of(book, result_of(book, found(takes=names(5)))) is not None


def test_a_result_whose_takes_were_amended_is_no_earlier_one(book):
    keep_in_history(book, found(takes=names(3)))
    amend_take(book, "plus-3", {"added": "1n ± 1%"})
    assert earlier_of(book, result_of(book, found(takes=names(5)))) is None


def test_takes_are_fingerprinted_once_whatever_the_number_of_results(book, monkeypatch):
    for name in (*names(3), *names(5)):
        keep_in_history(book, found(takes=(name,)))
    read = []
    monkeypatch.setattr(kept_fit, "list_takes", lambda logbook: read.append(logbook) or list_takes(logbook))
    assert earlier_of(book, result_of(book, found(takes=names(7)))).result.takes[0].endswith("-5")
    assert read == [book]


def test_an_item_that_was_misspelt_is_mended_in_its_history_too(book):
    keep_in_history(book, found(takes=names(3)))
    amend_take(book, "open-3", {"item": "bridge"})
    assert [one.item for one in read_history(book)] == ["bridge"]


def test_a_renamed_take_is_the_same(book):
    keep_in_history(book, found(takes=names(3)))
    rename_take(book, "plus-3", "neu")
    with name_in_results(book, "plus-3", "neu") as changed:
        assert changed == (f"results/{HISTORY_FILE}",)
    assert earlier_of(book, result_of(book, found(takes=names(5)))).result.takes == ("open-3", "neu")


def test_changes_from_each_result_to_the_next(book):
    kept = [keep_in_history(book, found(value, takes=names(month))) for value, month in ((2.6, 3), (2.61, 5), (2.7, 7))]
    # the winding was 2 K warmer each time, and yet its resistance the same: that is a change
    assert changes_of(kept) == {"inductance": (None, False, True), "dc_resistance": (None, True, True)}
    silent = msgspec.structs.replace(kept[1], values={})
    assert changes_of([kept[0], silent, kept[2]])["inductance"] == (None, None, True)
    assert is_changed("inductance", kept[0], kept[2])
    assert changes_of([]) == {}
    assert changes_of(kept[:1])["inductance"] == (None,)


def test_what_is_not_finite_is_kept_and_left_out(book):
    endless = replace(found(), quantities={"inductance": estimate(float("inf"), 1.0, "H")})
    kept = keep_in_history(book, replace(endless, takes=names(3)))
    assert kept.values["inductance"].value is None
    assert values_of(kept) == {}


@pytest.mark.parametrize("content", ["{", "[]", '{"results": [1]}', '{"schema": "coilsweep.results/9"}'])
def test_a_damaged_file_is_one_line_and_left_alone(book, content):
    path = book.path / "results" / HISTORY_FILE
    path.parent.mkdir(exist_ok=True)
    path.write_text(content, encoding="utf-8")
    with pytest.raises(FileError, match=r"history.json is damaged .*: move it away"):
        keep_in_history(book, found(takes=names(3)))
    assert path.read_text(encoding="utf-8") == content
