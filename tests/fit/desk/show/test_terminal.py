"""Sheets as lines: where empty lines stand, how blocks are set in, and that nothing from outside moves the cursor."""

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from fit.answers.figures import Estimate
from fit.desk.show.sheet import Headlines, Listing, Mark, Notice, Picture, Section, Sheet, Table, Text
from fit.desk.show.terminal import lines

ESTIMATE = Estimate(value=2.874, unit="H", standard_uncertainty=0.0157, low=2.843, high=2.905)


def test_blocks_stand_below_each_other_and_sections_apart():
    sheet = Sheet(
        "not printed",
        (
            Text(("head",)),
            Notice(("look at this", "and this")),
            Section((Table((("", "value"), ("x", "1"))), Text(("a note",), is_note=True)), label="for pages alone"),
            Section((Listing(("one", ("two", "more of it"))),), heading="Listed"),
            Section((Text(("right below",)),), heading="Close", is_apart=False),
        ),
    )
    assert lines(sheet) == [
        *("head", "look at this", "and this", ""),
        *("     value", "  x  1", "  a note", ""),
        *("Listed", "  one", "  two", "    more of it"),
        *("Close", "right below"),
    ]


def test_an_estimate_fills_two_columns_and_a_mark_is_its_word():
    rows = (("", "value", "95 % interval", ""), ("Inductance", ESTIMATE, Mark("look", "look")))
    head, row = lines(Sheet("", (Table(rows),)))
    assert row.split() == ["Inductance", "2.874", "H", "2.843", "…", "2.905", "H", "look"]
    assert head.index("95 % interval") == row.index("2.843")


def test_what_only_pages_show_leaves_no_empty_line():
    picture = Picture("curve", "Curve", "What it is.")
    sheet = Sheet("", (picture, Headlines("First", (("L", ESTIMATE),)), Section((picture,), label="Pictures"), Text(("end",))))
    assert lines(sheet) == ["end"]


@given(st.text())
def test_no_text_reaches_the_terminal_with_control_characters(text):
    blocks = (Text((text,)), Notice((text,)), Listing((text, (text, text))), Table(((text, Mark(text, "bad")),)))
    for line in lines(Sheet(text, (*blocks, Section(blocks, heading=text)))):
        assert not [one for one in line if unicodedata.category(one) in {"Cc", "Cf", "Zl", "Zp", "Cs"}]
