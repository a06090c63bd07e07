"""Spread of results within a placement of the coil, between placements and between days, beside what their intervals allow for.

Nested analysis of variance as in ISO 5725-2:2019 and, for unequal numbers, ISO 5725-3; equal numbers are a special case.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fit.answers.figures import Contribution
from measure.response import FloatArray

Groups = NDArray[np.intp]  # number of the group that each value is in

DAY, PLACEMENT, REPEAT = "day", "placement", "repeat"
# How the budget's sources begin whose error is another in every set of takes; references and calibrations are the same in all.
DRAWN_ANEW = ("noise", "model floor", "gain of ", "place of the exciter", "temperature")
N_DRAWS = 4096  # of chi-squares, evenly spread: interval ends to some 0.3 %
TAIL = 0.025  # [1] on each side of a 95 % interval
LEVEL = 0.05  # [1] of tests in which nothing is wrong, all quantities together, that say "too narrow"

Verdict = Literal["holds", "too narrow", "not told"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Level:
    """One line of a nested analysis of variance.

    Attributes
    ----------
    sources : tuple of str
        What changes from group to group; several where the design does not tell them apart.
    freedom : int
        Degrees of freedom, above 0.
    mean_square : float
        [unit²]
    coefficients : ndarray, shape (k,)
        Of the k levels' variances in the expectation of the mean square; 0 for those further out.
    """

    sources: tuple[str, ...]
    freedom: int
    mean_square: float
    coefficients: FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Spread:
    """A standard deviation with its 95 % interval.

    Attributes
    ----------
    std, low, high : float
        0 where the estimate of the variance is not positive. [unit]
    freedom : float
        Degrees of freedom, by Welch and Satterthwaite (JCGM 100, G.4.1) where several mean squares enter; 0 where `std` is 0.
    """

    std: float
    low: float
    high: float
    freedom: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Result:
    """A quantity from one set of takes.

    Attributes
    ----------
    day, placement : int
        Results with the same number belong together; a placement lies within one day.
    value : float
        [unit]
    stated_std : float
        As the fit states it. [unit]
    own_std : float
        The part of it that other sets do not share. [unit]
    stated_half : float
        Half of the 95 % interval that the fit states. [unit]
    """

    day: int
    placement: int
    value: float
    stated_std: float
    own_std: float
    stated_half: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Repeatability:
    """How one quantity repeats.

    Attributes
    ----------
    mean : float
        Of all results. [unit]
    spreads : dict of tuple of str to Spread
        What changes ("day", "placement", "repeat", or several that are not told apart) to its standard deviation, from the day
        inwards. What did not change is missing.
    together : Spread or None
        Root of the sum of their squares, s_R; None where the coil was never laid down anew.
    stated_std, own_std, shared_std : float
        As the fits state it, in root mean square; the part that sets do not share, and the rest. [unit]
    stated_half : float
        Half of a stated 95 % interval. [unit]
    bench_std, bench_half : float
        Of one result on this bench: `shared_std` and the larger of `own_std` and s_R; half of its 95 % interval, by the degrees
        of freedom of s_R where that counts (JCGM 100, G.4). [unit]
    p_value : float
        Chance of a spread as large as this if `own_std` is right; 1 where it is not tested. [1]
    """

    mean: float
    spreads: dict[tuple[str, ...], Spread]
    together: Spread | None
    stated_std: float
    own_std: float
    shared_std: float
    stated_half: float
    bench_std: float
    bench_half: float
    p_value: float
    verdict: Verdict


def analyse_nested(values: Sequence[float], factors: Mapping[str, Sequence[Hashable]]) -> tuple[Level, ...]:
    r"""Nested analysis of variance with any numbers in the groups.

    Parameters
    ----------
    values : sequence of float, length n
        At least two. [unit]
    factors : mapping of str to sequence of n labels
        Outermost first; a group is known by its label together with those further out.

    Returns
    -------
    tuple of Level
        Outermost first, the last between the values of one innermost group. A factor with one group in all is left out; one
        that divides nothing further shares a level with the factor outside of it.

    Raises
    ------
    ValueError
        If there is one value only, or a factor has not a label for each.

    Notes
    -----
    :math:`E(SS_i) = \sum_{j \ge i} \sigma_j^2 (\sum_g \sum_{h \subset g} n_h^2 / n_g - \sum_{p} \sum_{h \subset p} n_h^2 / n_p)`,
    g the groups of level i, p those of the level outside of it, h those of level j.

    References
    ----------
    S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, 1992, section 5.3 (Henderson's method I, nested).
    ISO 5725-3, fully nested and staggered-nested experiments.
    """
    n = len(values)
    if n < 2:
        msg = f"{n} value: a spread needs two"
        raise ValueError(msg)
    names, partitions = _partitions(n, factors)
    centred = np.asarray(values, dtype=float) - np.mean(values)
    outer = np.zeros(n, dtype=int)
    levels = []
    for index, inner in enumerate(partitions):
        freedom = int(inner.max() - outer.max())
        square = float(np.sum((_group_means(centred, inner) - _group_means(centred, outer)) ** 2))
        size = [np.bincount(part)[part] for part in (inner, outer)]
        coefficients = np.zeros(len(partitions))
        for at in range(index, len(partitions)):
            n_of = np.bincount(partitions[at])[partitions[at]]  # every value adds n_h / n_g: a group h of them n_h² / n_g
            coefficients[at] = np.sum(n_of / size[0] - n_of / size[1]) / freedom
        levels.append(Level(sources=names[index], freedom=freedom, mean_square=square / freedom, coefficients=coefficients))
        outer = inner
    return tuple(levels)


def estimate_spreads(levels: Sequence[Level]) -> tuple[dict[tuple[str, ...], Spread], Spread]:
    """Find the standard deviation that belongs to each level, and that of all together.

    Parameters
    ----------
    levels : sequence of Level
        From `analyse_nested`.

    Returns
    -------
    spreads : dict of tuple of str to Spread
        By the levels' sources; a negative estimate of a variance becomes 0 (ISO 5725-2).
    together : Spread
        Root of the sum of their squares.

    Notes
    -----
    Intervals are the quantiles of the variances that solve the expected mean squares when each mean square is divided by
    chi-square over its degrees of freedom: exact for the innermost level, close for the others (S. Weerahandi, Exact Statistical
    Methods for Data Analysis, 1995, chapter 6), and there also for unequal numbers.
    """
    solved, square, freedom = _solve(levels)
    drawn = square[:, None] * freedom[:, None] / _chi_squares(tuple(level.freedom for level in levels))
    spreads = {}
    for index, (level, row) in enumerate(zip(levels, solved, strict=True)):
        own = _spread(float(row @ square), row @ drawn, _freedom(row, square, freedom))
        if own.high == 0.0:  # far below 0 by chance: no interval at all would say that it is known to be nothing
            own = replace(own, high=float(np.sqrt(np.quantile(row[index] * drawn[index], 1 - TAIL))))
        spreads[level.sources] = own
    last = levels[-1]
    spreads[last.sources] = _exact_spread(last)
    whole = solved.sum(axis=0)
    variance = sum(spread.std**2 for spread in spreads.values())
    return spreads, _spread(variance, whole @ drawn, _freedom(whole, square, freedom))


def judge_repeatability(results: Sequence[Result], *, n_quantities: int = 1) -> Repeatability:
    """Say how a quantity repeats, and whether the intervals that are stated for it hold.

    Parameters
    ----------
    results : sequence of Result
        At least two, one for each set of takes.
    n_quantities : int
        So many are judged together.

    Returns
    -------
    Repeatability
        "too narrow" where the spread of single results is larger than what their intervals allow for beside the shared
        references, at 5 % for all quantities together (Šidák 1967).

    Raises
    ------
    ValueError
        If there is one result only.
    """
    values = [result.value for result in results]
    levels = analyse_nested(values, {DAY: [one.day for one in results], PLACEMENT: [one.placement for one in results]})
    spreads, together = estimate_spreads(levels)
    stated = float(np.sqrt(np.mean([one.stated_std**2 for one in results])))
    own = float(np.sqrt(np.mean([min(one.own_std, one.stated_std) ** 2 for one in results])))
    shared = float(np.sqrt(max(stated**2 - own**2, 0.0)))
    is_told = levels[0].sources != (REPEAT,)
    stated_half = float(np.mean([one.stated_half for one in results]))
    bench, half = stated, stated_half
    p_value = _chance(levels, own) if is_told else 1.0
    if is_told and together.std > own:
        bench = float(np.hypot(shared, together.std))
        half = max(_coverage(together.freedom * (bench / together.std) ** 4) * bench, stated_half)
    is_narrow = p_value < 1 - (1 - LEVEL) ** (1 / n_quantities)
    return Repeatability(
        mean=float(np.mean(values)),
        spreads=spreads,
        together=together if is_told else None,
        stated_std=stated,
        own_std=own,
        shared_std=shared,
        stated_half=stated_half,
        bench_std=bench,
        bench_half=half,
        p_value=p_value,
        verdict="not told" if not is_told else "too narrow" if is_narrow else "holds",
    )


def own_part(budget: Iterable[Contribution]) -> float:
    """Find the standard uncertainty that one set of takes does not share with others of the same coil on the same bench.

    Returns
    -------
    float
        Of noise, of what the model cannot describe, and of what is another in every placement. [unit]
    """
    return float(np.sqrt(sum(one.contribution**2 for one in budget if one.source.startswith(DRAWN_ANEW))))


def _partitions(n: int, factors: Mapping[str, Sequence[Hashable]]) -> tuple[list[tuple[str, ...]], list[Groups]]:
    """Give each group of each level a number from 0; the last level has each value by itself."""
    path: list[tuple[Hashable, ...]] = [()] * n
    names: list[tuple[str, ...]] = []
    partitions: list[Groups] = []
    n_before = 1
    for name, labels in {**factors, REPEAT: range(n)}.items():
        path = [(*outer, label) for outer, label in zip(path, labels, strict=True)]
        numbers = {group: number for number, group in enumerate(dict.fromkeys(path))}
        if len(numbers) > n_before:
            names.append((name,))
            partitions.append(np.array([numbers[group] for group in path], dtype=np.intp))
        elif names:
            names[-1] = (*names[-1], name)
        n_before = len(numbers)
    return names, partitions


def _group_means(values: FloatArray, groups: Groups) -> FloatArray:
    return (np.bincount(groups, weights=values) / np.bincount(groups))[groups]


def _solve(levels: Sequence[Level]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Variances by mean squares, shape (k, k), the mean squares, and their degrees of freedom."""
    square = np.array([level.mean_square for level in levels])
    freedom = np.array([level.freedom for level in levels], dtype=float)
    return np.linalg.inv(np.array([level.coefficients for level in levels])), square, freedom


@lru_cache(maxsize=32)
def _chi_squares(freedom: tuple[int, ...]) -> FloatArray:
    """Chi-squares for each degree of freedom, shape (k, `N_DRAWS`), spread evenly over their joint distribution.

    A Kronecker sequence: multiples of powers of the root of x^(k+1) = x + 1, modulo 1 (H. Niederreiter, Random Number
    Generation and Quasi-Monte Carlo Methods, 1992, chapter 3).
    """
    from scipy.special import chdtri

    root = 2.0
    for _ in range(40):
        root = (1 + root) ** (1 / (len(freedom) + 1))
    steps = root ** -np.arange(1, len(freedom) + 1)
    even = (0.5 + steps[:, None] * np.arange(1, N_DRAWS + 1)) % 1.0
    found = chdtri(np.array(freedom, dtype=float)[:, None], even)
    found.setflags(write=False)
    return found


def _spread(variance: float, drawn: FloatArray, freedom: float) -> Spread:
    low, high = np.sqrt(np.maximum(np.quantile(drawn, [TAIL, 1 - TAIL]), 0.0))
    is_there = variance > 0
    return Spread(
        std=float(np.sqrt(max(variance, 0.0))), low=float(low), high=float(high), freedom=float(freedom) if is_there else 0.0
    )


def _exact_spread(level: Level) -> Spread:
    from scipy.special import chdtri

    square = level.mean_square * level.freedom
    low, high = (float(np.sqrt(square / chdtri(level.freedom, tail))) for tail in (TAIL, 1 - TAIL))
    return Spread(std=float(np.sqrt(level.mean_square)), low=low, high=high, freedom=float(level.freedom))


def _freedom(row: FloatArray, square: FloatArray, freedom: FloatArray) -> float:
    parts = row * square
    lost = float(np.sum(parts**2 / freedom))
    return float(np.sum(parts)) ** 2 / lost if lost > 0 else 0.0


def _chance(levels: Sequence[Level], own_std: float) -> float:
    """Chance of a spread as large as that of single results, if their standard deviation is `own_std`."""
    from scipy.special import chdtrc

    solved, square, freedoms = _solve(levels)
    whole = solved.sum(axis=0)
    variance, freedom = float(whole @ square), _freedom(whole, square, freedoms)
    if variance <= 0:
        return 1.0
    return 0.0 if own_std == 0 else float(chdtrc(freedom, freedom * variance / own_std**2))


def _coverage(freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1 - TAIL))
