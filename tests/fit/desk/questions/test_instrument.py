"""An instrument as a table: what is known of each part, what the switch connects, what is missing."""

import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.questions.instrument import heard_pickups, show_instrument
from fit.desk.show.document.pieces import plain
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
