"""Cases of an instrument: which are solved together, and what a network rests on."""

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, at_frequencies, build_harness, needed_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness, solve_instrument
from tests.wired_layouts import FREQUENCY_HZ, harness_of, values_of


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


def test_points_of_a_group_follow_its_cases():
    instrument = read_instrument(layout_text("one-pickup"))
    stated = ({"volume": "5"}, {}, {"volume": "7"})
    grids = (np.array([100.0, 200.0]), np.array([1e3]), np.array([300.0, 400.0, 500.0]))
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=grid) for one, grid in zip(stated, grids, strict=True)]
    together, alone = build_harness(instrument, cases).groups
    assert (together.cases, alone.cases) == ((0, 2), (1,))
    np.testing.assert_allclose(together.s, 2j * np.pi * np.array([100.0, 200.0, 300.0, 400.0, 500.0]), rtol=1e-15)
    assert together.case_of_point.tolist() == [0, 0, 1, 1, 1]
    assert alone.case_of_point.tolist() == [0]
    assert len(together.wirings) == 2
    assert together.wiring is together.wirings[0]


def test_the_usual_load_is_the_input():
    instrument = read_instrument(layout_text("one-pickup"))
    (group,) = harness_of(instrument, {}).groups
    across = {(part.key, part.is_capacitor) for part in group.wiring.branches[0] if part.key.startswith("input.")}
    assert across == {("input.resistance", False), ("input.capacitance", True)}
    assert all(set(part.ends) == {"tip", "ground"} for part in group.wiring.branches[0] if part.key.startswith("input."))


INPUT = {"input.resistance", "input.capacitance"}
ONE_PICKUP = {"bridge.dcr", "bridge.inductance", "bridge.winding_capacitance", "pot.volume", "pot.tone", "capacitor.tone"} | INPUT


def test_what_one_pickup_rests_on():
    instrument = read_instrument(layout_text("one-pickup"))
    (group,) = harness_of(instrument, {"volume": "5"}).groups
    assert needed_values(instrument, group) == ONE_PICKUP


def test_losses_and_coupling_are_needed_too():
    text = layout_text("humbucker-modes").replace("[pickup.bridge.second]", "eddy_loops = [[0.4, 9e3]]\n\n[pickup.bridge.second]")
    text = text.replace("coupling = 0.15", "coupling = 0.15\neddy_spreads = [[0.3, 8e3, 1.0]]")
    instrument = read_instrument(text)
    (group,) = harness_of(instrument, {"mode": "series", "volume": "5"}).groups
    coils = {f"bridge{of}.{value}" for of in ("", ".second") for value in ("dcr", "inductance", "winding_capacitance")}
    losses = {"bridge.eddy_loop_1.coupling", "bridge.eddy_loop_1.corner"}
    losses |= {f"bridge.second.eddy_spread_1.{value}" for value in ("coupling", "corner", "half_width")}
    parts = {"pot.volume", "pot.tone", "capacitor.tone"}
    assert needed_values(instrument, group) == coils | losses | parts | INPUT | {"bridge.coupling"}


def test_ohms_left_at_stops_are_needed_where_they_are_asked_for():
    instrument = read_instrument(layout_text("one-pickup"))
    case = Case(settings=read_settings(instrument, {"tone": "0", "volume": "5"}), frequency_hz=FREQUENCY_HZ)
    (group,) = build_harness(instrument, [case], has_stops=("pot.tone.stop_0",)).groups
    # the track is whole between wiper and no lug: of the tone pot at 0 its own value no longer counts
    assert needed_values(instrument, group) == (ONE_PICKUP - {"pot.tone"}) | {"pot.tone.stop_0"}


def test_other_frequencies_need_no_other_network():
    instrument = read_instrument(layout_text("one-pickup"))
    stated = ({"volume": "5"}, {}, {"volume": "7"})
    harness = harness_of(instrument, *stated)
    values = values_of(instrument)
    grid = np.array([110.0, 990.0])
    moved = solve_harness(at_frequencies(harness, grid), values=values)
    anew = solve_instrument(
        instrument, [Case(settings=read_settings(instrument, one), frequency_hz=grid) for one in stated], values=values
    )
    for one, other in zip(moved, anew, strict=True):
        np.testing.assert_array_equal(one.voltage, other.voltage)
        assert set(one.by_log) == set(other.by_log)
