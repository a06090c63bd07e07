"""How many standard deviations make 95 %, for sums of normal and rectangular errors."""

from collections.abc import Sequence

import numpy as np

from measure.quantity import NORMAL_FACTOR

FACTOR_STEP, FACTOR_STEPS = 0.05, 1600  # of the integral over the characteristic function


def coverage_factor(rectangular: Sequence[float]) -> float:
    r"""Half-width of the 95 % interval of a sum of unit variance.

    Parameters
    ----------
    rectangular : sequence of float
        Standard deviations of its rectangular parts; the rest is normal. [1]

    Returns
    -------
    float
        1.96 where there is none, 1.65 = 0.95 √3 where one is all.

    Notes
    -----
    :math:`P(|x| < k) = \frac{2}{\pi} \int_0^\infty \varphi(t) \sin(kt)/t\,dt` with the characteristic function φ, the product of
    those of its parts.

    References
    ----------
    JCGM 101:2008, 9.2.3: two, three, four rectangular parts; J. Gil-Pelaez, Biometrika 38 (3-4), 481-482, 1951.

    Examples
    --------
    >>> [round(coverage_factor(parts), 2) for parts in ([], [1.0], [0.5, 0.5, 0.5, 0.5])]
    [1.96, 1.65, 1.94]
    """
    parts = np.asarray(rectangular, dtype=float)
    if not len(parts):
        return NORMAL_FACTOR
    t = np.arange(0.5, FACTOR_STEPS) * FACTOR_STEP
    normal2 = max(1 - float(parts @ parts), 0.0)
    characteristic = np.exp(-normal2 * t**2 / 2) * np.prod(np.sinc(np.sqrt(3) * parts[:, None] * t / np.pi), axis=0)
    k = np.linspace(1.5, 2.05, 56)
    inside = 2 / np.pi * FACTOR_STEP * np.sin(np.outer(k, t)) @ (characteristic / t)
    return float(np.interp(0.95, np.maximum.accumulate(inside), k))
