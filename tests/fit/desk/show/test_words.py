"""How figures and names are put for people."""

import shlex
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.answers.figures import Estimate
from fit.desk.show.words import (
    command_text,
    error_line,
    estimate_texts,
    headline_keys,
    in_order,
    in_sentence,
    note_frequency_hz,
    note_name,
    plain_text,
    prose_lines,
    quantity_name,
    quantity_texts,
    table_lines,
    temperature_text,
    text_width,
    wrapped,
)


@pytest.mark.parametrize(
    ("value", "std", "unit", "texts"),
    [
        (2.8743, 0.0208, "H", ("2.874 H", "2.833 … 2.916 H")),
        (92.4e-12, 1.8e-12, "F", ("92.4 pF", "88.8 … 96.0 pF")),
        (6352.0, 30.0, "Ω", ("6.352 kΩ", "6.293 … 6.411 kΩ")),
        (4.3, 0.08, "1", ("4.30", "4.14 … 4.46")),
        (-3.25, 0.1, "dB", ("−3.25 dB", "−3.45 … −3.05 dB")),
        (5701.612345, 1e-6, "Hz", ("5.70161 kHz", "exact")),
    ],
)
def test_value_and_interval_share_prefix_and_places(value, std, unit, texts):
    made = Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std)
    assert estimate_texts(made) == texts


def test_quantities_stand_in_the_order_people_ask():
    assert in_order(["eddy_loop_1.corner", "q_unloaded", "inductance"]) == ["inductance", "q_unloaded", "eddy_loop_1.corner"]
    assert quantity_name("eddy_loop_1.corner") == "Eddy loop 1, corner"


def test_what_a_part_has_beside_its_value_stands_right_behind_it():
    keys = [
        "inductance", "pot.volume", "pot.tone", "pot.tone@5", "capacitor.tone", "pot.tone.stop_10", "pot.volume.stop_10",
        "pot.tone.stop_0", "capacitor.bleed.leak", "capacitor.tone.leak", "capacitor.tone.loss_tangent", "capacitor.bleed",
    ]  # fmt: skip
    assert [quantity_name(key) for key in in_order(keys)] == [
        "Inductance",
        "Volume pot",
        "Volume pot, ohms left at 10",
        "Tone pot",
        "Tone pot, ohms left at 0",
        "Tone pot, ohms left at 10",
        "Tone pot at 5, share of its track",
        "Tone capacitor",
        "Tone capacitor, loss angle (tan δ)",
        "Leak across the tone capacitor",
        "Bleed capacitor",
        "Leak across the bleed capacitor",
    ]
    assert headline_keys(keys, ("inductance",)) == ["inductance", "pot.volume", "pot.tone", "capacitor.tone", "capacitor.bleed"]


def test_loss_tangent_is_told_in_percent():
    made = Estimate(value=0.0191, unit="1", standard_uncertainty=4.5e-5, low=0.01901, high=0.01919)
    assert quantity_texts("capacitor.tone.loss_tangent", made) == ("1.9100 %", "1.9010 … 1.9190 %")
    assert quantity_texts("q_loaded", made) == estimate_texts(made)


def test_text_from_outside_cannot_steer_the_terminal():
    assert "\x1b" not in plain_text("a\x1b]0;title\x07b\nc\u202ed")
    assert plain_text("a\nb") == "a�b"
    assert plain_text("Ω ± 1 %") == "Ω ± 1 %"


def test_table_lines_up_wide_and_combining_characters():
    first, second = table_lines([("線", "x"), ("a\u0301b", "y")], indent="")
    assert first == "線  x"
    assert second == "a\u0301b  y"


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("inductance", "Inductance"),
        ("bridge.inductance", "Bridge: inductance"),
        ("q_loaded", "Q, cable and input on"),
        ("neck.q_loaded", "Neck: Q, cable and input on"),
        ("something_new", "Something new"),
    ],
)
def test_names_of_quantities(key, name):
    assert quantity_name(key) == name


def test_in_a_sentence_only_symbols_keep_their_capital():
    assert in_sentence("inductance") == "inductance"
    assert in_sentence("q_loaded") == "Q, cable and input on"


@pytest.mark.parametrize(("celsius", "text"), [(None, ""), (24.0, "winding at 24 °C"), (-3.5, "winding at −3.5 °C")])
def test_warmth_in_words(celsius, text):
    assert temperature_text(celsius) == text


