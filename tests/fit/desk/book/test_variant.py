"""A change as it was typed: what is told of it, what is carried over, what is refused."""

from dataclasses import replace

import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.book.variant import Change, read_change
from measure.errors import FileError
from tests.found_parts import INSTRUMENT, found_parts

OWN = read_instrument(layout_text("three-singles"))


def test_a_change_is_told_in_the_order_it_is_made():
    change = Change(
        settings=("tone=3",),
        changes=("capacitor.tone=10n",),
        added=("jack=1n",),
        moved=("tone-2.wiper=bridge.hot",),
        layout="three-singles-blend",
    )
    told = ("wired as three-singles-blend", "moved tone-2.wiper=bridge.hot", "added jack=1n", "capacitor.tone=10n")
    assert change.told == told
    assert change.is_rewired
    assert Change(settings=("tone=3",)).told == ()
    assert Change(moved=("tone.wiper=nothing",)).told == ("tone.wiper taken off",)


def test_what_was_understood_and_what_is_odd_are_noted():
    made = read_change(Change(changes=("capacitor.tone=.033K", "pot.volume=A250K"), added=("volume=122J",)), OWN, None)
    assert made.understood == {
        "capacitor.added-1": "1.2 nF ± 5 %, from 122 and J",
        "capacitor.tone": "33 nF ± 10 %, from .033 and K",
        "pot.volume": "250 kΩ, audio taper, from A and 250K",
    }
    assert "capacitor.tone: 33 nF ± 10 %, from .033 and K" in made.notes
    assert any(note.startswith("pot.volume: A is taken as audio") for note in made.notes)


def test_measured_parts_are_carried_into_another_layout():
    """Those that are the same go along; what the layout has of its own is said."""
    parts = found_parts()
    made = read_change(Change(layout="treble-bleed"), INSTRUMENT, parts)
    assert made.parts is not None
    assert {"bridge.inductance", "bridge.dcr"} <= set(made.parts.values)
    assert any("not in your instrument" in note and "capacitor.bleed" in note for note in made.notes)
    soldered = read_change(Change(added=("volume=1n2",)), INSTRUMENT, parts)
    assert soldered.parts is parts


def test_an_added_part_may_be_changed_no_more_than_any_other():
    with pytest.raises(ValueError, match=r'there is no part "capacitor\.added-9"'):
        read_change(Change(changes=("capacitor.added-9=1n",)), OWN, None)


def test_two_wirings_at_once_and_none_at_all_are_refused(tmp_path):
    change = Change(layout="one-pickup", instrument=tmp_path / "other.toml")
    with pytest.raises(ValueError, match="choose one"):
        read_change(change, OWN, None)
    with pytest.raises(FileError, match=r"other\.toml"):
        read_change(replace(change, layout=None), OWN, None)
    with pytest.raises(ValueError, match="there is no layout"):
        read_change(Change(layout="four-strings"), OWN, None)
    with pytest.raises(ValueError, match="no instrument to change"):
        read_change(Change(), None, None)


def test_a_layout_without_an_instrument_has_its_usual_values():
    made = read_change(Change(layout="one-pickup"), None, None)
    assert made.notes == ("no instrument.toml is there, so all values are the layout's usual ones",)
