"""Where the uncertainty of a result comes from, and what a further take would do to it.

For a linear Gaussian estimator the contribution of reference p to a quantity q is Cov(q, p)/u(p) (JCGM 100:2008, 5.1).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.circuit.controls import Settings
from fit.estimate.coverage import coverage_factor
from fit.estimate.floor import floor_blocks
from fit.estimate.joint import covariance_of, whiten
from fit.estimate.ladder import Choice
from fit.estimate.model import build_problem, name_values, predict_residual
from measure.quantity import NORMAL_FACTOR, Quantity
from measure.response import FloatArray

PREDICT_THIN = 4  # every so many frequencies: enough to foretell an uncertainty
NEARLY_NORMAL = 1.935  # [1] from here on the normal factor is taken
SMALL_PART, DOMINATES = 0.2, 0.8  # [1] of the standard uncertainty, of the variance
NOISE, FLOOR, LIMITS = "noise", "model floor", "assumed limits"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Share:
    """One source's part of a standard uncertainty.

    Attributes
    ----------
    source : str
        A reference, the noise, or what the model cannot describe.
    contribution : float
        1 σ, in the unit of the quantity.
    """

    source: str
    contribution: float


def split_uncertainty(choice: Choice, gradient: FloatArray) -> list[Share]:
    """Split the standard uncertainty of a quantity by its sources.

    Parameters
    ----------
    gradient : ndarray, shape (p,)
        Derivative of the quantity by the parameter vector.

    Returns
    -------
    list of Share
        The largest first; their squares add up to the quantity's variance.
    """
    covariance, parameters = choice.covariance, choice.problem.parameters
    by_parameter = covariance @ gradient
    squares: dict[str, float] = {}
    for index, parameter in enumerate(parameters):
        if np.isfinite(parameter.prior_std):
            source = parameter.source or LIMITS
            squares[source] = squares.get(source, 0.0) + float((by_parameter[index] / parameter.prior_std) ** 2)
    noise2 = _noise_part(choice, by_parameter)
    total2 = float(gradient @ by_parameter)
    squares[NOISE] = noise2
    squares[FLOOR] = max(total2 - sum(squares.values()), 0.0)
    shares = [Share(source=source, contribution=float(np.sqrt(square))) for source, square in squares.items()]
    return sorted(shares, key=lambda share: -share.contribution)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Coverage:
    """Spread of an estimate, and what makes 95 % of it.

    Attributes
    ----------
    factor : float
        Half-width of the 95 % interval over it. [1]
    """

    standard_uncertainty: float
    factor: float
    distribution: str


def coverage_of(choice: Choice, gradient: FloatArray, extra_std: float = 0.0) -> Coverage:
    """Find the 95 % interval of a quantity: references with a bound bring rectangular distributions, all else a normal one.

    Parameters
    ----------
    gradient : ndarray, shape (p,)
        Derivative of the quantity by the parameter vector.
    extra_std : float
        Half a range over √3 that comes beside it, in the gradient's unit.

    Returns
    -------
    Coverage
        The estimator is linear in the references' errors, so its own is their sum (JCGM 100:2008, G.1; JCGM 101:2008, 9.2).
    """
    by_parameter = choice.covariance @ gradient
    total = float(np.hypot(np.sqrt(max(float(gradient @ by_parameter), 0.0)), extra_std))
    if total == 0:
        return Coverage(standard_uncertainty=0.0, factor=NORMAL_FACTOR, distribution="normal")
    bounded = [
        abs(float(part)) / parameter.prior_std / total
        for part, parameter in zip(by_parameter, choice.problem.parameters, strict=True)
        if parameter.is_bounded and parameter.name not in choice.problem.released
    ]
    factor = coverage_factor([part for part in (*bounded, extra_std / total) if part > SMALL_PART])
    if factor > NEARLY_NORMAL:
        return Coverage(standard_uncertainty=total, factor=NORMAL_FACTOR, distribution="normal")
    is_one = max(bounded, default=0.0) ** 2 > DOMINATES
    return Coverage(standard_uncertainty=total, factor=factor, distribution="rectangular" if is_one else "mixed")


def _noise_part(choice: Choice, by_parameter: FloatArray) -> float:
    """Variance that the noise of the takes alone gives to the estimator."""
    weights = by_parameter @ whiten(choice.blocks, choice.fit.prediction.jacobian)
    n_points = len(choice.problem.data)
    variance = 0.0
    for half in (weights[:n_points], weights[n_points:]):
        for block in choice.blocks:
            back = block.transpose(half[block.points])
            variance += float(np.sum(back**2 * choice.problem.noise[block.points] ** 2 / 2))
    return variance


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Foreseen:
    """What one further take would do.

    Attributes
    ----------
    names : tuple of str, length p
        The present parameters, and those that the further take brings.
    covariance : ndarray, shape (p, p)
        Of them, after it.
    felt : ndarray, shape (p,)
        Largest relative change of the further take's response by each of them.
    """

    names: tuple[str, ...]
    covariance: FloatArray
    felt: FloatArray


def foresee_take(choice: Choice, added: Sequence[Quantity], settings: Settings) -> Foreseen:
    """Predict the covariance of the parameters after one further take, made like the first but for what is stated.

    Parameters
    ----------
    added : sequence of Quantity
        Parts across the jack in the further take.

    Returns
    -------
    Foreseen
        Covariance, and what the further take feels.
    """
    evidence = choice.problem.evidence
    # the first take's response stands in: same frequencies, same relative noise
    further = replace(evidence.takes[0], name="further take", added=tuple(added), settings=settings, coil_moved=False)
    problem = build_problem(
        replace(evidence, takes=(*evidence.takes, further)), choice.problem.model, thin=PREDICT_THIN, is_foreseen=True
    )
    values = name_values(choice.problem, choice.fit.vector)
    vector = np.array([values.get(parameter.name, parameter.start) for parameter in problem.parameters])
    prediction = predict_residual(problem, vector)
    is_further = problem.take_of_point == len(evidence.takes)
    blocks, _ = floor_blocks(problem, choice.floor)
    return Foreseen(
        names=tuple(parameter.name for parameter in problem.parameters),
        covariance=covariance_of(problem, blocks, prediction),
        felt=np.max(np.abs(prediction.jacobian[:, is_further]), axis=1),
    )
