"""Printed forms, each put as a plain quantity."""

import pytest

from measure.codes import is_preferred, is_quantity, quoted, read_percent, read_printed
from measure.marking import read_value


def put(stated, kind, *, has_bound=False):
    return read_printed(stated, kind, text=stated, has_bound=has_bound)


@pytest.mark.parametrize(
    ("kind", "stated", "value", "tolerance", "pieces"),
    [
        ("capacitor", "333K", "33000p", "10%", ("333", "K")),
        ("capacitor", ".022", ".022u", "", (".022",)),
        ("capacitor", "479C", "4.7p", "0.25p", ("479", "C")),
        ("capacitor", "22nF K", "22n", "10%", ("22nF", "K")),
        ("capacitor", "22n 5%", "22n", "5%", ()),
        ("pot", "A500K", "500k", "", ("A", "500K")),
        ("pot", "504", "500000R", "", ("504",)),
        ("resistor", "4K7J", "4.7k", "5%", ("4K7", "J")),
        ("resistor", "472", "4700R", "", ("472",)),
    ],
)
def test_a_form_is_put_as_a_quantity(kind, stated, value, tolerance, pieces):
    reading = put(stated, kind)
    assert (reading.value, reading.tolerance, reading.pieces) == (value, tolerance, pieces)
    assert is_quantity(value, "F" if kind == "capacitor" else "Ω")


@pytest.mark.parametrize(
    ("kind", "stated", "has_bound"),
    [("capacitor", "22n", False), ("pot", "500k", False), ("pot", "504", True), ("resistor", "470", True), ("pot", "33n", False)],
)
def test_what_is_no_printed_form_is_left_as_it_stands(kind, stated, has_bound):
    assert put(stated, kind, has_bound=has_bound) is None


# Two characters: a digit that counts zeros, a letter for 1 to 8 (common practice, known as EIA codes).
@pytest.mark.parametrize(
    ("letters", "volts"),
    [
        ("0J", "6.3"), ("1A", "10"), ("1C", "16"), ("1E", "25"), ("1V", "35"), ("1H", "50"), ("1J", "63"), ("1K", "80"),
        ("2A", "100"), ("2B", "125"), ("2C", "160"), ("2D", "200"), ("2E", "250"), ("2F", "315"), ("2V", "350"), ("2G", "400"),
        ("2W", "450"), ("2H", "500"), ("2J", "630"), ("3A", "1000"), ("3D", "2000"),
    ],
)  # fmt: skip
def test_two_characters_are_a_rated_voltage(letters, volts):
    assert put(f"{letters}104K", "capacitor").rated == put(f"104K{letters}", "capacitor").rated == f"{volts} V"


@pytest.mark.parametrize(
    ("behind", "volts"), [(" 100V", "100"), ("/250VAC", "250"), (" 400 VDC", "400"), ("630", "630"), (" 1kV", "1000")]
)
def test_a_rated_voltage_in_words(behind, volts):
    assert put(f"104K{behind}", "capacitor").rated == f"{volts} V"


def test_a_tolerance_without_its_sign():
    assert (read_percent("6.35k 1%").value, read_percent("6.35k 1%").tolerance) == ("6.35k", "1%")
    assert read_percent("6.35k") is read_percent("6.35 1%") is None


def test_preferred_digits_and_quotes():
    assert is_preferred("470")
    assert is_preferred("332")
    assert not is_preferred("223")
    assert quoted("a\nb" + 50 * "x") == '"a?b' + 37 * "x" + '…"'
    assert quoted(None) == '"NoneType"'


@pytest.mark.parametrize(
    ("text", "value_f", "bound_f"),
    [
        ("10pG", 10e-12, 0.2e-12),  # per cent from 10 pF on
        ("9.9pG", 9.9e-12, 2e-12),  # below, G is 2 pF to either side
        ("8.2pC", 8.2e-12, 0.25e-12),
        ("8.2pD", 8.2e-12, 0.5e-12),
    ],
)
def test_letters_of_small_capacitors_are_picofarads(text, value_f, bound_f):
    """IEC 60062, table 4: below 10 pF the letters state picofarads."""
    found = read_value(text, "capacitor")
    assert (found.value, found.bound) == (pytest.approx(value_f), pytest.approx(bound_f))
