"""Nodal analysis of a linear network, batched over frequency and takes, with exact derivatives.

Branches are admittances between two nodes, coils are branches with an EMF and an impedance matrix (mutual coupling).
The coils enter as Norton equivalents, so the unknowns are the node voltages alone; the derivative with respect to
every branch and coil costs one more right-hand side (adjoint method), no finite differences.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.elimination import GROUNDED, Elimination, plan_elimination
from measure.response import ComplexArray, FloatArray

GROUND = "ground"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Network:
    """How branches and coils are joined; values come later.

    Attributes
    ----------
    nodes : tuple of str, length n
        All nodes but ground.
    branch_incidence : ndarray, shape (n, b)
        +1 where a branch begins, −1 where it ends, 0 elsewhere.
    coil_incidence : ndarray, shape (n, c)
        The same for the coils; the EMF is positive towards the first end.
    incidence : ndarray, shape (n, b + c)
        Both.
    output : int
        Index of the node whose voltage is asked for.
    branch_ends, coil_ends : tuple of (int, int)
        Indices of the nodes of each branch and coil; −1 is ground.
    coupled : tuple of (int, int)
        Pairs of coils that may have mutual coupling.
    elimination : Elimination
        In which order the nodes are eliminated.
    stamps : ndarray, shape (e, b + c + pairs)
        How often the admittance of each branch, coil and pair of coils counts in each entry of the matrix.
    """

    nodes: tuple[str, ...]
    branch_incidence: FloatArray
    coil_incidence: FloatArray
    incidence: FloatArray
    output: int
    branch_ends: tuple[tuple[int, int], ...]
    coil_ends: tuple[tuple[int, int], ...]
    coupled: tuple[tuple[int, int], ...]
    elimination: Elimination
    stamps: FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Solution:
    """Output voltage of a network, and what it depends on, at m points.

    Attributes
    ----------
    voltage : ndarray of complex, shape (m,)
        At the output. [V]
    by_admittance : ndarray of complex, shape (b, m)
        Derivative of the voltage with respect to each branch's admittance. [V Ω]
    coil_transfer : ndarray of complex, shape (c, m)
        Derivative of the voltage with respect to each coil's EMF. [V/V]
    coil_current : ndarray of complex, shape (c, m)
        Current out of each coil's first end. [A]
    """

    voltage: ComplexArray
    by_admittance: ComplexArray
    coil_transfer: ComplexArray
    coil_current: ComplexArray


def build_network(
    branches: Sequence[tuple[str, str]],
    coils: Sequence[tuple[str, str]],
    output: str,
    *,
    coupled: Sequence[tuple[int, int]] | None = None,
) -> Network:
    """Join branches and coils at their nodes.

    Parameters
    ----------
    branches, coils : sequence of (str, str)
        The two nodes of each; ``"ground"`` is the node of potential 0.
    output : str
        Node whose voltage is asked for.
    coupled : sequence of (int, int) or None
        Pairs of coils with mutual coupling, for `fit.circuit.excitations`; None for every coil with every other.

    Returns
    -------
    Network
        Ready for `solve_network`.

    Raises
    ------
    ValueError
        If nothing is connected to the output.
    """
    nodes = tuple(dict.fromkeys(node for pair in (*branches, *coils) for node in pair if node != GROUND))
    if output not in nodes:
        msg = f"nothing is connected to the output {output!r}; the points are {', '.join(nodes) or 'none'}"
        raise ValueError(msg)
    index = {node: place for place, node in enumerate(nodes)} | {GROUND: GROUNDED}
    branch_ends = tuple((index[first], index[second]) for first, second in branches)
    coil_ends = tuple((index[first], index[second]) for first, second in coils)
    pairs = tuple((i, j) for i in range(len(coils)) for j in range(i)) if coupled is None else tuple(coupled)
    through = [(a, b) for i, j in pairs for a in coil_ends[i] for b in coil_ends[j]]
    elimination = plan_elimination(len(nodes), [*branch_ends, *coil_ends, *through], index[output])
    return Network(
        nodes=nodes,
        branch_incidence=_incidence(nodes, branches),
        coil_incidence=_incidence(nodes, coils),
        incidence=_incidence(nodes, [*branches, *coils]),
        output=index[output],
        branch_ends=branch_ends,
        coil_ends=coil_ends,
        coupled=pairs,
        elimination=elimination,
        stamps=_stamps(elimination, [*branch_ends, *coil_ends], [(coil_ends[i], coil_ends[j]) for i, j in pairs]),
    )


def _stamps(
    plan: Elimination, single: Sequence[tuple[int, int]], pairs: Sequence[tuple[tuple[int, int], tuple[int, int]]]
) -> FloatArray:
    """Where the admittance of a branch or coil, and that between two coils, stands in the kept half of the matrix."""
    stamps = np.zeros((len(plan.entries), len(single) + len(pairs)))
    both = [(ends, ends, 0.5) for ends in single] + [(ends, others, 1.0) for ends, others in pairs]
    for column, (ends, others, weight) in enumerate(both):  # twice the symmetric half: u vᵀ + v uᵀ
        for a, node in enumerate(ends):
            for b, other in enumerate(others):
                if GROUNDED not in (node, other):
                    is_met_twice = node == other
                    place = plan.entries[min(node, other), max(node, other)]
                    stamps[place, column] += (1.0 if a == b else -1.0) * (2.0 if is_met_twice else 1.0) * weight
    return stamps


def _incidence(nodes: Sequence[str], pairs: Sequence[tuple[str, str]]) -> FloatArray:
    incidence = np.zeros((len(nodes), len(pairs)))
    for column, (first, second) in enumerate(pairs):
        if first != GROUND:
            incidence[nodes.index(first), column] += 1.0
        if second != GROUND:
            incidence[nodes.index(second), column] -= 1.0
    return incidence


def solve_network(network: Network, *, admittance: ComplexArray, impedance: ComplexArray, emf: ComplexArray) -> Solution:
    """Voltage at the output, with its derivatives, at m points (frequencies of all takes).

    Parameters
    ----------
    network : Network
        With n nodes, b branches and c coils.
    admittance : ndarray of complex, shape (b, m)
        Of each branch. [S]
    impedance : ndarray of complex, shape (c, c, m)
        Of the coils; mutual coupling off the diagonal; symmetric. [Ω]
    emf : ndarray of complex, shape (c, m)
        Of each coil. [V]

    Returns
    -------
    Solution
        The derivative with respect to the impedance between coils i and j is
        −`coil_transfer`[i] · `coil_current`[j].

    Raises
    ------
    numpy.linalg.LinAlgError
        If the network is singular at a frequency.

    Notes
    -----
    With incidence B of the coils and U of the branches, Yc = Z⁻¹ and A = U Y Uᵀ + B Yc Bᵀ: A v = B Yc E and A w = e(output),
    A being symmetric. Then a = Yc Bᵀ w is the transfer from each coil's EMF, i = Yc (E − Bᵀ v) its current, and
    dV = −(Uᵀw)(Uᵀv) dY − aᵀ dZ i + aᵀ dE.
    """
    if len(network.nodes) == 1:
        return _solve_single_node(network, admittance, impedance, emf)
    branch, coil = network.branch_incidence, network.coil_incidence
    coil_admittance = _invert(impedance)
    norton = np.einsum("cdm,dm->cm", coil_admittance, emf)
    matrix = np.einsum("ib,jb,bm->mij", branch, branch, admittance, optimize=True).astype(complex)
    matrix += np.einsum("ic,jd,cdm->mij", coil, coil, coil_admittance, optimize=True)
    right = np.zeros((emf.shape[1], len(network.nodes), 2), dtype=complex)
    right[:, :, 0] = (coil @ norton).T
    right[:, network.output, 1] = 1.0
    solved: ComplexArray = np.linalg.solve(matrix, right)
    node_voltage, adjoint = solved[:, :, 0].T, solved[:, :, 1].T
    coil_transfer = np.einsum("cdm,dm->cm", coil_admittance, coil.T @ adjoint)
    return Solution(
        voltage=node_voltage[network.output],
        by_admittance=-(branch.T @ adjoint) * (branch.T @ node_voltage),
        coil_transfer=coil_transfer,
        coil_current=norton - np.einsum("cdm,dm->cm", coil_admittance, coil.T @ node_voltage),
    )


def _solve_single_node(network: Network, admittance: ComplexArray, impedance: ComplexArray, emf: ComplexArray) -> Solution:
    """Solve the same equations where they are scalar: every branch and coil from the output to ground."""
    sign_coil = network.coil_incidence[0]
    is_branch = network.branch_incidence[0] ** 2
    coil_admittance = _invert(impedance)
    norton = coil_admittance[0] * emf if len(sign_coil) == 1 else np.einsum("cdm,dm->cm", coil_admittance, emf)
    to_output = coil_admittance[0] * sign_coil[0] if len(sign_coil) == 1 else np.einsum("cdm,d->cm", coil_admittance, sign_coil)
    total = is_branch @ admittance + sign_coil @ to_output
    refuse_zero(total)
    voltage = (sign_coil @ norton) / total
    return Solution(
        voltage=voltage,
        by_admittance=is_branch[:, None] * (-voltage / total),
        coil_transfer=to_output / total,
        coil_current=norton - to_output * voltage,
    )


def _invert(impedance: ComplexArray) -> ComplexArray:
    """Inverse of a (c, c, m) stack of matrices."""
    if len(impedance) == 1:
        refuse_zero(impedance)
        return 1.0 / impedance
    return np.moveaxis(np.linalg.inv(np.moveaxis(impedance, 2, 0)), 0, 2)


def refuse_zero(divisor: ComplexArray) -> None:
    """Treat a scalar equation that has no solution as numpy treats a matrix.

    Parameters
    ----------
    divisor : ndarray of complex
        What is about to be divided by.

    Raises
    ------
    numpy.linalg.LinAlgError
        If a divisor is 0.
    """
    if not divisor.all():
        msg = "Singular matrix"
        raise np.linalg.LinAlgError(msg)
