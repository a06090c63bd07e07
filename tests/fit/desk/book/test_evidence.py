"""Which takes are to be fitted, in which order, and what was asked for last."""

import json

import pytest

from fit.desk.book.evidence import RESULT_FILE, FitWish, last_wish, takes_of
from fit.desk.book.take import RejectedError
from measure.errors import FileError
from measure.logbook.store import open_logbook, write_result
from measure.response import Finding
from tests.kept_takes import keep, new_book


@pytest.fixture
def book(tmp_path):
    logbook = new_book(tmp_path)
    for name in ("first", "second", "third"):
        keep(logbook, name)
    return logbook


def test_takes_come_in_the_order_they_were_made(book):
    assert [take.name for take in takes_of(book, ("third", "first"))] == ["first", "third"]


def test_a_take_counts_once(book):
    with pytest.raises(ValueError, match='the take "first" is named twice'):
        takes_of(book, ("first", "second", "first"))


def test_what_may_not_be_fitted_is_refused(book):
    keep(book, "loud", outcome="rejected", findings=(Finding(code="clipped", severity="reject", text="too loud"),))
    with pytest.raises(RejectedError, match="too loud"):
        takes_of(book, ("first", "loud"))
    keep(book, "still", method="quiet")
    with pytest.raises(FileError, match="nothing was played"):
        takes_of(book, ("still",))


def test_the_last_wish_is_read_as_it_was_typed(tmp_path):
    logbook = open_logbook(tmp_path)
    wish = {"names": ["a", "b"], "dcr": "6k ± 1%", "at_hand": "1n"}
    write_result(logbook, RESULT_FILE, json.dumps({"wish": wish, "more": 1}).encode())
    assert last_wish(logbook, is_needed=True) == FitWish(names=("a", "b"), dcr="6k ± 1%", at_hand="1n")


def test_without_a_fit_there_is_no_wish(tmp_path):
    logbook = open_logbook(tmp_path)
    assert last_wish(logbook, is_needed=False) == FitWish(names=())
    with pytest.raises(FileError, match=r"run `coilsweep fit NAME\.\.\.` first"):
        last_wish(logbook, is_needed=True)


@pytest.mark.parametrize("content", ["", "{", "[]", "{}", '{"wish": {"dcr": "6k"}}', '{"wish": {"names": "open", "dcr": 6000}}'])
@pytest.mark.parametrize("is_needed", [False, True])
def test_a_damaged_file_is_named(tmp_path, content, is_needed):
    logbook = open_logbook(tmp_path)
    write_result(logbook, RESULT_FILE, content.encode())
    with pytest.raises(FileError, match=r"fit\.json is damaged: run `coilsweep fit"):
        last_wish(logbook, is_needed=is_needed)
