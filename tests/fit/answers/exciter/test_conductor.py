"""Copper wire: gauges and resistance by hand, enamel as the standard's table has it, what is refused."""

import math

import pytest

from fit.answers.exciter.conductor import enamelled_diameter_m, gauge_diameter_m, wire_resistance_ohm


# ASTM B258 as tables round it. [inch]
@pytest.mark.parametrize(("gauge", "inch"), [(0, 0.3249), (10, 0.1019), (24, 0.0201), (36, 0.0050), (42, 0.0025), (50, 0.00099)])
def test_gauges_as_tables_print_them(gauge, inch):
    assert gauge_diameter_m(gauge) == pytest.approx(inch * 0.0254, rel=0.01)


def test_39_gauges_are_a_factor_of_92():
    assert gauge_diameter_m(1) / gauge_diameter_m(40) == pytest.approx(92, rel=1e-12)


@pytest.mark.parametrize("gauge", [-1, 51])
def test_gauges_that_nobody_winds_are_refused(gauge):
    with pytest.raises(ValueError, match=f"AWG {gauge} is not a gauge this can wind, expected 0 to 50"):
        gauge_diameter_m(gauge)


def test_a_square_millimetre_of_copper():
    # 17.241 Ω a kilometre and square millimetre at 20 °C (IEC 60028), 0.393 % more a kelvin.
    diameter_m = 2e-3 / math.sqrt(math.pi)
    assert wire_resistance_ohm(diameter_m, length_m=1000.0) == pytest.approx(17.241, rel=1e-12)
    assert wire_resistance_ohm(diameter_m, length_m=500.0) == pytest.approx(17.241 / 2, rel=1e-12)
    assert wire_resistance_ohm(2 * diameter_m, length_m=1000.0) == pytest.approx(17.241 / 4, rel=1e-12)
    assert wire_resistance_ohm(diameter_m, length_m=1000.0, celsius=45.0) == pytest.approx(17.241 * (1 + 0.00393 * 25), rel=1e-12)


@pytest.mark.parametrize(("diameter_m", "length_m"), [(1e-4, 0.0), (0.0, 1.0), (-1e-4, 1.0), (math.nan, 1.0)])
def test_a_wire_without_size_is_refused(diameter_m, length_m):
    with pytest.raises(ValueError, match="both must be above 0"):
        wire_resistance_ohm(diameter_m, length_m=length_m)


# Largest outer diameters of grade 1, IEC 60317-0-1, from memory. [mm]
@pytest.mark.parametrize(("bare", "outer"), [(0.05, 0.060), (0.1, 0.117), (0.2, 0.226), (0.5, 0.544), (1.0, 1.062)])
def test_enamel_as_the_standard_has_it(bare, outer):
    assert enamelled_diameter_m(1e-3 * bare) == pytest.approx(1e-3 * outer, abs=3e-6)
