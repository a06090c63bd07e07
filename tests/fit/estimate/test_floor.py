"""Whitening of errors that takes share: the structured form against the covariance itself."""

import numpy as np
import pytest

from fit.estimate.floor import Floor, floor_blocks, floor_covariances
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from tests import guitar_cases as cases
from tests.guitar_evidence import evidence_of_guitar


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
