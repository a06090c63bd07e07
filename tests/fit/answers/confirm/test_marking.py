"""Codes on parts and preferred values: both ways, the traps, what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit.answers.confirm.marking import (
    SERIES_TOLERANCE,
    coarsest_series,
    letter_code,
    marking_code,
    nearest_marking,
    preferred_text,
    tolerance_letter,
)
from measure.marking import read_value
from measure.quantity import preferred_values


def test_what_has_no_code_is_refused():
    with pytest.raises(ValueError, match="has no letter code"):
        letter_code(4712.0, "Ω")
    with pytest.raises(ValueError, match="has no letter code"):
        letter_code(1e15, "Ω")


# What is written is read back as it was, whatever preferred value in whatever series.
@given(
    series=st.sampled_from(list(SERIES_TOLERANCE)),
    place=st.integers(0, 191),
    decade=st.integers(-1, 6),
    letter=st.sampled_from([0.01, 0.02, 0.05, 0.1, 0.2, None]),
)
def test_codes_of_resistors_go_both_ways(series, place, decade, letter):
    values = preferred_values(series)
    value = values[place % len(values)] * 10.0**decade
    read = read_value(marking_code(value, "Ω", letter), "resistor")
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.bound == (None if letter is None else pytest.approx(letter * value, rel=1e-12))


@given(place=st.integers(0, 23), decade=st.integers(1, 6), letter=st.sampled_from([0.01, 0.05, 0.1, 0.2, None]))
def test_codes_of_capacitors_go_both_ways(place, decade, letter):
    value = preferred_values("E24")[place] * 10.0 ** (decade - 12)
    code = marking_code(value, "F", letter)
    assert len(code) == (3 if letter is None else 4)
    read = read_value(code, "capacitor")
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.bound == (None if letter is None else pytest.approx(letter * value, rel=1e-12))


def test_small_capacitors_carry_picofarads():
    assert marking_code(4.7e-12, "F", 0.25 / 4.7) == "479C"
    assert marking_code(10e-12, "F", 0.05) == "100J"
    assert tolerance_letter(6.8e-12, "F", 0.02) == ""  # G would mean 2 pF
    assert tolerance_letter(6.8e-12, "F", 0.05) == "J"


def test_a_bound_without_a_letter_is_left_out():
    assert marking_code(33e-9, "F", 0.07) == "333"
    assert marking_code(33e-9, "F", 0.10) == "333K"


def test_three_digits_of_a_capacitor_take_a_letter_as_point():
    assert marking_code(22.1e-9, "F", 0.01) == "22n1F"


@pytest.mark.parametrize(
    ("value", "unit", "tolerance", "text"),
    [
        (30.6e-9, "F", 0.10, "33 nF (E6)"),
        (21.4e-9, "F", 0.20, "22 nF (E6)"),
        (38.0e-9, "F", 0.20, "33 nF (E6)"),
        (38.0e-9, "F", 0.10, "39 nF (E12)"),
        (245e3, "Ω", 0.20, "220 kΩ (E6)"),
        (245e3, "Ω", 0.05, "240 kΩ (E24)"),
        (245e3, "Ω", 0.02, "249 kΩ (E48)"),
        (245e3, "Ω", 0.01, "243 kΩ (E96)"),
        (245.5e3, "Ω", 0.001, "246 kΩ (E192)"),
        (123.0, "Ω", 0.20, "150 Ω (E6)"),  # by ratio: the border is 122.47
    ],
)
def test_nearest_preferred_value_is_named_by_the_coarsest_series(value, unit, tolerance, text):
    assert preferred_text(nearest_marking(value, unit, tolerance)) == text


def test_half_a_megohm_is_in_no_series():
    assert coarsest_series(500e3) is None
    assert coarsest_series(510e3) == "E24"
    assert coarsest_series(9.2) == "E192"
