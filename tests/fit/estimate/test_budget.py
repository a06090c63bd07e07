"""Where the uncertainty comes from: against the estimator of a linear fit written out as a matrix."""

import numpy as np
import pytest

from fit.circuit.controls import Settings
from fit.estimate.budget import coverage_factor, coverage_of, foresee_take, split_uncertainty
from fit.estimate.joint import independent_blocks
from measure.quantity import parse_quantity
from tests.benches import draw_bench, draw_truth
from tests.toy_problem import real_rows, toy_choice, toy_evidence, toy_problem
from tests.true_fit import fit_at_truth

N = 10
PRIORS = {
    "a": {"prior_std": 0.02, "source": "dcr", "is_bounded": True},
    "b": {"prior_std": 0.05, "source": "input"},
    "c": {"prior_std": 3.0},
}


def linear(*, floor_error=0.0, noise=0.02):
    rng = np.random.default_rng(1)
    rows = {name: rng.standard_normal(N) + 1j * rng.standard_normal(N) for name in PRIORS}
    rows["c"] = rows["a"] + rows["b"] + 0.5 * rows["c"]
    problem = toy_problem(toy_evidence(N), rows, priors=PRIORS, log_data=0.1 * rows["c"], noise=noise)
    return toy_choice(problem, independent_blocks(problem, floor_error)), rows


def contributions(gradient, *, floor_error, noise):
    """Each source through the estimator's matrix; data of variance noise², half in Re and half in Im."""
    _, rows = linear()
    design = np.array([real_rows(row) for row in rows.values()]).T
    weights = np.full(len(design), 2 / (noise**2 + floor_error**2))
    precision = np.diag([each["prior_std"] ** -2 for each in PRIORS.values()])
    covariance = np.linalg.inv(design.T @ (weights[:, None] * design) + precision)
    estimator = gradient @ covariance @ design.T * weights
    by_prior = gradient @ covariance @ precision
    out = {
        "noise": np.sqrt(np.sum(estimator**2) * noise**2 / 2),
        "model floor": np.sqrt(np.sum(estimator**2) * floor_error**2 / 2),
    }
    names = ("dcr", "input", "assumed limits")
    return out | {name: abs(part) * each["prior_std"] for name, part, each in zip(names, by_prior, PRIORS.values(), strict=True)}


@pytest.mark.parametrize("floor_error", [0.0, 0.03])
def test_shares_are_those_of_the_estimator(floor_error):
    choice, _ = linear(floor_error=floor_error)
    gradient = np.zeros(len(choice.problem.parameters))
    gradient[:3] = 1.0, -0.5, 2.0
    shares = split_uncertainty(choice, gradient)
    expected = contributions(gradient[:3], floor_error=floor_error, noise=0.02)
    found = {share.source: share.contribution for share in shares}
    for source, contribution in expected.items():
        # the gain and the delay that are held, to 1e-9 each, count as limits too
        assert found[source] == pytest.approx(contribution, rel=1e-5, abs=1e-7), source
    sizes = [share.contribution for share in shares]
    assert sizes == sorted(sizes, reverse=True)
    assert sum(size**2 for size in sizes) == pytest.approx(gradient @ choice.covariance @ gradient, rel=1e-9)


def test_factor_of_known_distributions():
    assert coverage_factor([]) == 1.96
    assert coverage_factor([1.0]) == pytest.approx(0.95 * np.sqrt(3), abs=2e-3)
    # two equal rectangular ones make a triangle of half-width √6: 95 % of it within √6 (1 - √0.05)
    assert coverage_factor([0.5**0.5] * 2) == pytest.approx(np.sqrt(6) * (1 - np.sqrt(0.05)), abs=2e-3)
    # a small rectangular part leaves it normal
    assert coverage_factor([0.05]) == pytest.approx(1.96, abs=2e-3)


