"""Intervals of what a fit tells badly, walked along the likelihood: there a linearised interval is too narrow."""

from dataclasses import replace

import numpy as np

from fit.estimate.joint import prior_rows, search_joint
from fit.estimate.ladder import Choice
from measure.response import FloatArray

HELD = 1e-3  # [1] of the standard uncertainty, while the others follow
MOST_EVALUATIONS = 15
TOLERANCE = 1e-4  # [1] of χ²
NEAR = (0.8, 1.25)  # [1] of the rise of χ² that was aimed at: good enough
WIDEST = 4.0  # [1] over the linearised half-width; farther out nothing is told


def profile_halves(choice: Choice, index: int, factor: float) -> tuple[float, float]:
    """Find how far a parameter may go to either side until χ² has risen as at an interval's ends.

    Parameters
    ----------
    factor : float
        Half-width of the interval over the standard uncertainty, were the fit linear. [1]

    Returns
    -------
    tuple of float
        Below and above, both positive; in the unit of the parameter.

    Notes
    -----
    The ends lie where the profile χ² is factor² above its minimum (D. J. Venzon, S. H. Moolgavkar, Applied Statistics 37 (1),
    87-94, 1988). Each is found by one or two searches with the parameter held, and a parabola through the last.
    """
    std = float(np.sqrt(choice.covariance[index, index]))
    along = choice.covariance[:, index] / std**2
    below, above = (_reach(choice, index, along=sign * along, aim=factor, std=std) for sign in (-1.0, 1.0))
    return below, above


def _reach(choice: Choice, index: int, *, along: FloatArray, aim: float, std: float) -> float:
    half = aim * std
    for _ in range(2):
        rise = _rise(choice, index, choice.fit.vector + half * along, std)
        if not rise > 0:
            return aim * std  # nothing that a parabola describes
        half = float(np.clip(half * aim / np.sqrt(rise), aim * std / WIDEST, aim * std * WIDEST))
        if NEAR[0] < rise / aim**2 < NEAR[1]:
            break
    return half


def _rise(choice: Choice, index: int, start: FloatArray, std: float) -> float:
    """Rise of χ² with one parameter held where the start has it, and all others free."""
    parameters = list(choice.problem.parameters)
    parameters[index] = replace(parameters[index], prior_mean=float(start[index]), prior_std=HELD * std)
    held = replace(choice.problem, parameters=tuple(parameters))
    fit = search_joint(held, choice.blocks, start, tolerance=TOLERANCE, most_evaluations=MOST_EVALUATIONS)
    means, roots = prior_rows(choice.problem)
    held_means, held_roots = prior_rows(held)
    own = float(((fit.vector[index] - means[index]) * roots[index]) ** 2)
    extra = float(((fit.vector[index] - held_means[index]) * held_roots[index]) ** 2)
    return fit.chi_square - extra + own - choice.fit.chi_square
