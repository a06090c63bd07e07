"""From the parameter vector to coils."""

import numpy as np
import pytest

from fit.circuit.coil import Profile
from fit.estimate.coils import coil_values
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
