"""From settings to the network that matters: what is joined, what drops out, what is solved together."""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import each_pickup_alone, solve_harness, solve_instrument

FREQUENCY_HZ = np.geomspace(20, 20e3, 31)
S = 2j * np.pi * FREQUENCY_HZ
LOAD = {"input.resistance": 1e6, "input.capacitance": 470e-12}


def values_of(instrument):
    return {key: stated.quantity.value for key, stated in stated_values(instrument).items()} | LOAD


def harness_of(instrument, *stated):
    return build_harness(instrument, [Case(settings=read_settings(instrument, one), frequency_hz=FREQUENCY_HZ) for one in stated])


def coils_at(instrument, **stated):
    return harness_of(instrument, stated).groups[0].wiring.coils


# By hand: V = Y1·E / (Y1 + Yload), with everything across the jack in parallel.
def test_one_pickup_with_tone_down_by_hand():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    (transfer,) = solve_harness(harness_of(instrument, {"tone": "0"}), values=values)
    coil = values["bridge.dcr"] + S * values["bridge.inductance"]
    across = S * (values["bridge.winding_capacitance"] + values["capacitor.tone"] + LOAD["input.capacitance"])
    across = across + 1 / values["pot.volume"] + 1 / LOAD["input.resistance"]
    np.testing.assert_allclose(transfer.voltage[0], 1 / (1 + coil * across), rtol=1e-12)


# By hand: the source seen at the pot's wiper (Thévenin), volume at half of its track.
def test_volume_down_by_hand():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    (transfer,) = solve_harness(harness_of(instrument, {"volume": "50%", "tone": "10"}), values=values)
    half, load = values["pot.volume"] / 2, 1 / LOAD["input.resistance"] + S * LOAD["input.capacitance"]
    coil = values["bridge.dcr"] + S * values["bridge.inductance"]
    tone = 1 / (values["pot.tone"] + 1 / (S * values["capacitor.tone"]))
    lower = 1 / (1 / half + load)
    at_coil = 1 / (1 + coil * (S * values["bridge.winding_capacitance"] + tone + 1 / (half + lower)))
    np.testing.assert_allclose(transfer.voltage[0], at_coil * lower / (half + lower), rtol=1e-12)


def test_parts_that_the_output_cannot_feel_drop_out():
    instrument = read_instrument(layout_text("three-singles"))
    harness = harness_of(instrument, {"selector": "bridge", "volume": "10"})
    assert harness.groups[0].wiring.coils == ("bridge",)
    assert len(harness.groups[0].wiring.network.nodes) == 1
    (transfer,) = solve_harness(harness, values=values_of(instrument))
    assert "pot.tone-1" not in transfer.by_log
    assert "neck.inductance" not in transfer.by_log
    assert not transfer.voltage[1:].any()


def test_shorted_output_is_silent():
    instrument = read_instrument(layout_text("one-pickup"))
    (transfer,) = solve_harness(harness_of(instrument, {"volume": "0"}), values=values_of(instrument))
    assert not transfer.voltage.any()
    assert transfer.by_log == {}


def test_coil_cut_off_stays_where_it_is_coupled():
    instrument = read_instrument(layout_text("humbucker-modes"))
    assert coils_at(instrument, mode="series") == ("bridge", "bridge.second")
    assert set(coils_at(instrument, mode="split")) == {"bridge", "bridge.second"}
    values = values_of(instrument)
    harness = harness_of(instrument, {"mode": "split"})
    (coupled,) = solve_harness(harness, values=values)
    (free,) = solve_harness(harness, values=values | {"bridge.coupling": 1e-9})
    assert np.abs(coupled.voltage / free.voltage - 1).max() > 1e-3


# Two equal halves in series, equally excited, are one coil with L = La + Lb + 2M and half of each winding's capacitance.
def test_equal_halves_in_series_are_one_coil():
    instrument = read_instrument(layout_text("humbucker-modes"))
    values = values_of(instrument)
    (halves,) = solve_harness(harness_of(instrument, {"mode": "series"}), values=values)
    whole = read_instrument(layout_text("one-pickup"))
    one = values_of(whole) | {key: values[key] for key in ("pot.volume", "pot.tone", "capacitor.tone")}
    one["bridge.dcr"] = 2 * values["bridge.dcr"]
    one["bridge.inductance"] = 2 * values["bridge.inductance"] * (1 + values["bridge.coupling"])
    one["bridge.winding_capacitance"] = values["bridge.winding_capacitance"] / 2
    (single,) = solve_harness(harness_of(whole, {}), values=one)
    np.testing.assert_allclose(halves.voltage, single.voltage, rtol=1e-11)


