"""The floor: its covariance by hand, whitening and likelihood against dense matrices, and what it is estimated to be."""

from dataclasses import replace

import numpy as np
import pytest

from fit.estimate.floor import (
    LEAST,
    LENGTHS_OCTAVES,
    MOST,
    Floor,
    estimate_floor,
    floor_blocks,
    floor_covariances,
    kernel,
    placements,
    smooth_difference,
)
from fit.estimate.joint import fit_joint, independent_blocks
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from tests import guitar_cases as cases
from tests.guitar_evidence import evidence_of_guitar
from tests.toy_problem import grid, toy_evidence, toy_problem


@pytest.mark.parametrize("is_common", [True, False])
def test_whitening_is_the_inverse_of_the_covariance(is_common):
    evidence = evidence_of_guitar(cases.draw_three_pickups(0))
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)), thin=3)
    floor = Floor(smooth=1e-3, rough=3e-4, length_octaves=0.5, is_common=is_common)
    blocks, log_determinant = floor_blocks(problem, floor)
    rng = np.random.default_rng(0)
    error, determinant, covered = rng.standard_normal(len(problem.data)), 0.0, []
    for block, (points, covariance) in zip(blocks, floor_covariances(problem, floor), strict=True):
        white = block.whiten(error[None, block.points])[0]
        assert white @ white == pytest.approx(2 * error[points] @ np.linalg.solve(covariance, error[points]), rel=1e-6)
        weights = rng.standard_normal(len(points))
        assert weights @ white == pytest.approx(block.transpose(weights) @ error[points], rel=1e-9)
        determinant += 2 * np.linalg.slogdet(covariance)[1]
        covered.extend(points)
    assert log_determinant == pytest.approx(determinant, rel=1e-9)
    assert covered == list(range(len(problem.data)))


FLOOR = Floor(smooth=4e-3, rough=1e-3, length_octaves=0.5, is_common=True)


def drawn_problem(*, n=24, n_takes=2, coil_moved=(), smooth=0.0, rough=0.0, length=1.0, is_common=True, noise=1e-4, seed=0):
    """Takes whose data differ from the model by a drawn smooth error, an independent one and noise; one row and the gain."""
    rng = np.random.default_rng(seed)
    evidence = toy_evidence(n, n_takes=n_takes, coil_moved=coil_moved)
    octaves = np.log2(grid(n))
    a = np.sqrt(5) / length * np.abs(np.subtract.outer(octaves, octaves))
    root = np.linalg.cholesky((1 + a + a**2 / 3) * np.exp(-a) + 1e-10 * np.eye(n))

    def complex_normal(shape):
        return (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2)

    errors = [root @ complex_normal(n) for _ in range(n_takes)]
    error = np.concatenate([errors[0] if is_common else one for one in errors]) * smooth
    error = error + np.sqrt(rough**2 * 2.0 + noise**2) * complex_normal(n * n_takes)
    row = np.tile(np.linspace(-1, 1, n) + 0.5j, n_takes)
    priors = {"a": {"prior_std": 0.5}, "log_gain_0": {"prior_std": np.inf}}
    return toy_problem(evidence, {"a": row}, priors=priors, log_data=0.2 * row - error, noise=noise)


def fitted(problem):
    fit = fit_joint(problem, independent_blocks(problem, 1e-3), np.zeros(len(problem.parameters)), tolerance=1e-10)
    return fit.prediction, fit.vector


# (1 + a + a²/3) e^-a with a = √5 |Δ|/ℓ: one length apart a = √5.
def test_kernel_at_known_distances():
    found = kernel(np.array([0.0, 0.5, -1.0]), 0.5)
    root5 = 5**0.5
    one, two, three = ((1 + n * root5 + 5 * n**2 / 3) * np.exp(-n * root5) for n in (1, 2, 3))
    np.testing.assert_allclose(found, [[1, one, two], [one, 1, three], [two, three, 1]], rtol=1e-14)


def test_covariance_of_two_takes_by_hand():
    problem = drawn_problem(n=2)
    near = kernel(np.log2(grid(2)), 0.5)[0, 1]
    ((points, found),) = floor_covariances(problem, FLOOR)
    assert points.tolist() == [0, 1, 2, 3]
    smooth, own = 16e-6, 1e-8 + 2.0 * 1e-6  # p²; noise² and q² over the points of a third of an octave
    shared = smooth * np.array([[1, near], [near, 1]])
    expected = np.block([[shared, shared], [shared, shared]]) + own * np.eye(4)
    np.testing.assert_allclose(found, expected, rtol=1e-7)
    alone = floor_covariances(problem, replace(FLOOR, is_common=False))
    assert [points.tolist() for points, _ in alone] == [[0, 1], [2, 3]]
    np.testing.assert_allclose(alone[1][1], shared + own * np.eye(2), rtol=1e-7)


def test_both_parts_make_the_total():
    assert Floor(smooth=3e-3, rough=4e-3, length_octaves=1.0, is_common=False).total == pytest.approx(5e-3, rel=1e-14)


def test_placements_begin_where_the_coil_moved():
    problem = drawn_problem(n=4, n_takes=4, coil_moved=(0, 2))
    assert placements(problem).tolist() == [0, 0, 1, 1]


