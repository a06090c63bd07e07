"""Digits of printed values: none finer than the interval, one place for value and limits, limits never narrower than found."""

import re
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fit.answers.digits import EXACT, allowed_digits, interval_texts, limits_text, spread_texts
from measure.quantity import format_quantity
from tests.places import TOP

SCALES = {"": 0, "p": -12, "n": -9, "\N{MICRO SIGN}": -6, "m": -3, "k": 3, "M": 6}
PREFIX_LETTERS = "".join(SCALES)
NUMBER = r"−?\d+(?:\.\d+)?"
PLACES_A_HALF_WIDTH_HAS = (9.9, 101)  # two significant digits, 10 to 99, before rounding


def read(text, unit):
    """Numbers of a text as exact decimals without prefix, and the worth of one unit of their last place."""
    match = re.fullmatch(rf"({NUMBER})(?: … ({NUMBER}))?(?: ([{PREFIX_LETTERS}]?){unit or 'x*'})?", text)
    assert match, text
    numbers = [number.replace("−", "-") for number in match.groups()[:2] if number]
    exponent = SCALES[match[3] or ""]
    places = {len(number.partition(".")[2]) for number in numbers}
    assert len(places) == 1, text
    return [Decimal(number).scaleb(exponent) for number in numbers], Decimal(1).scaleb(exponent - places.pop())


def most_half(unit):
    """Beyond it no prefix is left, and zeros stand before the point that say nothing of the last place."""
    return 95e6 if unit in ("H", "F", "Ω", "Hz") else 95.0


SIZES = st.builds(lambda m, e: m * 10.0**e, st.floats(1, 9.999), st.integers(-12, 7))
SHARES = st.builds(lambda m, e: m * 10.0**e, st.floats(1, 9.999), st.integers(-8, 0))
UNITS = st.sampled_from(["H", "F", "Ω", "Hz", "dB", "%", "1", ""])


@given(size=SIZES, sign=st.sampled_from([1, -1]), below=SHARES, above=SHARES, unit=UNITS)
def test_no_digit_is_finer_than_the_interval(size, sign, below, above, unit):
    value = sign * size
    low, high = value - below * size, value + above * size
    half = (high - low) / 2
    assume(half < most_half(unit))
    (shown,), unit_of_value = read(interval_texts(value, low, high, unit)[0], unit.replace("1", ""))
    (shown_low, shown_high), place = read(interval_texts(value, low, high, unit)[1], unit.replace("1", ""))
    assert unit_of_value == place  # value and limits end at the same place
    tight, loose = PLACES_A_HALF_WIDTH_HAS
    assert half / float(place) < loose  # no digit finer than the second significant one of the half-width …
    assert half / float(place) > tight or (unit == "dB" and place == Decimal("0.01"))  # … and none that it deserves left out
    slack = Decimal("2e-6") * place
    assert abs(shown - Decimal(value)) <= place / 2 + slack  # nearest
    # limits outwards, by less than a unit unless they would meet the value: what is printed is never narrower, and has two sides
    assert shown_low <= Decimal(low) + slack
    assert shown_low > Decimal(low) - place or shown_low == shown - place
    assert shown_high >= Decimal(high) - slack
    assert shown_high < Decimal(high) + place or shown_high == shown + place
    assert shown_low < shown < shown_high


@given(size=SIZES, half=SHARES, unit=UNITS)
def test_the_printed_interval_is_hardly_wider(size, half, unit):
    half *= size
    assume(half < most_half(unit) and (unit != "dB" or half > 0.1))
    (low, high), _ = read(interval_texts(size, size - half, size + half, unit)[1], unit.replace("1", ""))
    assert 1 - 1e-6 <= float(high - low) / (2 * half) < 1.11


@given(value=st.floats(-1e5, 1e5), half=st.builds(lambda m, e: m * 10.0**e, st.floats(1, 9.999), st.integers(-6, 1)))
def test_a_spread_ends_where_the_value_ends(value, half):
    assume(EXACT * abs(value) < half < most_half(""))
    (shown,), place = read(spread_texts(value, half)[0], "")
    (spread,), same = read(spread_texts(value, half)[1], "")
    assert place == same
    assert half / float(place) < PLACES_A_HALF_WIDTH_HAS[1]
    assert abs(shown - Decimal(value)) <= Decimal("0.500002") * place
    assert 0 <= spread - Decimal(half) + Decimal("2e-6") * place < Decimal("1.00001") * place


