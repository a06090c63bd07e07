"""Inductance of a coil without iron by the textbook's formulas."""

import numpy as np

from fit.answers.exciter.turns import MU0

INCH_M = 0.0254


def nagaoka_coefficient(diameter_over_length: float) -> float:
    """Factor by which a solenoid's ends lower its inductance.

    Parameters
    ----------
    diameter_over_length : float
        Above 0. [1]

    Returns
    -------
    float
        Between 0 and 1. [1]

    References
    ----------
    H. Nagaoka, The inductance coefficients of solenoids, J. Coll. Sci. Tokyo 27, 1909.

    Examples
    --------
    >>> round(nagaoka_coefficient(1.0), 6)
    0.688423
    """
    from scipy.special import ellipe, ellipk

    m = diameter_over_length**2 / (1 + diameter_over_length**2)
    k, k_other = np.sqrt(m), np.sqrt(1 - m)
    first, second = ellipk(m), ellipe(m)
    return float(4 / (3 * np.pi * k_other) * ((k_other / k) ** 2 * (first - second) + second - k))


def nagaoka_inductance_h(turns: float, *, radius_m: float, length_m: float) -> float:
    """Inductance of one close layer, as a sheet of current.

    Parameters
    ----------
    turns : float
        Above 0.
    radius_m, length_m : float
        To the wire's centre; turns times pitch. [m], [m]

    Returns
    -------
    float
        Inductance. [H]

    Notes
    -----
    A sheet of current has no round wires: of 64 drawn coils of 10 turns and more it lay 0.4 to 3.5 % above the sum over
    turns, most with the fewest turns.
    """
    return float(MU0 * np.pi * (radius_m * turns) ** 2 / length_m * nagaoka_coefficient(2 * radius_m / length_m))


def wheeler_multilayer_h(turns: float, *, radius_m: float, length_m: float, depth_m: float) -> float:
    """Inductance of many layers by Wheeler's formula, 0.8a²N²/(6a + 9b + 10c) in inches and microhenry.

    Parameters
    ----------
    turns : float
        Above 0.
    radius_m, length_m, depth_m : float
        Mean radius, length along the axis, depth of the winding. [m], [m], [m]

    Returns
    -------
    float
        Inductance. [H]

    Notes
    -----
    Best where 6a, 9b and 10c are about equal. Of 336 drawn coils (8 to 40 mm, 10 to 400 turns) 95 % lay within −9 and +4 %
    of the sum over turns; long thin ones are the worst, 13 % low.

    References
    ----------
    H. A. Wheeler, Simple inductance formulas for radio coils, Proc. IRE 16, 1928.
    """
    return 0.8e-6 * (radius_m * turns) ** 2 / (6 * radius_m + 9 * length_m + 10 * depth_m) / INCH_M
