"""The joint fit against linear least squares written out, and its whitening against dense matrices."""

import subprocess
import sys
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fit.estimate.joint import (
    PATIENCE,
    Block,
    covariance_of,
    fit_joint,
    independent_blocks,
    prior_rows,
    scaled_factor,
    search_joint,
    whiten,
)
from fit.estimate.model import predict_residual
from tests.toy_problem import real_rows, toy_evidence, toy_problem

N = 12


def drawn_rows(rng, n_rows, n):
    return rng.standard_normal((n_rows, n)) + 1j * rng.standard_normal((n_rows, n))


def linear(seed=0, *, curve=None):
    rng = np.random.default_rng(seed)
    rows = dict(zip(("a", "b"), drawn_rows(rng, 2, N), strict=True))
    priors = {"a": {"prior_mean": 0.3, "prior_std": 0.05}}
    log_data = 0.4 * rows["a"] - 0.2 * rows["b"] + 0.02 * drawn_rows(rng, 1, N)[0]
    noise = rng.uniform(0.01, 0.03, N)
    return toy_problem(toy_evidence(N), rows, priors=priors, log_data=log_data, noise=noise, curve=curve), rows, log_data, noise


def solved_by_hand(rows, log_data, noise):
    """Weighted least squares: half of the noise's variance is in the real part, half in the imaginary one."""
    design = np.array([real_rows(row) for row in rows.values()]).T
    std = np.concatenate([noise, noise]) / np.sqrt(2)
    design, target = design / std[:, None], real_rows(log_data) / std
    design = np.vstack([design, [1 / 0.05, 0.0]])  # the prior of a is one more datum
    target = np.append(target, 0.3 / 0.05)
    covariance = np.linalg.inv(design.T @ design)
    vector = covariance @ design.T @ target
    return vector, covariance, float(np.sum((design @ vector - target) ** 2))


@pytest.mark.parametrize("fit", ["fit", "search"])
def test_a_linear_fit_is_weighted_least_squares(fit):
    problem, rows, log_data, noise = linear()
    vector, covariance, chi_square = solved_by_hand(rows, log_data, noise)
    blocks = independent_blocks(problem, 0.0)
    start = np.zeros(len(problem.parameters))
    if fit == "fit":
        found = fit_joint(problem, blocks, start, tolerance=1e-13)
    else:
        found = search_joint(problem, blocks, start, tolerance=1e-13, most_evaluations=50)
    np.testing.assert_allclose(found.vector[:2], vector, rtol=1e-6)
    assert found.chi_square == pytest.approx(chi_square, rel=1e-6)
    assert found.n_evaluations < 12
    ours = covariance_of(problem, blocks, found.prediction)
    np.testing.assert_allclose(ours[:2, :2], covariance, rtol=1e-6)
    at_end = predict_residual(problem, found.vector)
    np.testing.assert_allclose(found.prediction.residual, at_end.residual, rtol=1e-12)


def test_a_search_that_is_cut_short_keeps_the_best():
    problem, *_ = linear(curve=lambda value: (value + 3 * value**3, 1 + 9 * value**2))
    blocks = independent_blocks(problem, 0.0)
    start = np.zeros(len(problem.parameters))
    start[:2] = 2.0
    short = search_joint(problem, blocks, start, tolerance=1e-9, most_evaluations=2)
    whole = search_joint(problem, blocks, start, tolerance=1e-9, most_evaluations=200)
    assert 1e3 * whole.chi_square < short.chi_square < np.inf
    assert short.n_evaluations <= 4 < whole.n_evaluations


def valley():
    """A problem with its minimum at the end of a bent valley, which a search goes down in many small steps, and a far start."""
    problem, rows, *_ = linear()
    across, along = rows["b"], rows["a"]

    def evaluate(p):
        value = np.exp(0.1 * along * (1 - p["a"]) + 3.0 * across * (p["b"] - p["a"] ** 2))
        return value, {"a": -0.1 * along - 6.0 * p["a"] * across, "b": 3.0 * across}

    free = tuple(replace(each, prior_std=np.inf) if each.name == "a" else each for each in problem.parameters)
    start = np.zeros(len(free))
    start[:2] = (-1.2, 1.0)
    return replace(problem, circuit=SimpleNamespace(evaluate=evaluate), parameters=free), start


@pytest.mark.parametrize(("of_reached", "is_given_up"), [(1.1, False), (0.9, True)])
def test_a_search_is_given_up_by_how_far_it_has_come_not_by_where_it_began(of_reached, is_given_up):
    problem, start = valley()
    blocks = independent_blocks(problem, 0.0)
    first, reached, whole = (
        search_joint(problem, blocks, start, tolerance=1e-9, most_evaluations=most) for most in (1, PATIENCE, 400)
    )
    hopeless = of_reached * reached.chi_square
    assert whole.chi_square < hopeless < first.chi_square / 100  # near the minimum, and the start far above
    assert whole.n_evaluations > PATIENCE + 10
    found = search_joint(problem, blocks, start, tolerance=1e-9, most_evaluations=400, hopeless=hopeless)
    same = reached if is_given_up else whole
    assert (found.n_evaluations, found.chi_square) == (same.n_evaluations, same.chi_square)
    np.testing.assert_array_equal(found.vector, same.vector)
    np.testing.assert_array_equal(found.prediction.residual, same.prediction.residual)


