"""Pages: one file, well formed, needing nothing from elsewhere, every text from outside escaped."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.answers.figures import Estimate
from fit.desk.show.page import html
from fit.desk.show.sheet import Drawing, Headlines, Listing, Mark, Meaning, Notice, Picture, Section, Sheet, Table, Text, Verdict
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
        Verdict(text, "look", (text,)),
        Meaning(text),
    )
    return (*plain, Section(plain, heading=text, mark=Mark(text, "good"), is_folded=True), Section(plain, label=text))


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


@pytest.mark.long
@given(st.text())
def test_any_text_is_text(text):
    page = read_page(html(Sheet(f"T{text}", blocks_of(text)), footer=text))
    assert set(page.tags) <= set(read_page(html(Sheet("T", blocks_of("x")), footer="x")).tags)


@pytest.mark.parametrize("text", [EVIL, "\"'&amp;<>", "a\x1b[31mb\x00c\u202ed\u2028e"])
def test_hostile_text_is_shown_as_text(text):
    page = read_page(html(Sheet(text, blocks_of(text)), footer=text))
    assert page.title == re.sub("[\x00\x1b\u202e\u2028]", "\N{REPLACEMENT CHARACTER}", text)
    assert page.said.count(page.title) > 20


def test_a_verdict_comes_large_with_its_reasons_and_a_meaning_as_a_paragraph():
    text = html(Sheet("T", (Verdict("WITHIN", "good", ("because",)), Meaning("for the player"))))
    assert '<div class="verdict good"><p class="said">WITHIN</p><p>because</p></div>' in text
    assert '<p class="meaning">for the player</p>' in text
    read_page(text)


def test_a_folded_section_shows_its_heading_alone():
    folded = Section(
        (Text(("inside",)), Section((Text(("deeper",)),), heading="Inner", is_folded=True)), heading="Outer", is_folded=True
    )
    text = html(Sheet("T", (folded,)))
    assert "<details><summary><h2>Outer</h2></summary>\n<p>inside</p>\n<details><summary><h3>Inner</h3></summary>" in text
    assert "<details open" not in text
    read_page(text)


def test_nothing_is_folded_under_a_heading_for_nothing():
    empty = Section((Picture("absent", "Not drawn", ""),), heading="Outer", is_folded=True)
    assert "Outer" not in html(Sheet("T", (empty,)))


def test_pictures_take_lighter_colours_on_a_dark_page_and_need_no_width():
    from fit.desk.show.figures.style import COLOURS, DARK_COLOURS, new_figure

    def draw():
        figure = new_figure(height_in=1.0)
        axes = figure.subplots()
        for colour in COLOURS:
            axes.plot([0, 1], [0, 1], color=colour)
        return figure

    text = html(Sheet("T", (Picture("one", "", "A line."),)), {"one": draw})
    light, dark = text.split("@media screen and (prefers-color-scheme:dark)", 1)
    for number, (on_paper, on_dark) in enumerate(zip(COLOURS, DARK_COLOURS, strict=True)):
        assert f"--series-{number}:{on_paper};" in light
        assert f"--series-{number}:{on_dark};" in dark[: dark.index("}}")]
        assert f"var(--series-{number})" in text[text.index("<svg") :]
    assert "figure svg{display:block;width:100%;height:auto}" in text
    assert read_page(text).headings == ["T"]  # a picture without a heading has none


def test_what_can_be_wider_than_a_phone_scrolls_in_a_box_of_its_own():
    text = html(
        Sheet(
            "T", (Table((("", "a"), ("b", "c"))), Section((Table((("d", "e"),), has_head=False),), heading="S", is_folded=True))
        )
    )
    assert text.count('<div class="wide"><table>') == text.count("<table>") == 2
    assert ".wide{overflow-x:auto" in text
    assert "transparent) 100% 0/.7rem 100% no-repeat}" in text  # and shows that there is more
