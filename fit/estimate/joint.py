"""Joint fit of several takes: whitened to a real vector, driven by lmfit with our own residual and Jacobian."""

import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from threading import Thread

import numpy as np

from fit.estimate.model import Prediction, Problem, predict_residual
from measure.response import ComplexArray, FloatArray

RELATIVE_TOLERANCE = 1e-7  # [1] of χ² and of the step: far below any interval
MOST_EVALUATIONS = 200
STEP_TOLERANCE = 1e-10  # [1] of the vector: the search ends by χ², not by the step
LEAST_INFORMATION = 1e-100  # [1] keeps the variance of what nothing is known about finite
LIFTS = (1e-14, 1e-12, 1e-10, 1e-7)  # [1] of a scaled matrix: some times what doubles resolve, and more where that is not enough
PATIENCE = 25  # evaluations after which a search is given up that is nowhere near what others have reached
OUT_OF_RANGE = 1e9  # [1] residual where the model overflows


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Block:
    """Points whose errors are correlated with each other and with no others.

    Attributes
    ----------
    whitener : ndarray, shape (k, k) or (k,)
        W with WᵀW = 2 C⁻¹, a matrix, or its diagonal.
    basis : ndarray, shape (k, n), or None
        Orthonormal columns V where several takes share n < k correlated errors: W = (1 − V diag(shrink) Vᵀ) diag(whitener), at a
        cost that grows with k n and not with k².
    shrink : ndarray, shape (n,), or None
        With `basis`. [1]
    """

    points: slice
    whitener: FloatArray
    basis: FloatArray | None = None
    shrink: FloatArray | None = None

    def whiten(self, rows: FloatArray) -> FloatArray:
        """Multiply rows by Wᵀ from the right.

        Parameters
        ----------
        rows : ndarray, shape (r, k)
            Errors at the block's points.

        Returns
        -------
        ndarray, shape (r, k)
            Of unit variance.
        """
        if self.whitener.ndim == 2:
            return rows @ self.whitener.T
        scaled = rows * self.whitener
        if self.basis is not None:
            scaled -= self._shared(scaled)
        return scaled

    def transpose(self, row: FloatArray) -> FloatArray:
        """Multiply a row by W from the right.

        Parameters
        ----------
        row : ndarray, shape (k,)
            Weights of whitened errors.

        Returns
        -------
        ndarray, shape (k,)
            Weights of the errors themselves.
        """
        if self.whitener.ndim == 2:
            return row @ self.whitener
        return (row if self.basis is None else row - self._shared(row)) * self.whitener

    def _shared(self, rows: FloatArray) -> FloatArray:
        if self.basis is None or self.shrink is None:
            return np.zeros_like(rows)
        return ((rows @ self.basis) * self.shrink) @ self.basis.T


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class JointFit:
    """Outcome of one search from one start.

    Attributes
    ----------
    vector : ndarray, shape (p,)
        Parameters at the minimum.
    chi_square : float
        2 rᴴC⁻¹r plus the priors' part.
    """

    vector: FloatArray
    chi_square: float
    prediction: Prediction
    n_evaluations: int


def prior_rows(problem: Problem) -> tuple[FloatArray, FloatArray]:
    """Mean of every parameter's prior, and the square root of its precision.

    Returns
    -------
    tuple of ndarray, shape (p,) each
        Means; 1/standard deviation, 0 where there is no prior.
    """
    means = np.array([parameter.prior_mean for parameter in problem.parameters])
    return means, np.array([1.0 / parameter.prior_std for parameter in problem.parameters])


def independent_blocks(problem: Problem, relative_error: float) -> tuple[Block, ...]:
    """Whiten by the noise and one further error, the same at every point and independent between points.

    Parameters
    ----------
    relative_error : float
        Standard deviation beside the noise. [1]

    Returns
    -------
    tuple of Block
        One block with a diagonal.
    """
    variance = problem.noise**2 + relative_error**2
    return (Block(points=slice(0, len(variance)), whitener=np.sqrt(2 / variance)),)


def whiten(blocks: Sequence[Block], rows: ComplexArray) -> FloatArray:
    """Turn complex rows over points into real ones of unit variance.

    Parameters
    ----------
    blocks : sequence of Block
        Cover all m points.
    rows : ndarray of complex, shape (k, m)
        Residual or derivatives.

    Returns
    -------
    ndarray, shape (k, 2 m)
        Real parts, then imaginary parts.
    """
    n_points = rows.shape[1]
    out = np.empty((len(rows), 2 * n_points))
    for part, offset in ((rows.real, 0), (rows.imag, n_points)):
        for block in blocks:
            target = out[:, offset + block.points.start : offset + block.points.stop]
            target[:] = block.whiten(part[:, block.points])
    return out