@given(size=SIZES, half=SHARES, unit=st.sampled_from(["F", "Ω"]))
def test_acceptance_limits_are_never_wider(size, half, unit):
    low, high = size, 1.5 * size
    assume(half * size < most_half(unit) and low < most_half(unit) / 10)
    (shown_low, shown_high), place = read(limits_text(low, high, unit, half=half * size), unit)
    assert half * size / float(place) < PLACES_A_HALF_WIDTH_HAS[1]
    slack = Decimal("2e-6") * place
    assert Decimal(low) - slack <= shown_low < Decimal(low) + place
    assert Decimal(high) - place < shown_high <= Decimal(high) + slack


@given(value=st.floats(-1e6, 1e6), half=st.floats(100.0, 1e6))
def test_whole_numbers_end_in_zeros_where_the_interval_is_wide(value, half):
    shown, interval = interval_texts(value, value - half, value + half, "dB")
    step = 10 ** (len(str(int(float(f"{half:.1e}")))) - 2)
    (number,), _ = read(shown, "dB")
    assert [one % step for one in (number, *read(interval, "dB")[0])] == [0, 0, 0]


@given(value=SIZES, half=SHARES, most=st.integers(1, 6))
def test_fewer_digits_where_a_few_are_enough(value, half, most):
    half *= value
    digits = allowed_digits(value, half, most=most)
    assert 1 <= digits <= most
    place = 10.0 ** (int(f"{value:.17e}".partition("e")[2]) - digits + 1)
    assert abs(float(format_quantity(value, "", digits)) - value) <= 0.500001 * place
    assert half / place < PLACES_A_HALF_WIDTH_HAS[1] or digits == 1  # one digit stands for the size


@pytest.mark.parametrize(
    ("given_", "texts"),
    [
        ((6467.49, 6466.843, 6468.137, "Hz"), ("6.46749 kHz", "6.46684 … 6.46814 kHz")),
        ((2.8743, 2.8335, 2.9151, "H"), ("2.874 H", "2.833 … 2.916 H")),
        ((456.0, 6.0, 906.0, "Ω"), ("0.46 kΩ", "0.00 … 0.91 kΩ")),
        ((1e-6, -0.02, 0.02, "H"), ("0 mH", "−20 … 20 mH")),
        ((29.75, 29.7, 29.8, "%"), ("29.750 %", "29.700 … 29.800 %")),  # limits on their place stay there
        ((0.1 + 0.2, 0.2, 0.4, "dB"), ("0.30 dB", "0.20 … 0.40 dB")),
        ((1499.0, 1201.0, 1797.0, "1"), ("1500", "1200 … 1800")),
        ((-0.3, -0.3041, -0.2959, "dB"), ("−0.30 dB", "−0.31 … −0.29 dB")),
        ((-14.0001, -14.0002, -14.0, "dB"), ("−14.00 dB", "−14.01 … −13.99 dB")),
        ((0.0, 0.0, 1.0, "H"), ("0.00 H", "0.00 … 1.00 H")),  # on its limit
        ((440.0, 440.0, 440.0, "Hz"), ("440.000 Hz", "exact")),
        ((3.0, 1.0, float("inf"), "H"), ("3.0 H", "no limits told")),
    ],
)
def test_printed_by_hand(given_, texts):
    assert interval_texts(*given_) == texts


# One formatter: nobody else turns the ends of an interval into text.
def test_no_other_place_writes_the_ends_of_an_interval():
    root = TOP / "fit"
    by_hand = re.compile(r"\{[^{}\"']*\.(?:low|high)\b[^{}\"']*:[^{}]*\}|format_quantity\([^()]*\.(?:low|high)\b")
    found = [path.name for path in root.rglob("*.py") if by_hand.search(path.read_text(encoding="utf-8"))]
    assert found == []
    assert by_hand.search('f"{share.low:.1f} %"')
    assert by_hand.search('format_quantity(one.high, "F")')
