"""The textbook's formulas: a long solenoid, a short one, units, powers of the turns."""

import numpy as np
import pytest

from fit.answers.exciter.solenoid import nagaoka_coefficient, nagaoka_inductance_h, wheeler_multilayer_h


def test_a_long_solenoid_has_no_ends():
    # 1 − (4/3π)·D/l: the first term of the ends.
    assert nagaoka_coefficient(1e-3) == pytest.approx(1 - 4 / (3 * np.pi) * 1e-3, abs=2e-7)


def test_inductance_grows_with_the_square_of_the_turns():
    shape = {"radius_m": 0.01, "length_m": 0.02}
    assert nagaoka_inductance_h(300, **shape) == pytest.approx(9 * nagaoka_inductance_h(100, **shape), rel=1e-12)


def test_a_long_solenoid_is_flux_of_an_even_field():
    # mu0·N²·A/l, less the ends: r 5 mm, l 1 m, 1000 turns.
    found_h = nagaoka_inductance_h(1000, radius_m=5e-3, length_m=1.0)
    assert found_h == pytest.approx(4e-7 * np.pi * 1e6 * np.pi * 25e-6 * (1 - 4 / (3 * np.pi) * 0.01), rel=2e-5)


def test_a_short_solenoid_has_a_logarithm():
    # Rayleigh and Niven: mu0·r·N²·(ln(8r/l) − 1/2) for l far below r.
    found_h = nagaoka_inductance_h(10, radius_m=0.1, length_m=1e-3)
    assert found_h == pytest.approx(4e-7 * np.pi * 0.1 * 100 * (np.log(800) - 0.5), rel=1e-4)


def test_many_layers_in_inches_and_microhenry():
    # a = b = 1/2 inch, c = 1/4 inch, 100 turns: 0.8 · 0.25 · 10⁴ / (3 + 4.5 + 2.5) = 200 microhenry.
    found_h = wheeler_multilayer_h(100, radius_m=0.0127, length_m=0.0127, depth_m=0.00635)
    assert found_h == pytest.approx(200e-6, rel=1e-12)
    # a = 1, b = 0.1, c = 0.3 inch: 0.8 · 10⁴ / (6 + 0.9 + 3)
    found_h = wheeler_multilayer_h(100, radius_m=0.0254, length_m=0.00254, depth_m=0.00762)
    assert found_h == pytest.approx(8e-3 / 9.9, rel=1e-12)
