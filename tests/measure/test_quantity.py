"""Quantities as people write them, to a value and back."""

import math
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from measure.quantity import (
    capacitor_code,
    check_origin,
    format_quantity,
    nearest_preferred,
    parse_capacitor_code,
    parse_quantity,
    parse_temperature,
    preferred_values,
)


@pytest.mark.parametrize(
    ("text", "value", "bound", "unit"),
    [
        ("1n", 1e-9, None, "F"),
        ("1nF", 1e-9, None, "F"),
        ("1 nF", 1e-9, None, "F"),
        ("33nf", 33e-9, None, "F"),
        ("10KOHM ± 1  %", 10e3, 100.0, "Ω"),
        ("4k7", 4700.0, None, "Ω"),
        ("4K7", 4700.0, None, "Ω"),
        ("2n2", 2.2e-9, None, "F"),
        ("250k", 250e3, None, "Ω"),
        ("4R7", 4.7, None, "Ω"),
        ("R47", 0.47, None, "Ω"),
        ("470R", 470.0, None, "Ω"),
        ("n47", 0.47e-9, None, "F"),
        ("47k3", 47300.0, None, "Ω"),
        ("4M7", 4.7e6, None, "Ω"),
        ("1\u00b5", 1e-6, None, "F"),
        ("1\u03bc", 1e-6, None, "F"),
        ("1u", 1e-6, None, "F"),
        ("10 kohm", 10e3, None, "Ω"),
        ("10k\u2126", 10e3, None, "Ω"),
        ("1Meg", 1e6, None, "Ω"),
        ("9 kHz", 9e3, None, "Hz"),
        ("100 mΩ", 0.1, None, "Ω"),
        ("2.87 H", 2.87, None, "H"),
        ("1n ± 1%", 1e-9, 1e-11, "F"),
        ("1n+-1%", 1e-9, 1e-11, "F"),
        ("1n +/- 1 %", 1e-9, 1e-11, "F"),
        ("1n ±.5%", 1e-9, 5e-12, "F"),
        ("185p ± 3p", 185e-12, 3e-12, "F"),
        ("185pF ± 3pF", 185e-12, 3e-12, "F"),
        ("1M±1%", 1e6, 1e4, "Ω"),
        ("33n ± 10%", 33e-9, 3.3e-9, "F"),
        ("4k7 ± 47R", 4700.0, 47.0, "Ω"),
    ],
)
def test_reads_what_people_write_and_infers_the_unit(text: str, value: float, bound: float | None, unit: str) -> None:
    quantity = parse_quantity(text)
    assert (quantity.value, quantity.bound, quantity.unit, quantity.text) == (value, bound, unit, text)
    if bound is None:
        assert quantity.standard_uncertainty is None
    else:
        assert quantity.standard_uncertainty == pytest.approx(bound / math.sqrt(3), rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("text", "unit", "value", "bound"),
    [
        ("3.1 ± 1%", "H", 3.1, 0.031),
        ("100 ± 1", "Ω", 100.0, 1.0),
        ("100", "Ω", 100.0, None),
        ("104", "Ω", 104.0, None),
        ("223K", "Ω", 223e3, None),
        ("9e3", "Hz", 9000.0, None),
        ("9k ± 5%", "Hz", 9000.0, 450.0),
        ("20m", "H", 0.02, None),
        ("0.42 ± 1%", "", 0.42, 0.0042),
    ],
)
def test_takes_the_unit_that_the_caller_expects(text: str, unit: str, value: float, bound: float | None) -> None:
    quantity = parse_quantity(text, unit)
    assert (quantity.value, quantity.bound, quantity.unit) == (value, bound, unit)


