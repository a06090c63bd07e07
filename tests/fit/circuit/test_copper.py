"""Copper at other temperatures: 0.393 % of the resistance at 20 °C for each kelvin (IEC 60028)."""

import math

import pytest

from fit.circuit.copper import resistance_at


def test_ten_kelvin_above_20_degrees():
    assert resistance_at(1000.0, from_celsius=20.0, to_celsius=30.0) == pytest.approx(1039.3, rel=1e-12)


def test_between_two_temperatures_that_are_not_20_degrees():
    # 1 - 20·0.00393 at 0 °C, 1 + 20·0.00393 at 40 °C
    assert resistance_at(7000.0, from_celsius=0.0, to_celsius=40.0) == pytest.approx(7000 * 1.0786 / 0.9214, rel=1e-12)


def test_there_and_back():
    warm = resistance_at(6200.0, from_celsius=18.0, to_celsius=-7.0)
    assert warm < 6200.0
    assert resistance_at(warm, from_celsius=-7.0, to_celsius=18.0) == pytest.approx(6200.0, rel=1e-12)


def test_the_limits_themselves_are_allowed():
    # -60 °C: 1 - 80·0.00393 = 0.6856; 200 °C: 1 + 180·0.00393 = 1.7074
    assert resistance_at(1.0, from_celsius=-60.0, to_celsius=200.0) == pytest.approx(1.7074 / 0.6856, rel=1e-12)


@pytest.mark.parametrize("celsius", [-60.1, 200.1, math.nan])
@pytest.mark.parametrize("place", ["from_celsius", "to_celsius"])
def test_temperatures_beyond_are_refused(place, celsius):
    at = {"from_celsius": 20.0, "to_celsius": 20.0, place: celsius}
    with pytest.raises(ValueError, match=f"^{celsius:g} °C lies outside of -60 to 200 °C"):
        resistance_at(1.0, **at)


@pytest.mark.parametrize("resistance", [0.0, -1.0, math.nan])
def test_a_resistance_that_is_none_is_refused(resistance):
    with pytest.raises(ValueError, match=f"resistance is {resistance:g} Ω, it must be above 0"):
        resistance_at(resistance, from_celsius=20.0, to_celsius=25.0)
