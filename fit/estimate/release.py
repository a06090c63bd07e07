"""Which statement do the takes contradict? Each tight prior let go in turn, by what that gains.

A reference (added part, dcr, input) is held at its stated uncertainty, an ordinary interface and a sound capacitor at what is
usual of them. Where the takes say otherwise, a fit that holds on to them pays for it elsewhere: with a loss that is not there,
a pot, or an inductance. So each model of the ladder is also tried with one of them let go.
"""

from collections.abc import Sequence

import numpy as np

from fit.estimate.joint import Block, JointFit, covariance_of
from fit.estimate.model import Problem, name_values
from fit.estimate.parameters import Parameter, released_std
from measure.response import FloatArray

OF_THE_BENCH = ("delay", "highpass", "across_", "loss_")  # what a model may have without a reference being wrong
NOT_NEGATIVE = ("across_", "loss_")
MOVED = 2.0  # [1] of its standard uncertainty that a reference must be off at least, past the bound of a rectangular one (√3)
LEAST_LEARNED = 1e-7  # [1] of a prior's information; below, the takes say nothing of it


def is_reference(name: str) -> bool:
    """Say whether a parameter that was let go is something that a person stated.

    Returns
    -------
    bool
        False for what belongs to the bench: delay, high-passes, losses, a leak.
    """
    return not name.startswith(OF_THE_BENCH)


def release_gains(problem: Problem, blocks: Sequence[Block], fit: JointFit) -> dict[str, float]:
    """Find by how much χ² would fall with each tight prior let go, to first order.

    Parameters
    ----------
    blocks : sequence of Block
        How errors are whitened.

    Returns
    -------
    dict
        Parameter to the fall of χ²; the square of its pull.

    Notes
    -----
    For a linear problem, with d = θ − prior mean, u the prior's standard deviation and v the posterior's: d²/(u² − v²).
    """
    covariance = covariance_of(problem, blocks, fit.prediction)
    gains = {}
    for index, parameter in enumerate(problem.parameters):
        if parameter.name in problem.released or released_std(parameter) is None:
            continue
        learned = 1 - float(covariance[index, index]) / parameter.prior_std**2
        offset = (float(fit.vector[index]) - parameter.prior_mean) / parameter.prior_std
        gains[parameter.name] = offset**2 / learned if learned > LEAST_LEARNED else 0.0
    return gains


def penalty(problem: Problem) -> float:
    """Find what BIC charges for one prior let go out of all that could be.

    Returns
    -------
    float
        ln(2m), and the logarithm of the number of choices.
    """
    choices = sum(released_std(parameter) is not None for parameter in problem.parameters)
    return float(np.log(2 * len(problem.data)) + np.log(max(choices, 1)))


def is_possible(problem: Problem, vector: FloatArray, tight: Sequence[Parameter]) -> bool:
    """Say whether what was let go went somewhere else, and to what can be: a leak and a loss are not negative.

    Parameters
    ----------
    vector : ndarray, shape (p,)
        The fit.
    tight : sequence of Parameter
        With their priors before any was let go.

    Returns
    -------
    bool
        False where it only stands in for something else, or for a search that ended elsewhere.
    """
    p, held = name_values(problem, vector), {each.name: each for each in tight}
    return all(
        abs(p[name] - held[name].prior_mean) > MOVED * held[name].prior_std and (p[name] > 0 or not name.startswith(NOT_NEGATIVE))
        for name in problem.released
    )
