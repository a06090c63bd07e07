"""Other scales of impedance: many behind one load, none where a second load tells them apart."""

import numpy as np
import pytest

from fit.estimate.floor import Floor
from fit.estimate.scale import AS_GOOD, STEPS, equivalent_vectors
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
    assert steps
    for step in steps:
        assert min(abs(step - one) for one in STEPS) < 0.01
    # the resonance stays: what the inductance gains, winding and input together lose
    farads = [names.index(name) for name in ("log_winding_capacitance", "log_input_capacitance")]
    resonances = [vector[at] + np.log(np.exp(vector[farads]).sum()) for vector in (choice.fit.vector, *found)]
    assert np.ptp(resonances) < 0.15


def test_only_fits_within_two_sigma_are_told(bench, monkeypatch):
    evidence, truth = bench
    choice = fit_at_truth(evidence, truth, n_takes=1, floor=NOISY)
    assert AS_GOOD == 4.0
    few = len(equivalent_vectors(choice))
    monkeypatch.setattr("fit.estimate.scale.AS_GOOD", np.inf)
    assert len(equivalent_vectors(choice)) == len(STEPS) >= few
    monkeypatch.setattr("fit.estimate.scale.AS_GOOD", -1e-3)
    assert equivalent_vectors(choice) == ()
