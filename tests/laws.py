"""Laws that every coil, network and model obeys: the tests of the modules they bind run them over drawn values."""

from collections.abc import Sequence

import numpy as np
from hypothesis import settings, strategies

from fit.circuit.coil import CoilValues, Profile, coil_elements, evaluate_profile
from fit.circuit.network import build_network, solve_network
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.ladder import ONE_COIL, TWO_COILS
from fit.estimate.model import Prediction, Problem, predict_residual
from measure.quantity import parse_quantity
from measure.response import ComplexArray, FloatArray, Origin, Response

FREQUENCY_HZ = np.geomspace(1.0, 1e6, 61)
S = 2j * np.pi * FREQUENCY_HZ
# on the axis, and in the right half plane where a passive impedance has a positive real part too
S_RIGHT = np.concatenate([S * np.exp(-1j * angle) for angle in np.linspace(0, np.pi / 2, 7)])
GAUSS = np.polynomial.legendre.leggauss(80)
drawn = settings(max_examples=60, deadline=None, derandomize=True)
LADDER = [*ONE_COIL, *TWO_COILS]
SOME_MODELS = [((),), (("loop",),), (("spread", "loop"),), (("loop",), ("spread",))]

time_constants = strategies.floats(-7.0, -3.0).map(lambda power: 10.0**power)
half_widths = strategies.floats(0.01, 3.0)
fields = strategies.floats(-0.5, 3.0)


@strategies.composite
def eddies(draw: strategies.DrawFn) -> tuple[tuple[float, float, float, float, Profile], ...]:
    """Up to three losses whose shares leave the coil passive."""
    left, out = 1.0, []
    for profile in draw(strategies.lists(strategies.sampled_from(["loop", "spread"]), max_size=3)):
        share = left * draw(strategies.floats(1e-3, 0.999))
        left -= share
        width = draw(half_widths) if profile == "spread" else 0.0
        out.append((share, draw(time_constants), width, draw(fields), profile))
    return tuple(out)


@strategies.composite
def coils(draw: strategies.DrawFn) -> CoilValues:
    return CoilValues(
        inductance_h=draw(strategies.floats(0.1, 30.0)),
        resistance_ohm=draw(strategies.floats(100.0, 50e3)),
        winding_capacitance_f=draw(strategies.floats(10e-12, 1e-9)),
        excitation=draw(strategies.floats(0.05, 2.0)),
        eddies=draw(eddies()),
    )


def require_passive_impedance(coil: CoilValues) -> None:
    """Re Z ≥ 0 on the axis and everywhere to its right."""
    impedance = coil_elements([coil], S_RIGHT).impedance[0, 0]
    assert np.all(impedance.real >= coil.resistance_ohm - 1e-12 * np.abs(impedance))


def require_limits_of_a_coil(coil: CoilValues) -> None:
    """Z → R at low frequencies; Z → sL(1 − Σκ) and e → 1 − Σg at high ones."""
    # P at s is at most |s|·τ·(e^w) at the low end, and as far from 1 as its inverse at the high end
    low = coil_elements([coil], np.array([1e-6j]))
    assert abs(low.impedance[0, 0, 0] - coil.resistance_ohm) < 1e-4
    assert abs(low.emf[0, 0] - coil.excitation) < 1e-6 * coil.excitation
    s = np.array([1e14j])
    high = coil_elements([coil], s)
    left = 1 - sum(share for share, *_ in coil.eddies)
    assert abs(high.impedance[0, 0, 0] / (s[0] * coil.inductance_h) - left) < 1e-5
    field = 1 - sum(strength for *_, strength, _ in coil.eddies)
    assert abs(high.emf[0, 0] / coil.excitation - field) < 1e-5


def require_profile_laws(profile: Profile, tau_s: float, width: float) -> None:
    """P(0) = 0, P(∞) = 1, 0 ≤ Re P ≤ 1 and rising, 0 ≤ Im P ≤ ½."""
    ends = evaluate_profile(profile, np.array([1e-9j, 1e18j]), tau_s=tau_s, log_half_width=width).value
    assert abs(ends[0]) < 1e-9
    assert abs(ends[1] - 1) < 1e-9
    value = evaluate_profile(profile, S, tau_s=tau_s, log_half_width=width).value
    rounding = 1e-14 / min(max(width, 1e-3), 1.0)  # of a difference of logarithms over 2w
    assert np.all(value.real > -rounding)
    assert np.all(value.real < 1 + rounding)
    assert np.all(np.diff(value.real) > -rounding)
    assert np.all(value.imag > -rounding)
    assert np.all(value.imag < 0.5 + rounding)


def require_spread_is_a_mixture(tau_s: float, width: float) -> None:
    """The spread is the mean of loops over ln τ between −w and w, by Gauss-Legendre quadrature."""
    nodes, weights = GAUSS
    loops = [
        weight / 2 * evaluate_profile("loop", S, tau_s=tau_s * np.exp(width * node)).value
        for node, weight in zip(nodes, weights, strict=True)
    ]
    ours = evaluate_profile("spread", S, tau_s=tau_s, log_half_width=width).value
    np.testing.assert_allclose(ours, np.sum(loops, axis=0), rtol=1e-11, atol=1e-13 / min(width, 1.0))


