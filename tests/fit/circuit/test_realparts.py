"""What a part has beside its value: names, and what of it counts where."""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.realparts import (
    capacitor_leaks,
    capacitor_tangents,
    is_beside,
    is_linear,
    leak_key,
    loss_key,
    owner_of,
    segment_ohm,
    stops_among,
)
from fit.circuit.transfers import solve_instrument
from fit.circuit.wiring import Passive
from tests.real_networks import ONE_PICKUP, drawn_values

FREQUENCY_HZ = np.geomspace(25.0, 19e3, 40)


def solve_at(controls, more):
    case = Case(settings=read_settings(ONE_PICKUP, controls), frequency_hz=FREQUENCY_HZ)
    return solve_instrument(ONE_PICKUP, [case], values=drawn_values(ONE_PICKUP) | more)[0]


def test_a_stop_counts_only_where_the_pot_stands_there():
    ideal = solve_at({"tone": "0"}, {})
    np.testing.assert_array_equal(solve_at({"tone": "0"}, {"pot.tone.stop_10": 300.0}).voltage, ideal.voltage)
    left = solve_at({"tone": "0"}, {"pot.tone.stop_0": 300.0})
    assert np.max(np.abs(left.voltage / ideal.voltage - 1)) > 1e-3
    assert "pot.tone.stop_0" in left.by_log
    np.testing.assert_array_equal(
        solve_at({"tone": "5"}, {"pot.tone.stop_0": 300.0}).voltage, solve_at({"tone": "5"}, {}).voltage
    )


def test_nothing_left_and_nothing_lost_is_the_ideal_part():
    nothing = {"pot.tone.stop_0": 0.0, "pot.volume.stop_10": 0.0, "capacitor.tone.loss_tangent": 0.0, "input.loss_tangent": 0.0}
    found = solve_at({"tone": "0"}, nothing | {"capacitor.tone.leak": 1e15})
    # 0.01 Ω stand for none, in series with the 380 Ω of the capacitor at the highest frequency
    np.testing.assert_allclose(found.voltage, solve_at({"tone": "0"}, {}).voltage, rtol=1e-4)
    assert np.isfinite(found.by_log["pot.tone.stop_0"]).all()
    assert np.abs(found.by_log["capacitor.tone.loss_tangent"]).max() > 0.01


# A volume pot shorts the output at 0, unless it is known that ohms are left there.
def test_what_is_left_of_a_volume_pot_is_heard():
    assert not solve_at({"volume": "0"}, {}).voltage.any()
    heard = solve_at({"volume": "0"}, {"pot.volume.stop_0": 50.0}).voltage[0]
    assert np.abs(heard[0]) == pytest.approx(50 / 500e3, rel=0.1)


def test_names_of_values_and_their_parts():
    assert owner_of("pot.tone.stop_0") == owner_of("pot.tone@7") == owner_of("pot.tone") == "pot.tone"
    assert owner_of("capacitor.tone.loss_tangent") == owner_of("capacitor.tone.leak") == "capacitor.tone"
    assert owner_of("input.loss_tangent") == "input.capacitance"
    assert owner_of("bridge.eddy_loop_1.corner") == "bridge.eddy_loop_1.corner"
    assert not is_linear("capacitor.tone.leak")


def test_names_of_what_is_beside_a_value():
    assert loss_key("capacitor.tone") == "capacitor.tone.loss_tangent"
    assert loss_key("input.capacitance") == "input.loss_tangent"
    assert leak_key("capacitor.tone") == "capacitor.tone.leak"
    beside = ["pot.tone.stop_0", "pot.tone.stop_10", "capacitor.tone.loss_tangent", "input.loss_tangent", "capacitor.tone.leak"]
    assert [is_beside(name) for name in beside] == [True] * 5
    assert [is_linear(name) for name in beside] == [True] * 4 + [False]
    assert not any(
        is_beside(name) or is_linear(name) for name in ("pot.tone", "capacitor.tone", "input.capacitance", "pot.tone@7")
    )
    assert owner_of("pot.tone.stop_10") == "pot.tone"
    assert owner_of("resistor.bleed") == "resistor.bleed"


def test_what_is_known_by_its_owner():
    values = {"pot.tone": 250e3, "pot.tone.stop_0": 40.0, "capacitor.tone.loss_tangent": 0.01, "input.loss_tangent": 0.02}
    values |= {"capacitor.tone.leak": 1e6, "pot.volume.stop_10": 3.0}
    assert stops_among(values) == {"pot.tone.stop_0", "pot.volume.stop_10"}
    assert capacitor_tangents(values) == {"capacitor.tone": 0.01, "input.capacitance": 0.02}
    assert capacitor_leaks(values) == {"capacitor.tone": 1e6}


def pot_part(side, stop=""):
    return Passive(key="pot.tone", is_capacitor=False, ends=("a", "b"), side=side, stop=stop)


@pytest.mark.parametrize(("side", "ohm"), [("", 200e3), ("ccw", 50e3), ("cw", 150e3)])
def test_segments_of_a_track(side, ohm):
    assert segment_ohm(pot_part(side), {"pot.tone": 200e3}, fraction=0.25) == pytest.approx(ohm, rel=1e-15)


@pytest.mark.parametrize(
    ("left", "at_stop", "rest"),
    [
        (80.0, 80.0, 200e3 - 80.0),
        (0.0, 0.01, 200e3),  # a hundredth of an ohm stands for nothing
        (-0.005, -0.01, 200e3 + 0.005),
        (-5.0, -5.0, 200e3 + 5.0),
        (199.95e3, 199.95e3, 200.0),  # a thousandth of the track is left at least
        (300e3, 300e3, 200.0),
    ],
)
def test_ohms_left_at_a_stop(left, at_stop, rest):
    values = {"pot.tone": 200e3, "pot.tone.stop_0": left}
    assert segment_ohm(pot_part("stop", "pot.tone.stop_0"), values, fraction=0.0) == at_stop
    assert segment_ohm(pot_part("rest", "pot.tone.stop_0"), values, fraction=0.0) == pytest.approx(rest, rel=1e-12)
