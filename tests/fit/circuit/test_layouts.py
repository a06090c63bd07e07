"""Starting files: each one a sound instrument that lets every pickup through."""

import numpy as np
import pytest

from fit.circuit.instrument import coils_of
from fit.circuit.layouts import DESCRIPTIONS, STARTING, is_starting_text, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness
from tests.wired_layouts import harness_of, values_of


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


@pytest.mark.parametrize("layout", DESCRIPTIONS)
def test_what_a_starting_file_says_of_coils_is_known_as_such(layout):
    for coil in coils_of(read_instrument(layout_text(layout))).values():
        assert all(getattr(coil, key) in values for key, values in STARTING.items())


def test_a_starting_file_is_one_until_it_is_changed():
    text = layout_text("one-pickup")
    assert is_starting_text(text)
    assert not is_starting_text(text.replace("22n", "33n"))
    assert not is_starting_text("")