@pytest.mark.parametrize("is_common", [True, False])
def test_smooth_part_is_the_conditional_mean(is_common):
    problem = drawn_problem(n=10, n_takes=3, coil_moved=(2,), smooth=4e-3)
    floor = replace(FLOOR, is_common=is_common)
    residual = problem.data - 1
    found = smooth_difference(problem, floor, residual)
    covered = np.zeros(len(residual), dtype=int)
    for points, covariance in floor_covariances(problem, floor):
        octaves = np.log2(problem.frequency_hz[points])
        expected = floor.smooth**2 * kernel(octaves, 0.5) @ np.linalg.solve(covariance, residual[points])
        np.testing.assert_allclose(found[points], expected, rtol=1e-6, atol=1e-9)
        covered[points] += 1
    assert np.all(covered == 1)


def criterion(problem, prediction, vector, floor):
    """Minus twice the restricted likelihood, with dense matrices: 2 rᴴC⁻¹r + 2 ln det C + prior + ln det(2 Re JᴴC⁻¹J + P)."""
    std = np.array([parameter.prior_std for parameter in problem.parameters])
    mean = np.array([parameter.prior_mean for parameter in problem.parameters])
    rows = np.concatenate([prediction.residual[None], prediction.jacobian])
    gram, total = 0.0, 0.0
    for points, covariance in floor_covariances(problem, floor):
        gram = gram + 2 * (rows[:, points].conj() @ np.linalg.solve(covariance, rows[:, points].T)).real
        total += 2 * np.linalg.slogdet(covariance)[1]
    information = gram[1:, 1:] + np.diag(std**-2.0)
    slope = gram[1:, 0] + (vector - mean) / std**2
    fit = gram[0, 0] + np.sum(((vector - mean) / std) ** 2) - slope @ np.linalg.solve(information, slope)
    return total + fit + np.linalg.slogdet(information)[1]


CASES = {
    "smooth, of each take": {"smooth": 5e-3, "is_common": False, "n_takes": 3},
    "smooth, common": {"smooth": 5e-3, "n_takes": 3},
    "smooth, of each placement": {"smooth": 5e-3, "n_takes": 4, "coil_moved": (2,), "length": 0.5},
    "rough": {"rough": 4e-3, "n_takes": 2},
    "both, short": {"smooth": 3e-3, "rough": 1e-3, "length": 0.4, "is_common": False},
    "one take": {"smooth": 6e-3, "n_takes": 1, "length": 1.5},
}


@pytest.mark.long
@pytest.mark.parametrize("case", CASES)
def test_estimated_floor_is_the_most_likely_one(case):
    problem = drawn_problem(**CASES[case])
    prediction, vector = fitted(problem)
    found = estimate_floor(problem, prediction, vector)
    ours = criterion(problem, prediction, vector, found)
    # no other one, on a grid closer than its own coarse one, is more likely by more than a simplex of 0.1 leaves; a neighbouring
    # length is searched only where it is nearly as likely with p unchanged, which may leave the coarse grid's
    behind = 5.0 if case == "smooth, common" else 0.6
    scopes = (False, True) if CASES[case].get("n_takes") != 1 else (False,)
    best = min(
        criterion(problem, prediction, vector, Floor(smooth=p, rough=q, length_octaves=length, is_common=scope))
        for scope in scopes
        for length in LENGTHS_OCTAVES
        for p in np.geomspace(LEAST, MOST, 9)
        for q in np.geomspace(LEAST, MOST, 7)
    )
    assert ours < best + behind
    again = estimate_floor(problem, prediction, vector, near=found)
    assert criterion(problem, prediction, vector, again) < ours + 0.3
    if "common" in case:
        assert found.is_common
    if "each take" in case:
        assert not found.is_common


@pytest.mark.parametrize("size", [2e-3, 1e-2])
def test_size_of_a_smooth_error_is_found(size):
    sizes = []
    for seed in range(6):
        problem = drawn_problem(smooth=size, length=0.5, n_takes=1, n=36, seed=seed)
        sizes.append(estimate_floor(problem, *fitted(problem)).total)
    assert 0.7 * size < np.median(sizes) < 1.4 * size


def test_exact_takes_have_the_least_floor():
    problem = drawn_problem(noise=1e-5)
    found = estimate_floor(problem, *fitted(problem))
    assert found.smooth < 2 * LEAST
    assert found.rough < 2 * LEAST


# Few noisy points cannot tell a floor from their noise: what is not certain is taken back to 1e-3 of both parts.
def test_takes_near_the_noise_are_no_misfit():
    problem = drawn_problem(n=8, n_takes=1, noise=1e-2, smooth=4e-3, seed=3)
    sizes = [estimate_floor(problem, *fitted(problem)).total]
    for seed in range(4):
        problem = drawn_problem(n=8, n_takes=1, noise=1e-2, seed=seed)
        sizes.append(estimate_floor(problem, *fitted(problem)).total)
    assert max(sizes) <= 1e-3 * 1.05


def test_takes_that_share_no_placement_share_no_floor():
    problem = drawn_problem(n_takes=2, coil_moved=(1,), smooth=5e-3)
    assert not estimate_floor(problem, *fitted(problem)).is_common
