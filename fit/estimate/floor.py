r"""How far a model and a response differ smoothly, estimated together with the fit.

What the model cannot describe is a relative error that is correlated along frequency. Relative residual r, noise s,
m points per third of an octave: :math:`C = diag(s^2) + q^2 diag(m) + p^2 K_\ell` with the Matérn 5/2 kernel
:math:`K_\ell = (1 + a + a^2/3) e^{-a}`, :math:`a = \sqrt5 |\Delta octaves| / \ell`, half of it in Re and half in Im, for each
take alone or common to the takes of a placement. p, q, ℓ and which of the two are chosen by restricted maximum likelihood.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fit.estimate.joint import Block, prior_rows, scaled_factor
from fit.estimate.model import Prediction, Problem, every_point
from measure.response import ComplexArray, FloatArray

LENGTHS_OCTAVES = tuple(0.25 * 2 ** (k / 2) for k in range(7))  # [octave] ¼ to 2 in steps of √2
LEAST, MOST = 3e-5, 3e-2  # [1] of p and q
COARSE_SMOOTH = tuple(float(value) for value in np.geomspace(LEAST, MOST, 7))
COARSE_ROUGH = (LEAST, 3e-4, 3e-3)
POINTS_COARSE, POINTS_FINE = 40, 120  # a take, at most
NEIGHBOUR = 0.5  # [1] of the criterion: a length that starts farther behind than this is not searched
CLOSE = 10.0  # [1] of the criterion: a scope this far behind on the coarse grid is not refined
UNCERTAIN = 1e-3  # [1] φ from which on a floor must be certain
CERTAIN = 10.0  # [1] of the criterion, −2 ln of the likelihood, that a larger floor must gain
JITTER = 1e-9  # [1] keeps the kernel's factor real; far below LEAST²
LEAST_SHARED = 1e-5  # [1] of the noise's variance: what takes share less of, two thirds of all directions, is not taken out
SIMPLEX_TOLERANCE = 0.1  # [1] of ln p and ln q, and of the criterion: p itself is known to 10 or 20 %


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Floor:
    """Size, correlation and scope of the smooth difference.

    Attributes
    ----------
    smooth : float
        p, standard deviation of the correlated part. [1]
    rough : float
        q, standard deviation over a third of an octave of the independent part. [1]
    length_octaves : float
        Correlation length ℓ. [octave]
    is_common : bool
        The correlated part is the same in all takes of a placement.
    """

    smooth: float
    rough: float
    length_octaves: float
    is_common: bool

    @property
    def total(self) -> float:
        """Take both parts together, φ = √(q² + p²)."""
        return float(np.hypot(self.smooth, self.rough))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Group:
    """Takes that may share the correlated part: whitened-by-D products on their common grid of n frequencies."""

    octaves: FloatArray  # (n,)
    noise2: FloatArray  # (k,) over all points of the group
    density: FloatArray  # (k,) points per third of an octave
    columns: FloatArray  # (k, 2 (1 + p)) real and imaginary parts of residual and Jacobian
    gather: FloatArray  # (n, k) sums points to the grid
    order: np.ndarray  # (k,) points by rising frequency


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Prior:
    offset: FloatArray
    root_precision: FloatArray


def estimate_floor(problem: Problem, prediction: Prediction, vector: FloatArray, *, near: Floor | None = None) -> Floor:
    """Find the floor that the residuals of a fit call for.

    Parameters
    ----------
    problem : Problem
        With m points and p parameters.
    prediction : Prediction
        Residual and Jacobian at the fit.
    vector : ndarray, shape (p,)
        The fit.
    near : Floor, optional
        Floor of a similar model, to begin at instead of the coarse grid.

    Returns
    -------
    Floor
        At the minimum of 2 rᴴC⁻¹r + 2 ln det C + prior χ² + ln det(2 Re JᴴC⁻¹J + P), linearised about the fit.

    References
    ----------
    H. D. Patterson, R. Thompson, Biometrika 58 (3), 545-554, 1971.
    """
    means, root_precision = prior_rows(problem)
    prior = _Prior(offset=(vector - means) * root_precision, root_precision=root_precision)
    scopes = (False, True) if _has_shared_placement(problem) else (False,)
    starts = []
    for is_common in scopes:
        coarse = _groups(problem, prediction, is_common=is_common, most_points=POINTS_COARSE)
        if near is None:
            starts.append((*_best_of_grid(coarse, prior), is_common))
        else:
            point = (near.length_octaves, near.smooth, near.rough)
            score = _criterion(coarse, prior, length=point[0], smooth=point[1], rough=point[2])
            starts.append((score, *point, is_common))
    best = min(start[0] for start in starts)
    refined = []
    for score, length, smooth, rough, is_common in starts:
        if score < best + CLOSE:
            fine = _groups(problem, prediction, is_common=is_common, most_points=POINTS_FINE)
            score, floor = _refine(fine, prior, (length, smooth, rough), is_common=is_common)
            refined.append((score, _not_above_what_is_certain(fine, prior, floor, score)))
    return min(refined, key=lambda pair: pair[0])[1]


def _not_above_what_is_certain(groups: Sequence[_Group], prior: _Prior, floor: Floor, score: float) -> Floor:
    """Take a large floor back where the noise could be all of it: takes near the noise are wide, and no misfit."""
    if floor.total <= UNCERTAIN:
        return floor
    scale = UNCERTAIN / floor.total
    smooth, rough = max(scale * floor.smooth, LEAST), max(scale * floor.rough, LEAST)
    smaller = _criterion(groups, prior, length=floor.length_octaves, smooth=smooth, rough=rough)
    return floor if smaller > score + CERTAIN else replace(floor, smooth=smooth, rough=rough)


def _best_of_grid(groups: Sequence[_Group], prior: _Prior) -> tuple[float, float, float, float]:
    """Least criterion on the coarse grid, with its length, p and q."""
    scored = []
    for length in LENGTHS_OCTAVES[::2]:
        for rough in COARSE_ROUGH:
            parts = [_gram_of_grid(group, length=length, rough=rough, smooths=COARSE_SMOOTH) for group in groups]
            grams = np.sum([part[0] for part in parts], axis=0)
            logs = np.sum([part[1] for part in parts], axis=0)
            for index, smooth in enumerate(COARSE_SMOOTH):
                scored.append((_score(grams[index], float(logs[index]), prior), length, smooth, rough))
    return min(scored)


def _gram_of_grid(group: _Group, *, length: float, rough: float, smooths: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """Do the same as `_gram` for several p at once, by one eigendecomposition."""
    diagonal, weighted, on_grid, weight = _on_grid(group, rough)
    lower = _kernel_factor(group.octaves.tobytes(), length)
    eigenvalues, vectors = np.linalg.eigh(lower.T @ (weight[:, None] * lower))
    projected = vectors.T @ (lower.T @ on_grid)
    squares = np.square(smooths)[:, None]
    shrink = squares / (1 + squares * np.maximum(eigenvalues, 0.0))
    full = group.columns.T @ weighted - (projected.T * shrink[:, None, :]) @ projected
    half = full.shape[1] // 2
    logs = np.log(diagonal).sum() + np.log1p(squares * np.maximum(eigenvalues, 0.0)).sum(axis=1)
    return full[:, :half, :half] + full[:, half:, half:], logs


def _on_grid(group: _Group, rough: float) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Diagonal part D (k,), D⁻¹X (k, c), and Eᵀ D⁻¹ X (n, c), Eᵀ D⁻¹ E (n,) on the common grid."""
    diagonal = group.noise2 + rough**2 * group.density
    weighted = group.columns / diagonal[:, None]
    if len(group.octaves) == len(diagonal):
        return diagonal, weighted, weighted[group.order], 1 / diagonal[group.order]
    on_grid = group.gather @ weighted
    return diagonal, weighted, on_grid, group.gather @ (1 / diagonal)