def test_a_start_that_cannot_be_computed_is_refused():
    problem, *_ = linear()
    start = np.full(len(problem.parameters), np.nan)
    with pytest.raises(ValueError, match="cannot be computed where the search begins"):
        search_joint(problem, independent_blocks(problem, 0.0), start, tolerance=1e-6, most_evaluations=5)


def test_a_step_out_of_range_turns_back():
    def curve(value):
        if value > 1.0:
            msg = "out of range"
            raise ArithmeticError(msg)
        return value, 1.0

    problem, rows, _, _ = linear()
    beyond = replace(problem, data=np.exp(1.5 * rows["b"] + 0.3 * rows["a"]), circuit=replace(problem.circuit, curve=curve))
    found = search_joint(
        beyond, independent_blocks(beyond, 0.0), np.zeros(len(beyond.parameters)), tolerance=1e-6, most_evaluations=50
    )
    assert found.vector[1] <= 1.0
    assert np.isfinite(found.chi_square)


def test_independent_errors_add_in_squares():
    problem, *_ = linear()
    (block,) = independent_blocks(problem, 0.04)
    np.testing.assert_allclose(block.whitener, np.sqrt(2 / (problem.noise**2 + 0.0016)), rtol=1e-14)
    assert block.points == slice(0, N)


def test_priors_as_means_and_roots_of_precision():
    problem, *_ = linear()
    means, roots = prior_rows(problem)
    assert means[:2].tolist() == [0.3, 0.0]
    assert roots[:2] == pytest.approx([20.0, 0.0], abs=1e-12)


def test_real_parts_are_whitened_before_imaginary_ones_block_by_block():
    blocks = [Block(points=slice(0, 2), whitener=np.array([2.0, 3.0])), Block(points=slice(2, 3), whitener=np.array([[5.0]]))]
    found = whiten(blocks, np.array([[1 + 10j, 1 + 10j, 1 + 10j]]))
    np.testing.assert_array_equal(found, [[2.0, 3.0, 5.0, 20.0, 30.0, 50.0]])


@pytest.mark.parametrize("kind", ["diagonal", "matrix", "shared"])
def test_a_block_is_its_matrix(kind):
    rng = np.random.default_rng(3)
    k = 5
    if kind == "diagonal":
        block = Block(points=slice(0, k), whitener=rng.uniform(1, 2, k))
        dense = np.diag(block.whitener)
    elif kind == "matrix":
        block = Block(points=slice(0, k), whitener=rng.standard_normal((k, k)))
        dense = block.whitener
    else:
        basis, _ = np.linalg.qr(rng.standard_normal((k, 2)))
        block = Block(points=slice(0, k), whitener=rng.uniform(1, 2, k), basis=basis, shrink=np.array([0.3, 0.8]))
        dense = (np.eye(k) - basis @ np.diag(block.shrink) @ basis.T) @ np.diag(block.whitener)
    rows, weights = rng.standard_normal((3, k)), rng.standard_normal(k)
    np.testing.assert_allclose(block.whiten(rows), rows @ dense.T, rtol=1e-12)
    np.testing.assert_allclose(block.transpose(weights), weights @ dense, rtol=1e-12)


def test_factor_of_a_matrix_scaled_to_a_diagonal_of_1():
    information = np.array([[4.0, 1.0], [1.0, 100.0]])
    factor, scale = scaled_factor(information)
    np.testing.assert_allclose(scale, [2.0, 10.0], rtol=1e-14)
    np.testing.assert_allclose((factor * scale[:, None]) @ (factor * scale[:, None]).T, information, rtol=1e-12)
    assert factor[0, 1] == 0.0


def test_directions_of_which_nothing_is_known_have_a_factor_too():
    for information in (np.zeros((2, 2)), np.ones((3, 3)), np.array([[1.0, 1.0 + 1e-11], [1.0 + 1e-11, 1.0]])):
        factor, scale = scaled_factor(information)
        assert np.all(np.isfinite(factor))
        assert np.all(scale > 0)


SCRIPT = """
import sys, threading
from fit.estimate.joint import load_beside
assert "lmfit" not in sys.modules
load_beside()
(thread,) = [one for one in threading.enumerate() if one.name == "load lmfit"]
thread.join()
assert hasattr(sys.modules["lmfit"], "Minimizer")
load_beside()
assert threading.active_count() == 1
"""


@pytest.mark.long
def test_lmfit_is_loaded_beside_and_once() -> None:
    subprocess.run([sys.executable, "-c", SCRIPT], check=True)
