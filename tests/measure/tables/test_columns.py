"""What columns are by the line that names them, and the complex values they make."""

import numpy as np
import pytest

from measure.tables.columns import Column, column_std, column_unit, column_value, column_words, complex_values, recognise_columns


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Re(Z)/Ohm", ["re", "z", "ohm"]),
        ("|H| (dB)", ["magnitude", "db"]),
        ("f/kHz", ["f", "khz"]),
        ("f (MHz)", ["f", "megahz"]),
        ("Z [MΩ]", ["z", "megohm"]),
        ("Z [\N{OHM SIGN}]", ["z", "ohm"]),
        ("u (σ)", ["u", "sigma"]),
    ],
)
def test_words_of_a_column(name, words):
    assert column_words(name) == words


def test_scales_of_frequency_and_ohms():
    columns, _ = recognise_columns(["f (MHz)", "Re Z (MΩ)", "Im Z (mΩ)"])
    assert (columns["frequency"].scale, columns["real"].scale, columns["imaginary"].scale) == (1e6, 1e6, 1e-3)


def recognised(*names):
    columns, unused = recognise_columns(names)
    return {role: (column.index, column.unit, column.scale) for role, column in columns.items()}, unused


@pytest.mark.parametrize(
    ("names", "columns"),
    [
        (("f", "Re", "Im"), {"frequency": (0, "Hz", 1.0), "real": (1, "", 1.0), "imaginary": (2, "", 1.0)}),
        (("Im (kΩ)", "f/kHz", "Re (Ω)"), {"frequency": (1, "Hz", 1e3), "real": (2, "Ω", 1.0), "imaginary": (0, "Ω", 1e3)}),
        (("Hz", "|H|", "°"), {"frequency": (0, "Hz", 1.0), "magnitude": (1, "", 1.0), "phase": (2, "deg", 1.0)}),
        (("f", "gain", "rad"), {"frequency": (0, "Hz", 1.0), "magnitude": (1, "dB or V/V", 1.0), "phase": (2, "rad", 1.0)}),
        (("f", "gain %", "phase"), {"frequency": (0, "Hz", 1.0), "magnitude": (1, "%", 0.01), "phase": (2, "", 1.0)}),
        (("f", "gain V/V", "phase"), {"frequency": (0, "Hz", 1.0), "magnitude": (1, "V/V", 1.0), "phase": (2, "", 1.0)}),
        (("GHz", "re", "im", "σ (mΩ)"), {"frequency": (0, "Hz", 1e9), "real": (1, "", 1.0), "imaginary": (2, "", 1.0),
                                         "std": (3, "Ω", 1e-3)}),
    ],
)  # fmt: skip
def test_roles_units_and_scales_of_columns(names, columns):
    assert recognised(*names)[0] == columns


def test_a_level_of_one_voltage_is_no_gain_and_unused_columns_are_told():
    columns, unused = recognised("f", "level Vrms", "gain dB", "phase deg", "room", " ")
    assert columns["magnitude"] == (2, "dB", 1.0)
    assert unused == ("level Vrms", "room")
    assert recognised("f", "re", "im", "gain dB", "phase")[1] == ("gain dB", "phase")


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (("re", "im"), "no column is named frequency.*for example frequency_hz,real,imaginary"),
        (("f", "re", "phase"), "real and imaginary or magnitude and phase are needed; found only f, re, phase"),
        (("f", "Hz", "re", "im"), 'columns 1 and 2, "f" and "Hz", are both frequency'),
        (("f", "re", "im", "σ", "std"), 'columns 4 and 5, "σ" and "std", are both std'),
    ],
)
def test_what_is_missing_or_twice_is_refused(names, said):
    with pytest.raises(ValueError, match=said):
        recognise_columns(names)


def columns_of(**units):
    return {role: Column(index=index, name=role, unit=unit) for index, (role, unit) in enumerate(units.items())}


def value_of(first, second, **units):
    columns = columns_of(frequency="Hz", **units)
    read = {role: np.array(values, dtype=float) for role, values in zip(units, (first, second), strict=True)}
    return column_value(read, columns, range(2, 2 + len(first)))