def _has_shared_placement(problem: Problem) -> bool:
    return any(not take.begins_placement for take in problem.evidence.takes[1:])


def placements(problem: Problem) -> FloatArray:
    """Which placement each take belongs to.

    Returns
    -------
    ndarray of int, shape (t,)
        Counts from 0.
    """
    moved = [index > 0 and take.begins_placement for index, take in enumerate(problem.evidence.takes)]
    return np.cumsum(moved)


def _groups(problem: Problem, prediction: Prediction, *, is_common: bool, most_points: int) -> list[_Group]:
    group_of_take = placements(problem) if is_common else np.arange(len(problem.evidence.takes))
    sizes = np.bincount(problem.take_of_point)
    step = int(np.ceil(sizes.max() / most_points))
    kept = every_point(problem.frequency_hz, step)  # the same for all takes, so that common frequencies stay common
    rows = np.concatenate([prediction.residual[None, :], prediction.jacobian])
    groups = []
    for group in range(group_of_take.max() + 1):
        points = np.flatnonzero(kept & (group_of_take[problem.take_of_point] == group))
        octaves, node = np.unique(np.log2(problem.frequency_hz[points]).round(9), return_inverse=True)
        columns = rows[:, points].T
        groups.append(
            _Group(
                octaves=octaves,
                noise2=problem.noise[points] ** 2,
                density=np.full(len(points), problem.points_per_third / step),
                columns=np.concatenate([columns.real, columns.imag], axis=1),
                gather=(node == np.arange(len(octaves))[:, None]).astype(float),
                order=np.argsort(node),
            )
        )
    return groups


