"""The other way round: turns, wire and sense resistor for what is wanted, within the ratings."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.exciter.design import DesignWish, design_exciter, smallest_sense_ohm
from fit.answers.exciter.rating import emf_key
from fit.answers.exciter.setup import turns_per_layer
from fit.desk.show.lengths import read_wire, wires_to_choose
from tests.exciter_setups import DRIVE, SETUP, WINDING, driven, figures, warned, wound


def wish(**changes):
    asked = DesignWish(wires=wires_to_choose(None), corner_hz=20e3, current_a=None, emf_v=None, keep_sense=False)
    return replace(asked, **changes)


@pytest.mark.long
def test_most_turns_that_keep_the_corner():
    design = design_exciter(SETUP, wish())
    winding = design.setup.winding
    assert design.unmet == {}
    assert figures(design.setup)["corner"] >= 20e3
    capacity = turns_per_layer(winding) * math.floor(winding.room_m / winding.enamelled_m)
    assert winding.turns == min(200, math.floor(0.8 * capacity))  # here the former ends it, wound by hand
    larger = design_exciter(wound(length_m=0.02, room_m=0.006), wish()).setup
    more = replace(larger, winding=replace(larger.winding, turns=larger.winding.turns + 1))
    assert larger.winding.turns == 200 or figures(more)["corner"] < 20e3


def test_one_wire_without_a_cap_on_its_turns_meets_the_corner_exactly():
    wire = (read_wire("0.1"),)
    slow = replace(
        SETUP, winding=replace(WINDING, former_width_m=0.03, former_depth_m=0.03), drive=replace(DRIVE, sense_ohm=47.0)
    )
    design = design_exciter(slow, wish(wires=wire, keep_sense=True))
    n = design.setup.winding.turns
    more = replace(design.setup, winding=replace(design.setup.winding, turns=n + 1))
    assert 20 < n < 200
    assert figures(design.setup)["corner"] >= 20e3 > figures(more)["corner"]


@pytest.mark.long
@pytest.mark.parametrize("emf_v", [5e-3, 20e-3, 100e-3])
def test_a_wanted_voltage_is_reached_with_the_fewest_turns(emf_v):
    design = design_exciter(SETUP, wish(emf_v=emf_v))
    winding = design.setup.winding
    fewer = replace(design.setup, winding=replace(winding, turns=winding.turns - 1))
    assert design.unmet == {}
    assert figures(design.setup, 1e3)[emf_key(1e3)] >= emf_v > figures(fewer, 1e3)[emf_key(1e3)]


@pytest.mark.long
@pytest.mark.parametrize("current_a", [0.5e-3, 2e-3, 5e-3, 15e-3])
def test_a_wanted_current_flows(current_a):
    design = design_exciter(SETUP, wish(current_a=current_a))
    found = figures(design.setup)
    assert design.unmet == {}
    assert found["current"] == pytest.approx(current_a, rel=0.06)  # the next of 24 preferred resistors
    assert found["corner"] >= 20e3


@pytest.mark.long
def test_what_cannot_be_had_is_said():
    line = driven(source_ohm=100.0, minimum_load_ohm=600.0)
    missed = design_exciter(line, wish(current_a=0.1)).unmet
    assert missed["wanted-current"].startswith("the wanted 100 mA is not reached: expect 1.2")
    kept = design_exciter(SETUP, wish(current_a=2e-3, keep_sense=True)).unmet["wanted-current"]
    assert "or a sense resistor of 4" in kept  # 1 V / 2 mA = 500 Ω, less 30 Ω and the coil
    assert "out of reach on this former" in design_exciter(line, wish(emf_v=5.0)).unmet["wanted-emf"]
    low = design_exciter(SETUP, wish(emf_v=0.4)).unmet
    assert set(low) == {"corner"}
    with pytest.raises(ValueError, match="has no room"):
        design_exciter(wound(room_m=5e-5), wish())


@pytest.mark.long
def test_drawn_designs_stay_within_all_ratings():
    draw = np.random.default_rng(3)
    for _ in range(12):
        former_m = draw.uniform(0.008, 0.04)
        winding = replace(
            WINDING, former_width_m=former_m, former_depth_m=former_m, is_round=bool(draw.integers(2)),
            length_m=draw.uniform(0.004, 0.02), room_m=draw.uniform(0.001, 0.006),
        )  # fmt: skip
        drive = replace(
            DRIVE, level_v=draw.uniform(0.1, 8), source_ohm=draw.uniform(0, 300), minimum_load_ohm=float(draw.choice([16, 600])),
            rating_w=float(draw.choice([0.125, 0.25, 0.6])),
        )  # fmt: skip
        design = design_exciter(replace(SETUP, winding=winding, drive=drive), wish())
        passed = warned(design.setup)
        assert passed <= {"pickup-level"}, (design, passed)


# E12: 10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82. At 1 V behind 30 Ω a resistor takes at most 1/(4 · 30 Ω) = 8.3 mW.
@pytest.mark.parametrize(
    ("changes", "ohm"),
    [
        ({"minimum_load_ohm": 16.0}, 18.0),
        ({"minimum_load_ohm": 18.0}, 18.0),
        ({"minimum_load_ohm": 600.0}, 680.0),
        ({"minimum_load_ohm": 0.0, "source_ohm": 5.0, "rating_w": 1.0}, 1.0),  # 28 mW; smaller than 1 Ω is not offered
        # 100 V²/ohm at most 0.125 W, nothing inside the output: 800 Ω, the next is 820 Ω
        ({"level_v": 10.0, "source_ohm": 0.0}, 820.0),
    ],
)
def test_smallest_sense_resistor_by_hand(changes, ohm):
    assert smallest_sense_ohm(driven(**changes)) == ohm


def test_no_sense_resistor_stands_a_thousand_volts():
    with pytest.raises(ValueError, match="no sense resistor up to 1 MΩ stands 1000 V"):
        smallest_sense_ohm(driven(level_v=1000.0, rating_w=1e-3))


def test_usual_sense_resistor_unless_the_output_asks_for_more():
    asked = {"wires": (read_wire("0.2"),)}
    assert design_exciter(SETUP, wish(**asked)).setup.drive.sense_ohm == 100.0
    assert design_exciter(driven(minimum_load_ohm=600.0), wish(**asked)).setup.drive.sense_ohm == 680.0
    assert design_exciter(driven(sense_ohm=33.0), wish(**asked, keep_sense=True)).setup.drive.sense_ohm == 33.0


def test_a_corner_that_one_turn_misses_is_said():
    design = design_exciter(SETUP, wish(corner_hz=1e9, wires=(read_wire("0.2"),)))
    assert design.setup.winding.turns == 1
    assert design.unmet["corner"].startswith("the wanted corner of 1e+06 kHz is missed: expect ")
    assert design.wire.bare_m == 0.2e-3


def test_no_wire_at_all():
    with pytest.raises(ValueError, match="no wire is offered"):
        design_exciter(SETUP, wish(wires=()))