@pytest.mark.parametrize(
    ("text", "unit", "match"),
    [
        ("", None, "capacitance such as 1n ± 1% or a resistance"),
        ("100", None, "it has no unit"),
        ("1nF", "Ω", "resistance such as 4k7 ± 1%: it is in F"),
        ("1H", "F", "it is in H"),
        ("104", None, "as a capacitor code it means 100 nF"),
        ("223K", None, "K or M may be a prefix or a tolerance; as a capacitor code it means 22 nF ± 10%"),
        ("473J", "F", "as a capacitor code it means 47 nF ± 5%"),
        ("1m", None, "easily a slip: write M for mega"),
        ("1m", "Ω", "easily a slip: write M for mega"),
        ("100f", "F", "easily a slip: write the unit"),
        ("4,7k", None, "a point, not a comma"),
        ("nan", "Ω", "is not a resistance"),
        ("inf", "Ω", "is not a resistance"),
        ("-1n", None, "is not a capacitance"),
        ("\u22121n", None, "is not a capacitance"),
        ("0", "Ω", "above 0"),
        ("0p ± 1p", None, "above 0"),
        ("1e99", "Ω", "between 0.001 and 1e\\+12 Ω"),
        ("1e999999999", "Ω", "is not a resistance"),
        ("1e-99", "", "between 1e-18"),
        ("1M", "F", "between 1e-18 and 1 F"),
        ("3p", "Ω", "between 0.001"),
        ("1n ±", None, "nothing stands after ±"),
        ("1n±1%±2%", None, "more than one ±"),
        ("1n ± 200%", None, "below 100 %"),
        ("1n ± 100%", None, "below 100 %"),
        ("1n ± 0%", None, "above 0"),
        ("1n ± 1e-99%", None, "above 0"),
        ("1n ± -1%", None, "more than one ±|is not a capacitance"),
        ("1n ± 1k", None, "below 100 %"),
        ("1n ± 1kΩ", None, "it is in Ω"),
        ("185 ± 3p", "F", "both sides of ±"),
        ("185p ± 3", None, "both sides of ±"),
        ("1n 1%", None, "is not a capacitance"),
        ("± 1%", None, "is not a capacitance"),
        ("\u0661n", None, "is not a capacitance"),  # a digit, but not an ASCII one
        ("\uff11n", None, "is not a capacitance"),
        ("1n\n", None, "is not a capacitance"),
        ("1n\x00", None, '"1n\\?" is not'),
        ("1\u202en", None, '"1\\?n" is not'),
        ("1" * 40 + "n", None, "is not a capacitance"),
        pytest.param("x" * 10_000_000, None, "no text of at most 120 characters", id="10 MB"),
        pytest.param("1" * 10_000_000 + "n", None, "no text of at most 120 characters", id="10 MB of digits"),
        (5, None, "no text of at most 120 characters"),
    ],
)
def test_refuses_in_one_short_line(text: str, unit: str | None, match: str) -> None:
    with pytest.raises(ValueError, match=match) as caught:
        parse_quantity(text, unit)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 220


def test_refuses_a_unit_that_does_not_exist() -> None:
    with pytest.raises(ValueError, match="unit 'furlong' is not one of"):
        parse_quantity("1n", "furlong")


@given(st.text(max_size=60) | st.text(alphabet="0123456789.eE+-±%pnu\u00b5mkKMGRFHΩ ,", max_size=30))
def test_any_text_gives_a_sound_quantity_or_a_value_error(text: str) -> None:
    try:
        quantity = parse_quantity(text)
    except ValueError as err:
        message = str(err)
        quantity = parse_quantity("1n")
    else:
        message = ""
    assert not message or message.isprintable()
    assert 0 < quantity.value < math.inf
    assert quantity.bound is None or 0 < quantity.bound < quantity.value
    assert quantity.unit in ("Ω", "F", "H", "Hz", "V", "A", "s")


@given(
    st.sampled_from([("F", 1e-15, 0.9), ("Ω", 1e-2, 1e11), ("H", 1e-9, 1e4), ("Hz", 1e-3, 1e11)]).flatmap(
        lambda limits: st.tuples(st.floats(limits[1], limits[2]), st.just(limits[0]))
    )
)
@example((999.9999999999999, "Ω"))
@example((9.999999999999999e-10, "F"))
def test_what_is_printed_with_all_digits_reads_back_exactly(case: tuple[float, str]) -> None:
    value, unit = case
    assert parse_quantity(format_quantity(value, unit, 17)).value == value
    assert parse_quantity(format_quantity(value, unit, 17), unit).unit == unit
    for digits in (1, 3, 6):
        # half a unit of the last digit, the leading digit being at least 1
        assert parse_quantity(format_quantity(value, unit, digits)).value == pytest.approx(
            value, rel=0.501 * 10.0 ** (1 - digits), abs=0
        )


