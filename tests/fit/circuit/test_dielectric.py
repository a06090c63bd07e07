"""Constant loss tangents: by the law they follow, and as resistors and capacitors."""

import numpy as np
import pytest

from fit.circuit.dielectric import BAND_HZ, NETWORK_ERROR, capacitor_admittance, loss_network


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