class _GivenUpError(Exception):
    """A search stopped: what it might still find is of no account."""


class _Evaluation:
    """Residual and Jacobian of the last vector asked for, so that each is computed once.

    A search needs their products alone, so it is given the triangular factor of [J r], with p + 1 rows instead of two for each
    point: the same steps and the same χ², without a QR factorisation of all points at every step.
    """

    def __init__(self, problem: Problem, blocks: Sequence[Block]) -> None:
        self.problem, self.blocks = problem, blocks
        self.means, self.root_precision = prior_rows(problem)
        self.precision = self.root_precision**2
        self.asked = b""
        self.best: tuple[float, FloatArray, Prediction] | None = None
        self.n_evaluations = 0

    def update(self, vector: FloatArray) -> None:
        if (asked := vector.tobytes()) == self.asked:
            return
        self.asked = asked
        self.n_evaluations += 1
        try:
            prediction = predict_residual(self.problem, vector)
        except (np.linalg.LinAlgError, ArithmeticError, ValueError):
            self._turn_back()
            return
        whitened = whiten(self.blocks, np.concatenate([prediction.jacobian, prediction.residual[None, :]]))
        gram = whitened @ whitened.T
        if not np.isfinite(gram.sum()):
            self._turn_back()
            return
        offset = vector - self.means
        pull = offset * self.precision
        gram[:-1, -1] += pull
        gram[-1, :-1] += pull
        gram.flat[:: len(gram) + 1] += np.append(self.precision, offset @ pull)
        factor, scale = scaled_factor(gram)
        triangle = factor.T * scale
        self.residual, self.jacobian = triangle[:, -1].copy(), triangle[:, :-1].T.copy()
        chi_square = float(gram[-1, -1])
        if self.best is None or chi_square < self.best[0]:
            self.best = (chi_square, vector.copy(), prediction)

    def _turn_back(self) -> None:
        """Make a step that went out of the model's range look bad, so that the search goes on from where it was."""
        self.residual = np.full(len(self.means) + 1, OUT_OF_RANGE)
        self.jacobian = np.zeros((len(self.means), len(self.means) + 1))


def load_beside() -> None:
    """Begin to import lmfit in a thread of its own: it takes longer than most fits, and reading recordings leaves time for it.

    Meant for where it is certain that `fit_joint` will be called. What fails here fails again there, where it is told.
    """
    if "lmfit" not in sys.modules:
        Thread(target=_load, name="load lmfit").start()


# At the end of a program that stopped early nothing can be loaded any more; whoever needs it is told by their own import.
def _load() -> None:
    with suppress(ImportError, RuntimeError):
        import lmfit  # noqa: F401


def fit_joint(
    problem: Problem,
    blocks: Sequence[Block],
    start: FloatArray,
    *,
    tolerance: float = RELATIVE_TOLERANCE,
    most_evaluations: int = MOST_EVALUATIONS,
) -> JointFit:
    """Search the minimum of χ² from one start.

    Parameters
    ----------
    problem : Problem
        With m points and p parameters.
    blocks : sequence of Block
        How errors are whitened.
    start : ndarray, shape (p,)
        First vector.
    tolerance : float
        Relative, of χ² and of the step. [1]
    most_evaluations : int
        The search ends there, converged or not.

    Returns
    -------
    JointFit
        The best vector found; never raises for a poor fit.

    Raises
    ------
    ValueError
        If the model cannot be computed at the start.

    Notes
    -----
    lmfit is given a real, whitened residual and its exact Jacobian: its own weighting of complex data is wrong, and its
    scaling of the covariance by χ² is switched off. The covariance is computed by `covariance_of`, priors included.
    """
    from lmfit import Minimizer, Parameters

    evaluation = _Evaluation(problem, blocks)
    names = [f"p{index}" for index in range(len(start))]
    parameters = Parameters()
    for name, value in zip(names, start.tolist(), strict=True):
        parameters.add(name, value=value)

    def residual(current: Parameters) -> FloatArray:
        evaluation.update(np.array([current[name].value for name in names]))
        return evaluation.residual

    def jacobian(current: Parameters) -> FloatArray:
        evaluation.update(np.array([current[name].value for name in names]))
        return evaluation.jacobian

    minimizer = Minimizer(residual, parameters, scale_covar=False, calc_covar=False, max_nfev=most_evaluations)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        minimizer.leastsq(Dfun=jacobian, col_deriv=True, ftol=tolerance, xtol=STEP_TOLERANCE)
    return _best_of(evaluation)


