"""What stands beside each symbol."""

import pytest

from fit.answers.figures import Estimate
from fit.circuit.reading import read_instrument
from fit.desk.show.drawing.parts import LONGEST, drawn_parts, runs_text
from tests.instrument_texts import SOUND

INSTRUMENT = read_instrument(SOUND)


def words(measured=None, text=SOUND):
    return {
        (one.part, one.kind): one.words for one in drawn_parts(read_instrument(text), measured or {}) if one.kind != "contact"
    }


def found(value, unit):
    return Estimate(value=value, unit=unit, standard_uncertainty=value / 100, low=0.98 * value, high=1.02 * value)


def test_every_part_has_its_name_and_its_value():
    told = words()
    assert told["pickup.neck", "coil"] == ("neck", "3.1 H · 7.9 kΩ", "110 pF")
    assert told["pickup.bridge", "coil"] == ("bridge coil 1", "not measured yet")
    assert told["pickup.bridge.second", "coil"][0] == "bridge coil 2"
    assert told["pot.volume", "pot"] == ("volume pot", "500 kΩ audio")
    assert told["pot.tone", "pot"] == ("tone pot", "250 kΩ linear", "marked")
    assert told["capacitor.tone", "capacitor"] == ("tone capacitor", "33 nF", "marked")
    assert told["resistor.bleed", "resistor"] == ("bleed resistor", "150 kΩ")


def test_what_a_fit_found_stands_before_what_is_marked():
    told = words({"capacitor.tone": found(31.2e-9, "F"), "bridge.inductance": found(3.33, "H")})
    assert told["capacitor.tone", "capacitor"] == ("tone capacitor", "31.20 nF measured", "marked 33 nF")
    assert told["pickup.bridge", "coil"] == ("bridge coil 1", "3.330 H", "measured")


def test_a_reference_is_not_called_measured():
    told = words({"pot.volume": found(499e3, "Ω"), "neck.inductance": found(3.0, "H")})
    assert told["pot.volume", "pot"] == ("volume pot", "500 kΩ audio")
    assert told["pickup.neck", "coil"] == ("neck", "3.1 H · 7.9 kΩ", "110 pF")


def test_a_contact_says_where_it_is_closed():
    contacts = [one for one in drawn_parts(INSTRUMENT, {}) if one.kind == "contact"]
    assert [(one.words, one.closed_in) for one in contacts] == [
        (("selector", "1 2"), ("neck", "both")),
        (("selector", "2 3"), ("both", "split")),
        (("selector", "3"), ("split",)),
    ]


def test_a_long_name_is_cut_and_a_control_character_is_none():
    name = "n" * 38
    told = words(text=SOUND.replace("[resistor.bleed]", f"[resistor.{name}]"))
    cut = told[f"resistor.{name}", "resistor"][0]
    assert len(cut) == LONGEST
    assert cut.endswith("n… resistor")  # what it is stays


@pytest.mark.parametrize(
    ("numbers", "text"), [([], ""), ([3], "3"), ([1, 2], "1 2"), ([1, 2, 3, 5], "1–3 5"), ([2, 4, 5, 6], "2 4–6")]
)
def test_numbers_are_written_shortly(numbers, text):
    assert runs_text(numbers) == text