def kernel(octaves: FloatArray, length_octaves: float) -> FloatArray:
    """Matérn 5/2 correlation between frequencies.

    Parameters
    ----------
    octaves : ndarray, shape (n,)
        log2 of the frequency. [octave]
    length_octaves : float
        ℓ. [octave]

    Returns
    -------
    ndarray, shape (n, n)
        1 on the diagonal.

    References
    ----------
    C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.17.
    """
    a = np.sqrt(5.0) / length_octaves * np.abs(octaves[:, None] - octaves[None, :])
    return (1.0 + a + a * a / 3.0) * np.exp(-a)


@lru_cache(maxsize=64)
def _kernel_factor(octaves: bytes, length_octaves: float) -> FloatArray:
    grid = np.frombuffer(octaves)
    return np.linalg.cholesky(kernel(grid, length_octaves) + JITTER * np.eye(len(grid)))


def _criterion(groups: Sequence[_Group], prior: _Prior, *, length: float, smooth: float, rough: float) -> float:
    """Restricted likelihood, times −2, of one floor."""
    parts = [_gram(group, length=length, smooth=smooth, rough=rough) for group in groups]
    return _score(np.sum([part[0] for part in parts], axis=0), sum(part[1] for part in parts), prior)


def _score(gram: FloatArray, log_determinant: float, prior: _Prior) -> float:
    information = 2 * gram[1:, 1:] + np.diag(prior.root_precision**2)
    slope = 2 * gram[1:, 0] + prior.root_precision * prior.offset
    factor, scale = scaled_factor(information)
    step = np.linalg.solve(factor, slope / scale)
    fit = 2 * gram[0, 0] + prior.offset @ prior.offset - step @ step
    return float(fit + 2 * log_determinant + 2 * np.log(np.diag(factor)).sum() + 2 * np.log(scale).sum())


