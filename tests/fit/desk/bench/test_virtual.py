"""What lies on the virtual bench of a guide: parts within their bounds, controls and added parts that act, a job that shows."""

import numpy as np
import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.bench.virtual import JOB_F, JOB_HUM, PICKUPS, TONE_CAPACITOR_F, bench_for, true_value, true_values
from measure.logbook.conditions import Conditions
from measure.quantity import parse_quantity

LOAD = {"input.resistance": parse_quantity("1M ± 1%"), "input.capacitance": parse_quantity("185p ± 3p")}
TWO = read_instrument(layout_text("two-pickups-tone-after"))
HZ = np.geomspace(50, 15e3, 80)


def gain(instrument=None, **stated):
    return np.abs(bench_for(Conditions(**stated), load=LOAD, instrument=instrument).pickup(HZ))


def test_a_stated_part_is_within_its_bound_but_not_what_is_written_on_it():
    for name in ("pot.volume", "pot.tone", "input.resistance", "added 1n"):
        stated = parse_quantity("1n ± 1%", "F")
        true = true_value(name, stated)
        assert true == true_value(name, stated)
        assert 0 < abs(true - stated.value) < stated.bound


def test_nothing_is_invented_of_what_is_not_stated():
    with pytest.raises(ValueError, match=r"^pot\.volume: nothing is stated of it"):
        true_value("pot.volume", None)


def test_a_marked_capacitor_is_what_this_bench_invents():
    text = layout_text("one-pickup")
    assert "22n" in text
    for marking in ("22n", "47n"):
        guitar = read_instrument(text.replace("22n", marking))
        assert true_values(guitar, LOAD)["capacitor.tone"] == TONE_CAPACITOR_F


def test_pickups_are_those_of_the_bench_and_the_job_adds_to_each_winding():
    before, after = (true_values(TWO, LOAD, is_after=is_after) for is_after in (False, True))
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"bridge.winding_capacitance", "neck.winding_capacitance"}
    for name in ("bridge", "neck"):
        assert before[f"{name}.inductance"] == PICKUPS[name][0]
        assert after[f"{name}.winding_capacitance"] - before[f"{name}.winding_capacitance"] == pytest.approx(JOB_F)


@pytest.mark.parametrize("instrument", [None, TWO])
def test_a_capacitor_across_the_jack_pulls_the_resonance_down(instrument):
    assert HZ[np.argmax(gain(instrument, added="1n ± 1%"))] < HZ[np.argmax(gain(instrument))]


@pytest.mark.parametrize("instrument", [None, TWO])
def test_a_resistor_across_the_jack_damps(instrument):
    assert np.max(gain(instrument, added="47k ± 1%")) < 0.8 * np.max(gain(instrument))


def test_controls_act_and_the_coil_is_over_one_pickup():
    up = {"selector": "bridge"}
    over = gain(TWO, controls=up, coil_over="bridge")
    assert np.max(gain(TWO, controls=up | {"bridge-tone": "0"}, coil_over="bridge")[HZ > 2000]) < 0.5 * np.max(over)
    leak = gain(TWO, controls=up, coil_over="neck") / over
    assert np.all(leak < 0.1)


def test_the_neck_has_its_leads_exchanged():
    """Far below the resonance both at once take from each other."""
    low = np.array([100.0])
    sides = [
        bench_for(Conditions(coil_over=name, controls={"selector": name}), load=LOAD, instrument=TWO).pickup(low)[0]
        for name in ("bridge", "neck")
    ]
    assert np.real(sides[0] / sides[1]) < 0


def test_the_job_takes_most_of_the_hum():
    before, after = (bench_for(Conditions(is_after=one), load=LOAD).noise.pickup_hum for one in (False, True))
    np.testing.assert_allclose(after, np.multiply(before, JOB_HUM))
