"""The coil with eddy losses: known values, derivatives, what it refuses."""

import math

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies

from fit.circuit.coil import CoilValues, Profile, coil_elements, evaluate_profile
from tests import laws
from tests.plain_coil import coil_impedance

FREQUENCY_HZ = np.geomspace(20.0, 20e3, 31)
S = 2j * np.pi * FREQUENCY_HZ


def test_coil_without_loops_is_a_resistance_and_an_inductance() -> None:
    ours = coil_impedance(FREQUENCY_HZ, inductance_h=3.0, resistance_ohm=7e3)
    np.testing.assert_allclose(ours, 7e3 + 3j * 2 * np.pi * FREQUENCY_HZ, rtol=1e-15)


def test_loop_at_its_corner_is_half_real_half_imaginary() -> None:
    tau_s = 25e-6
    value = evaluate_profile("loop", np.array([1j / tau_s]), tau_s=tau_s).value[0]
    assert value == pytest.approx(0.5 + 0.5j, rel=1e-15)


def test_spread_at_its_centre() -> None:
    # s = 1/τ: P = ln[(1 + e^w)/(1 + e^−w)]/(2w) = ln(e^w)/(2w) = 1/2 for every w
    for width in (0.1, 1.0, 3.0):
        value = evaluate_profile("spread", np.array([1e4 + 0j]), tau_s=1e-4, log_half_width=width).value[0]
        assert value == pytest.approx(0.5, rel=1e-13)
    # s = j/τ: the real part is again 1/2, the imaginary part [atan(e^w) − atan(e^−w)]/(2w)
    value = evaluate_profile("spread", np.array([1e4j]), tau_s=1e-4, log_half_width=1.5).value[0]
    assert value == pytest.approx(0.5 + 1j * (math.atan(math.exp(1.5)) - math.atan(math.exp(-1.5))) / 3, rel=1e-13)


def test_two_loops_of_one_time_constant_are_one() -> None:
    known = {"inductance_h": 3.0, "resistance_ohm": 7e3}
    two = coil_impedance(FREQUENCY_HZ, **known, eddy_loops=[(0.3, 2e-5), (0.4, 2e-5)])
    one = coil_impedance(FREQUENCY_HZ, **known, eddy_loops=[(0.5, 2e-5)])  # 0.3² + 0.4² = 0.5²
    np.testing.assert_allclose(two, one, rtol=1e-14)


# Z = R + sL - Σ s² k² L τ/(1 + sτ), e = 1 - Σ g sτ/(1 + sτ)
def test_coil_with_two_loops_by_hand() -> None:
    eddies = ((0.16, 3e-5, 0.0, 0.3, "loop"), (0.09, 8e-6, 0.0, 0.1, "loop"))
    values = CoilValues(inductance_h=3.0, resistance_ohm=7e3, winding_capacitance_f=1e-10, excitation=0.7, eddies=eddies)
    elements = coil_elements([values], S)
    loops = 0.16 * 3e-5 / (1 + S * 3e-5) + 0.09 * 8e-6 / (1 + S * 8e-6)
    impedance = 7e3 + S * 3.0 - S**2 * 3.0 * loops
    np.testing.assert_allclose(elements.impedance[0, 0], impedance, rtol=1e-13)
    field = 0.7 * (1 - 0.3 * S * 3e-5 / (1 + S * 3e-5) - 0.1 * S * 8e-6 / (1 + S * 8e-6))
    np.testing.assert_allclose(elements.emf[0], field, rtol=1e-13)


@pytest.mark.parametrize(("profile", "width"), [("loop", 0.0), ("spread", 0.05), ("spread", 0.8), ("spread", 2.5)])
def test_derivatives_of_a_profile(profile: str, width: float) -> None:
    tau_s, step = 2e-5, 1e-3

    def value(log_tau_step: float, log_width_step: float) -> np.ndarray:
        changed = {"tau_s": tau_s * math.exp(log_tau_step), "log_half_width": width * math.exp(log_width_step)}
        return evaluate_profile(profile, S, **changed).value

    def five_points(by_tau: float, by_width: float) -> np.ndarray:
        near, far = (
            value(k * step * by_tau, k * step * by_width) - value(-k * step * by_tau, -k * step * by_width) for k in (1, 2)
        )
        return (8 * near - far) / (12 * step)

    ours = evaluate_profile(profile, S, tau_s=tau_s, log_half_width=width)
    np.testing.assert_allclose(ours.by_log_tau, five_points(1, 0), atol=1e-10 * np.abs(ours.by_log_tau).max())
    # the width's derivative is small against P itself, whose rounding the difference sees
    np.testing.assert_allclose(ours.by_log_width, five_points(0, 1), atol=1e-10)


def test_two_coils_are_coupled_by_their_mutual_inductance() -> None:
    halves = [
        CoilValues(inductance_h=h, resistance_ohm=3e3, winding_capacitance_f=2e-10, excitation=1.0, eddies=()) for h in (2.0, 8.0)
    ]
    elements = coil_elements(halves, S, 0.1)
    assert elements.mutual_h == pytest.approx(0.4, rel=1e-15)
    np.testing.assert_allclose(elements.impedance[0, 1], S * 0.4, rtol=1e-14)
    np.testing.assert_allclose(elements.impedance[1, 0], S * 0.4, rtol=1e-14)
    assert coil_elements(halves[:1], S, 0.1).mutual_h == 0.0


def test_loop_without_a_time_constant_is_refused() -> None:
    with pytest.raises(ValueError, match=r"time constant 0\.0 s"):
        evaluate_profile("loop", S, tau_s=0.0)


def test_spread_without_width_is_refused() -> None:
    with pytest.raises(ValueError, match=r"half-width 0\.0 of a spread must be positive"):
        evaluate_profile("spread", S, tau_s=1e-5)


@pytest.mark.long
@laws.drawn
@hypothesis.given(laws.coils())
def test_coil_is_passive(coil: CoilValues) -> None:
    laws.require_passive_impedance(coil)


@pytest.mark.long
@laws.drawn
@hypothesis.given(laws.coils())
def test_coil_has_its_limits(coil: CoilValues) -> None:
    laws.require_limits_of_a_coil(coil)


@laws.drawn
@hypothesis.given(strategies.sampled_from(["loop", "spread"]), laws.time_constants, laws.half_widths)
def test_profile_rises_from_nought_to_one(profile: Profile, tau_s: float, width: float) -> None:
    laws.require_profile_laws(profile, tau_s, width)


@laws.drawn
@hypothesis.given(laws.time_constants, laws.half_widths)
def test_spread_is_a_mixture_of_loops(tau_s: float, width: float) -> None:
    laws.require_spread_is_a_mixture(tau_s, width)


@laws.drawn
@hypothesis.given(laws.time_constants)
def test_narrow_spread_is_a_loop(tau_s: float) -> None:
    laws.require_narrow_spread_is_a_loop(tau_s)
