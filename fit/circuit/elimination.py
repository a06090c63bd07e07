"""Elimination of a network's nodes, planned once for a topology and then done for all frequencies at a time.

A guitar's network is nearly a tree: most entries of its matrix are zero and stay so when nodes with few neighbours go
first. The matrix is symmetric (reciprocal parts only), so one triangle is kept. Real parts are positive wherever a part
has losses, so no pivoting is needed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.response import ComplexArray

GROUNDED = -1  # index of ground among the nodes


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One node that is eliminated.

    Attributes
    ----------
    node, diagonal : int
        The node, and the entry of the matrix that it is divided by.
    neighbours : tuple of (int, int)
        Each later node it is joined to, and the entry between both.
    updates : tuple of (int, int, int)
        Entry that changes, and the two neighbours (positions in `neighbours`) whose product it loses.
    """

    node: int
    diagonal: int
    neighbours: tuple[tuple[int, int], ...]
    updates: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Elimination:
    """Order and entries for one topology.

    Attributes
    ----------
    entries : dict
        (row, column), row <= column, to the place of that entry.
    """

    n_nodes: int
    entries: dict[tuple[int, int], int]
    steps: tuple[Step, ...]


def plan_elimination(n_nodes: int, joined: Sequence[tuple[int, int]], last: int) -> Elimination:
    """Choose an order that keeps the matrix sparse: the node with the fewest neighbours first.

    Parameters
    ----------
    joined : sequence of (int, int)
        Pairs of nodes with an entry between them; −1 is ground.
    last : int
        Node that is eliminated last: right-hand sides that stand there alone need no forward pass.

    Returns
    -------
    Elimination
        For `eliminate`.
    """
    near: dict[int, set[int]] = {node: set() for node in range(n_nodes)}
    for first, second in joined:
        if GROUNDED not in (first, second) and first != second:
            near[first].add(second)
            near[second].add(first)
    entries = {(node, node): node for node in range(n_nodes)}

    def entry(first: int, second: int) -> int:
        return entries.setdefault((min(first, second), max(first, second)), len(entries))

    steps = []
    left = set(range(n_nodes))
    while left:
        node = min(left, key=lambda one: (one == last, len(near[one]), one))
        left.discard(node)
        around = sorted(near[node])
        updates = []
        for i, first in enumerate(around):
            near[first].discard(node)
            for j in range(i, len(around)):
                second = around[j]
                updates.append((entry(first, second), i, j))
                if first != second:
                    near[first].add(second)
                    near[second].add(first)
        neighbours = tuple((other, entry(node, other)) for other in around)
        steps.append(Step(node=node, diagonal=node, neighbours=neighbours, updates=tuple(updates)))
    return Elimination(n_nodes=n_nodes, entries=entries, steps=tuple(steps))


def eliminate(plan: Elimination, matrix: ComplexArray, right: ComplexArray, *, n_forward: int) -> None:
    """Solve in place.

    Parameters
    ----------
    plan : Elimination
        Of a matrix with e entries.
    matrix : ndarray of complex, shape (e, m)
        Entries at m points; overwritten.
    right : ndarray of complex, shape (n, k, m)
        Right-hand sides; replaced by the solutions.
    n_forward : int
        The first so many right-hand sides are general; the others are zero but at the last node.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the network is singular at a point.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        _substitute(plan, matrix, right, n_forward)
    if not matrix[: plan.n_nodes].all():  # the pivots, left as they were divided by
        msg = "Singular matrix"
        raise np.linalg.LinAlgError(msg)


def _substitute(plan: Elimination, matrix: ComplexArray, right: ComplexArray, n_forward: int) -> None:
    factors: list[list[ComplexArray]] = []
    for step in plan.steps:
        inverse = 1.0 / matrix[step.diagonal]
        rows = [matrix[place] for _, place in step.neighbours]
        scaled = [row * inverse for row in rows]
        for place, first, second in step.updates:
            matrix[place] -= scaled[first] * rows[second]
        general = right[step.node, :n_forward]
        for (other, _), factor in zip(step.neighbours, scaled, strict=True):
            right[other, :n_forward] -= factor * general
        right[step.node] *= inverse
        factors.append(scaled)
    for step, scaled in zip(reversed(plan.steps), reversed(factors), strict=True):
        row = right[step.node]
        for (other, _), factor in zip(step.neighbours, scaled, strict=True):
            row -= factor * right[other]
