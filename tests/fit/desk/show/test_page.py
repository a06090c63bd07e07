"""Pages: one file, well formed, needing nothing from elsewhere, every text from outside escaped."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.answers.figures import Estimate
from fit.desk.show.page import html
from fit.desk.show.sheet import Drawing, Headlines, Listing, Mark, Notice, Picture, Section, Sheet, Table, Text
from tests.pages import read_page

EVIL = '<script>alert("x")</script><img src=//evil.invalid/x.png onerror=alert(1)>'
ESTIMATE = Estimate(value=2.874, unit="H", standard_uncertainty=0.0157, low=2.843, high=2.905)


def blocks_of(text):
    """One of each block, all saying the same."""
    plain = (
        Text((text, text)),
        Notice((text,), "bad"),
        Listing((text, (text, text))),
        Table((("", text), (text, Mark(text, "look")))),
        Headlines(text, ((text, ESTIMATE),), text),
        Drawing(text, text, '<svg aria-label="a drawing"></svg>', text, (Text((text,)),)),
    )
    return (*plain, Section(plain, heading=text, mark=Mark(text, "good")), Section(plain, label=text))


def test_every_block_has_its_element():
    sheet = Sheet(
        "Title",
        (
            Text(("two lines", "  of one paragraph")),
            Text(("small",), is_note=True),
            Notice(("grave",), "bad"),
            Table((("part", "value", "95 % interval"), ("Inductance", ESTIMATE), ("Verdict", Mark("within", "good"), ""))),
            Section((Section((Listing(("one", ("two", "of it"))),), heading="Inner"),), heading="Outer", mark=Mark("ok", "good")),
            Section((Text(("below",)),), label="Only here"),
        ),
    )
    text = html(sheet, footer="made by hand")
    for piece in (
        "<h1>Title</h1>",
        "<p>two lines of one paragraph</p>",
        '<p class="small">small</p>',
        '<div class="notice bad"><p>grave</p></div>',
        '<th scope="col">part</th><th scope="col">value</th>',
        '<th scope="row">Inductance</th><td class="figure">2.874 H</td><td class="figure">2.843 … 2.905 H</td>',
        '<td class="mark good">within</td>',
        '<h2>Outer <span class="mark good">ok</span></h2>\n<h3>Inner</h3>',
        '<li>two<p class="small">of it</p></li>',
        "<h2>Only here</h2>",
        '<footer class="small">made by hand</footer>',
    ):
        assert piece in text
    read_page(text)


def test_pictures_stand_where_the_sheet_has_them_and_a_missing_one_leaves_no_gap():
    from matplotlib.figure import Figure

    sheet = Sheet("T", (Picture("one", "First", "A line."), Text(("between",)), Picture("two", "Second", "Not drawn.")))
    text = html(sheet, {"one": lambda: Figure(figsize=(2, 1)), "other": lambda: pytest.fail("drawn for nothing")})
    said = read_page(text)
    assert said.headings == ["T", "First"]
    assert text.index("<svg") < text.index("between")
    assert ("svg", "aria-label", "First. A line.") in said.attributes


@given(st.text())
def test_any_text_is_text(text):
    page = read_page(html(Sheet(f"T{text}", blocks_of(text)), footer=text))
    assert set(page.tags) <= set(read_page(html(Sheet("T", blocks_of("x")), footer="x")).tags)


@pytest.mark.parametrize("text", [EVIL, "\"'&amp;<>", "a\x1b[31mb\x00c\u202ed\u2028e"])
def test_hostile_text_is_shown_as_text(text):
    page = read_page(html(Sheet(text, blocks_of(text)), footer=text))
    assert page.title == re.sub("[\x00\x1b\u202e\u2028]", "\N{REPLACEMENT CHARACTER}", text)
    assert page.said.count(page.title) > 20
