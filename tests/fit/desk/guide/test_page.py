"""The answer of a guide as a page: what was asked, the answer, the takes; and how lines are broken for a terminal."""

from dataclasses import replace

import pytest

from fit.desk.book.desk import Outcome
from fit.desk.guide.page import Asked, answer_sheet, answer_stage, asked_rows, wrapped
from fit.desk.guide.session import Entry
from fit.desk.show.sheet import Section, Sheet, Text
from tests.guide_scenes import scene
from tests.kept_takes import keep, new_book
from tests.pages import read_page
from tests.sheet_parts import headings, said, tables

ASKED = Asked(title="What is it?", picture="answer.png")


def draw():
    from matplotlib.figure import Figure

    return Figure(figsize=(1, 1))


ANSWER = Outcome(document={"x": 1}, sheet=Sheet(title="t", blocks=(Text(("the answer",)),)), figures={"any": draw})


@pytest.fixture
def book(tmp_path):
    logbook = new_book(tmp_path)
    keep(logbook, "open", coil_over="neck", controls={"tone": "0"})
    keep(logbook, "other")
    return logbook


def test_the_answer_is_told_and_kept_with_its_picture(book):
    one = scene(book.path, take__open="open", dcr="6k ± 1%")
    done = answer_stage(one, ASKED, lambda: ANSWER).run()
    assert "the answer" in done.lines
    assert (done.document, done.entries) == ({"x": 1}, {})
    assert (book.path / "answer.png").read_bytes().startswith(b"\x89PNG")
    page = read_page((book.path / "answer.html").read_text(encoding="utf-8"))
    assert page.title == "What is it?"
    assert "the answer" in page.said


def test_a_page_that_is_all_there_is_is_the_report(book):
    whole = Asked(title="t", picture="x.png", is_whole=True)
    done = answer_stage(scene(book.path), whole, lambda: ANSWER).run()
    assert done.entries == {"report": str(book.path / "answer.html")}
    assert answer_stage(scene(book.path, answered="done"), whole, lambda: ANSWER) is None


def test_only_takes_of_this_session_stand_on_the_page(book):
    sheet = answer_sheet(scene(book.path, take__open="open"), ASKED, ANSWER)
    rows = tables(sheet)[-2].rows
    assert [row[0] for row in rows] == ["take", "open"]
    assert rows[1][2:4] == ("tone=0", "neck")
    assert headings(sheet) == ["The answer", "Takes", "What was needed", "What you will need", "The bench"]
    asked = answer_sheet(scene(book.path, dcr="6k ± 1%"), ASKED, ANSWER)
    assert headings(asked)[0] == "The answer"  # before what led to it


def test_what_was_asked_stands_in_words_and_the_latest_answer_counts():
    entries = (
        Entry(key="rig.input_resistance", answer="2M ± 1%", is_asked=True),
        Entry(key="marked.capacitor.tone", answer="22n", is_asked=True),
        Entry(key="ready.open", answer="yes", is_asked=True),
        Entry(key="fit.1", answer="done"),
        Entry(key="dcr", answer="none"),
        Entry(key="rig.input_resistance", answer="1M ± 1%", is_asked=True),
    )
    assert asked_rows(entries) == (("Resistance of the pickup's input?", "1M ± 1%"), ("Marked on capacitor.tone", "22n"))


def test_prose_is_broken_between_words_and_keeps_its_indent():
    assert wrapped("  one two three", 10) == ["  one two", "  three"]
    assert wrapped("- one two three", 10) == ["- one two", "  three"]


@pytest.mark.parametrize("line", ["short", "a table  with columns that is much too wide", ""])
def test_tables_and_short_lines_are_left_as_they_are(line):
    assert wrapped(line, 20) == [line]


def test_no_name_is_cut_at_its_hyphen():
    assert wrapped("see take plus-one now", 12) == ["see take", "plus-one now"]


def test_a_page_of_the_answer_goes_before_what_a_terminal_shows_and_what_was_needed_is_folded(book):
    page = Sheet(title="p", blocks=(Text(("with its pictures",)),))
    sheet = answer_sheet(scene(book.path), ASKED, replace(ANSWER, page=lambda: page))
    assert "with its pictures" in said(sheet)
    assert "the answer" not in said(sheet)
    needed = next(one for one in sheet.blocks if isinstance(one, Section) and one.heading == "What was needed")
    assert needed.is_folded
