"""Coils of an instrument's network: what is stated of them, and derivatives by it."""

import hypothesis
import numpy as np
import pytest

from fit.circuit.coil import CoilValues, coil_elements
from fit.circuit.excitations import Excited
from fit.circuit.instrument import Instrument, Pickup, SecondCoil, stated_values
from fit.circuit.winding import coil_rows, mutual_inductance_h, stated_coil, sum_by_frequency
from fit.circuit.wiring import Wiring
from tests import laws


# What instrument.toml states of a coil, loops and spreads, is the coil that the fit has, at frequencies to the right too.
@laws.drawn
@hypothesis.given(laws.coils())
def test_stated_coil_is_the_coil_of_the_fit_and_passive(coil: CoilValues) -> None:
    losses = [(profile, share**0.5, 1 / (2 * np.pi * tau_s), width) for share, tau_s, width, _, profile in coil.eddies]
    pickup = Pickup(
        ends=("tip", "ground"),
        eddy_loops=tuple((k, hertz) for profile, k, hertz, _ in losses if profile == "loop"),
        eddy_spreads=tuple((k, hertz, width) for profile, k, hertz, width in losses if profile == "spread"),
    )
    instrument = Instrument(pickup={"bridge": pickup})
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"bridge.inductance": coil.inductance_h, "bridge.dcr": coil.resistance_ohm}
    stated = stated_coil(instrument, "bridge", values, laws.S_RIGHT).impedance
    expected = coil_elements([coil], laws.S_RIGHT).impedance[0, 0]
    np.testing.assert_allclose(stated, expected, rtol=1e-12, atol=1e-12 * coil.resistance_ohm)
    assert np.all(stated.real >= coil.resistance_ohm - 1e-12 * np.abs(stated))


TAU_S = 2e-5
LOSSY = Instrument(
    pickup={
        "bridge": Pickup(
            ends=("a", "ground"),
            eddy_loops=((0.5, 1 / (2 * np.pi * TAU_S)),),
            eddy_spreads=((0.3, 5e3, 1.2),),
            second=SecondCoil(ends=("b", "a"), coupling=0.4),
        )
    }
)
LOSSY_VALUES = {key: one.quantity.value for key, one in stated_values(LOSSY).items() if one.quantity is not None} | {
    "bridge.dcr": 4e3,
    "bridge.inductance": 2.0,
    "bridge.second.dcr": 3e3,
    "bridge.second.inductance": 8.0,
}
S = 2j * np.pi * np.array([500.0, 4e3, 15e3])


# At s = j/τ a loop's profile is (1 + j)/2: Z = R + sL(1 - k²(1 + j)/2).
def test_a_loop_at_its_corner_by_hand():
    plain = Instrument(pickup={"bridge": Pickup(ends=("a", "ground"), eddy_loops=((0.5, 1 / (2 * np.pi * TAU_S)),))})
    coil = stated_coil(plain, "bridge", LOSSY_VALUES, np.array([1j / TAU_S]))
    assert coil.impedance[0] == pytest.approx(4e3 + 2j / TAU_S * (1 - 0.25 * (1 + 1j) / 2), rel=1e-12)
    assert (coil.resistance_ohm, coil.inductance_h) == (4e3, 2.0)
    (loss,) = coil.losses
    assert (loss.key, loss.share, loss.has_width) == ("bridge.eddy_loop_1", 0.25, False)


def wired(n_coils):
    names = ("bridge", "bridge.second")[:n_coils]
    return Wiring(network=None, branches=(), coils=names, pairs=((0, 1),)[: n_coils - 1], signature=())


def test_mutual_inductance_is_k_times_the_geometric_mean():
    coils = [stated_coil(LOSSY, name, LOSSY_VALUES, S) for name in ("bridge", "bridge.second")]
    assert mutual_inductance_h(wired(2), (0, 1), coils, LOSSY_VALUES) == pytest.approx(0.4 * 4.0, rel=1e-15)


def drawn_solution(n_coils):
    rng = np.random.default_rng(n_coils)

    def draw(*shape):
        return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)

    return Excited(
        voltage=draw(2, 3), by_admittance=draw(2, 2, 3), coil_transfer=draw(n_coils, 3), coil_current=draw(n_coils, 2, 3)
    )


# Whatever the network is, dV = -aᵀ dZ i with its transfers a and currents i; dZ here by differences of the impedances alone.
def test_rows_are_those_of_the_impedances():
    solved, wiring, step = drawn_solution(2), wired(2), 1e-4

    def impedances(values):
        coils = [stated_coil(LOSSY, name, values, S) for name in wiring.coils]
        mutual = S * mutual_inductance_h(wiring, (0, 1), coils, values)
        return np.array([[coils[0].impedance, mutual], [mutual, coils[1].impedance]])

    coils = [stated_coil(LOSSY, name, LOSSY_VALUES, S) for name in wiring.coils]
    mutual = {(0, 1): mutual_inductance_h(wiring, (0, 1), coils, LOSSY_VALUES)}
    rows = coil_rows(wiring, coils, mutual, s=S, solved=solved)
    assert set(rows) == set(LOSSY_VALUES)
    for key, row in rows.items():
        low2, low, high, high2 = (impedances(LOSSY_VALUES | {key: LOSSY_VALUES[key] * np.exp(n * step)}) for n in (-2, -1, 1, 2))
        slope = (low2 - 8 * low + 8 * high - high2) / (12 * step)
        expected = -np.einsum("im,ijm,jxm->xm", solved.coil_transfer, slope, solved.coil_current)
        np.testing.assert_allclose(row, expected, rtol=1e-7, atol=1e-7 * np.abs(expected).max(), err_msg=key)


def test_a_coil_alone_has_no_coupling():
    solved, wiring = drawn_solution(1), wired(1)
    coils = [stated_coil(LOSSY, "bridge", LOSSY_VALUES, S)]
    rows = coil_rows(wiring, coils, {}, s=S, solved=solved)
    assert "bridge.coupling" not in rows
    np.testing.assert_allclose(rows["bridge.dcr"], -4e3 * solved.coil_transfer[0] * solved.coil_current[0], rtol=1e-14)


# Frequency enters as sC, sL and sτ; a corner is 1/τ, so it counts the other way. dcr, couplings and widths know no frequency.
def test_derivative_by_frequency_is_the_sum_of_what_stores_energy():
    solved = drawn_solution(1)
    names = ("dcr", "inductance", "eddy_loop_1.corner", "eddy_loop_1.coupling", "eddy_spread_1.half_width")
    rows = {f"bridge.{name}": np.full((2, 3), 10.0**power, dtype=complex) for power, name in enumerate(names)}
    susceptance = np.array([[1j, 2j, 3j], [0.5j, 0.5j, 0.5j]])
    expected = 10.0 - 100.0 + sum(solved.by_admittance[branch] * susceptance[branch] for branch in (0, 1))
    np.testing.assert_allclose(sum_by_frequency(rows, solved, susceptance), expected, rtol=1e-13)