@pytest.mark.parametrize(("name", "hertz"), [("A4", 440.0), ("E2", 82.4069), ("C♯5", 554.3653)])
def test_notes_and_their_frequencies(name, hertz):
    """Equal temperament, ISO 16; a note is the nearest up to half a semitone."""
    assert note_frequency_hz(name) == pytest.approx(hertz, rel=1e-6)
    assert note_name(hertz * 2 ** (0.49 / 12)) == note_name(hertz / 2 ** (0.49 / 12)) == name


def test_of_several_pickups_two_quantities_head_each():
    keys = ["bridge.inductance", "bridge.q_loaded", "neck.inductance", "neck.resonance_loaded"]
    assert headline_keys(keys, ("inductance", "q_loaded")) == ["bridge.inductance", "neck.inductance", "neck.resonance_loaded"]


@pytest.mark.parametrize(
    "words",
    [
        ["fit", "open", "Brücke"],
        ["take", "a", "--add", "1n ± 1%"],
        ["x", 'say "so"', "$HOME", "a\\b", "it's", "", "#1", "a;b", "~"],
    ],
)
def test_a_command_can_be_typed_as_it_stands(words):
    assert shlex.split(command_text(words)) == ["coilsweep", *words]
    assert shlex.split(command_text(words, Path("my bench"))) == ["coilsweep", *words, "--logbook", "my bench"]


def test_what_needs_no_quotes_has_none():
    assert command_text(["fit", "open", "--set", "tone=0"]) == "coilsweep fit open --set tone=0"


def test_columns_of_a_terminal():
    assert [text_width(text) for text in ("abc", "漢字", "a\u0308")] == [3, 4, 1]


def test_lines_are_broken_between_words():
    assert wrapped("a bb ccc dddd", 6) == ["a bb", "ccc", "dddd"]
    assert wrapped("漢漢漢漢", 3) == ["漢", "漢", "漢", "漢"]
    assert wrapped("", 5) == [""]


HEAD = ("", "baseline", "latest", "its limits", "average", "its limits", "")
ROW = (
    *("Resonance, cable and input on", "5.9135 kHz", "5.825 kHz", "5.890 … 5.937 kHz", "5.9044 kHz", "5.9076 … 5.9195 kHz"),
    "drifted, −1.5 % since 2026-06-22",
)


def test_a_wide_table_becomes_two_and_an_interval_stays_by_its_value():
    told = table_lines([HEAD, ROW])
    assert max(map(text_width, told)) <= 80
    first, second = " ".join(told).split("average")
    assert first.index("5.825 kHz") < first.index("5.890 … 5.937 kHz")
    assert "5.9076 … 5.9195 kHz" in second
    assert "−1.5 %" in second
    assert " ".join(told).count("Resonance,") == 2


def test_a_table_that_fits_is_left_as_it_is():
    assert table_lines([("a", "b" * 70), ("cc", "d")]) == ["  a   " + "b" * 70, "  cc  d"]


@pytest.mark.long
@given(
    st.lists(st.tuples(*[st.text(st.characters(codec="utf-8", categories=("L", "N")), max_size=30)] * 5), min_size=1, max_size=4)
)
def test_no_table_of_words_is_wider_than_it_may_be_and_nothing_is_lost(rows):
    told = table_lines(rows)
    assert max(map(text_width, told), default=0) <= 80
    letters = "".join(told)
    for cell in (cell for row in rows for cell in row):
        for letter in set(cell):
            assert letters.count(letter) >= cell.count(letter)


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (ValueError("a\n  b"), "a b"),
        (ValueError(), "ValueError"),
        (FileNotFoundError(2, "No such file", "rig.toml"), "No such file: rig.toml"),
        (BrokenPipeError(32, "Broken pipe"), "Broken pipe"),
        (OSError("no more"), "no more"),
    ],
)
def test_an_error_is_one_line(error, line):
    assert error_line(error) == line


def test_what_is_to_be_typed_is_never_broken():
    command = "coilsweep fit " + "take " * 30
    assert prose_lines(command) == [command]
    assert prose_lines(f"Next: {command}") == [f"Next: {command}"]
    assert prose_lines("- " + "word " * 30, first="  ", later="    ")[1].startswith("    word")
