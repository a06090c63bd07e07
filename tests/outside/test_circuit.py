"""Coil, network and the whole transfer against a general circuit simulator, a symbolic library and published numbers.

The simulator is ngspice (BSD-3-Clause); where its binary is missing these tests are skipped. Its netlists are made of
mutually coupled coils, which share no formula with the code under test. In SPICE ``M`` means milli and ``MEG`` mega.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from fit.circuit.coil import CoilValues, coil_elements, evaluate_profile
from fit.circuit.network import GROUND, build_network, solve_network
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from fit.estimate.resonance import loaded_gain, loaded_peak
from measure.quantity import parse_quantity
from measure.response import ComplexArray, FloatArray, Origin, Response
from tests.general_simulator import needs_ngspice, simulate, worst_relative
from tests.plain_coil import coil_impedance

TOLERANCE = 1e-10  # [1] relative, of the project's solver against the simulator

ONE_LOOP = ["R1 a b 7900", "L1 b 0 4.5", "L2 c 0 1m", "Rl c 0 10", "K1 L1 L2 0.5"]  # τ = L2/Rl = 1e-4 s


# Printed by ngspice 39 and equal to the rational function that lcapy returns.
@pytest.mark.parametrize(
    ("frequency_hz", "impedance_ohm"),
    [
        (100.0, 7944.238573 + 2824.653797j),
        (1000.0, 11084.235996 + 26273.619400j),
        (5000.0, 18115.003731 + 109280.288734j),
        (10000.0, 18872.074116 + 213803.763949j),
    ],
)
def test_coil_with_one_loop_at_printed_values(frequency_hz: float, impedance_ohm: complex) -> None:
    ours = coil_impedance(np.array([frequency_hz]), inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=[(0.5, 1e-4)])[0]
    assert abs(ours - impedance_ohm) < 1e-6  # printed with six decimals


@needs_ngspice
def test_coil_with_one_loop_against_simulator(tmp_path: Path) -> None:
    frequency, (voltage,) = simulate(tmp_path, ["I1 0 a AC 1", *ONE_LOOP], ["v(a)"])
    ours = coil_impedance(frequency, inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=[(0.5, 1e-4)])
    assert worst_relative(ours, voltage) < TOLERANCE


@needs_ngspice
def test_coil_with_two_uncoupled_loops_against_simulator(tmp_path: Path) -> None:
    second = ["L3 d 0 1m", "Rm d 0 100", "K2 L1 L3 0.3"]
    frequency, (voltage,) = simulate(tmp_path, ["I1 0 a AC 1", *ONE_LOOP, *second], ["v(a)"])
    ours = coil_impedance(frequency, inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=[(0.5, 1e-4), (0.3, 1e-5)])
    assert worst_relative(ours, voltage) < TOLERANCE


@needs_ngspice
def test_loops_coupled_to_each_other_keep_the_sum_form(tmp_path: Path) -> None:
    second = ["L3 d 0 1m", "Rm d 0 100", "K2 L1 L3 0.3", "K3 L2 L3 0.4"]
    frequency, (voltage,) = simulate(tmp_path, ["I1 0 a AC 1", *ONE_LOOP, *second], ["v(a)"])
    # (R + sL)⁻¹ of the loops is diagonal in the generalised eigenvectors of L and R; the eigenvalues are the new τ
    mutual = 0.4 * 1e-3
    inductance, root = np.array([[1e-3, mutual], [mutual, 1e-3]]), np.diag(1 / np.sqrt([10.0, 100.0]))
    time_constants, vectors = np.linalg.eigh(root @ inductance @ root)
    to_coil = np.array([0.5, 0.3]) * np.sqrt(4.5 * 1e-3)
    couplings = np.abs(vectors.T @ root @ to_coil) / np.sqrt(4.5 * time_constants)
    loops = list(zip(couplings.tolist(), time_constants.tolist(), strict=True))
    assert not np.allclose(sorted(time_constants), [1e-5, 1e-4], rtol=0.05)  # not the netlist's own
    ours = coil_impedance(frequency, inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=loops)
    assert worst_relative(ours, voltage) < TOLERANCE


@pytest.mark.long
def test_coil_against_symbolic_library() -> None:
    lcapy = pytest.importorskip("lcapy")
    circuit = lcapy.Circuit("R1 a b 7900\nL1 b 0 4.5\nL2 c 0 0.001\nRl c 0 10\nK1 L1 L2 0.5\n")
    impedance = circuit.impedance("a", "0")
    frequency = np.geomspace(20.0, 20e3, 7)
    exact = np.array([complex(impedance(2j * lcapy.pi * lcapy.expr(f)).evalf().cval) for f in frequency.tolist()])
    ours = coil_impedance(frequency, inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=[(0.5, 1e-4)])
    assert worst_relative(ours, exact) < 1e-12


EXCITED = [
    "I1 0 x AC 1",
    "Lx x 0 1m",
    *ONE_LOOP,
    "Kx1 Lx L1 0.02",
    "Kx2 Lx L2 0.012",
    "C1 a 0 100p",
    "Rld a 0 1MEG",
    "Cld a 0 470p",
]
EXCITED_MUTUAL_H = 0.02 * np.sqrt(1e-3 * 4.5)
EXCITED_COIL = CoilValues(
    inductance_h=4.5,
    resistance_ohm=7900.0,
    winding_capacitance_f=100e-12,
    excitation=1.0,
    eddies=((0.25, 1e-4, 0.0, 0.012 * 0.5 / 0.02, "loop"),),
)


def excited_voltage(frequency_hz: FloatArray) -> ComplexArray:
    s = 2j * np.pi * frequency_hz
    elements = coil_elements([EXCITED_COIL], s)
    network = build_network([("tip", "ground")] * 3, [("tip", "ground")], "tip")
    admittance = np.array([s * 100e-12, s * 470e-12, np.full(len(s), 1e-6)])
    return solve_network(
        network, admittance=admittance, impedance=elements.impedance, emf=s * EXCITED_MUTUAL_H * elements.emf
    ).voltage


def test_transfer_with_exciting_field_at_printed_value() -> None:
    printed = 8.18317308713874e-4 + 0.167271673564330j  # by ngspice 39
    assert abs(excited_voltage(np.array([20.0]))[0] / printed - 1) < 1e-13


@needs_ngspice
def test_transfer_with_exciting_field_against_simulator(tmp_path: Path) -> None:
    frequency, (voltage,) = simulate(tmp_path, EXCITED, ["v(a)"])
    assert worst_relative(excited_voltage(frequency), voltage) < TOLERANCE


def make_evidence(frequency_hz: FloatArray, value: ComplexArray, *, input_f: float, input_ohm: float, dcr_ohm: float) -> Evidence:
    noise = np.abs(value)[:, None, None] ** 2 * 1e-8 * np.eye(2)
    response = Response(frequency_hz=frequency_hz, value=value, covariance=noise, origin=Origin(rate_hz=96000.0))
    return Evidence(
        takes=(TakeEvidence(name="bare", response=response),),
        input_resistance=parse_quantity(f"{input_ohm:.0f} ± 1%", "Ω"),
        input_capacitance=parse_quantity(f"{input_f * 1e12:.0f}p ± 1%", "F"),
        dcr=parse_quantity(f"{dcr_ohm:.0f} ± 1%", "Ω"),
    )


def logit(x: float) -> float:
    return float(np.log(x / (1 - x)))


@needs_ngspice
@pytest.mark.parametrize("sign", [1, -1])
def test_predicted_response_of_one_coil_against_simulator(tmp_path: Path, sign: int) -> None:
    turned = [line.replace("I1 0 x", "I1 x 0") if sign < 0 else line for line in EXCITED]  # the exciter's wires swapped
    frequency, (voltage,) = simulate(tmp_path, turned, ["v(a)"], "dec 20 40 19k")
    evidence = make_evidence(frequency, voltage, input_f=470e-12, input_ohm=1e6, dcr_ohm=7900.0)
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)))
    truth = {
        "log_inductance": np.log(4.5),
        "log_winding_capacitance": np.log(100e-12),
        "log_resistance": np.log(7900.0),
        "share_0_0": logit(0.25),
        "log_tau_0_0": np.log(1e-4),
        "field_0_0": 0.3,
        "log_gain_0": np.log(EXCITED_MUTUAL_H),
    }
    truth["loss_input_capacitance"] = 0.0
    vector = np.array([truth.get(parameter.name, parameter.start) for parameter in problem.parameters])
    assert np.max(np.abs(predict_residual(problem, vector).residual)) < TOLERANCE


# Two coupled coils in series, each with a loop of its own, unequally excited.
FIRST = {"l": 2.4, "r": 3600.0, "c": 210e-12, "k": 0.45, "tau": 2e-5, "field_k": 0.009, "excited_k": 0.02}
SECOND = {"l": 2.1, "r": 3900.0, "c": 180e-12, "k": 0.35, "tau": 4e-5, "field_k": 0.002, "excited_k": 0.006}
COUPLING = 0.12
SERIES = ["I1 0 x AC 1", "Lx x 0 1m", "Kab La Lb 0.12", "Rin tip 0 1MEG", "Cin tip 0 470p"]


def half(letter: str, ends: tuple[str, str], values: dict[str, float]) -> list[str]:
    first, second = ends
    loop_ohm = 1e-3 / values["tau"]
    return [
        f"R{letter} {first} {letter} {values['r']!r}",
        f"L{letter} {letter} {second} {values['l']!r}",
        f"C{letter} {first} {second} {values['c']!r}",
        f"Le{letter} e{letter} 0 1m",
        f"Re{letter} e{letter} 0 {loop_ohm!r}",
        f"K{letter}1 L{letter} Le{letter} {values['k']!r}",
        f"K{letter}2 Lx L{letter} {values['excited_k']!r}",
        f"K{letter}3 Lx Le{letter} {values['field_k']!r}",
    ]


@needs_ngspice
def test_two_coils_in_series_against_simulator_and_by_hand(tmp_path: Path) -> None:
    netlist = [*SERIES, *half("a", ("tip", "m"), FIRST), *half("b", ("m", "0"), SECOND)]
    frequency, (voltage,) = simulate(tmp_path, netlist, ["v(tip)"], "dec 20 40 19k")
    evidence = make_evidence(frequency, voltage, input_f=470e-12, input_ohm=1e6, dcr_ohm=FIRST["r"] + SECOND["r"])
    problem = build_problem(evidence, PickupModel(eddies=(("loop",), ("loop",))))
    truth = {
        "log_inductance": np.log(FIRST["l"]),
        "log_winding_capacitance": np.log(FIRST["c"]),
        "log_second_inductance": np.log(SECOND["l"] / FIRST["l"]),
        "log_second_winding_capacitance": np.log(SECOND["c"] / FIRST["c"]),
        "log_second_resistance": np.log(SECOND["r"] / FIRST["r"]),
        "log_second_excitation": np.log(SECOND["excited_k"] / FIRST["excited_k"] * np.sqrt(SECOND["l"] / FIRST["l"])),
        "log_coupling": logit(COUPLING),
        "log_gain_0": np.log(FIRST["excited_k"] * np.sqrt(1e-3 * FIRST["l"])),
    }
    for index, values in enumerate((FIRST, SECOND)):
        truth[f"share_{index}_0"] = logit(values["k"] ** 2)
        truth[f"log_tau_{index}_0"] = np.log(values["tau"])
        truth[f"field_{index}_0"] = values["field_k"] * values["k"] / values["excited_k"]
    truth["loss_input_capacitance"] = 0.0
    vector = np.array([truth.get(parameter.name, parameter.start) for parameter in problem.parameters])
    assert np.max(np.abs(predict_residual(problem, vector).residual)) < TOLERANCE
    assert worst_relative(series_by_hand(frequency), voltage) < TOLERANCE


def series_by_hand(frequency_hz: FloatArray) -> ComplexArray:
    """Two mesh equations: (1 + Za(sCa + Y) + sM·Y)·Va + (Za·Y + sM(sCb + Y))·Vb = Ea, and its mirror."""
    s = 2j * np.pi * frequency_hz
    load, mutual = 1e-6 + s * 470e-12, s * COUPLING * np.sqrt(FIRST["l"] * SECOND["l"])
    impedance, emf = [], []
    for values in (FIRST, SECOND):
        turn = s * values["tau"] / (1 + s * values["tau"])
        impedance.append(values["r"] + s * values["l"] * (1 - values["k"] ** 2 * turn))
        field = 1 - values["field_k"] * values["k"] / values["excited_k"] * turn
        emf.append(s * values["excited_k"] * np.sqrt(1e-3 * values["l"]) * field)
    (za, zb), (ya, yb) = impedance, (s * FIRST["c"], s * SECOND["c"])
    aa, ab = 1 + za * (ya + load) + mutual * load, za * load + mutual * (yb + load)
    ba, bb = zb * load + mutual * (ya + load), 1 + zb * (yb + load) + mutual * load
    return ((bb - ba) * emf[0] + (aa - ab) * emf[1]) / (aa * bb - ab * ba)


@needs_ngspice
def test_loaded_gain_and_its_peak_against_simulator(tmp_path: Path) -> None:
    frequency, (voltage,) = simulate(tmp_path, EXCITED, ["v(a)"], "dec 20 40 19k")
    evidence = make_evidence(frequency, voltage, input_f=470e-12, input_ohm=1e6, dcr_ohm=7900.0)
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)))
    truth = {
        "log_inductance": np.log(4.5),
        "log_winding_capacitance": np.log(100e-12),
        "share_0_0": logit(0.25),
        "log_tau_0_0": np.log(1e-4),
    }
    vector = np.array([truth.get(parameter.name, parameter.start) for parameter in problem.parameters])
    driven = ["V1 e 0 AC 1", "R1 a b 7900", "L1 b e 4.5", *ONE_LOOP[2:], *EXCITED[-3:]]  # the EMF as a voltage source
    frequency, (gain,) = simulate(tmp_path, driven, ["v(a)"], "lin 8001 3000 4000")
    ours = loaded_gain(problem, vector, frequency).value
    assert worst_relative(ours, gain) < TOLERANCE
    peak = loaded_peak(problem, vector)
    assert peak is not None
    top = int(np.argmax(np.abs(gain)))
    assert peak.frequency_hz == pytest.approx(frequency[top], abs=0.13)  # the simulator's step is 0.125 Hz
    assert peak.gain_db == pytest.approx(20 * np.log10(np.abs(gain[top])), abs=1e-6)


class RandomNetwork:
    """Coils with mutual coupling and an eddy loop common to all, pots, resistors and capacitors, joined at random."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.rng = rng
        self.n_coils = int(rng.integers(1, 4))
        self.nodes = [GROUND, *(f"n{index}" for index in range(int(rng.integers(3, 7))))]
        self.branches: list[tuple[str, str]] = []
        self.conductances: list[float] = []  # 0 for a capacitor
        self.capacitances: list[float] = []
        self.netlist = ["I1 0 x AC 1", "Lx x 0 1m"]
        self._join_parts()
        self.coils = [tuple(map(str, rng.choice(self.nodes, 2, replace=False))) for _ in range(self.n_coils)]
        self.output = self.nodes[int(rng.integers(1, len(self.nodes)))]
        self.coils[0] = (self.output, GROUND)  # in a mesh with resistors, so that the output is not dead
        self._wind_coils()

    def _add_resistor(self, ends: tuple[str, str], ohm: float) -> None:
        self.netlist.append(f"R{len(self.branches)} {spice(ends)} {ohm!r}")
        self._add(ends, 1 / ohm, 0.0)

    def _add_capacitor(self, ends: tuple[str, str], farad: float) -> None:
        self.netlist.append(f"C{len(self.branches)} {spice(ends)} {farad!r}")
        self._add(ends, 0.0, farad)

    def _add(self, ends: tuple[str, str], conductance: float, capacitance: float) -> None:
        self.branches.append(ends)
        self.conductances.append(conductance)
        self.capacitances.append(capacitance)

    def _join_parts(self) -> None:
        rng = self.rng
        for index in range(1, len(self.nodes)):  # every node has a way to ground
            ends = (self.nodes[index], self.nodes[int(rng.integers(0, index))])
            self._add_resistor(ends, float(10 ** rng.uniform(3, 6.5)))
        for _ in range(int(rng.integers(1, 3))):  # pots: two resistors that share the wiper
            clockwise, wiper, counter = (str(node) for node in rng.choice(self.nodes, 3, replace=False))
            ohm, fraction = float(rng.choice([250e3, 500e3])), float(rng.uniform(0.01, 0.99))
            self._add_resistor((clockwise, wiper), ohm * (1 - fraction))
            self._add_resistor((wiper, counter), ohm * fraction)
        for _ in range(int(rng.integers(1, 5))):
            first, second = (str(node) for node in rng.choice(self.nodes, 2, replace=False))
            self._add_capacitor((first, second), float(10 ** rng.uniform(-10.5, -7.5)))

    def _wind_coils(self) -> None:
        rng, n = self.rng, self.n_coils
        self.inductance = rng.uniform(1.0, 5.0, n)
        self.resistance = rng.uniform(2e3, 9e3, n)
        self.coupling = rng.uniform(-0.2, 0.2, (n, n))
        self.to_loop, self.tau = rng.uniform(0.1, 0.4, n), float(10 ** rng.uniform(-5.3, -4))
        self.to_exciter, self.loop_to_exciter = rng.uniform(-0.03, 0.03, n), float(rng.uniform(0, 0.02))
        self.netlist += ["Le e 0 1m", f"Re e 0 {1e-3 / self.tau!r}", f"Kxe Lx Le {self.loop_to_exciter!r}"]
        for i, (first, second) in enumerate(self.coils):
            ends = spice((first, f"m{i}"))
            self.netlist += [f"Rc{i} {ends} {self.resistance[i]}", f"Lc{i} m{i} {spice((second,))} {self.inductance[i]}"]
            self.netlist += [f"Kx{i} Lx Lc{i} {self.to_exciter[i]}", f"Ke{i} Le Lc{i} {self.to_loop[i]}"]
            self.netlist += [f"Kc{j}_{i} Lc{j} Lc{i} {self.coupling[j, i]}" for j in range(i)]

    def elements(self, s: ComplexArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """Admittance (b, m), impedance (c, c, m) and EMF (c, m)."""
        admittance = np.outer(self.conductances, np.ones_like(s)) + np.outer(self.capacitances, s)
        turn = evaluate_profile("loop", s, tau_s=self.tau).value
        root = np.sqrt(np.outer(self.inductance, self.inductance))
        impedance = np.empty((self.n_coils, self.n_coils, len(s)), dtype=complex)
        for i in range(self.n_coils):
            frequency, loops = s.imag / (2 * np.pi), [(self.to_loop[i], self.tau)]
            impedance[i, i] = coil_impedance(
                frequency, inductance_h=self.inductance[i], resistance_ohm=self.resistance[i], eddy_loops=loops
            )
            for j in range(i):
                through_loop = self.to_loop[i] * self.to_loop[j] * turn
                impedance[i, j] = impedance[j, i] = s * root[i, j] * (self.coupling[j, i] - through_loop)
        direct = self.to_exciter[:, None] - self.loop_to_exciter * self.to_loop[:, None] * turn
        return admittance, impedance, s * np.sqrt(1e-3 * self.inductance)[:, None] * direct


def spice(ends: Sequence[str]) -> str:
    return " ".join("0" if node == GROUND else node for node in ends)


@needs_ngspice
@pytest.mark.parametrize("seed", range(30))
def test_random_networks_against_simulator(tmp_path: Path, seed: int) -> None:
    drawn = RandomNetwork(seed)
    vectors = [f"v({drawn.output})", *(f"i(lc{i})" for i in range(drawn.n_coils))]
    frequency, (voltage, *currents) = simulate(tmp_path, drawn.netlist, vectors, "dec 8 20 20k")
    admittance, impedance, emf = drawn.elements(2j * np.pi * frequency)
    network = build_network(drawn.branches, drawn.coils, drawn.output)
    ours = solve_network(network, admittance=admittance, impedance=impedance, emf=emf)
    assert np.max(np.abs(voltage)) > 1e-6 * np.max(np.abs(emf))
    # where parts cancel the voltage passes near 0, so also against its largest value
    np.testing.assert_allclose(ours.voltage, voltage, rtol=TOLERANCE, atol=1e-12 * np.max(np.abs(voltage)))
    for i, current in enumerate(currents):  # the simulator counts current into the first end
        np.testing.assert_allclose(ours.coil_current[i], -current, rtol=TOLERANCE, atol=1e-12 * np.max(np.abs(current)))
