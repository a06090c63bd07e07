"""A pickup as a oneport: impedance and gain by hand, its impulse response."""

import numpy as np
import pytest

from fit.answers.netlist.oneport import NetPickup, emf_shares, impulse_response, pickup_gain, pickup_impedance
from fit.circuit.coil import CoilValues

FREQUENCY_HZ = np.geomspace(20.0, 20e3, 40)
S = 2j * np.pi * FREQUENCY_HZ


def coil(henry=3.0, ohm=6e3, farad=100e-12):
    return CoilValues(inductance_h=henry, resistance_ohm=ohm, winding_capacitance_f=farad, excitation=1.0, eddies=())


ONE = NetPickup(name="one", coils=(coil(),))
TWO = NetPickup(name="two", coils=(coil(3.0, 4e3, 0.0), coil(1.0, 2e3, 0.0)), coupling=0.2)


def test_impedance_of_one_coil():
    series = 6e3 + S * 3.0
    np.testing.assert_allclose(pickup_impedance(ONE, FREQUENCY_HZ), series / (1 + S * 100e-12 * series), rtol=1e-12)


def test_impedance_of_two_coils_in_series():
    # La + Lb + 2k√(La·Lb)
    series = 6e3 + S * (4.0 + 2 * 0.2 * np.sqrt(3.0))
    np.testing.assert_allclose(pickup_impedance(TWO, FREQUENCY_HZ), series, rtol=1e-12)
    apart = NetPickup(name="apart", coils=(coil(), coil(1.0, 2e3, 50e-12)))
    first, second = 6e3 + S * 3.0, 2e3 + S * 1.0
    each = first / (1 + S * 100e-12 * first), second / (1 + S * 50e-12 * second)
    np.testing.assert_allclose(pickup_impedance(apart, FREQUENCY_HZ), each[0] + each[1], rtol=1e-12)


def test_gain_behind_cable_and_input():
    series, load = 6e3 + S * 3.0, 1 / 1e6 + S * 470e-12
    found = pickup_gain(ONE, FREQUENCY_HZ, input_ohm=1e6, input_f=470e-12)
    np.testing.assert_allclose(found, 1 / (1 + series * (S * 100e-12 + load)), rtol=1e-12)
    series = 6e3 + S * (4.0 + 0.4 * np.sqrt(3.0))  # a volt in both together
    np.testing.assert_allclose(
        pickup_gain(TWO, FREQUENCY_HZ, input_ohm=1e6, input_f=470e-12), 1 / (1 + series * load), rtol=1e-12
    )


def test_gain_behind_a_lossy_cable():
    # At 1 kHz the loss is a conductance of ωC·tan δ beside the capacitance.
    at = np.array([1e3])
    s = 2j * np.pi * at
    found = pickup_gain(ONE, at, input_ohm=1e6, input_f=470e-12, input_tangent=0.02)
    load = 1 / 1e6 + s * 470e-12 * (1 - 0.02j)
    np.testing.assert_allclose(found, 1 / (1 + (6e3 + s * 3.0) * (s * 100e-12 + load)), rtol=5e-5)  # the loss: 1e-3


def test_a_volt_is_shared_as_the_inductances():
    assert emf_shares(TWO) == [0.75, 0.25]
    assert emf_shares(ONE) == [1.0]


def test_a_pure_delay_is_said_and_left_out():
    found = impulse_response(lambda f: 0.5 * np.exp(-2j * np.pi * f * 30e-6), rate_hz=48e3)
    np.testing.assert_allclose(found.samples, [0.5, 0.0], atol=1e-12)
    assert found.early_s == pytest.approx(30e-6, rel=1e-9)
    assert found.level_error_db < 1e-9
    assert found.phase_error_degree < 1e-6


def test_impulse_response_of_a_pole():
    # h = 0.5·0.9ⁿ: down to a millionth after 131 samples, so 256 are kept.
    def gain(frequency_hz):
        return 0.5 / (1 - 0.9 * np.exp(-2j * np.pi * frequency_hz / 48e3))

    found = impulse_response(gain, rate_hz=48e3)
    assert len(found.samples) == 256
    np.testing.assert_allclose(found.samples, 0.5 * 0.9 ** np.arange(256), atol=1e-9)
    assert abs(found.early_s) < 1e-12
    assert found.level_error_db < 1e-4


# The phase of a zero outside the circle is not that of a minimum-phase filter: 1 + 2·e^{−jωT} against 2 + e^{−jωT}.
def test_what_is_not_of_minimum_phase_is_measured():
    found = impulse_response(lambda f: 1 + 2 * np.exp(-2j * np.pi * f / 48e3), rate_hz=48e3)
    np.testing.assert_allclose(found.samples[:2], [2.0, 1.0], atol=1e-9)
    assert found.level_error_db < 1e-9
    assert found.early_s == pytest.approx(1 / 48e3 / 3, rel=0.3)  # (1 − 2·e^{…})… at low frequencies: group delays 2/3 and 1/3
    assert 0.1 < found.phase_error_degree < 10
