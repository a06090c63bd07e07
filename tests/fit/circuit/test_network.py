"""Nodal analysis: hand-solved networks, exact derivatives, what it refuses."""

from collections.abc import Callable

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies

from fit.circuit.coil import CoilValues
from fit.circuit.network import Network, Solution, build_network, solve_network
from measure.response import ComplexArray
from tests import laws
from tests.draws import some

N_TURN = 16  # points on a circle for a derivative
RADIUS = 1e-2  # [1] of the value; the truncation error is its 16th power


def derivative(function: Callable[[complex], ComplexArray], at: complex) -> ComplexArray:
    """Derivative of an analytic function by Cauchy's integral over a circle, without differencing."""
    radius = RADIUS * abs(at)
    turn = np.exp(2j * np.pi * np.arange(N_TURN) / N_TURN)
    return sum(function(at + radius * unit) / unit for unit in turn) / (N_TURN * radius)


class Drawn:
    """A network with parts at one frequency, each of them complex and passive."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        n_nodes, n_coils, n_more = int(rng.integers(1, 6)), int(rng.integers(1, 4)), int(rng.integers(1, 6))
        nodes = ["ground", *(f"n{index}" for index in range(n_nodes))]
        tree = [(nodes[index], nodes[int(rng.integers(0, index))]) for index in range(1, n_nodes + 1)]
        more = [tuple(map(str, rng.choice(nodes, 2, replace=False))) for _ in range(n_more)]
        coils = [tuple(map(str, rng.choice(nodes, 2, replace=False))) for _ in range(n_coils)]
        self.network: Network = build_network([*tree, *more], coils, str(rng.choice(nodes[1:])))
        n_branches = len(tree) + n_more
        self.admittance = rng.uniform(0.1, 2.0, n_branches) + 1j * rng.uniform(-1, 1, n_branches)
        mutual = rng.uniform(-0.3, 0.3, (n_coils, n_coils)) * 1j
        self.impedance = np.diag(rng.uniform(0.5, 2.0, n_coils) + 1j * rng.uniform(0.5, 2.0, n_coils)) + mutual + mutual.T
        self.emf = rng.standard_normal(n_coils) + 1j * rng.standard_normal(n_coils)

    def solve(self) -> Solution:
        return solve_network(
            self.network,
            admittance=self.admittance[:, None],
            impedance=self.impedance[:, :, None],
            emf=self.emf[:, None],
        )

    def voltage_with(self, name: str, index: int | tuple[int, int]) -> Callable[[complex], ComplexArray]:
        """Output voltage as a function of one entry; a mutual impedance keeps the matrix symmetric."""

        def voltage(value: complex) -> ComplexArray:
            array = getattr(self, name)
            kept = array.copy()
            array[index] = value
            if isinstance(index, tuple):
                array[index[::-1]] = value
            found = self.solve().voltage
            array[:] = kept
            return found

        return voltage


def require_close(ours: ComplexArray, reference: ComplexArray, scale: float) -> None:
    np.testing.assert_allclose(ours, reference, rtol=1e-9, atol=1e-11 * scale)


@pytest.mark.parametrize("seed", some(range(40), 10))
def test_derivatives_are_exact(seed: int) -> None:
    drawn = Drawn(seed)
    solution = drawn.solve()
    scale = float(np.abs(drawn.emf).max())
    for branch, value in enumerate(drawn.admittance):
        require_close(solution.by_admittance[branch], derivative(drawn.voltage_with("admittance", branch), value), scale)
    for i, value in enumerate(drawn.emf):
        require_close(solution.coil_transfer[i], derivative(drawn.voltage_with("emf", i), value), scale)
        for j in range(i + 1):
            by_impedance = -solution.coil_transfer[i] * solution.coil_current[j]
            if i != j:
                by_impedance = by_impedance - solution.coil_transfer[j] * solution.coil_current[i]
            exact = derivative(drawn.voltage_with("impedance", (i, j)), drawn.impedance[i, j])
            require_close(by_impedance, exact, scale)


@pytest.mark.parametrize("seed", range(40))
def test_voltage_is_linear_in_the_emf(seed: int) -> None:
    solution = (drawn := Drawn(seed)).solve()
    require_close(np.einsum("c,cm->m", drawn.emf, solution.coil_transfer), solution.voltage, float(np.abs(drawn.emf).max()))


def test_coil_across_a_load_by_hand() -> None:
    network = build_network([("tip", "ground")], [("tip", "ground")], "tip")
    load, coil, emf = 0.2 + 0.3j, 1.5 + 2j, 0.7 - 0.1j
    solution = solve_network(network, admittance=np.array([[load]]), impedance=np.array([[[coil]]]), emf=np.array([[emf]]))
    assert solution.voltage[0] == pytest.approx(emf / (1 + coil * load), rel=1e-14)
    assert solution.coil_current[0, 0] == pytest.approx(load * emf / (1 + coil * load), rel=1e-14)
    assert solution.by_admittance[0, 0] == pytest.approx(-coil * emf / (1 + coil * load) ** 2, rel=1e-14)


def test_swapped_ends_turn_the_sign() -> None:
    values = {"admittance": np.array([[0.2 + 0.3j]]), "impedance": np.array([[[1.5 + 2j]]]), "emf": np.array([[1.0 + 0j]])}
    one = solve_network(build_network([("tip", "ground")], [("tip", "ground")], "tip"), **values)
    other = solve_network(build_network([("ground", "tip")], [("ground", "tip")], "tip"), **values)
    assert other.voltage[0] == -one.voltage[0]
    assert other.coil_transfer[0, 0] == -one.coil_transfer[0, 0]
    assert other.by_admittance[0, 0] == -one.by_admittance[0, 0]
    assert other.coil_current[0, 0] == one.coil_current[0, 0]  # out of its own first end


# The short way for a single node must agree with the general one; a dangling node forces the general one.
@pytest.mark.parametrize("n_coils", [1, 2, 3])
def test_single_node_agrees_with_the_general_way(n_coils: int) -> None:
    rng = np.random.default_rng(n_coils)
    m = 7
    admittance = rng.uniform(0.1, 2, (3, m)) + 1j * rng.uniform(-1, 1, (3, m))
    impedance = np.zeros((n_coils, n_coils, m), dtype=complex)
    impedance += 0.2j
    impedance[np.arange(n_coils), np.arange(n_coils)] = rng.uniform(0.5, 2, (n_coils, m)) + 1j
    emf = rng.standard_normal((n_coils, m)) + 0j
    coils = [("tip", "ground"), ("ground", "tip"), ("tip", "ground")][:n_coils]
    branches = [("tip", "ground"), ("ground", "tip"), ("tip", "ground")]
    short = solve_network(build_network(branches, coils, "tip"), admittance=admittance, impedance=impedance, emf=emf)
    network = build_network([*branches, ("tip", "dangling")], coils, "tip")
    longer = np.concatenate([admittance, np.ones((1, m))])
    general = solve_network(network, admittance=longer, impedance=impedance, emf=emf)
    np.testing.assert_allclose(short.voltage, general.voltage, rtol=1e-12)
    np.testing.assert_allclose(short.by_admittance, general.by_admittance[:3], rtol=1e-12)
    np.testing.assert_allclose(short.coil_transfer, general.coil_transfer, rtol=1e-12)
    np.testing.assert_allclose(short.coil_current, general.coil_current, rtol=1e-12)
    np.testing.assert_allclose(general.by_admittance[3], 0, atol=1e-14)


def test_coil_beside_the_jack_changes_nothing() -> None:
    admittance, impedance = np.array([[0.5 + 0j], [0.5 + 0j]]), np.diag([1 + 1j, 2 + 1j])[:, :, None]
    network = build_network([("tip", "ground"), ("far", "ground")], [("tip", "ground"), ("far", "ground")], "tip")
    solution = solve_network(network, admittance=admittance, impedance=impedance, emf=np.array([[1 + 0j], [5 + 0j]]))
    assert solution.voltage[0] == pytest.approx(1 / (1 + 0.5 * (1 + 1j)), rel=1e-14)
    assert solution.coil_transfer[1, 0] == 0
    assert solution.by_admittance[1, 0] == 0


SINGULAR = {
    "floating part": ([("a", "b"), ("tip", "ground")], [("tip", "ground")], [[1.0], [1.0]], [[[1.0 + 1j]]]),
    "dead branch": ([("tip", "a"), ("tip", "ground")], [("tip", "ground")], [[0.0], [1.0]], [[[1.0 + 1j]]]),
    "perfect coupling": (
        [("tip", "ground"), ("tip", "m")],
        [("tip", "m"), ("m", "ground")],
        [[1.0], [1.0]],
        [[[1j], [1j]], [[1j], [1j]]],
    ),
    "coil of no impedance": ([("tip", "ground")], [("tip", "ground")], [[1.0]], [[[0.0]]]),
    "lossless resonance": ([("tip", "ground")], [("tip", "ground")], [[0.5j]], [[[2j]]]),
}


@pytest.mark.parametrize("case", SINGULAR)
def test_singular_network_is_refused(case: str) -> None:
    branches, coils, admittance, impedance = SINGULAR[case]
    impedance = np.reshape(np.array(impedance, dtype=complex), (len(coils), len(coils), 1))
    with pytest.raises(np.linalg.LinAlgError, match="Singular matrix"):
        solve_network(
            build_network(branches, coils, "tip"),
            admittance=np.array(admittance, dtype=complex),
            impedance=impedance,
            emf=np.ones((len(coils), 1), dtype=complex),
        )


def test_output_without_connection_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing is connected to the output 'jack'; the points are tip, m"):
        build_network([("tip", "m"), ("m", "ground")], [("tip", "ground")], "jack")
    with pytest.raises(ValueError, match="the points are none"):
        build_network([], [], "tip")
    with pytest.raises(ValueError, match="output 'ground'"):
        build_network([("tip", "ground")], [], "ground")


def test_nodes_are_all_but_ground() -> None:
    network = build_network([("tip", "ground"), ("m", "tip")], [("m", "ground")], "tip")
    assert network.nodes == ("tip", "m")
    assert network.output == 0
    np.testing.assert_array_equal(network.branch_incidence, [[1, -1], [0, 1]])
    np.testing.assert_array_equal(network.coil_incidence, [[0], [1]])


@laws.drawn
@hypothesis.given(laws.coils(), laws.coils(), strategies.floats(0.0, 0.9), strategies.integers(0, 10_000))
def test_network_is_reciprocal(first: CoilValues, second: CoilValues, coupling: float, seed: int) -> None:
    laws.require_reciprocity([first, second], coupling, seed)