@given(st.decimals(Decimal("0.1"), Decimal("999"), places=2), st.sampled_from("pnkMR"))
def test_letter_code_and_decimal_point_mean_the_same(number: Decimal, letter: str) -> None:
    whole, part = str(number).split(".")
    plain = f"{number}{letter}"
    assert parse_quantity(f"{whole}{letter}{part}").value == parse_quantity(plain).value
    assert Decimal(repr(parse_quantity(plain).value)) == number.scaleb({"p": -12, "n": -9, "k": 3, "M": 6, "R": 0}[letter])


@pytest.mark.parametrize(
    ("value", "unit", "digits", "text"),
    [
        (2.87, "H", 3, "2.87 H"),
        (92.3e-12, "F", 3, "92.3 pF"),
        (6350.0, "Ω", 3, "6.35 kΩ"),
        (999.7, "Ω", 3, "1.00 kΩ"),
        (0.9996e-9, "F", 3, "1.00 nF"),
        (470.0, "Ω", 2, "470 Ω"),
        (22e-9, "F", 2, "22 nF"),
        (8.2e-6, "F", 2, "8.2 \u00b5F"),
        (-2.87, "H", 3, "\u22122.87 H"),
        (0.0, "H", 3, "0 H"),
        (-14.02, "dB", 3, "\u221214.0 dB"),
        (1234.0, "dB", 2, "1200 dB"),
        (0.42, "", 2, "0.42"),
        (5e-18, "F", 2, "0.0050 fF"),
    ],
)
def test_writes_with_prefix_and_significant_digits(value: float, unit: str, digits: int, text: str) -> None:
    assert format_quantity(value, unit, digits) == text


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_does_not_write_what_is_not_a_number(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        format_quantity(bad, "H")
    with pytest.raises(ValueError, match="1 to 17"):
        format_quantity(1.0, "H", 0)


@pytest.mark.parametrize(
    ("value_f", "tolerance", "match"),
    [
        (22.1e-9, 0.1, "no three-digit code"),
        (0.0, None, "no three-digit code"),
        (-22e-9, None, "no three-digit code"),
        (1e-3, None, "no three-digit code"),
        (math.nan, None, "finite"),
        (22e-9, 0.07, "no letter says a tolerance of 7 %"),
        (4.7e-12, 0.01, "no letter says a tolerance of 1 %"),  # F would mean 1 pF there
    ],
)
def test_refuses_a_capacitance_without_code(value_f: float, tolerance: float | None, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        capacitor_code(value_f, tolerance)


@given(st.integers(10, 99), st.sampled_from("012345689"), st.sampled_from(["", "J", "K", "M"]))
def test_capacitor_code_and_its_reading_are_inverse(digits: int, zeros: str, letter: str) -> None:
    code = f"{digits}{zeros}{letter}"
    read = parse_capacitor_code(code)
    assert capacitor_code(read.value, None if read.bound is None else read.bound / read.value) == code
    assert capacitor_code(read.value * (1 + 1e-15)) == code.rstrip("JKM")


@pytest.mark.parametrize("text", ["", "22", "022", "2234", "227K", "223k", "223KK", "K", "22nF", "p", "٢23K", "1" * 1000, None])
def test_refuses_what_is_no_capacitor_code(text: str) -> None:
    with pytest.raises(ValueError, match="is not a capacit"):
        parse_capacitor_code(text)


def test_refuses_a_lopsided_tolerance() -> None:
    with pytest.raises(ValueError, match="−20/\\+80 %"):
        parse_capacitor_code("103Z")


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_no_preferred_value_lies_near_what_is_not_above_zero(bad: float) -> None:
    with pytest.raises(ValueError, match="expected a number above 0"):
        nearest_preferred(bad)


def test_refuses_a_series_that_does_not_exist() -> None:
    with pytest.raises(ValueError, match='no series "E7": expected one of E3, E6'):
        preferred_values("E7")


@given(st.floats(1e-12, 1e12), st.sampled_from(["E3", "E6", "E12", "E24", "E48", "E96", "E192"]))
def test_no_other_preferred_value_has_a_ratio_nearer_to_one(value: float, series: str) -> None:
    nearest = nearest_preferred(value, series)
    distance = abs(math.log(nearest / value))
    others = [m * 10.0**decade for m in preferred_values(series) for decade in range(-14, 14)]
    assert distance <= min(abs(math.log(other / value)) for other in others) + 1e-12
    assert any(math.isclose(nearest, other, rel_tol=1e-12) for other in others)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("24", 24.0),
        ("24C", 24.0),
        ("24 °C", 24.0),
        (" 24°C ", 24.0),
        ("23.5 C", 23.5),
        ("-5", -5.0),
        ("\u22125 °C", -5.0),
        ("120", 120.0),
    ],
)
def test_reads_temperatures(text: str, celsius: float) -> None:
    assert parse_temperature(text) == celsius


