"""The fit of a model that is known beforehand: no ladder, its floor estimated from what it leaves."""

from collections.abc import Sequence

from fit.estimate.floor import estimate_floor, floor_blocks
from fit.estimate.joint import covariance_of, fit_joint, independent_blocks, search_joint
from fit.estimate.ladder import FINE_TOLERANCE, FIRST_ERROR, ROUGH_EVALUATIONS, ROUGH_TOLERANCE, Choice
from fit.estimate.model import Problem
from measure.response import FloatArray


def settle_model(problem: Problem, starts: Sequence[FloatArray]) -> Choice:
    """Fit one model from several starts, and the best once more under its own floor.

    Parameters
    ----------
    problem : Problem
        With m points and p parameters.
    starts : sequence of ndarray, shape (p,)
        First vectors, at least one.

    Returns
    -------
    Choice
        Without rungs: nothing was compared.
    """
    first = independent_blocks(problem, FIRST_ERROR)
    tries = [
        search_joint(problem, first, start, tolerance=ROUGH_TOLERANCE / 10, most_evaluations=ROUGH_EVALUATIONS)
        for start in starts
    ]
    best = min(tries, key=lambda each: each.chi_square)
    floor = estimate_floor(problem, best.prediction, best.vector)
    blocks, _ = floor_blocks(problem, floor)
    fit = fit_joint(problem, blocks, best.vector, tolerance=FINE_TOLERANCE)
    return Choice(
        problem=problem,
        fit=fit,
        blocks=blocks,
        covariance=covariance_of(problem, blocks, fit.prediction),
        floor=floor,
        rungs=(),
        moved=(),
    )