@pytest.mark.parametrize(
    ("first", "second", "units"),
    [
        ([0.0, -3.0], [2.0, 0.0], {"real": "", "imaginary": ""}),
        ([2.0, 3.0], [90.0, 180.0], {"magnitude": "", "phase": "deg"}),
        ([2.0, 3.0], [np.pi / 2, -np.pi], {"magnitude": "V/V", "phase": "rad"}),
        ([20 * np.log10(2), 20 * np.log10(3)], [90.0, -180.0], {"magnitude": "dB", "phase": "deg"}),
        ([2.0, 3.0], [90.0, 180.0], {"magnitude": "", "phase": ""}),  # no radians are as many
    ],
)
def test_two_columns_make_the_same_numbers(first, second, units):
    np.testing.assert_allclose(value_of(first, second, **units), [2j, -3.0], atol=1e-15 * 4)


def test_what_numbers_tell_of_an_open_unit():
    negative = value_of([-6.0, 6.0], [0.0, 0.0], magnitude="dB or V/V", phase="deg")
    np.testing.assert_allclose(negative, 10 ** np.array([-0.3, 0.3]), rtol=1e-12)
    with pytest.raises(ValueError, match=r'column 2, "magnitude", may be dB or a ratio: name it "magnitude \(dB\)"'):
        value_of([6.0, 6.0], [0.0, 0.0], magnitude="dB or V/V", phase="deg")
    with pytest.raises(ValueError, match="line 3, column 2: a magnitude below 0"):
        value_of([6.0, -6.0], [0.0, 0.0], magnitude="V/V", phase="deg")
    with pytest.raises(ValueError, match='column 3, "phase", may be degrees or radians'):
        value_of([1.0, 1.0], [-7.0, 7.0], magnitude="V/V", phase="")
    np.testing.assert_allclose(np.angle(value_of([1.0], [7.01], magnitude="V/V", phase=""), deg=True), 7.01, rtol=1e-12)


def test_a_deviation_is_in_the_unit_of_the_value_or_in_percent_of_its_size():
    value, lines = np.array([3 + 4j, 10j]), (7, 8)
    std = np.array([0.02, 0.1])
    for unit, expected in (("%", [0.1, 1.0]), ("Ω", [0.02, 0.1]), ("", [0.02, 0.1])):
        np.testing.assert_allclose(column_std({"std": std}, columns_of(std=unit), value, lines=lines), expected, rtol=1e-12)
    assert column_std({}, {}, value, lines=lines) is None
    with pytest.raises(ValueError, match="line 8, column 1: a standard deviation must be above 0"):
        column_std({"std": np.array([0.1, 0.0])}, columns_of(std="Ω"), value, lines=lines)
    with pytest.raises(ValueError, match="a deviation in dB is not read"):
        column_std({"std": std}, columns_of(std="dB"), value, lines=lines)


@pytest.mark.parametrize(
    ("units", "stated", "unit"),
    [
        ({"real": "", "imaginary": ""}, "", ""),
        ({"real": "Ω", "imaginary": ""}, "", "Ω"),
        ({"real": "", "imaginary": ""}, "Ohm", "Ω"),
        ({"magnitude": "dB", "phase": "deg"}, "V/V", "V/V"),
        ({"magnitude": "%", "phase": "deg"}, "", "V/V"),
        ({"magnitude": "dB", "phase": "deg"}, "", ""),
        ({"std": "Ω", "real": "", "imaginary": ""}, "", ""),
    ],
)
def test_the_unit_is_that_of_a_column_or_stated_elsewhere(units, stated, unit):
    assert column_unit(columns_of(**units), stated) == unit


def test_what_is_not_finite_stays_so_part_by_part():
    inf, nan = np.inf, np.nan
    value = complex_values("ri", np.array([1.0, inf, nan]), np.array([inf, 1.0, 1.0]))
    np.testing.assert_array_equal(value.real, [1.0, inf, nan])
    np.testing.assert_array_equal(value.imag, [inf, 1.0, 1.0])
    assert not np.isfinite(complex_values("db", np.array([1e6]), np.array([0.0])))[0]
    np.testing.assert_allclose(complex_values("db", np.array([-40.0]), np.array([-90.0])), [-0.01j], atol=1e-17)
