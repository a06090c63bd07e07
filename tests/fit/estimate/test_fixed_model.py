"""A model that is known: the best of the starts is settled, under a floor of its own."""

import numpy as np
import pytest

from fit.estimate.fixed_model import settle_model
from fit.estimate.floor import floor_blocks
from fit.estimate.joint import covariance_of
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from tests.benches import draw_bench


@pytest.fixture(scope="module")
def bench():
    evidence, truth = draw_bench(6, n_loops=1, noise=3e-4)
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)), thin=3)
    loops = [{"share_0_0": -1.5, "log_tau_0_0": np.log(tau_s), "field_0_0": 0.5} for tau_s in (1e-7, 2.5e-5)]
    far, near = (start_vector(problem, loop) for loop in loops)
    return problem, truth, far, near


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_best_start_is_settled(bench, order):
    problem, truth, *starts = bench
    choice = settle_model(problem, [starts[index] for index in order])
    names = [parameter.name for parameter in problem.parameters]
    at = [names.index("log_inductance"), names.index("log_winding_capacitance")]
    std = np.sqrt(np.diag(choice.covariance))[at]
    error = choice.fit.vector[at] - np.log([truth.inductance_h, truth.winding_capacitance_f])
    assert np.all(np.abs(error) < 4 * std)
    assert np.all(std < 0.05)
    assert choice.floor.total < 1e-3
    assert (choice.rungs, choice.moved) == ((), ())


def test_everything_belongs_to_the_same_floor(bench):
    problem, _, _, near = bench
    choice = settle_model(problem, [near])
    blocks, _ = floor_blocks(problem, choice.floor)
    np.testing.assert_allclose(choice.covariance, covariance_of(problem, blocks, choice.fit.prediction), rtol=1e-9)
    # two for each complex point, less what the least floor of 3e-5 makes of the noise
    n = 2 * len(problem.data)
    assert 0.75 * n < choice.fit.chi_square < 1.2 * n