def test_factor_of_a_mixture_by_quadrature():
    # P(|r + n| < k) over a rectangular r of half-width √3 a, with a normal n of what is left of a unit variance
    from math import erf

    part = 0.8
    half, sigma = np.sqrt(3) * part, np.sqrt(1 - part**2)
    at = (np.arange(2000) + 0.5) / 1000 * half - half
    inside = [
        np.mean([0.5 * (erf((k - r) / sigma / 2**0.5) - erf((-k - r) / sigma / 2**0.5)) for r in at])
        for k in (coverage_factor([part]),)
    ]
    assert inside[0] == pytest.approx(0.95, abs=5e-4)


def coverage(gradient, extra_std=0.0, **parts):
    choice, _ = linear(**parts)
    whole = np.zeros(len(choice.problem.parameters))
    whole[:3] = gradient
    return choice, whole, coverage_of(choice, whole, extra_std)


def test_what_rests_on_one_bound_is_rectangular():
    choice, gradient, found = coverage((1.0, 0.0, 0.0), noise=30.0)
    assert found.distribution == "rectangular"
    assert found.factor == pytest.approx(1.645, abs=0.01)
    assert found.standard_uncertainty == pytest.approx(np.sqrt(gradient @ choice.covariance @ gradient), rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(0.02, rel=1e-3)


def test_what_rests_on_no_bound_is_normal():
    *_, found = coverage((0.0, 1.0, 0.0), noise=30.0)
    assert (found.factor, found.distribution) == (1.96, "normal")


def test_a_bound_beside_as_much_else_is_mixed():
    *_, found = coverage((1.0, 0.3, 0.0), noise=30.0)  # 0.02 rectangular, 0.015 normal
    assert found.distribution == "mixed"
    assert found.factor == pytest.approx(coverage_factor([0.8]), abs=1e-3)
    assert found.standard_uncertainty == pytest.approx(0.025, rel=1e-3)


def test_a_range_beside_it_counts_as_rectangular():
    *_, found = coverage((0.0, 0.3, 0.0), 0.02, noise=30.0)  # 0.015 normal
    assert found.standard_uncertainty == pytest.approx(0.025, rel=1e-3)
    assert (found.distribution, found.factor) == ("mixed", pytest.approx(coverage_factor([0.8]), abs=1e-3))


def test_nothing_that_varies_has_no_uncertainty():
    *_, found = coverage((0.0, 0.0, 0.0))
    assert (found.standard_uncertainty, found.factor, found.distribution) == (0.0, 1.96, "normal")


@pytest.fixture(scope="module")
def one_load():
    truth = draw_truth(np.random.default_rng(2), 0)
    evidence, _ = draw_bench(2, n_loops=0, truth=truth)
    return fit_at_truth(evidence, truth, n_takes=1)


def test_a_take_with_another_load_is_foreseen_to_tell_the_inductance(one_load):
    names = [parameter.name for parameter in one_load.problem.parameters]
    at = names.index("log_inductance")
    seen = {}
    for text in ("1n ± 1%", "10p ± 1%"):
        foreseen = foresee_take(one_load, (parse_quantity(text, "F"),), Settings())
        assert set(names) | {"gain_step_1", "log_added_0", "loss_added_0"} == set(foreseen.names)
        seen[text] = np.sqrt(foreseen.covariance[foreseen.names.index("log_inductance"),][foreseen.names.index("log_inductance")])
    present = np.sqrt(one_load.covariance[at, at])
    assert seen["1n ± 1%"] < 0.2 * present
    assert seen["1n ± 1%"] < 0.8 * seen["10p ± 1%"]


def test_what_a_further_take_feels(one_load):
    foreseen = foresee_take(one_load, (parse_quantity("1n ± 1%", "F"),), Settings())
    felt = dict(zip(foreseen.names, foreseen.felt, strict=True))
    assert felt["gain_step_1"] == pytest.approx(1.0, rel=1e-12)
    assert felt["log_gain_0"] == pytest.approx(1.0, rel=1e-12)
    assert felt["log_added_0"] > felt["log_input_capacitance"] > 0.01
