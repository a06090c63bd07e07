"""Elimination of nodes: the order that keeps zeros zero, and the solution against a dense solver."""

import numpy as np
import pytest

from fit.circuit.elimination import eliminate, plan_elimination

M = 3


def order_of(plan):
    return [step.node for step in plan.steps]


def test_a_star_fills_nothing_in():
    plan = plan_elimination(4, [(0, 1), (0, 2), (3, 0)], 0)
    assert order_of(plan) == [1, 2, 3, 0]
    assert set(plan.entries) == {(0, 0), (1, 1), (2, 2), (3, 3), (0, 1), (0, 2), (0, 3)}
    assert [len(step.neighbours) for step in plan.steps] == [1, 1, 1, 0]


def test_the_middle_of_a_star_goes_late():
    assert order_of(plan_elimination(4, [(0, 1), (0, 2), (0, 3)], 3)) == [1, 2, 0, 3]


def test_the_output_stays_last_though_it_has_the_fewest_neighbours():
    assert order_of(plan_elimination(3, [(0, 1), (1, 2)], 0)) == [2, 1, 0]


def test_a_ring_is_filled_in_where_its_first_node_was():
    plan = plan_elimination(4, [(0, 1), (1, 2), (2, 3), (3, 0)], 3)
    assert order_of(plan) == [0, 1, 2, 3]
    assert set(plan.entries) - {(n, n) for n in range(4)} == {(0, 1), (1, 2), (2, 3), (0, 3), (1, 3)}


def test_ground_and_a_part_joined_to_itself_join_nothing():
    plan = plan_elimination(2, [(0, -1), (-1, 1), (1, 1)], 1)
    assert set(plan.entries) == {(0, 0), (1, 1)}
    assert all(step.neighbours == () for step in plan.steps)


def test_entries_have_their_own_places():
    plan = plan_elimination(5, [(0, 1), (1, 2), (2, 3), (3, 4), (4, 0), (0, 2)], 4)
    assert sorted(plan.entries.values()) == list(range(len(plan.entries)))
    assert all(plan.entries[node, node] == node for node in range(5))
    assert all(row <= column for row, column in plan.entries)


def test_two_nodes_by_hand():
    # [[2, 1], [1, 3]] x = (1, 0), (0, 1): the inverse is [[3, -1], [-1, 2]]/5
    plan = plan_elimination(2, [(0, 1)], 1)
    matrix = np.array([[2.0], [3.0], [1.0]], dtype=complex)
    right = np.array([[[1.0], [0.0]], [[0.0], [1.0]]], dtype=complex)
    eliminate(plan, matrix, right, n_forward=1)
    np.testing.assert_allclose(right[:, :, 0], np.array([[3.0, -1.0], [-1.0, 2.0]]) / 5, rtol=1e-14)


@pytest.mark.parametrize("seed", range(12))
def test_against_a_dense_solver(seed):
    rng = np.random.default_rng(seed)
    n, k = int(rng.integers(2, 8)), int(rng.integers(1, 4))
    joined = [(node, int(rng.integers(0, node))) for node in range(1, n)]
    joined += [tuple(map(int, rng.choice(n, 2, replace=False))) for _ in range(n)]
    last = int(rng.integers(0, n))
    plan = plan_elimination(n, joined, last)
    dense = np.zeros((M, n, n), dtype=complex)
    for first, second in joined:
        dense[:, first, second] = dense[:, second, first] = rng.standard_normal(M) + 1j * rng.standard_normal(M)
    dense[:, np.arange(n), np.arange(n)] = 5 + rng.uniform(0, 1, (M, n)) + 1j
    matrix = np.zeros((len(plan.entries), M), dtype=complex)
    for (row, column), place in plan.entries.items():
        matrix[place] = dense[:, row, column]
    right = np.zeros((n, k + 1, M), dtype=complex)
    right[:, :k] = rng.standard_normal((n, k, M))
    right[last, k] = 1.0
    expected = np.linalg.solve(dense, right.transpose(2, 0, 1)).transpose(1, 2, 0)
    eliminate(plan, matrix, right, n_forward=k)
    np.testing.assert_allclose(right, expected, rtol=1e-10, atol=1e-12)


def test_a_singular_matrix_is_refused():
    plan = plan_elimination(2, [(0, 1)], 1)
    right = np.ones((2, 1, 2), dtype=complex)
    with pytest.raises(np.linalg.LinAlgError, match="Singular matrix"):
        eliminate(plan, np.array([[1.0, 1.0], [2.0, 1.0], [1.0, 1.0]], dtype=complex), right, n_forward=1)
