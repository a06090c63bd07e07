"""A network with several sets of EMFs at once, such as each pickup of an instrument alone, with exact derivatives.

The equations of `fit.circuit.network`, their matrix kept sparse and eliminated for all points together; made for a whole
instrument, where that one is made for a pickup at the jack.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fit.circuit.elimination import eliminate
from fit.circuit.network import Network, refuse_zero
from measure.response import ComplexArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Excited:
    """Output voltages of a network for x excitations, and what they depend on, at m points.

    Attributes
    ----------
    voltage : ndarray of complex, shape (x, m)
        At the output. [V]
    by_admittance : ndarray of complex, shape (b, x, m)
        Derivative of the voltage with respect to each branch's admittance. [V Ω]
    coil_transfer : ndarray of complex, shape (c, m)
        Derivative of the voltage with respect to each coil's EMF. [V/V]
    coil_current : ndarray of complex, shape (c, x, m)
        Current out of each coil's first end. [A]
    """

    voltage: ComplexArray
    by_admittance: ComplexArray
    coil_transfer: ComplexArray
    coil_current: ComplexArray


def solve_excitations(
    network: Network,
    *,
    admittance: ComplexArray,
    impedance: ComplexArray,
    mutual: Mapping[tuple[int, int], ComplexArray],
    emf: FloatArray | ComplexArray,
) -> Excited:
    """Voltages at the output for several sets of EMFs at once, with their derivatives; made for larger networks.

    Parameters
    ----------
    network : Network
        With n nodes, b branches and c coils.
    admittance : ndarray of complex, shape (b, m)
        Of each branch. [S]
    impedance : ndarray of complex, shape (c, m)
        Of each coil. [Ω]
    mutual : mapping
        Indices of two coupled coils to the impedance between them, shape (m,); no coil in more than one pair, and each pair
        among those that the network was built with. [Ω]
    emf : ndarray, shape (x, c) or (x, c, m)
        Of each coil in each excitation, the same at all points or not. [V]

    Returns
    -------
    Excited
        The derivative with respect to the impedance between coils i and j is −`coil_transfer`[i] · `coil_current`[j].

    Raises
    ------
    numpy.linalg.LinAlgError
        If the network is singular at a frequency.

    Notes
    -----
    The equations of `solve_network`, their matrix kept sparse and eliminated for all points together.
    """
    n, n_points, n_excitations = len(network.nodes), admittance.shape[1], len(emf)
    own, between = _coil_admittances(impedance, mutual)
    if n == 1 and not between:
        return _solve_single_node(network, admittance, own, emf)
    off = [between.get((i, j), between.get((j, i), np.zeros(n_points))) for i, j in network.coupled]
    matrix = _combine(network.stamps, np.concatenate([admittance, own, *(row[None] for row in off)]))
    at_points = emf[:, :, None] if emf.ndim == 2 else emf
    norton = _through_coils(at_points.transpose(1, 0, 2).astype(complex), own, between)
    right = np.zeros((n, n_excitations + 1, n_points), dtype=complex)
    right[:, :-1] = _combine(network.coil_incidence, norton)
    right[network.output, -1] = 1.0
    eliminate(network.elimination, matrix, right, n_forward=n_excitations)
    over = _combine(network.incidence.T, right)
    across, coil_across = over[: len(admittance)], over[len(admittance) :]
    return Excited(
        voltage=right[network.output, :-1],
        by_admittance=-across[:, -1:] * across[:, :-1],
        coil_transfer=_through_coils(coil_across[:, -1:], own, between)[:, 0],
        coil_current=norton - _through_coils(coil_across[:, :-1], own, between),
    )


def _solve_single_node(network: Network, admittance: ComplexArray, own: ComplexArray, emf: FloatArray | ComplexArray) -> Excited:
    """Solve the same equations where they are scalar: every branch and coil from the output to ground."""
    sign, is_branch = network.coil_incidence[0], network.branch_incidence[0] ** 2
    signed = own * sign[:, None]
    total = is_branch @ admittance + sign @ signed
    refuse_zero(total)
    at_points = emf[:, :, None] if emf.ndim == 2 else emf
    norton = own * at_points  # (x, c, m)
    voltage = np.einsum("c,xcm->xm", sign, norton) / total
    return Excited(
        voltage=voltage,
        by_admittance=is_branch[:, None, None] * (-voltage / total),
        coil_transfer=signed / total,
        coil_current=(norton - signed * voltage[:, None, :]).transpose(1, 0, 2),
    )


def _combine(weights: FloatArray, rows: ComplexArray) -> ComplexArray:
    """Real combinations of complex rows, as one product of real matrices."""
    flat = np.ascontiguousarray(rows).reshape(len(rows), -1).view(float)
    combined: ComplexArray = (weights @ flat).view(complex)
    return combined.reshape(len(weights), *rows.shape[1:])


def _coil_admittances(
    impedance: ComplexArray, mutual: Mapping[tuple[int, int], ComplexArray]
) -> tuple[ComplexArray, dict[tuple[int, int], ComplexArray]]:
    """Inverse of the coils' impedances: each coil's own, and what is between coupled ones."""
    refuse_zero(impedance)
    own = 1.0 / impedance
    off: dict[tuple[int, int], ComplexArray] = {}
    for (i, j), through in mutual.items():
        determinant = impedance[i] * impedance[j] - through**2
        refuse_zero(determinant)
        own[i], own[j] = impedance[j] / determinant, impedance[i] / determinant
        off[i, j] = -through / determinant
    return own, off


def _through_coils(voltage: ComplexArray, own: ComplexArray, between: Mapping[tuple[int, int], ComplexArray]) -> ComplexArray:
    """Currents (c, x, m) that voltages (c, x, m) drive through the coils."""
    current: ComplexArray = own[:, None, :] * voltage
    for (i, j), value in between.items():
        current[i] += value * voltage[j]
        current[j] += value * voltage[i]
    return current
