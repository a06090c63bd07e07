"""Several excitations at once: against the general way for one, with coupling, shorted coils and one node."""

import numpy as np
import pytest

from fit.circuit.excitations import solve_excitations
from fit.circuit.network import build_network, solve_network

M = 5


def draw(seed):
    """Branches, coils of which neighbours are coupled in pairs, and their values at M points."""
    rng = np.random.default_rng(seed)
    n_nodes, n_coils, n_more = int(rng.integers(1, 8)), int(rng.integers(1, 6)), int(rng.integers(0, 6))
    nodes = ["ground", *(f"n{index}" for index in range(n_nodes))]
    branches = [(nodes[index], nodes[int(rng.integers(0, index))]) for index in range(1, n_nodes + 1)]
    branches += [tuple(map(str, rng.choice(nodes, 2, replace=False))) for _ in range(n_more)]
    coils = [tuple(map(str, rng.choice(nodes, 2, replace=bool(rng.random() < 0.2)))) for _ in range(n_coils)]  # some shorted
    pairs = [(index, index + 1) for index in range(0, n_coils - 1, 2)]
    admittance = rng.uniform(0.1, 2.0, (len(branches), M)) + 1j * rng.uniform(-1, 1, (len(branches), M))
    impedance = rng.uniform(0.5, 2.0, (n_coils, M)) + 1j * rng.uniform(0.5, 2.0, (n_coils, M))
    mutual = {pair: 1j * rng.uniform(-0.4, 0.4, M) for pair in pairs}
    return branches, coils, str(rng.choice(nodes[1:])), pairs, admittance, impedance, mutual


@pytest.mark.parametrize("seed", range(60))
def test_every_excitation_as_if_it_were_alone(seed):
    branches, coils, output, pairs, admittance, impedance, mutual = draw(seed)
    emf = np.random.default_rng(seed).standard_normal((3, len(coils)))
    network = build_network(branches, coils, output, coupled=pairs)
    together = solve_excitations(network, admittance=admittance, impedance=impedance, mutual=mutual, emf=emf)
    full = np.zeros((len(coils), len(coils), M), dtype=complex)
    full[np.arange(len(coils)), np.arange(len(coils))] = impedance
    for (i, j), between in mutual.items():
        full[i, j] = full[j, i] = between
    general = build_network([*branches, (output, "dangling")], coils, output)  # a dangling node forces the general way
    padded = np.concatenate([admittance, np.ones((1, M))])
    for row in range(len(emf)):
        everywhere = np.repeat(emf[row][:, None], M, axis=1).astype(complex)
        alone = solve_network(general, admittance=padded, impedance=full, emf=everywhere)
        near = {"rtol": 1e-10, "atol": 1e-12}
        np.testing.assert_allclose(together.voltage[row], alone.voltage, **near)
        np.testing.assert_allclose(together.by_admittance[:, row], alone.by_admittance[:-1], **near)
        np.testing.assert_allclose(together.coil_transfer, alone.coil_transfer, **near)
        np.testing.assert_allclose(together.coil_current[:, row], alone.coil_current, **near)


@pytest.mark.parametrize(
    ("branches", "admittance"),
    [
        ([("a", "b"), ("tip", "ground")], [[1.0], [1.0]]),  # floating part
        ([("tip", "a"), ("tip", "ground")], [[0.0], [1.0]]),  # dead branch
    ],
)
def test_singular_network_is_refused(branches, admittance):
    network = build_network(branches, [("tip", "ground")], "tip")
    parts = {"admittance": np.array(admittance, dtype=complex), "impedance": np.array([[1 + 1j]]), "mutual": {}}
    with pytest.raises(np.linalg.LinAlgError, match="Singular matrix"):
        solve_excitations(network, **parts, emf=np.ones((1, 1)))


def test_perfect_coupling_is_refused():
    coils = [("tip", "m"), ("m", "ground")]
    network = build_network([("tip", "ground"), ("tip", "m")], coils, "tip", coupled=[(0, 1)])
    parts = {
        "admittance": np.ones((2, 1), dtype=complex),
        "impedance": np.array([[1j], [1j]]),
        "mutual": {(0, 1): np.array([1j])},
    }
    with pytest.raises(np.linalg.LinAlgError, match="Singular matrix"):
        solve_excitations(network, **parts, emf=np.ones((1, 2)))


