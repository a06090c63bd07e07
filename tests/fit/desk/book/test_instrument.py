"""An instrument as a table: what is known of each part, what the switch connects, what is missing."""

import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.book.instrument import LIMIT_BYTES, heard_pickups, load_of_rig, read_instrument_file, show_instrument
from fit.desk.show.document.pieces import plain
from measure.errors import FileError
from measure.logbook.rig import Input, Rig

RIG = Rig(input=Input(resistance="1M ± 1%", capacitance="470p ± 10p"))
TWO = read_instrument(layout_text("two-pickups-tone-after"))


def test_the_switch_connects_what_reaches_the_output():
    assert heard_pickups(TWO) == {
        ("selector", "bridge"): ["bridge"],
        ("selector", "both"): ["bridge", "neck"],
        ("selector", "neck"): ["neck"],
    }


def test_an_instrument_without_a_switch_has_no_positions():
    assert heard_pickups(read_instrument(layout_text("one-pickup"))) == {}


def test_parts_are_known_marked_or_missing(tmp_path):
    text = layout_text("one-pickup").replace('marked = "500k', 'value = "470k ± 1%" #', 1)
    shown = show_instrument(tmp_path / "instrument.toml", read_instrument(text), RIG)
    parts = plain(shown.document)["parts"]
    assert {parts["pot.volume"]["marked"], parts["capacitor.tone"]["marked"]} == {False, True}
    assert parts["capacitor.tone"]["standard_uncertainty"] is None  # a claim has none
    assert parts["pot.volume"]["standard_uncertainty"] == pytest.approx(4.7e3 / 3**0.5)
    rows = {line.split()[0]: line for line in shown.lines if line.startswith("  ")}
    assert " known " in rows["pot.volume"]
    assert " marked " in rows["capacitor.tone"]


def test_what_is_printed_on_parts_is_understood_and_said(tmp_path):
    text = layout_text("one-pickup").replace('marked = "22n ± 10%"', 'marked = "2A333K"').replace('"500k ± 20%"', '"B500K"')
    shown = show_instrument(tmp_path / "instrument.toml", read_instrument(text), RIG)
    parts = plain(shown.document)["parts"]
    assert (parts["capacitor.tone"]["text"], parts["capacitor.tone"]["value"]) == ("2A333K", pytest.approx(33e-9))
    assert parts["capacitor.tone"]["understood"] == "33 nF ± 10 %, 100 V, from 333, K and 2A"
    assert "understood" not in parts["bridge.dcr"]
    said = " ".join("\n".join(shown.lines).split())
    assert "33 nF ± 10 %, 100 V," in said
    assert "and 2A" in said
    assert "look: pot.tone: B is taken as linear" in said
    assert 'look: pot.tone: "B500K" says linear; taper = "audio" is stated and counts' in said


def test_what_a_prediction_lacks_is_listed(tmp_path):
    shown = show_instrument(tmp_path / "instrument.toml", TWO, Rig())
    assert {"input.resistance", "input.capacitance"} <= set(plain(shown.document)["missing"])
    assert shown.lines[-1].startswith("Missing for predict: ")
    assert "input.resistance" in shown.lines[-1]
    assert not {"input.resistance", "input.capacitance"} & set(plain(show_instrument(tmp_path, TWO, RIG).document)["missing"])


def test_positions_and_controls_stand_in_lines_and_document(tmp_path):
    shown = show_instrument(tmp_path / "instrument.toml", TWO, RIG)
    assert "  selector = both    bridge, neck" in shown.lines
    assert {"switch": "selector", "position": "both", "pickups": ["bridge", "neck"]} in plain(shown.document)["heard"]
    assert plain(shown.document)["controls"]["selector"] == ["bridge", "both", "neck"]
    assert plain(shown.document)["controls"]["neck-tone"] == ["0…10"]


def test_a_file_is_read_with_or_without_a_byte_order_mark(tmp_path):
    path = tmp_path / "instrument.toml"
    for mark in (b"", b"\xef\xbb\xbf"):
        path.write_bytes(mark + layout_text("one-pickup").encode())
        assert list(read_instrument_file(path).pickup) == ["bridge"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe", "is not UTF-8 text: byte 0 is 0xff"),
        (b"[pickup", r"instrument\.toml, "),
        (b"output = 3", r"instrument\.toml, "),
        (b"#" * (LIMIT_BYTES + 1), r"instrument\.toml"),
    ],
)
def test_what_is_no_instrument_is_named_in_one_line(tmp_path, content, says):
    path = tmp_path / "instrument.toml"
    path.write_bytes(content)
    with pytest.raises(FileError, match=says) as err:
        read_instrument_file(path)
    assert "\n" not in str(err.value)


@pytest.mark.parametrize(
    ("stated", "options"),
    [
        ({}, "--input-resistance … --input-capacitance …"),
        ({"resistance": "1M ± 1%"}, "coilsweep rig --input-capacitance …"),
        ({"capacitance": "1n ± 1%"}, "coilsweep rig --input-resistance …"),
    ],
)
def test_a_rig_that_does_not_state_the_input_is_told_how_to(stated, options):
    with pytest.raises(ValueError, match=options):
        load_of_rig(Rig(input=Input(**stated)))


def test_the_load_is_input_and_cable():
    load = load_of_rig(RIG)
    assert {name: one.value for name, one in load.items()} == {
        "input.resistance": 1e6,
        "input.capacitance": pytest.approx(470e-12),
    }
