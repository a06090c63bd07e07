"""From the parameter vector to coils."""

import numpy as np
import pytest

from fit.circuit.coil import Profile
from fit.estimate.coils import Circumstances, coil_values, coupling_of, placed_name
from fit.estimate.model import build_problem, name_values
from fit.estimate.parameters import PickupModel
from tests import laws


# Two equal halves, equally excited, are one coil: L = 2L₁(1 + k), C = C₁/2, κ = κ₁/(1 + k), twice the EMF.
@pytest.mark.parametrize("profiles", [(), ("loop",), ("spread",), ("loop", "loop")])
def test_equal_halves_are_one_coil(profiles: tuple[Profile, ...]) -> None:
    evidence = laws.four_takes(reference_kind="current")
    one, two = (build_problem(evidence, PickupModel(eddies=eddies)) for eddies in ((profiles,), (profiles, profiles)))
    half_h, half_f, coupling = 1.4, 240e-12, 0.15
    chain = {"log_resistance": np.log(7e3), "delay": 0.02, "gain_step_1": 1e-3}
    shared = {f"log_tau_0_{index}": np.log(tau_s) for index, tau_s in enumerate((3e-5, 6e-6))}
    shared |= {f"field_0_{index}": strength for index, strength in enumerate((0.7, 0.2))}
    shares = (0.3, 0.2)
    whole = {**chain, **shared, "log_inductance": np.log(2 * half_h * (1 + coupling))}
    whole |= {"log_winding_capacitance": np.log(half_f / 2), "log_gain_0": np.log(2.0), "log_gain_2": np.log(2.0)}
    halves = {**chain, **shared, "log_inductance": np.log(half_h), "log_winding_capacitance": np.log(half_f)}
    halves |= {f"log_second_{name}": 0.0 for name in ("inductance", "winding_capacitance", "resistance", "excitation")}
    halves |= {"log_coupling": np.log(coupling / (1 - coupling)), "log_gain_0": 0.0, "log_gain_2": 0.0}
    for values, factor in ((whole, 1 / (1 + coupling)), (halves, 1.0)):
        left = 1.0
        for index, share in enumerate(shares):
            values[f"share_0_{index}"] = np.log(share * factor / (left - share * factor))
            left -= share * factor
    halves |= {name.replace("_0_", "_1_"): value for name, value in halves.items() if "_0_" in name}
    results = []
    for problem, values in ((one, whole), (two, halves)):
        vector = np.array([values.get(parameter.name, parameter.start) for parameter in problem.parameters])
        assert len(coil_values(problem.model, name_values(problem, vector))) == len(problem.model.eddies)
        results.append(laws.predicted_ratio(problem, vector))
    np.testing.assert_allclose(results[1], results[0], rtol=1e-12)


P = {
    "log_inductance": np.log(2.0),
    "log_resistance": np.log(6e3),
    "log_winding_capacitance": np.log(1e-10),
    "share_0_0": 0.0,
    "log_tau_0_0": np.log(2e-5),
    "field_0_0": 0.7,
    "share_0_1": np.log(0.25 / 0.75),
    "log_tau_0_1": np.log(5e-6),
    "log_width_0_1": np.log(1.5),
    "field_0_1": -0.2,
}
SECOND = {
    "log_second_inductance": np.log(1.5),
    "log_second_resistance": np.log(2.0),
    "log_second_winding_capacitance": np.log(0.8),
    "log_second_excitation": np.log(0.4),
    "log_coupling": np.log(0.2 / 0.8),
}


# Each share is taken of what the ones before have left: a half, then a quarter of the other half.
def test_shares_never_take_more_than_the_coil():
    (coil,) = coil_values(PickupModel(eddies=(("loop", "spread"),)), P)
    assert (coil.inductance_h, coil.resistance_ohm, coil.excitation) == (pytest.approx(2.0), pytest.approx(6e3), 1.0)
    assert coil.winding_capacitance_f == pytest.approx(1e-10)
    first, second = coil.eddies
    assert first == (pytest.approx(0.5), pytest.approx(2e-5), 0.0, 0.7, "loop")
    assert second == (pytest.approx(0.125), pytest.approx(5e-6), pytest.approx(1.5), -0.2, "spread")


# dcr is measured over both coils; the second one has twice the first one's.
def test_resistance_of_two_coils_adds_up():
    first, second = coil_values(PickupModel(eddies=((), ())), P | SECOND)
    assert (first.resistance_ohm, second.resistance_ohm) == (pytest.approx(2e3), pytest.approx(4e3))
    assert (first.inductance_h, second.inductance_h) == (pytest.approx(2.0), pytest.approx(3.0))
    assert (first.winding_capacitance_f, second.winding_capacitance_f) == (pytest.approx(1e-10), pytest.approx(0.8e-10))
    assert (first.excitation, second.excitation) == (1.0, pytest.approx(0.4))
    assert coupling_of(P | SECOND) == pytest.approx(0.2)
    assert coupling_of(P) == 0.0


def test_takes_differ_in_warmth_and_in_place():
    at = Circumstances(placed=(("2", np.array([0.0, 1.0])), ("3", np.array([0.0, 1.0]))), warmth=np.array([1.0, 1.02]))
    p = P | {placed_name("field_0_0", "2"): 0.05, placed_name("field_0_0", "3"): 0.01}
    (coil,) = coil_values(PickupModel(eddies=(("loop",),)), p, at)
    np.testing.assert_allclose(coil.resistance_ohm, [6e3, 6120.0], rtol=1e-12)
    np.testing.assert_allclose(coil.eddies[0][3], [0.7, 0.76], rtol=1e-12)


# The derivatives by what belongs to coils, two of them, placed twice and warmed, through the whole model.
@pytest.mark.parametrize("eddies", [(("loop", "spread"),), (("loop", "loop"), ("spread",))], ids=laws.ladder_name)
def test_rows_are_exact(eddies):
    problem = build_problem(laws.four_takes(reference_kind="current", n_points=20), PickupModel(eddies=eddies))
    assert any("#" in parameter.name for parameter in problem.parameters)
    laws.require_exact_jacobian(problem, laws.vector_near_start(problem, 5), tolerance=1e-8)


def test_a_step_of_place_is_named_after_the_field_and_the_placement():
    assert placed_name("field_0_1", "2") == "field_0_1#2"
