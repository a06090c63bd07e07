"""The coil from the drawer could be one."""

import numpy as np
import pytest

from fit.desk.bench.drawer import Drawer, pickup_response


def test_loss_of_the_demo_is_passive_and_dies_out_at_dc():
    drawer = Drawer()
    frequency_hz = np.geomspace(1, 100e3, 400)
    s = 2j * np.pi * frequency_hz
    power = (s * drawer.loss_tau_s) ** drawer.loss_order
    lost = s * drawer.inductance_h * drawer.loss * power / (1 + power)
    assert np.all(np.real(-lost) > 0)
    bare = pickup_response(drawer, np.array([0.0, 1.0]), added_f=0.0)
    assert bare[0] == 0
    assert bare[1] == pytest.approx(1e-3j, rel=0.01)