def _gram(group: _Group, *, length: float, smooth: float, rough: float) -> tuple[FloatArray, float]:
    """Re Xᴴ C⁻¹ X for X = [r, J], and ln det C, by the matrix inversion lemma on the common grid.

    With D the diagonal part, E the map from grid to points and K = L Lᵀ:
    C⁻¹ = D⁻¹ − D⁻¹E pL M⁻¹ pLᵀEᵀ D⁻¹ and det C = det D · det M, M = I + p² Lᵀ (Eᵀ D⁻¹ E) L.
    """
    diagonal, weighted, on_grid, weight = _on_grid(group, rough)
    lower = smooth * _kernel_factor(group.octaves.tobytes(), length)
    factor = np.linalg.cholesky(np.eye(len(lower)) + lower.T @ (weight[:, None] * lower))
    projected = np.linalg.solve(factor, lower.T @ on_grid)
    full = group.columns.T @ weighted - projected.T @ projected
    half = len(full) // 2
    return full[:half, :half] + full[half:, half:], float(np.log(diagonal).sum() + 2 * np.log(np.diag(factor)).sum())


def _refine(
    groups: Sequence[_Group], prior: _Prior, start: tuple[float, float, float], *, is_common: bool
) -> tuple[float, Floor]:
    """Simplex over ln p and ln q at the coarse grid's length and its neighbours."""
    from scipy.optimize import minimize

    length, smooth, rough = start
    low, high = np.log(LEAST), np.log(MOST)

    def clipped(point: FloatArray) -> tuple[float, float]:
        p, q = np.exp(np.clip(point, low, high))
        return float(p), float(q)

    def search(chosen: float, from_point: FloatArray) -> tuple[float, FloatArray]:
        def score(point: NDArray[np.float64]) -> float:
            p, q = clipped(point)
            outside = np.sum(np.maximum(point - high, 0) ** 2 + np.maximum(low - point, 0) ** 2)
            return _criterion(groups, prior, length=chosen, smooth=p, rough=q) + float(outside)

        simplex = from_point + np.array([[0.0, 0.0], [0.4, 0.0], [0.0, 0.8]])
        found = minimize(
            score,
            np.asarray(from_point, dtype=np.float64),
            method="Nelder-Mead",
            options={"initial_simplex": simplex, "xatol": SIMPLEX_TOLERANCE, "fatol": SIMPLEX_TOLERANCE, "maxfev": 80},
        )
        return float(found.fun), found.x

    best_score, best_point = search(length, np.log([smooth, rough]))
    index = LENGTHS_OCTAVES.index(length)
    for neighbour in LENGTHS_OCTAVES[max(index - 1, 0) : index + 2]:
        p, q = clipped(best_point)
        if neighbour == length or _criterion(groups, prior, length=neighbour, smooth=p, rough=q) > best_score + NEIGHBOUR:
            continue
        score, point = search(neighbour, best_point)
        if score < best_score:
            best_score, best_point, length = score, point, neighbour
    p, q = clipped(best_point)
    return best_score, Floor(smooth=p, rough=q, length_octaves=length, is_common=is_common)


def floor_covariances(problem: Problem, floor: Floor) -> list[tuple[np.ndarray, FloatArray]]:
    """Covariance C of the relative residual, one block for each set of correlated points.

    Parameters
    ----------
    floor : Floor
        Size and scope of the smooth difference.

    Returns
    -------
    list of (ndarray of int, ndarray)
        Indices (k,) of the points, and C (k, k).
    """
    group_of_take = placements(problem) if floor.is_common else np.arange(len(problem.evidence.takes))
    group_of_point = group_of_take[problem.take_of_point]
    blocks = []
    for group in range(group_of_take.max() + 1):
        points = np.flatnonzero(group_of_point == group)
        diagonal = problem.noise[points] ** 2 + floor.rough**2 * problem.points_per_third + JITTER * floor.smooth**2
        covariance = floor.smooth**2 * kernel(np.log2(problem.frequency_hz[points]), floor.length_octaves)
        covariance[np.diag_indices(len(points))] += diagonal
        blocks.append((points, covariance))
    return blocks


