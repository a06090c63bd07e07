"""Notes, corners and resonances against published or hand-computed frequencies."""

import numpy as np
import pytest

from fit.circuit.coil import CoilValues
from fit.circuit.network import build_network, solve_network
from fit.desk.show.words import note_frequency_hz, note_name
from fit.estimate.resonance import find_pole

# Equal temperament from A4 = 440 Hz (ISO 16, from memory); the open strings, and the 22nd fret of the highest.
NOTES = [
    ("E2", 82.4069),
    ("A2", 110.0),
    ("D3", 146.8324),
    ("G3", 195.9977),
    ("B3", 246.9417),
    ("E4", 329.6276),
    ("A4", 440.0),
    ("D6", 1174.6591),
]


@pytest.mark.parametrize(("name", "frequency_hz"), NOTES)
def test_notes_of_the_strings(name: str, frequency_hz: float) -> None:
    assert note_frequency_hz(name) == pytest.approx(frequency_hz, abs=5e-5)  # printed with four decimals
    for cents in (-49.0, 0.0, 49.0):
        assert note_name(frequency_hz * 2 ** (cents / 1200)) == name


def test_twenty_second_fret_is_22_semitones_up() -> None:
    assert note_frequency_hz("D6") / note_frequency_hz("E4") == pytest.approx(2 ** (22 / 12), rel=1e-14)
    assert note_frequency_hz("E4") / note_frequency_hz("E2") == pytest.approx(4.0, rel=1e-14)


# 1/(2πRC) with 22 nF, as quoted in the trade: common practice, no source; by hand.
@pytest.mark.parametrize(("ohm", "corner_hz"), [(250e3, 28.937), (25e3, 289.37), (2.5e3, 2893.7), (250.0, 28937.0)])
def test_corner_of_a_resistor_and_a_capacitor(ohm: float, corner_hz: float) -> None:
    network = build_network([("tip", "ground")], [("tip", "ground")], "tip")
    capacitor = np.array([[2j * np.pi * corner_hz * 22e-9]])
    solution = solve_network(network, admittance=capacitor, impedance=np.full((1, 1, 1), ohm + 0j), emf=np.ones((1, 1), complex))
    assert abs(solution.voltage[0]) == pytest.approx(np.sqrt(0.5), rel=2e-5)  # the corners are printed with five digits
    assert np.degrees(np.angle(solution.voltage[0])) == pytest.approx(-45.0, abs=1e-3)


# 1/(2π√(LC)), by hand
RESONANCES = [(2.2, 110e-12, 10230.9), (4.5, 100e-12, 7502.6), (2.5, 670e-12, 3888.8)]


@pytest.mark.parametrize(("inductance_h", "capacitance_f", "frequency_hz"), RESONANCES)
def test_pole_of_a_coil_of_little_resistance(inductance_h: float, capacitance_f: float, frequency_hz: float) -> None:
    coil = CoilValues(
        inductance_h=inductance_h, resistance_ohm=1e-3, winding_capacitance_f=capacitance_f, excitation=1.0, eddies=()
    )
    s, _ = find_pole(coil, capacitance_f=capacitance_f)
    assert s.imag / (2 * np.pi) == pytest.approx(frequency_hz, abs=0.05)  # printed with one decimal
    assert -s.real == pytest.approx(1e-3 / (2 * inductance_h), rel=1e-4)


# Roots of LCs² + (RC + LG)s + (1 + RG) = 0, by hand.
@pytest.mark.parametrize(("resistance_ohm", "conductance_s"), [(8e3, 0.0), (8e3, 1e-6), (40e3, 4e-6)])
def test_pole_of_a_lossy_coil_is_the_root_of_its_quadratic(resistance_ohm: float, conductance_s: float) -> None:
    inductance_h, capacitance_f = 3.0, 300e-12
    coil = CoilValues(
        inductance_h=inductance_h,
        resistance_ohm=resistance_ohm,
        winding_capacitance_f=capacitance_f,
        excitation=1.0,
        eddies=(),
    )
    middle = resistance_ohm * capacitance_f + inductance_h * conductance_s
    root = np.roots([inductance_h * capacitance_f, middle, 1 + resistance_ohm * conductance_s])[0]
    s, slope = find_pole(coil, capacitance_f=capacitance_f, conductance_s=conductance_s)
    assert s.real == pytest.approx(root.real, rel=1e-10)
    assert s.imag == pytest.approx(abs(root.imag), rel=1e-10)
    assert slope == pytest.approx(2 * inductance_h * capacitance_f * s + middle, rel=1e-10)


def test_overdamped_coil_has_no_pole_of_that_kind() -> None:
    coil = CoilValues(inductance_h=3.0, resistance_ohm=1e6, winding_capacitance_f=1e-10, excitation=1.0, eddies=())
    with pytest.raises(ValueError, match="no oscillating resonance: its losses are too high"):
        find_pole(coil, capacitance_f=1e-9)
