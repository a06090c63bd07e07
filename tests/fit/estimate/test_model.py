"""All takes as a function of one vector: the exact Jacobian of every model, and what is made of the takes."""

import pytest

from fit.circuit.coil import Profile
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from tests import laws


# with a reference of the exciter's current, and without one: then the exciter's corner is a parameter
@pytest.mark.parametrize("reference_kind", ["current", "none"])
@pytest.mark.parametrize("eddies", laws.LADDER, ids=laws.ladder_name)
def test_jacobian_of_every_model_is_exact(eddies: tuple[tuple[Profile, ...], ...], reference_kind: str) -> None:
    problem = build_problem(laws.four_takes(reference_kind=reference_kind), PickupModel(eddies=eddies))
    names = [parameter.name for parameter in problem.parameters]
    assert ("log_exciter_corner" in names) == (reference_kind == "none")
    assert {"log_gain_0", "gain_step_1", "log_gain_2", "gain_step_3", "log_added_0", "log_added_1", "delay"} <= set(names)
    for seed in range(2):
        laws.require_exact_jacobian(problem, laws.vector_near_start(problem, seed), tolerance=1e-8)