def floor_blocks(problem: Problem, floor: Floor) -> tuple[tuple[Block, ...], float]:
    """Whiteners for `fit.estimate.joint`, and 2 ln det C.

    Parameters
    ----------
    floor : Floor
        Size and scope of the smooth difference.

    Returns
    -------
    tuple
        Blocks that cover all points, and 2 ln det C.
    """
    if floor.is_common:
        return _shared_blocks(problem, floor)
    blocks, log_determinant = [], 0.0
    for points, covariance in floor_covariances(problem, floor):
        factor = np.linalg.cholesky(covariance)
        log_determinant += 2 * float(np.log(np.diag(factor)).sum())
        whitener = np.sqrt(2.0) * np.linalg.inv(factor)
        blocks.append(Block(points=slice(int(points[0]), int(points[-1]) + 1), whitener=whitener))
    return tuple(blocks), 2 * log_determinant


def _shared_blocks(problem: Problem, floor: Floor) -> tuple[tuple[Block, ...], float]:
    """Do the same where the takes of a placement share their errors: these have one value a frequency, not one a point.

    With C = D + p² E K Eᵀ and U = p D^(−½) E L = V Σ Qᵀ, C^(−½) may be taken as (1 − V (1 − (1 + Σ²)^(−½)) Vᵀ) D^(−½).
    """
    group_of_point = placements(problem)[problem.take_of_point]
    blocks, log_determinant = [], 0.0
    for group in range(group_of_point.max() + 1):
        points = np.flatnonzero(group_of_point == group)
        diagonal = problem.noise[points] ** 2 + floor.rough**2 * problem.points_per_third
        octaves, node = np.unique(np.log2(problem.frequency_hz[points]).round(9), return_inverse=True)
        lower = _kernel_factor(octaves.tobytes(), floor.length_octaves)
        basis, singular, _ = np.linalg.svd(floor.smooth * lower[node] / np.sqrt(diagonal)[:, None], full_matrices=False)
        log_determinant += float(np.log(diagonal).sum() + np.log1p(singular**2).sum())
        felt = singular**2 > LEAST_SHARED
        blocks.append(
            Block(
                points=slice(int(points[0]), int(points[-1]) + 1),
                whitener=np.sqrt(2 / diagonal),
                basis=np.ascontiguousarray(basis[:, felt]),
                shrink=1 - 1 / np.sqrt(1 + singular[felt] ** 2),
            )
        )
    return tuple(blocks), 2 * log_determinant


def smooth_difference(problem: Problem, floor: Floor, residual: ComplexArray) -> ComplexArray:
    """Estimate the smooth part of the relative difference of model and data.

    Parameters
    ----------
    residual : ndarray of complex, shape (m,)
        Relative difference.

    Returns
    -------
    ndarray of complex, shape (m,)
        Its conditional mean p²K C⁻¹ r, free of noise.

    Notes
    -----
    Takes that share it have one value a frequency: with the diagonal part D, the map E from frequencies to points and
    p²K = U Uᵀ, the mean is U (1 + Uᵀ EᵀD⁻¹E U)⁻¹ Uᵀ EᵀD⁻¹ r, at a cost that grows with the takes and not with their cube.
    """
    group_of_take = placements(problem) if floor.is_common else np.arange(len(problem.evidence.takes))
    group_of_point = group_of_take[problem.take_of_point]
    out = np.zeros(len(residual), dtype=complex)
    for group in range(group_of_take.max() + 1):
        points = np.flatnonzero(group_of_point == group)
        octaves, node = np.unique(np.log2(problem.frequency_hz[points]).round(9), return_inverse=True)
        weight = 1 / (problem.noise[points] ** 2 + floor.rough**2 * problem.points_per_third)
        lower = floor.smooth * _kernel_factor(octaves.tobytes(), floor.length_octaves)
        summed = np.bincount(node, weight * residual[points].real) + 1j * np.bincount(node, weight * residual[points].imag)
        inner = np.eye(len(octaves)) + lower.T @ (np.bincount(node, weight)[:, None] * lower)
        out[points] = (lower @ np.linalg.solve(inner, lower.T @ summed))[node]
    return out
