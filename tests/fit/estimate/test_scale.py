"""Other scales of impedance: many behind one load, none where a second load tells them apart."""

from dataclasses import replace

import numpy as np
import pytest

from fit.estimate.floor import Floor
from fit.estimate.joint import fit_joint, whiten
from fit.estimate.model import predict_residual
from fit.estimate.scale import equivalent_vectors
from tests.benches import draw_bench, draw_truth
from tests.true_fit import fit_at_truth

NOISY = Floor(smooth=3e-5, rough=2e-2, length_octaves=1.0, is_common=False)


@pytest.fixture(scope="module")
def bench():
    truth = draw_truth(np.random.default_rng(4), 0)
    return draw_bench(4, n_loops=0, truth=truth, noise=1e-3, has_dcr=False)[0], truth


def test_two_loads_tell_the_inductance(bench):
    evidence, truth = bench
    assert equivalent_vectors(fit_at_truth(evidence, truth, n_takes=2)) == ()


def test_behind_one_noisy_load_the_valley_is_walked(bench):
    evidence, truth = bench
    choice = fit_at_truth(evidence, truth, n_takes=1, floor=NOISY)
    names = [parameter.name for parameter in choice.problem.parameters]
    at = names.index("log_inductance")
    found = equivalent_vectors(choice)
    steps = [vector[at] - choice.fit.vector[at] for vector in found]
    assert steps == sorted(steps)
    assert steps
    for step in steps:
        assert min(abs(step - one) for one in (-1.0, -0.5, 0.5, 1.0)) < 0.01
    # the resonance stays: what the inductance gains, winding and input together lose
    farads = [names.index(name) for name in ("log_winding_capacitance", "log_input_capacitance")]
    resonances = [vector[at] + np.log(np.exp(vector[farads]).sum()) for vector in (choice.fit.vector, *found)]
    assert np.ptp(resonances) < 0.15


def chi_square(choice, vector):
    """2 rᴴC⁻¹r and the priors' part at a vector."""
    white = whiten(choice.blocks, predict_residual(choice.problem, vector).residual[None])
    pulls = [(value - one.prior_mean) / one.prior_std for value, one in zip(vector, choice.problem.parameters, strict=True)]
    return float(np.sum(white**2) + np.sum(np.square(pulls)))


def held_at(choice, step):
    """Least χ² with the inductance held a step away."""
    at = [parameter.name for parameter in choice.problem.parameters].index("log_inductance")
    target = float(choice.fit.vector[at] + step)
    parameters = list(choice.problem.parameters)
    parameters[at] = replace(parameters[at], prior_mean=target, prior_std=1e-6)
    held = replace(choice.problem, parameters=tuple(parameters))
    start = choice.fit.vector.copy()
    start[at] = target
    return chi_square(choice, fit_joint(held, choice.blocks, start, tolerance=1e-10).vector)


@pytest.mark.parametrize("rough", [5e-3, 1.2e-2, 2e-2])
def test_all_fits_within_two_sigma_are_told_and_no_others(bench, rough):
    evidence, truth = bench
    choice = fit_at_truth(evidence, truth, n_takes=1, floor=replace(NOISY, rough=rough))
    at = [parameter.name for parameter in choice.problem.parameters].index("log_inductance")
    best = chi_square(choice, choice.fit.vector)
    found = {round(float(vector[at] - choice.fit.vector[at]), 1): vector for vector in equivalent_vectors(choice)}
    rises = {step: held_at(choice, step) - best for step in (-1.0, -0.5, 0.5, 1.0)}
    assert set(found) == {step for step, rise in rises.items() if rise < 4.0}, rises
    for step, vector in found.items():
        assert chi_square(choice, vector) - best == pytest.approx(rises[step], abs=0.05)
