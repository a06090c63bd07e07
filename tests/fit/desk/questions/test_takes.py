"""The takes of a logbook as one asks for them: by day, by item, typed."""

import pytest

from fit.desk.book.desk import Desk
from fit.desk.questions.takes import takes_of_logbook
from measure.logbook.mend import remove_take
from tests.desk_bench import run, run_json, run_plain
from tests.kept_coil import date_take
from tests.kept_takes import keep, new_book


@pytest.fixture
def book(tmp_path):
    from datetime import UTC, datetime, timedelta

    book = new_book(tmp_path)
    first = datetime(2026, 3, 2, 22, 30, tzinfo=UTC)
    stated = (("open", {}), ("late", {"item": "red one", "added": "1n ± 1%"}), ("next", {"item": "blue one"}))
    for (name, one), at in zip(stated, (0.0, 3.0, 20.0), strict=True):
        keep(book, name, **one)
        date_take(book.path, name, first + timedelta(hours=at))
    return book


def test_a_day_lasts_until_a_pause_not_until_midnight(capsys, book):
    code, out, _ = run(capsys, "takes", "--logbook", book.path)
    assert code == 0
    assert [line.split(",")[0] for line in out.splitlines() if "UTC" in line] == ["2026-03-02", "2026-03-03"]
    assert out == run(capsys, "takes", "list", "--logbook", book.path)[1]


def test_the_document_holds_what_is_stated(capsys, book):
    remove_take(book, "next")
    (book.path / "takes" / "open" / "take.json").write_text("{", encoding="utf-8")
    code, document, _ = run_json(capsys, "takes", "list", "--logbook", book.path)
    assert code == 0
    (take,) = document["takes"]
    assert (take["take"], take["day"], take["stated"]["added"], take["stated"]["item"]) == ("late", 1, "1n ± 1%", "red one")
    assert list(document["damaged"]) == ["open"]
    assert document["removed"] == ["next"]


def test_takes_of_one_item(capsys, book):
    code, document, _ = run_json(capsys, "takes", "list", "--item", "blue one", "--logbook", book.path)
    assert (code, [take["take"] for take in document["takes"]], document["takes"][0]["day"]) == (0, ["next"], 2)
    desk = Desk(logbook=book.path, say=print, tell=print, steps=lambda items, _label: items)
    with pytest.raises(ValueError, match='no take is of "green"; items that are stated: red one, blue one'):
        takes_of_logbook(desk, item="green")


def test_a_logbook_without_takes(capsys, tmp_path):
    assert run_plain(capsys, "takes", "--logbook", tmp_path)[:2] == (0, f"No take is kept in {tmp_path} yet.")
