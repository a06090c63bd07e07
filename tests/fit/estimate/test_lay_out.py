"""Takes of an instrument laid out: which parts count where, under which names, and the response by hand."""

from dataclasses import replace

import numpy as np
import pytest

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.lay_out import instrument_of, models_of, placed_after
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from tests.laid_out import MODES, ONE, TWO, P, S, evidence_of, take, wired


def test_every_pickup_has_its_circuit():
    loop = PickupModel(eddies=(("loop",),))
    assert models_of(evidence_of(TWO), loop) == {"bridge": loop, "neck": loop}
    assert models_of(evidence_of(MODES), loop)["bridge"].eddies == (("loop",), ("loop",))
    two = PickupModel(eddies=(("loop",), ("spread",)))
    assert models_of(evidence_of(ONE), two)["bridge"].eddies == (("loop",), ("loop",))
    assert models_of(evidence_of(None), loop) == {"pickup": loop}


def test_where_nothing_is_stated_a_pickup_is_straight_at_the_jack():
    (pickup,) = instrument_of(evidence_of(None)).pickup.values()
    assert pickup.ends == ("tip", "ground")
    assert instrument_of(evidence_of(TWO)) is TWO


def test_a_pickup_at_the_jack_by_hand():
    voltage, _ = wired(None, take(None)).evaluate(P)
    expected = S / (1 + (8e3 + 4 * S) * (S * 5e-10 + 1e-6))
    np.testing.assert_allclose(voltage, expected, rtol=1e-12)


def test_tone_down_by_hand():
    laid = wired(ONE, take(ONE, stated={"tone": "0"}))
    # the tone pot's ohms left at 0, and the volume pot's at 10, between the coil and the tip
    assert "stop.tone@0" in laid.names
    voltage, _ = laid.evaluate(P)
    coil, winding = 8e3 + 4 * S, S * 1e-10
    tone = 1 / (50 + 1 / (S * 2.2e-8))
    load = S * 4e-10 + 1e-6
    left = 20.0
    whole = 5e5 - left  # of the volume's track, what is not between wiper and cw
    below = load + 1 / whole
    at_hot = winding + tone + below / (1 + left * below)
    expected = S / (1 + coil * at_hot) / (1 + left * below)
    np.testing.assert_allclose(voltage, expected, rtol=1e-9)


def test_volume_down_by_hand():
    laid = wired(ONE, take(ONE, stated={"volume": "5"}))
    assert {"logit_pot.volume@5", "log_pot.volume", "log_pot.tone", "reach.tone@10"} <= set(laid.names)
    assert "stop.tone@10" not in laid.names  # no part lies between the wiper and a lug that is not used
    voltage, _ = laid.evaluate(P)
    coil, lower, upper = 8e3 + 4 * S, 1 / 1.5e5 + S * 4e-10 + 1e-6, 3.5e5
    tone = 1 / (4e5 * 0.98 + 1 / (S * 2.2e-8))
    at_hot = S * 1e-10 + tone + lower / (1 + upper * lower)
    np.testing.assert_allclose(voltage, S / (1 + coil * at_hot) / (1 + upper * lower), rtol=1e-9)


def test_an_impedance_is_driven_through_its_resistor():
    series = parse_quantity("100k ± 1%", "Ω")
    one = take(None, method="impedance", series_resistor=series)
    voltage, rows = wired(None, one).evaluate(P | {"log_series_0": np.log(1e5)})
    admittance = S * 5e-10 + 1e-6 + 1 / (8e3 + 4 * S)
    np.testing.assert_allclose(voltage, 1 / (1 + 1e5 * admittance), rtol=1e-12)
    np.testing.assert_allclose(rows["log_series_0"], -1e5 * admittance / (1 + 1e5 * admittance), rtol=1e-9)
    # measured elsewhere: without cable and input
    voltage, rows = wired(None, replace(one, is_loaded=False)).evaluate(P | {"log_series_0": np.log(1e5)})
    np.testing.assert_allclose(voltage, 1 / (1 + 1e5 * (S * 1e-10 + 1 / (8e3 + 4 * S))), rtol=1e-12)
    assert "log_input_resistance" not in rows


def test_a_foil_drives_a_current():
    voltage, _ = wired(None, take(None, method="plate")).evaluate(P)
    np.testing.assert_allclose(voltage, S / (S * 5e-10 + 1e-6 + 1 / (8e3 + 4 * S)), rtol=1e-6)


def test_a_job_may_lay_a_capacitance_across_the_pickup():
    laid = wired(None, take(None), take(None, "after", is_after=True))
    assert "shunt" in laid.names
    changed = {"shunt": 2.0, "warmer_after": 0.1, "change_log_inductance": -0.2}
    voltage, _ = laid.evaluate(P | changed)
    before = S / (1 + (8e3 + 4 * S) * (S * 5e-10 + 1e-6))
    after = S / (1 + (8e3 * np.exp(0.1) + 4 * np.exp(-0.2) * S) * (S * 7e-10 + 1e-6))
    np.testing.assert_allclose(voltage, np.concatenate([before, after]), rtol=1e-12)


