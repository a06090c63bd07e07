"""Constant loss tangents: by the law they follow, and as resistors and capacitors."""

import numpy as np
import pytest

from fit.circuit import dielectric
from fit.circuit.dielectric import BAND_HZ, NETWORK_ERROR, capacitor_admittance, log_turn, loss_network


@pytest.mark.parametrize("tangent", [1e-4, 2e-3, 2e-2, 5e-2])
def test_resistors_and_capacitors_that_stand_for_a_loss_tangent(tangent):
    network = loss_network(capacitance_f=22e-9, loss_tangent=tangent)
    assert min(network.capacitance_f, network.resistance_ohm, *(value for pair in network.branches for value in pair)) > 0
    frequency_hz = np.geomspace(*BAND_HZ, 77)
    s = 2j * np.pi * frequency_hz
    admittance = 1 / network.resistance_ohm + s * network.capacitance_f
    admittance += sum(1 / (ohm + 1 / (s * farad)) for ohm, farad in network.branches)
    wanted = capacitor_admittance(frequency_hz, capacitance_f=22e-9, loss_tangent=tangent)
    off = np.max(np.abs(admittance / wanted - 1))
    assert 0.2 * network.error < off < 1.05 * network.error < 1.05 * NETWORK_ERROR


def test_the_turn_is_counted_from_1_khz():
    s = 2j * np.pi * 1000.0 * np.array([1.0, np.e, 1 / np.e])
    np.testing.assert_allclose(log_turn(s), 0.5j * np.pi + np.array([0.0, 1.0, -1.0]), atol=1e-15)


# At 1 kHz (s/ω0)^(-2δ/π) is exp(-jδ): the admittance has the size of ωC, turned by δ towards a conductance.
def test_admittance_at_1_khz():
    (found,) = capacitor_admittance(np.array([1000.0]), capacitance_f=22e-9, loss_tangent=0.02)
    assert found == pytest.approx(2 * np.pi * 1000 * 22e-9 * (np.sin(0.02) + 1j * np.cos(0.02)), rel=1e-13)


def test_capacitance_falls_by_a_power_of_the_frequency():
    low, high = capacitor_admittance(np.array([1000.0, 10e3]), capacitance_f=1e-9, loss_tangent=0.03)
    assert abs(high / low) == pytest.approx(10 ** (1 - 0.06 / np.pi), rel=1e-13)
    assert np.angle(high) == pytest.approx(np.angle(low), rel=1e-13)  # the same loss tangent everywhere


def test_without_loss_it_is_a_capacitor():
    frequency_hz = np.array([20.0, 440.0, 20e3])
    found = capacitor_admittance(frequency_hz, capacitance_f=47e-9, loss_tangent=0.0)
    np.testing.assert_allclose(found, 2j * np.pi * frequency_hz * 47e-9, rtol=1e-14)


def test_no_more_branches_than_are_called_for(monkeypatch):
    enough = loss_network(capacitance_f=22e-9, loss_tangent=0.02)
    assert enough.error < NETWORK_ERROR
    fewer = loss_network_of_at_most(len(enough.branches) - 1, monkeypatch)
    assert len(fewer.branches) == len(enough.branches) - 1
    assert fewer.error > NETWORK_ERROR


def loss_network_of_at_most(n, monkeypatch):
    monkeypatch.setattr(dielectric, "MOST_BRANCHES", n)
    return loss_network(capacitance_f=22e-9, loss_tangent=0.02)


def test_branches_are_as_slow_as_the_band_and_slower_by_equal_steps():
    network = loss_network(capacitance_f=22e-9, loss_tangent=0.01)
    log_tau = np.log([ohm * farad for ohm, farad in network.branches])
    np.testing.assert_allclose(np.diff(log_tau), np.diff(log_tau)[0], rtol=1e-9)
    # half a step inside of what e^-m asks for beyond either end of 20 Hz to 20 kHz, m = π²/step
    step = np.diff(log_tau)[0]
    assert log_tau[0] == pytest.approx(-np.log(2 * np.pi * 20e3) - np.pi**2 / step + step / 2, rel=1e-9)
    assert log_tau[-1] == pytest.approx(-np.log(2 * np.pi * 20.0) + np.pi**2 / step - step / 2, rel=1e-9)
