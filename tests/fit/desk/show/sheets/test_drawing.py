"""The drawing and the connection table as pieces of sheets."""

from fit.circuit.layouts import layout_text
from fit.circuit.lugs import Lug
from fit.circuit.reading import read_instrument
from fit.desk.show.page import html
from fit.desk.show.sheet import Drawing, Picture, Sheet, Text
from fit.desk.show.sheets.drawing import connection_blocks, drawing_of, lug_text, with_drawing
from fit.desk.show.sheets.notices import CIRCUIT
from fit.desk.show.terminal import lines
from tests.instrument_texts import SOUND
from tests.pages import read_page

INSTRUMENT = read_instrument(SOUND)
WIDTH = 80  # [characters] of a terminal


def test_the_table_says_which_lug_goes_to_which():
    said = lines(Sheet("", connection_blocks(read_instrument(layout_text("one-pickup")))))
    rows = [tuple(filter(None, line.strip().split("  "))) for line in said]
    rows = [tuple(cell.strip() for cell in row) for row in rows]
    assert rows[:3] == [("Connections",), ("point", "from", "to"), ("bridge hot", "bridge pickup +", "volume pot, lug 3")]
    assert ("tip", "volume pot, lug 2", "jack tip") in rows
    assert ("tone link", "tone pot, lug 1", "tone capacitor") in rows
    assert ("ground", "volume pot, lug 1", "jack sleeve") in rows
    assert not any("Contacts" in line for line in said)


def test_contacts_are_listed_with_their_positions():
    said = lines(Sheet("", connection_blocks(INSTRUMENT)))
    assert any(line.split() == ["selector", "neck", "hot", "–", "bus", "neck,", "both"] for line in said)
    assert max(map(len, said)) <= WIDTH


def test_lugs_are_named_as_one_solders():
    commons = {"switch.selector": 1, "switch.phase": 2}
    names = [
        (("pot.volume", "cw", "bus"), "volume pot, lug 3"),
        (("pot.volume", "wiper", "tip"), "volume pot, lug 2"),
        (("pot.volume", "ccw", "ground"), "volume pot, lug 1"),
        (("pickup.neck", "+", "neck hot"), "neck pickup +"),
        (("pickup.bridge.second", "-", "ground"), "bridge pickup, coil 2 −"),
        (("switch.selector", "common", "bus"), "selector common"),
        (("switch.selector", "throw", "neck hot"), "selector throw “neck hot”"),
        (("switch.phase", "common", "out"), "phase common “out”"),
        (("capacitor.tone", "1", "tone link"), "tone capacitor"),
        (("jack", "sleeve", "ground"), "jack sleeve"),
    ]
    for (part, lug, node), text in names:
        assert lug_text(Lug(part=part, lug=lug, node=node), n_commons=commons) == text
    first = Lug(part="pickup.bridge", lug="+", node="bridge hot")
    assert lug_text(first, n_commons=commons, pairs=["bridge"]) == "bridge pickup, coil 1 +"


def test_a_drawing_stands_where_a_sheet_has_its_place():
    drawing = drawing_of(INSTRUMENT)
    picture = Picture("curves", "Curves", "Drawn.")
    placed = with_drawing(Sheet("", (Text(("first",)), picture, CIRCUIT, Text(("last",)))), drawing)
    assert [type(block) for block in placed.blocks] == [Text, Picture, Drawing, Text]
    without = with_drawing(Sheet("", (Text(("first",)),)), drawing)
    assert without.blocks[-1] is drawing


def test_a_page_has_the_drawing_and_its_table_folded_away_and_a_terminal_neither():
    sheet = Sheet("A guitar", (drawing_of(INSTRUMENT, at={"selector": "both"}),))
    page = html(sheet)
    assert ("svg", "aria-label", "Circuit: one of each") in read_page(page).attributes
    assert page.index("<details><summary>What is soldered to what</summary>") < page.index("jack sleeve")
    assert lines(sheet) == []
