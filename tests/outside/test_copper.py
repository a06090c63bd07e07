"""Copper against temperature: 0.00393 per kelvin at 20 °C for annealed copper (IEC 60028, from memory)."""

import numpy as np
import pytest

from fit.circuit.copper import resistance_at

# From the standard's coefficient, to the digits given: 0.4 % a degree, more than many a multimeter's error.
PUBLISHED = [(25.0, 8055.2), (30.0, 8210.5), (20.0, 7900.0)]


@pytest.mark.parametrize(("celsius", "ohm"), PUBLISHED)
def test_winding_of_7k9_at_20_degrees(celsius, ohm):
    assert resistance_at(7900.0, from_celsius=20.0, to_celsius=celsius) == pytest.approx(ohm, abs=0.06)
    assert resistance_at(ohm, from_celsius=celsius, to_celsius=20.0) == pytest.approx(7900.0, abs=0.06)


def test_zero_resistance_temperature_of_copper():
    # Machine builders' rule R2/R1 = (234.5 + T2)/(234.5 + T1) (IEC 60034-1, 235 for copper; from memory).
    for celsius in (-10.0, 5.0, 40.0, 75.0):
        rule = (234.5 + celsius) / (234.5 + 20.0)
        assert resistance_at(1.0, from_celsius=20.0, to_celsius=celsius) == pytest.approx(rule, abs=2e-4)


def test_there_and_back_and_by_steps():
    for celsius in np.linspace(-20, 80, 7):
        there = resistance_at(6350.0, from_celsius=23.0, to_celsius=float(celsius))
        assert resistance_at(there, from_celsius=float(celsius), to_celsius=23.0) == pytest.approx(6350.0, rel=1e-12)
        assert resistance_at(there, from_celsius=float(celsius), to_celsius=31.0) == pytest.approx(
            resistance_at(6350.0, from_celsius=23.0, to_celsius=31.0), rel=1e-12
        )


def test_wrong_calls():
    with pytest.raises(ValueError, match="resistance is -1 Ω, it must be above 0"):
        resistance_at(-1.0, from_celsius=20.0, to_celsius=25.0)
    with pytest.raises(ValueError, match="-300 °C lies outside of -60 to 200 °C"):
        resistance_at(1.0, from_celsius=20.0, to_celsius=-300.0)
