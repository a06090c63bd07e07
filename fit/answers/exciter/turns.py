"""Inductance of a coil without iron, turn by turn, and between two coils.

A turn is a circle or a rectangle. The mutual inductance of two of them on one axis is exact; a coil is the sum over its turns.
"""

from dataclasses import dataclass

import numpy as np

from measure.response import FloatArray

MU0_OVER_4PI = 1e-7  # [H/m] to 1e-10 of itself since 2019
MU0 = 4e-7 * np.pi
ROUND_WIRE_GMD = np.exp(-0.25) / 2  # [1] a round section's mean geometric distance from itself, over its diameter (Maxwell)
QUARTER_POINTS = 64  # [1] on a quarter of a circle; the rule for periodic functions, exact to 1e-9 from a tenth of the radius on


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """Turns of one size beside each other along the axis, the first at 0.

    Attributes
    ----------
    half_width_m, half_depth_m : float
        Half the sides of a rectangle, centre of the wire; the radius twice for a circle. [m], [m]
    n : int
        How many, one pitch apart.
    """

    half_width_m: float
    half_depth_m: float
    n: int
    is_round: bool


def mutual_of_circles_h(first_radius_m: FloatArray, second_radius_m: FloatArray, distance_m: FloatArray) -> FloatArray:
    r"""Mutual inductance of circles on one axis.

    Parameters
    ----------
    first_radius_m, second_radius_m : ndarray, any shapes that broadcast
        Radii, above 0. [m]
    distance_m : ndarray
        Between their planes; not 0 for equal radii. [m]

    Returns
    -------
    ndarray
        Positive. [H]

    References
    ----------
    J. C. Maxwell, A Treatise on Electricity and Magnetism, 1873, §701; NIST DLMF, eq. 19.34.5.
    """
    from scipy.special import elliprd, elliprf

    a, b = np.asarray(first_radius_m, dtype=float), np.asarray(second_radius_m, dtype=float)
    far, near = distance_m**2 + (a + b) ** 2, distance_m**2 + (a - b) ** 2
    bracket = 3 * elliprf(0.0, far, near) - 2 * near * elliprd(0.0, far, near)
    return np.asarray(MU0_OVER_4PI * 8 * np.pi * a * b / 3 * bracket)


def mutual_of_rectangles_h(
    first_half_m: tuple[FloatArray, FloatArray], second_half_m: tuple[FloatArray, FloatArray], distance_m: FloatArray
) -> FloatArray:
    """Mutual inductance of rectangles on one axis, their sides parallel.

    Parameters
    ----------
    first_half_m, second_half_m : tuple of ndarray
        Half width and half depth, any shapes that broadcast. [m]
    distance_m : ndarray
        Between their planes; not 0 where sides would coincide. [m]

    Returns
    -------
    ndarray
        Positive. [H]

    Notes
    -----
    Neumann's integral over parallel straight sides; sides at right angles do not couple.

    References
    ----------
    F. W. Grover, Inductance Calculations, 1946, chapters 6 and 7 (from memory).
    """
    total = np.zeros(())
    for along, across in ((0, 1), (1, 0)):
        sums = first_half_m[along] + second_half_m[along], np.abs(first_half_m[along] - second_half_m[along])
        near_m = np.hypot(distance_m, first_half_m[across] - second_half_m[across])
        far_m = np.hypot(distance_m, first_half_m[across] + second_half_m[across])
        total = total + 2 * (_sides(*sums, near_m) - _sides(*sums, far_m))
    return np.asarray(total)