def require_narrow_spread_is_a_loop(tau_s: float) -> None:
    """The difference of a narrow spread from a loop falls with w²: at most w²/6 · max of the second derivative by ln τ."""
    width = 1e-3
    loop = evaluate_profile("loop", S, tau_s=tau_s)
    spread = evaluate_profile("spread", S, tau_s=tau_s, log_half_width=width)
    bound = width**2 / 6 * 0.5  # |x(1 − x)/(1 + x)³| = y/(1 + y²) with x = sτ = jy
    assert np.max(np.abs(spread.value - loop.value)) < bound + 1e-12
    assert np.max(np.abs(spread.by_log_tau - loop.by_log_tau)) < 10 * bound
    assert np.max(np.abs(spread.by_log_width)) < 3 * bound + 1e-12


def require_reciprocity(pair: Sequence[CoilValues], coupling: float, seed: int) -> None:
    """Swapping source and meter leaves the transfer: EMF in one coil, current in another."""
    rng = np.random.default_rng(seed)
    nodes = ["ground", "a", "b", "c"]
    branches = [("a", "ground"), ("b", "ground"), ("c", "ground"), ("a", "b"), ("b", "c")]
    ends = [tuple(map(str, rng.choice(nodes, 2, replace=False))) for _ in pair]
    network = build_network(branches, ends, "a")
    elements = coil_elements(pair, S, coupling)
    conductance, capacitance = 10 ** rng.uniform(-6, -3, 5), 10 ** rng.uniform(-11, -8, 5)
    admittance = conductance[:, None] + np.outer(capacitance, S)
    emf = np.zeros((2, len(S)), dtype=complex)
    currents = []
    for driven in (0, 1):
        emf[:] = 0.0
        emf[driven] = 1.0
        solution = solve_network(network, admittance=admittance, impedance=elements.impedance, emf=emf)
        currents.append(solution.coil_current[1 - driven])
        # power into the network is never negative: the driven coil's source delivers Re(E·conj(i)) ≥ 0
        assert np.all(solution.coil_current[driven].real >= -1e-12 * np.abs(solution.coil_current[driven]))
    scale = np.max(np.abs(currents))
    np.testing.assert_allclose(currents[0], currents[1], rtol=1e-9, atol=1e-13 * scale)


ROUNDING = 1e-12  # [1] of a residual of order 1 after some ten operations


def require_exact_jacobian(problem: Problem, vector: FloatArray, tolerance: float) -> None:
    """Every row of the Jacobian agrees with five-point differences, relative to the row's largest entry."""
    step = 2e-4
    jacobian = predict_residual(problem, vector).jacobian
    for index, parameter in enumerate(problem.parameters):
        near, far = (_difference(problem, vector, index=index, step=k * step) for k in (1, 2))
        numeric = (8 * near - far) / (12 * step)
        largest = np.max(np.abs(jacobian[index]))
        assert largest > 0, parameter.name
        assert np.max(np.abs(numeric - jacobian[index])) < tolerance * largest + ROUNDING / step, parameter.name


def _difference(problem: Problem, vector: FloatArray, *, index: int, step: float) -> ComplexArray:
    changed = np.tile(vector, (2, 1))
    changed[:, index] += (step, -step)
    up, down = (predict_residual(problem, row).residual for row in changed)
    return up - down


def four_takes(*, reference_kind: str, n_points: int = 40) -> Evidence:
    """Bare, with a capacitor, with a resistor after the coil moved, and with both; values of no particular pickup."""
    frequency = np.geomspace(40.0, 18e3, n_points)
    value = 2j * np.pi * frequency * 1e-3 * (1 + 0.2j)
    origin = Origin(rate_hz=96000.0)
    covariance = 1e-6 * np.abs(value)[:, None, None] ** 2 * np.eye(2)
    response = Response(frequency_hz=frequency, value=value, covariance=covariance, origin=origin)
    capacitor, resistor = parse_quantity("1n ± 1%"), parse_quantity("150k ± 1%")
    added = [(), (capacitor,), (resistor,), (capacitor, resistor)]
    return Evidence(
        takes=tuple(
            TakeEvidence(name=f"take {index}", response=response, added=parts, coil_moved=index == 2)
            for index, parts in enumerate(added)
        ),
        input_resistance=parse_quantity("1M ± 1%"),
        input_capacitance=parse_quantity("185p ± 3p"),
        dcr=parse_quantity("7k ± 1%"),
        reference_kind=reference_kind,
        exciter_corner=parse_quantity("9k ± 5%", "Hz"),
    )


def predicted_ratio(problem: Problem, vector: FloatArray) -> ComplexArray:
    """Modelled over measured response."""
    prediction: Prediction = predict_residual(problem, vector)
    return 1 + prediction.residual


def ladder_name(eddies: tuple[tuple[Profile, ...], ...]) -> str:
    return " | ".join("+".join(profiles) or "none" for profiles in eddies)


def vector_near_start(problem: Problem, seed: int) -> FloatArray:
    rng = np.random.default_rng(seed)
    start = np.array([parameter.start for parameter in problem.parameters])
    spread = np.array([min(parameter.prior_std, 0.3) for parameter in problem.parameters])
    # where two inputs have the same high-pass, its own corner is not felt
    unequal = np.array([0.5 * (parameter.name == "highpass") for parameter in problem.parameters])
    return start + unequal + spread * rng.uniform(-1, 1, len(start))


def sides(vector: FloatArray, index: int, step: float) -> FloatArray:
    changed = np.tile(vector, (2, 1))
    changed[:, index] += (step, -step)
    return changed
