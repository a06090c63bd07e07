"""Pages in a terminal: 80 columns, tables in columns or below each other, what is typed as it is."""

import pytest

from fit.desk.show.manual.lines import WIDTH, beside, block_lines, lines, plain
from fit.desk.show.manual.markdown import Code, Grid, Heading, Image, Items, Paragraph
from fit.desk.show.manual.topics import TOPICS, page

LONG = "one word after the other, " * 8


@pytest.mark.parametrize("topic", TOPICS)
def test_prose_of_every_page_fits(topic):
    wide = [
        line for block in page(topic) if not isinstance(block, Code) for line in block_lines(block, topic) if len(line) > WIDTH
    ]
    assert wide == []
    assert not [line for line in lines(page(topic), topic) if "**" in line or "](" in line or "\t" in line]


def test_marks_go_and_a_link_names_its_topic():
    text = "**Say** `so`, *once*: [the rig](rig.md), [rig](rig.md), [here](#there), [own](wiring.md)"
    assert plain(text, "wiring") == "Say so, once: the rig, rig, here, own"
    assert plain("[how many](wiring.md)", "fit") == "how many (topic wiring)"


def test_what_is_typed_is_left_as_it_is():
    line = "$ coilsweep fit " + "take " * 20
    assert block_lines(Code("console", (line, "", "  Inductance")), "fit") == [f"    {line}".rstrip(), "", "      Inductance"]


def test_headings_items_and_pictures():
    assert block_lines(Heading(1, "Wiring"), "wiring") == ["WIRING"]
    assert block_lines(Heading(2, "So"), "wiring") == ["So", "=="]
    assert block_lines(Items((("-", "one"), ("10.", "two"))), "wiring") == ["- one", "10. two"]
    assert block_lines(Image("A curve", "a.png"), "wiring") == ["[Picture: A curve]"]


def test_a_narrow_table_stands_in_columns():
    assert block_lines(Grid(("a", "b"), (("one", "two"), ("three", ""))), "fit") == ["a      b", "one    two", "three"]


def test_a_wide_column_is_broken_beside_the_others():
    told = block_lines(Grid(("name", "text"), (("one", LONG),)), "fit")
    assert told[0] == "name  text"
    assert told[1].startswith("one   one word")
    assert all(line.startswith("      ") for line in told[2:])
    assert max(map(len, told)) <= WIDTH


def test_a_table_of_many_wide_columns_stands_below_each_other():
    told = block_lines(Grid(("name", "a", "b", "c", "e", "f", "d"), ((LONG, *[LONG] * 5, "end"),)), "fit")
    assert told[-1] == "    d: end"
    assert max(map(len, told)) <= WIDTH


def test_a_value_stays_with_its_unit():
    text = "x" * 70 + " about 12 kHz and 5 ± 1 % too"
    told = block_lines(Paragraph(text), "fit")
    assert not any(line.endswith(("12", "±", "1")) for line in told)
    assert " ".join(told) == text


def test_beside():
    assert beside("- ", "a b", 2) == ["- a b"]