def search_joint(
    problem: Problem,
    blocks: Sequence[Block],
    start: FloatArray,
    *,
    tolerance: float,
    most_evaluations: int,
    hopeless: float = np.inf,
) -> JointFit:
    """Do the same as `fit_joint` without the bookkeeping, for the many short searches of the ladder.

    Parameters
    ----------
    problem : Problem
        With m points and p parameters.
    blocks : sequence of Block
        How errors are whitened.
    start : ndarray, shape (p,)
        First vector.
    tolerance : float
        Relative, of χ². [1]
    most_evaluations : int
        The search ends there, converged or not.
    hopeless : float
        It ends after `PATIENCE` evaluations that all left a χ² above.

    Raises
    ------
    ValueError
        If the model cannot be computed at the start.

    Notes
    -----
    The algorithm is the one that lmfit calls. Its copies of the parameters, bounds and correlations cost more than the
    search itself (DEVELOPERS.md, "Speed").
    """
    from scipy.optimize import leastsq

    evaluation = _Evaluation(problem, blocks)

    def residual(vector: FloatArray) -> FloatArray:
        evaluation.update(vector)
        if evaluation.n_evaluations >= PATIENCE and evaluation.best is not None and evaluation.best[0] > hopeless:
            raise _GivenUpError
        return evaluation.residual

    def jacobian(vector: FloatArray) -> FloatArray:
        evaluation.update(vector)
        return evaluation.jacobian

    with np.errstate(over="ignore", invalid="ignore", divide="ignore"), suppress(_GivenUpError):
        leastsq(
            residual,
            start,
            Dfun=jacobian,
            col_deriv=True,
            ftol=tolerance,
            xtol=STEP_TOLERANCE,
            maxfev=most_evaluations,
            full_output=True,
        )
    return _best_of(evaluation)


def _best_of(evaluation: _Evaluation) -> JointFit:
    """Take the best vector that was tried: a search that is stopped may end on a step it refused.

    Raises
    ------
    ValueError
        If no vector could be evaluated.
    """
    if evaluation.best is None:
        msg = "the model cannot be computed where the search begins; check the units of the references and added parts"
        raise ValueError(msg)
    chi_square, vector, prediction = evaluation.best
    return JointFit(vector=vector, chi_square=chi_square, prediction=prediction, n_evaluations=evaluation.n_evaluations)


def covariance_of(problem: Problem, blocks: Sequence[Block], prediction: Prediction) -> FloatArray:
    """Covariance of the parameters: (2 Re JᴴC⁻¹J + P)⁻¹.

    Parameters
    ----------
    blocks : sequence of Block
        How errors are whitened.

    Returns
    -------
    ndarray, shape (p, p)
        Of the parameter vector.
    """
    whitened = whiten(blocks, prediction.jacobian)
    _, root_precision = prior_rows(problem)
    factor, scale = scaled_factor(whitened @ whitened.T + np.diag(root_precision**2))
    inverse = np.linalg.inv(factor)
    return (inverse.T @ inverse) / np.outer(scale, scale)


def scaled_factor(information: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cholesky factor of a matrix scaled to a diagonal of 1.

    Parameters
    ----------
    information : ndarray, shape (p, p)
        Symmetric, not negative; a direction about which it holds nothing is kept from being negative by rounding.

    Returns
    -------
    tuple of ndarray
        Lower factor (p, p) of the scaled matrix, and the scale (p,).
    """
    scale = np.sqrt(np.maximum(information.diagonal(), LEAST_INFORMATION))
    scaled = information / (scale * scale[:, None])
    diagonal = scaled.reshape(-1)[:: len(scale) + 1]
    for lift in LIFTS[:-1]:
        diagonal += lift * len(scale)
        try:
            return np.linalg.cholesky(scaled), scale
        except np.linalg.LinAlgError:
            continue
    diagonal += LIFTS[-1] * len(scale)
    return np.linalg.cholesky(scaled), scale