def test_parts_across_the_jack_count_in_their_takes_alone():
    added = [(), (("log_added_0", True),)]
    laid = wired(None, take(None), take(None, "plus"), added=added)
    assert len(laid.sets) == 1
    voltage, rows = laid.evaluate(P | {"log_added_0": np.log(1e-9), "loss_added_0": 0.0})
    expected = [S / (1 + (8e3 + 4 * S) * (S * (5e-10 + farad) + 1e-6)) for farad in (0.0, 1e-9)]
    np.testing.assert_allclose(voltage, np.concatenate(expected), rtol=1e-12)
    assert not rows["log_added_0"][:3].any()
    assert rows["log_added_0"][3:].all()


def test_two_coils_in_series_whose_middle_is_not_led_out():
    laid = wired(ONE, take(ONE), model=PickupModel(eddies=((), ())))
    (group,) = laid.sets
    assert group.wiring.coils == ("bridge", "bridge.second")
    assert laid.models["bridge"].eddies == ((), ())


BOTH = {"selector": "both", "bridge-volume": "5", "neck-volume": "5"}


def test_pickups_beside_the_exciter_leak_by_placement():
    takes = (
        take(TWO, "one", stated=BOTH, coil_over="bridge"),
        take(TWO, "two", stated=BOTH, coil_over="bridge"),
        take(TWO, "three", stated=BOTH, coil_over="neck", coil_moved=True),
    )
    laid = wired(TWO, *takes)
    assert laid.suffixes == {"bridge": "@bridge", "neck": "@neck"}
    assert {name for name in laid.names if name.startswith("leak")} == {"leak_0@neck", "leak_1@bridge"}
    (group,) = laid.sets
    drives = {drive.pickup: drive for drive in group.drives}
    assert drives["bridge"].is_under.tolist() == [1.0] * 6 + [0.0] * 3
    assert drives["neck"].is_under.tolist() == [0.0] * 6 + [1.0] * 3
    ((name, mask),) = drives["neck"].leaks
    assert (name, mask.tolist()) == ("leak_0@neck", [1.0] * 6 + [0.0] * 3)
    assert {term.name for term in group.terms if term.is_winding} == {"bridge", "neck"}


def test_only_pickups_that_are_felt_are_kept():
    stated = {"selector": "bridge", "bridge-volume": "10"}
    laid = wired(TWO, take(TWO, stated=stated, coil_over="bridge"))
    assert set(laid.models) == set(laid.circumstances) == {"bridge"}
    assert not any("neck" in name for name in laid.names)


def test_the_exciter_over_a_pickup_that_is_not_connected_is_refused():
    stated = {"selector": "bridge", "bridge-volume": "10"}
    with pytest.raises(ValueError, match="take wrong: the exciter stood over neck, which is not connected at these settings"):
        wired(TWO, take(TWO, "wrong", stated=stated, coil_over="neck"))


def test_silence_is_refused():
    silent = read_instrument(layout_text("one-pickup").replace('wiper = "tip"', 'wiper = "out"') + OUT_OF_THE_WAY)
    with pytest.raises(ValueError, match="take off: with its controls set so, nothing reaches the jack"):
        wired(silent, take(silent, "off", stated={"mode": "off"}))


OUT_OF_THE_WAY = """
[switch.mode.positions]
off = []
on = [["out", "tip"]]
"""


def test_placements_after_the_first_over_a_pickup():
    takes = (
        take(None, "a", coil_over="neck"),
        take(None, "b", coil_over="neck"),
        take(None, "c", coil_over="bridge", coil_moved=True),
        take(None, "d", coil_over="neck", coil_moved=True),
        take(None, "e", method="plate"),
    )
    of_point = np.repeat(np.arange(5), 2)
    ((name, mask),) = placed_after(evidence_of(None, *takes), "neck", of_point)
    assert (name, mask.tolist()) == ("2", [0.0] * 6 + [1.0] * 2 + [0.0] * 2)
    assert placed_after(evidence_of(None, *takes), "bridge", of_point) == ()


def test_temperatures_reach_the_windings():
    takes = take(None, temperature_c=20.0), take(None, "warm", temperature_c=30.0)
    np.testing.assert_allclose(wired(None, *takes).circumstances["pickup"].warmth, [1.0] * 3 + [1.0393] * 3, rtol=1e-12)


def test_a_leak_across_a_capacitor_has_a_parameter_and_a_shunt_has_none():
    laid = wired(ONE, take(ONE, stated={"tone": "0"}), take(ONE, "after", stated={"tone": "0"}, is_after=True))
    assert "across_capacitor.tone" in laid.names
    assert "loss_capacitor.tone" in laid.names
    assert [name for name in laid.names if "shunt" in name] == ["shunt"]
    # two millionths of a siemens across the tone capacitor
    leaky, plain = (laid.evaluate(P | {"shunt": 0.0, "across_capacitor.tone": value})[0] for value in (2.0, 0.0))
    assert np.abs(leaky / plain - 1).max() > 1e-5


def test_takes_of_one_network_keep_their_points():
    takes = (take(ONE, "five", stated={"volume": "5"}), take(ONE), take(ONE, "seven", stated={"volume": "7"}))
    laid = wired(ONE, *takes)
    places = [np.arange(9)[group.points].tolist() for group in laid.sets]
    assert sorted(places) == [[0, 1, 2, 6, 7, 8], [3, 4, 5]]
    p = P | {"logit_pot.volume@7": np.log(0.5 / 0.5)}
    together, _ = laid.evaluate(p)
    alone = [wired(ONE, one).evaluate(p)[0] for one in takes]
    np.testing.assert_allclose(together, np.concatenate(alone), rtol=1e-12)
