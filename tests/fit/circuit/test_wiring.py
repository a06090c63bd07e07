"""From settings to the network that matters: what is joined, what drops out."""

import numpy as np

from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness
from tests.wired_layouts import harness_of, values_of


def coils_at(instrument, **stated):
    return harness_of(instrument, stated).groups[0].wiring.coils


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
