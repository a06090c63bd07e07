"""Thermal noise of a pickup at the jack: 4kT Re Z, against a circuit simulator's noise analysis and SI's constant."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import scipy.constants

from fit.circuit.network import build_network, solve_network
from measure.response import FloatArray
from tests.plain_coil import coil_impedance

KELVIN = 300.15  # [K] the simulator's default of 27 °C
OLD_BOLTZMANN = 1.3806503e-23  # [J/K] CODATA 1998, which ngspice 39 still uses (from memory; the test finds the ratio itself)
LOAD_F, LOAD_OHM = 570e-12, 1e6


def impedance_at_jack(frequency_hz: FloatArray) -> FloatArray:
    """Real part of the impedance between tip and sleeve, by the network's own derivative: ∂V/∂Y = −V Z."""
    network = build_network([("tip", "ground")], [("tip", "ground")], "tip")
    coil = coil_impedance(frequency_hz, inductance_h=4.5, resistance_ohm=7900.0, eddy_loops=[(0.5, 1e-4)])
    load = 2j * np.pi * frequency_hz * LOAD_F + 1 / LOAD_OHM
    emf = np.ones((1, len(frequency_hz)), dtype=complex)
    solution = solve_network(network, admittance=load[None, :], impedance=coil[None, None, :], emf=emf)
    return -(solution.by_admittance[0] / solution.voltage).real


def density(frequency_hz: FloatArray) -> FloatArray:
    return np.sqrt(4 * scipy.constants.k * KELVIN * impedance_at_jack(frequency_hz))


def test_boltzmann_constant_is_exact():
    """SI 2019: k = 1.380649e-23 J/K; √(4kTR) of 10 kΩ at 293.15 K is 12.7238 nV/√Hz."""
    assert scipy.constants.k == 1.380649e-23
    assert np.sqrt(4 * scipy.constants.k * 293.15 * 10e3) == pytest.approx(12.7238e-9, rel=1e-5)


def test_noise_of_a_coil_with_an_eddy_loop_at_printed_values():
    """24.574 nV/√Hz at 2 kHz and a peak of 66.44 nV/√Hz near 3.56 kHz, as ngspice 39 prints them."""
    assert density(np.array([2000.0]))[0] == pytest.approx(24.574e-9, rel=1e-4)
    printed_at = 20.0 * 10 ** (np.arange(61) / 20)  # [Hz] 20 points a decade
    noise = density(printed_at)
    assert noise.max() == pytest.approx(66.44e-9, rel=2e-4)
    assert printed_at[np.argmax(noise)] == pytest.approx(3560, rel=0.002)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_noise_of_a_coil_with_an_eddy_loop_against_simulator(tmp_path: Path):
    netlist = [
        "noise of a pickup",
        *["I1 0 a AC 1", "R1 a b 7900", "L1 b 0 4.5", "L2 c 0 1m", "Rl c 0 10", "K1 L1 L2 0.5"],
        *["C1 a 0 570p", "Rld a 0 1MEG"],
        *[".control", "set numdgt=14", "set wr_singlescale", "noise v(a) I1 dec 20 20 20k 1", "setplot noise1"],
        *["wrdata out.txt onoise_spectrum", "quit", ".endc", ".end", ""],
    ]
    (tmp_path / "net.cir").write_text("\n".join(netlist))
    subprocess.run(["ngspice", "-b", "net.cir"], cwd=tmp_path, capture_output=True, timeout=20, check=False)
    table = np.loadtxt(tmp_path / "out.txt")
    ratio = density(table[:, 0]) / table[:, 1]
    # the same shape at every frequency; the level differs by the simulator's older k alone
    assert np.ptp(ratio) < 1e-6
    assert ratio.mean() == pytest.approx(np.sqrt(scipy.constants.k / OLD_BOLTZMANN), rel=1e-6)