def mutual_of_circle_and_rectangle_h(radius_m: float, half_m: tuple[float, float], distance_m: FloatArray) -> FloatArray:
    """Mutual inductance of a circle and a rectangle on one axis.

    Parameters
    ----------
    radius_m : float
        Above 0. [m]
    half_m : tuple of float
        Half width and half depth of the rectangle. [m]
    distance_m : ndarray
        Between their planes; not 0. [m]

    Returns
    -------
    ndarray
        Positive. [H]

    Notes
    -----
    The vector potential of the straight sides, which is closed, summed around a quarter of the circle.
    """
    angle = (np.arange(QUARTER_POINTS) + 0.5) * np.pi / 2 / QUARTER_POINTS
    at, step = radius_m * np.stack([np.cos(angle), np.sin(angle)]), 2 * np.pi * radius_m / QUARTER_POINTS
    height_m = np.asarray(distance_m, dtype=float)[..., None]
    total = np.zeros(())
    for along, across, tangent in ((0, 1, np.sin(angle)), (1, 0, np.cos(angle))):
        near_m = np.hypot(height_m, at[across] - half_m[across])
        far_m = np.hypot(height_m, at[across] + half_m[across])
        total = total + (_potential(at[along], half_m[along], near_m) - _potential(at[along], half_m[along], far_m)) @ tangent
    return np.asarray(MU0_OVER_4PI * step * total)


def coil_inductance_h(layers: tuple[Turns, ...], *, pitch_m: float, wire_diameter_m: float) -> float:
    """Inductance of a coil, summed over all pairs of turns.

    Parameters
    ----------
    layers : tuple of Turns
        All round or all rectangles.
    pitch_m : float
        From one turn to the next along the axis: the wire with its enamel. [m]
    wire_diameter_m : float
        Bare. [m]

    Returns
    -------
    float
        At low frequency, the current even over the wire's section. [H]

    Notes
    -----
    A turn with itself counts as two, apart by the mean geometric distance of its round section from itself.
    """
    total = 0.0
    for i, one in enumerate(layers):
        for j, other in enumerate(layers[i:], start=i):
            steps = np.arange(1 - other.n, one.n)
            pairs = np.correlate(np.ones(one.n), np.ones(other.n), "full")
            distance_m = np.abs(steps) * float(pitch_m)
            if i == j:
                distance_m[steps == 0] = ROUND_WIRE_GMD * wire_diameter_m
            total += (1 if i == j else 2) * float(pairs @ _mutual_h(one, other, distance_m))
    return total


def mutual_of_turns_h(one: Turns, other: Turns, distance_m: FloatArray) -> FloatArray:
    """Mutual inductance of two single turns on one axis.

    Parameters
    ----------
    one, other : Turns
        Their number is not looked at.
    distance_m : ndarray
        Between their planes. [m]

    Returns
    -------
    ndarray
        In the shape of the distances. [H]
    """
    return _mutual_h(one, other, distance_m)


def _mutual_h(one: Turns, other: Turns, distance_m: FloatArray) -> FloatArray:
    if one.is_round and other.is_round:
        return mutual_of_circles_h(np.asarray(one.half_width_m), np.asarray(other.half_width_m), distance_m)
    if one.is_round or other.is_round:
        circle, rectangle = (one, other) if one.is_round else (other, one)
        half_m = rectangle.half_width_m, rectangle.half_depth_m
        return mutual_of_circle_and_rectangle_h(circle.half_width_m, half_m, distance_m)
    return mutual_of_rectangles_h(_half_sides(one), _half_sides(other), distance_m)


def _half_sides(turns: Turns) -> tuple[FloatArray, FloatArray]:
    return np.asarray(turns.half_width_m), np.asarray(turns.half_depth_m)


# Of a straight side, over its current and mu0/4pi.
def _potential(along_m: FloatArray, half_m: float, apart_m: FloatArray) -> FloatArray:
    return np.asarray(np.arcsinh((along_m + half_m) / apart_m) - np.arcsinh((along_m - half_m) / apart_m))


# Neumann's integral over two parallel sides, centred on each other, by the sum and difference of their half lengths.
def _sides(sum_m: FloatArray, difference_m: FloatArray, apart_m: FloatArray) -> FloatArray:
    return np.asarray(2 * MU0_OVER_4PI * (_primitive(sum_m, apart_m) - _primitive(difference_m, apart_m)))


def _primitive(half_m: FloatArray, apart_m: FloatArray) -> FloatArray:
    return np.asarray(half_m * np.arcsinh(half_m / apart_m) - np.hypot(half_m, apart_m))
