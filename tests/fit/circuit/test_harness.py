"""Cases of an instrument: which are solved together, and what a network rests on."""

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
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
