"""A pickup at the jack by hand: V = s e / (1 + Z Y), everything across it in parallel."""

import numpy as np
import pytest

from fit.estimate.at_jack import Jack, jack_network
from fit.estimate.coils import Circumstances
from fit.estimate.parameters import PickupModel

FREQUENCY_HZ = np.array([100.0, 1000.0, 5000.0, 12e3])
S = 2j * np.pi * FREQUENCY_HZ
P = {
    "log_inductance": np.log(2.5),
    "log_resistance": np.log(7e3),
    "log_winding_capacitance": np.log(1.2e-10),
    "share_0_0": np.log(0.2 / 0.8),
    "log_tau_0_0": np.log(2e-5),
    "field_0_0": 0.6,
    "log_input_resistance": np.log(1e6),
    "log_input_capacitance": np.log(4e-10),
    "loss_input_capacitance": 0.02,
    "log_added_0": np.log(1e-9),
    "loss_added_0": 0.004,
    "log_added_1": np.log(1.5e5),
}
MASKS = {"log_added_0": (True, np.array([0.0, 1, 1, 1])), "log_added_1": (False, np.array([1.0, 1, 0, 0]))}
JACK = Jack(
    model=PickupModel(eddies=(("loop",),)),
    s=S,
    part_masks=MASKS,
    circumstances=Circumstances(warmth=np.array([1.0, 1.0, 1.01, 1.01])),
)


def by_hand():
    loop = S * 2e-5 / (1 + S * 2e-5)
    z = 7e3 * np.array([1.0, 1.0, 1.01, 1.01]) + S * 2.5 * (1 - 0.2 * loop)
    turn = S / (2 * np.pi * 1000)
    y = S * 1.2e-10 + 1e-6 + S * 4e-10 * turn ** (-0.04 / np.pi)
    y = y + MASKS["log_added_0"][1] * S * 1e-9 * turn ** (-0.008 / np.pi) + MASKS["log_added_1"][1] / 1.5e5
    return S * (1 - 0.6 * loop) / (1 + z * y)


def test_response_by_hand():
    found, _ = JACK.evaluate(P)
    np.testing.assert_allclose(found, by_hand(), rtol=1e-12)


@pytest.mark.parametrize("name", P)
def test_rows_against_differences(name):
    _, rows = JACK.evaluate(P)
    step = 1e-3
    logs = [np.log(JACK.evaluate(P | {name: P[name] + n * step})[0] / by_hand()) for n in (-2, -1, 1, 2)]
    slope = (logs[0] - 8 * logs[1] + 8 * logs[2] - logs[3]) / (12 * step)
    np.testing.assert_allclose(rows[name], slope, rtol=1e-7, atol=1e-10)


def test_two_coils_stand_in_series():
    assert jack_network(1).nodes == ("tip",)
    network = jack_network(2)
    assert network.nodes == ("tip", "middle")
    assert network.branch_ends == ((0, 1), (1, -1), (0, -1))
    assert network.coil_ends == network.branch_ends[:2]
    assert network.output == 0