@pytest.mark.parametrize(
    "text", ["", "warm", "75F", "297 K", "24,5", "121", "-41C", "1e1", "24C24", "nan", "٢٤", "9" * 200, None]
)
def test_refuses_what_is_no_temperature_of_a_bench(text: str) -> None:
    with pytest.raises(ValueError, match="is not a temperature such as 24C: expected −40 to 120 °C"):
        parse_temperature(text)


@pytest.mark.parametrize("date", ["2026", "2026-03", "2026-02-28", "0001-01-01"])
def test_dates_of_an_origin(date):
    check_origin("input", "meter", date)


@pytest.mark.parametrize(
    "date",
    ["", "26", "2026-3", "2026-02-30", "2026-13", "01.03.2026", "2026-03-01T12", "\uff12\uff10\uff12\uff16"],
)
def test_what_is_no_date_of_an_origin(date):
    with pytest.raises(ValueError, match=r"input.date: .* is no date"):
        check_origin("input", None, date)


@pytest.mark.parametrize("source", ["", " ", "a\nb", "x" * 201])
def test_what_is_no_source(source):
    with pytest.raises(ValueError, match=r"input.source: expected 1 to 200 printable characters"):
        check_origin("input", source, None)


@pytest.mark.parametrize(("temperature", "is_good"), [("-40C", True), ("120C", True), ("-41C", False), ("121C", False)])
def test_temperatures_of_a_bench(temperature, is_good):
    text = f"6k ± 1% at {temperature}"
    if is_good:
        assert parse_quantity(text, "Ω").temperature_c == float(temperature.removesuffix("C"))
        assert parse_temperature(temperature) == float(temperature.removesuffix("C"))
    else:
        with pytest.raises(ValueError, match="120 °C"):
            parse_quantity(text, "Ω")
        with pytest.raises(ValueError, match="120"):
            parse_temperature(temperature)


def test_only_a_resistance_has_a_temperature():
    with pytest.raises(ValueError, match="at is the temperature of a resistance"):
        parse_quantity("1n ± 1% at 24C", "F")


@pytest.mark.parametrize(
    ("code", "value_f", "bound_f"),
    [
        ("829D", 8.2e-12, 0.5e-12),  # below 10 pF the letter states picofarads
        ("999B", 9.9e-12, 0.1e-12),
        ("100G", 10e-12, 0.2e-12),  # from there on per cent
        ("568C", 0.56e-12, 0.25e-12),
        ("829J", 8.2e-12, 0.41e-12),  # a letter that always states per cent
    ],
)
def test_tolerances_of_small_capacitors(code, value_f, bound_f):
    """IEC 60062, tables 3 and 4."""
    read = parse_capacitor_code(code)
    assert (read.value, read.bound) == (pytest.approx(value_f, rel=1e-12), pytest.approx(bound_f, rel=1e-12))