def test_pickup_out_of_phase_turns_its_sign_alone():
    text = layout_text("three-singles")
    instrument, turned = (
        read_instrument(one) for one in (text, text.replace('["middle hot", "ground"]', '["ground", "middle hot"]'))
    )
    # the pickup's hot end then lies on ground for its EMF, the circuit is the same
    (before,) = solve_harness(harness_of(instrument, {"selector": "neck-middle"}), values=values_of(instrument))
    (after,) = solve_harness(harness_of(turned, {"selector": "neck-middle"}), values=values_of(turned))
    np.testing.assert_allclose(after.voltage[1], -before.voltage[1], rtol=1e-13)
    np.testing.assert_allclose(after.voltage[2], before.voltage[2], rtol=1e-13)


def test_settings_with_one_network_are_solved_together_and_alike():
    instrument = read_instrument(layout_text("two-pickups-tone-before"))
    stated = [{"selector": "both", "bridge-volume": one, "neck-tone": "3"} for one in ("7", "4.5", "35%")] + [{}]
    harness = harness_of(instrument, *stated)
    assert sorted(len(group.cases) for group in harness.groups) == [1, 3]
    together = solve_harness(harness, values=values_of(instrument))
    for one, transfer in zip(stated, together, strict=True):
        (alone,) = solve_harness(harness_of(instrument, one), values=values_of(instrument))
        np.testing.assert_allclose(transfer.voltage, alone.voltage, rtol=1e-13)
        assert set(transfer.by_log) == set(alone.by_log)
        for key, slope in alone.by_log.items():
            np.testing.assert_allclose(transfer.by_log[key], slope, rtol=1e-11, atol=1e-15)


def test_load_may_differ_between_cases_that_are_solved_together():
    instrument = read_instrument(layout_text("one-pickup"))
    settings = read_settings(instrument, {})
    cases = [Case(settings=settings, frequency_hz=FREQUENCY_HZ)]
    cases.append(Case(settings=settings, frequency_hz=FREQUENCY_HZ[3:], load=(*cases[0].load, ("added.1", True))))
    harness = build_harness(instrument, cases)
    assert len(harness.groups) == 1
    values = values_of(instrument)
    bare, added = solve_harness(harness, values=values | {"added.1": 1e-9})
    more = values | {"input.capacitance": values["input.capacitance"] + 1e-9}
    (expected,) = solve_instrument(instrument, cases[:1], values=more)
    np.testing.assert_allclose(added.voltage, expected.voltage[:, 3:], rtol=1e-13)
    assert "added.1" not in bare.by_log
    np.testing.assert_allclose(added.by_log["added.1"], added.by_log["input.capacitance"] / 0.47, rtol=1e-12)


def test_fraction_may_be_a_parameter():
    instrument = read_instrument(layout_text("one-pickup"))
    harness = harness_of(instrument, {"volume": "6"})
    (moved,) = solve_harness(harness, values=values_of(instrument) | {"pot.volume@6": 0.4})
    (stated,) = solve_harness(harness_of(instrument, {"volume": "40%"}), values=values_of(instrument))
    np.testing.assert_allclose(moved.voltage, stated.voltage, rtol=1e-13)
    assert "pot.volume@6" in moved.by_log


def test_excitations_add_up():
    instrument = read_instrument(layout_text("humbucker-modes"))
    harness = harness_of(instrument, {"mode": "parallel", "volume": "8"})
    values = values_of(instrument)
    both = [{"bridge": 1.0}, {"bridge.second": 1.0}]
    (each,) = solve_harness(harness, values=values, excite=both)
    (alone,) = solve_harness(harness, values=values)
    assert each_pickup_alone(instrument) == ({"bridge": 0.5, "bridge.second": 0.5},)
    np.testing.assert_allclose(each.voltage.mean(axis=0), alone.voltage[0], rtol=1e-12)


def test_missing_values_are_named():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    del values["bridge.dcr"], values["pot.tone"]
    with pytest.raises(ValueError, match=r"no value is known of bridge\.dcr, pot\.tone"):
        solve_harness(harness_of(instrument, {}), values=values)


@pytest.mark.parametrize("layout", DESCRIPTIONS)
def test_every_layout_is_sound_and_lets_some_pickup_through(layout):
    instrument = read_instrument(layout_text(layout))
    stated = [{}]
    stated += [{name: position} for name, switch in instrument.switch.items() for position in switch.positions]
    stated += [{name: turn} for name in instrument.pot for turn in ("0", "3", "10")]
    transfers = solve_harness(harness_of(instrument, *stated), values=values_of(instrument))
    heard = np.array([np.abs(transfer.voltage[:, 0]) for transfer in transfers])
    assert np.all(heard[: 1 + sum(len(switch.positions) for switch in instrument.switch.values())].max(axis=1) > 0.3)
    assert np.all(heard.max(axis=0) > 0.3)  # no pickup is left out
    assert np.all(heard < 1.0 + 1e-12)


def test_unknown_layout_is_named():
    with pytest.raises(ValueError, match='there is no layout "x", expected one of one-pickup, three-singles'):
        layout_text("x")