def test_one_coil_on_a_load_by_hand():
    network = build_network([("tip", "ground")], [("tip", "ground")], "tip")
    load, coil, emf = 0.2 + 0.3j, 1.5 + 2j, np.array([[2.0], [-1.0]])
    solved = solve_excitations(network, admittance=np.array([[load]]), impedance=np.array([[coil]]), mutual={}, emf=emf)
    np.testing.assert_allclose(solved.voltage, emf / (1 + coil * load), rtol=1e-14)
    np.testing.assert_allclose(solved.coil_current[0], load * emf / (1 + coil * load), rtol=1e-14)
    np.testing.assert_allclose(solved.coil_transfer, [[1 / (1 + coil * load)]], rtol=1e-14)
    np.testing.assert_allclose(solved.by_admittance[0], -coil * emf / (1 + coil * load) ** 2, rtol=1e-14)


# Two coupled coils in series: V = (E1 + E2) / (1 + (Z1 + Z2 + 2 Zm) Y), the second one turned: E1 - E2 and -2 Zm.
@pytest.mark.parametrize("sign", [1, -1])
def test_two_coupled_coils_in_series_by_hand(sign):
    second = ("m", "ground") if sign > 0 else ("ground", "m")
    network = build_network([("tip", "ground")], [("tip", "m"), second], "tip", coupled=[(0, 1)])
    y, z1, z2, zm = 0.4 + 0.1j, 1 + 2j, 2 + 1j, 0.3j
    solved = solve_excitations(
        network,
        admittance=np.array([[y]]),
        impedance=np.array([[z1], [z2]]),
        mutual={(0, 1): np.array([zm])},
        emf=np.array([[1.0, 0.5]]),
    )
    total = 1 + (z1 + z2 + 2 * sign * zm) * y
    assert solved.voltage[0, 0] == pytest.approx((1 + sign * 0.5) / total, rel=1e-13)
    np.testing.assert_allclose(solved.coil_transfer[:, 0], [1 / total, sign / total], rtol=1e-13)


@pytest.mark.parametrize("n_nodes", [1, 2])
def test_emfs_may_differ_from_point_to_point(n_nodes):
    ends = [("tip", "ground"), ("tip", "n")][:n_nodes]
    network = build_network([*ends, ("tip", "ground")], [("tip", "ground")], "tip")
    parts = {"admittance": np.ones((len(ends) + 1, 2)) * (1 + 0.5j), "impedance": np.array([[1j, 2j]]), "mutual": {}}
    apart = solve_excitations(network, **parts, emf=np.array([[[1.0, 3.0]]]))
    one = solve_excitations(network, **parts, emf=np.array([[1.0]]))
    np.testing.assert_allclose(apart.voltage, one.voltage * [1.0, 3.0], rtol=1e-13)


@pytest.mark.parametrize("is_turned", [False, True])
def test_one_node_by_the_voltage_divider(is_turned):
    """One coil of Z and EMF e, one branch of Y from output to ground, whichever way it is drawn: U = e / (1 + Z Y)."""
    ends = ("ground", "tip") if is_turned else ("tip", "ground")
    network = build_network([ends], [("tip", "ground")], "tip")
    admittance, impedance, emf = np.array([[0.2 + 0.1j]]), np.array([[3.0 + 4.0j]]), np.ones((1, 1))
    found = solve_excitations(network, admittance=admittance, impedance=impedance, mutual={}, emf=emf)
    divider = 1 / (1 + (3.0 + 4.0j) * (0.2 + 0.1j))
    np.testing.assert_allclose(np.abs(found.voltage), np.abs([[divider]]), rtol=1e-14)
    np.testing.assert_allclose(found.by_admittance[0] / found.voltage, [[-divider * (3.0 + 4.0j)]], rtol=1e-14)
