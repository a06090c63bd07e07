"""The exciter: laws of coils, the figures by hand, limits, and both directions."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.exciter.conductor import gauge_diameter_m, wire_resistance_ohm
from fit.answers.exciter.design import DesignWish, design_exciter, smallest_sense_ohm
from fit.answers.exciter.rating import analyse_exciter, emf_key, setup_figures
from fit.answers.exciter.setup import Drive, PickupCoil, Setup, Winding, turns_per_layer
from fit.answers.exciter.solenoid import nagaoka_coefficient, nagaoka_inductance_h
from fit.answers.exciter.turns import (
    MU0,
    Turns,
    coil_inductance_h,
    mutual_of_circles_h,
    mutual_of_rectangles_h,
    mutual_of_turns_h,
)
from fit.desk.show.lengths import read_wire, wires_to_choose

WINDING = Winding(
    turns=60, wire_m=0.2e-3, enamelled_m=0.225e-3, is_round=True, former_width_m=0.02, former_depth_m=0.02,
    length_m=0.008, room_m=0.003, celsius=20.0,
)  # fmt: skip
DRIVE = Drive(level_v=1.0, source_ohm=30.0, sense_ohm=100.0, minimum_load_ohm=16.0, rating_w=0.25)
PICKUP = PickupCoil(
    turns=8000, is_round=False, width_m=0.058, depth_m=0.010, height_m=0.011, build_m=0.004, gap_m=0.005, iron=1.0
)
SETUP = Setup(winding=WINDING, drive=DRIVE, pickup=PICKUP)
BOUNDS = {
    "winding.wire_m": 0.02,
    "winding.former_width_m": 0.03,
    "drive.level_v": 0.1,
    "drive.source_ohm": 0.5,
    "pickup.gap_m": 0.2,
}


def figures(setup, *at_hz):
    return setup_figures(setup, turns_per_layer(setup.winding), at_hz=at_hz)


def wound(**changes):
    return replace(SETUP, winding=replace(WINDING, **changes))


def driven(**changes):
    return replace(SETUP, drive=replace(DRIVE, **changes))


def layers(n, *, radius_m=0.01, turns=20, step_m=2e-4, is_round=True):
    return tuple(
        Turns(half_width_m=radius_m + i * step_m, half_depth_m=radius_m / 2 + i * step_m, n=turns, is_round=is_round)
        for i in range(n)
    )


# Laws of coils


@pytest.mark.parametrize("is_round", [True, False])
def test_mutual_inductance_is_the_same_both_ways_and_falls_with_distance(is_round):
    draw = np.random.default_rng(1)
    for _ in range(20):
        sides = draw.uniform(2e-3, 50e-3, size=4)
        one = Turns(half_width_m=sides[0], half_depth_m=sides[1], n=1, is_round=is_round)
        other = Turns(half_width_m=sides[2], half_depth_m=sides[3], n=1, is_round=False)
        distance_m = np.geomspace(1e-3, 1.0, 30)
        there, back = mutual_of_turns_h(one, other, distance_m), mutual_of_turns_h(other, one, distance_m)
        np.testing.assert_allclose(there, back, rtol=1e-12)
        assert np.all(there > 0)
        assert np.all(np.diff(there) < 0)


def test_far_apart_two_turns_are_two_dipoles():
    # mu0·A·B/(2π·h³), the flux of a dipole through a small area on its axis.
    h = np.array(2.0)
    dipoles_h = MU0 * (np.pi * 0.01**2) * (4 * 0.02 * 0.005) / (2 * np.pi * float(h) ** 3)
    coil = Turns(half_width_m=0.01, half_depth_m=0.01, n=1, is_round=True)
    pickup = Turns(half_width_m=0.02, half_depth_m=0.005, n=1, is_round=False)
    assert float(mutual_of_turns_h(coil, pickup, h)) == pytest.approx(dipoles_h, rel=5e-4)
    round_h = mutual_of_circles_h(np.array(0.01), np.array(0.02), h)
    assert float(round_h) == pytest.approx(MU0 * np.pi * 0.01**2 * 0.02**2 / (2 * 2.0**3), rel=5e-4)
    square_h = mutual_of_rectangles_h((np.array(0.01),) * 2, (np.array(0.02), np.array(0.005)), h)
    assert float(square_h) == pytest.approx(MU0 * 4e-4 * 4e-4 / (2 * np.pi * 8.0), rel=5e-4)


@pytest.mark.parametrize("is_round", [True, False])
def test_a_coil_cut_in_two_is_its_halves_and_twice_their_mutual_inductance(is_round):
    whole, half = layers(3, turns=24, is_round=is_round), layers(3, turns=12, is_round=is_round)
    pitch_m, wire_m = 2.2e-4, 2e-4
    mutual_h = sum(
        float(np.sum(mutual_of_turns_h(a, b, np.abs((np.arange(12)[:, None] - np.arange(12)[None, :] - 12) * pitch_m))))
        for a in half for b in half
    )  # fmt: skip
    parts_h = 2 * coil_inductance_h(half, pitch_m=pitch_m, wire_diameter_m=wire_m) + 2 * mutual_h
    assert coil_inductance_h(whole, pitch_m=pitch_m, wire_diameter_m=wire_m) == pytest.approx(parts_h, rel=1e-12)


@pytest.mark.parametrize("is_round", [True, False])
def test_coils_of_one_shape_scale_with_their_size(is_round):
    small = coil_inductance_h(layers(4, is_round=is_round), pitch_m=2.2e-4, wire_diameter_m=2e-4)
    large = coil_inductance_h(layers(4, radius_m=0.03, step_m=6e-4, is_round=is_round), pitch_m=6.6e-4, wire_diameter_m=6e-4)
    assert large == pytest.approx(3 * small, rel=1e-12)


def test_inductance_grows_with_the_square_of_the_turns_in_the_same_room():
    # Twice as thin a wire: four times the turns in the same section; what is left is the wire's own field.
    coarse = coil_inductance_h(layers(10, turns=20, step_m=4e-4), pitch_m=4e-4, wire_diameter_m=3.6e-4)
    fine = coil_inductance_h(layers(20, radius_m=0.01 - 1e-4, turns=40, step_m=2e-4), pitch_m=2e-4, wire_diameter_m=1.8e-4)
    assert fine == pytest.approx(16 * coarse, rel=3e-3)
    shape = {"radius_m": 0.01, "length_m": 0.02}
    assert nagaoka_inductance_h(300, **shape) == pytest.approx(9 * nagaoka_inductance_h(100, **shape), rel=1e-12)


def test_a_long_solenoid_has_no_ends():
    # 1 − (4/3π)·D/l: the first term of the ends.
    assert nagaoka_coefficient(1e-3) == pytest.approx(1 - 4 / (3 * np.pi) * 1e-3, abs=2e-7)


def test_coils_couple_less_than_fully():
    found = figures(SETUP)
    pickup_layer = tuple(Turns(half_width_m=0.029, half_depth_m=0.005, n=100, is_round=False) for _ in range(1))
    own_h = coil_inductance_h(pickup_layer, pitch_m=1.1e-4, wire_diameter_m=6e-5) * (PICKUP.turns / 100) ** 2
    coupling = found["mutual_inductance"] / math.sqrt(own_h * found["inductance"])
    assert 0.02 < coupling < 0.6


# The figures by hand


def test_figures_by_hand():
    # 35 turns in the first layer, 25 in the second, centres 0.1125 and 0.3375 mm above the former.
    found = figures(SETUP, 1e3)
    length_m = math.pi * (35 * 20.225e-3 + 25 * 20.675e-3)
    resistance_ohm = 1.7241e-8 * length_m / (math.pi * 0.1e-3**2)
    current_a = 1.0 / (resistance_ohm + 130.0)
    assert found["wire_length"] == pytest.approx(length_m, rel=1e-12)
    assert found["resistance"] == pytest.approx(resistance_ohm, rel=1e-12)
    assert found["current"] == pytest.approx(current_a, rel=1e-12)
    assert found["load"] == pytest.approx(resistance_ohm + 100.0, rel=1e-12)
    assert found["sense_voltage"] == pytest.approx(100 * current_a, rel=1e-12)
    assert found["sense_power"] == pytest.approx(100 * current_a**2, rel=1e-12)
    assert found["coil_power"] == pytest.approx(resistance_ohm * current_a**2, rel=1e-12)
    omega = 2 * math.pi * 1e3
    assert found["corner"] == pytest.approx((resistance_ohm + 100) / (2 * math.pi * found["inductance"]), rel=1e-12)
    driven_a = 1.0 / abs(resistance_ohm + 130 + 1j * omega * found["inductance"])
    assert found[emf_key(1e3)] == pytest.approx(omega * found["mutual_inductance"] * driven_a, rel=1e-12)


def test_a_rectangular_former_is_wound_round_its_corners():
    found = figures(wound(is_round=False, former_width_m=0.07, former_depth_m=0.012, turns=10))
    assert found["wire_length"] == pytest.approx(10 * (2 * 0.082 + 2 * math.pi * 0.1125e-3), rel=1e-12)


def test_warm_copper_resists_more():
    ratio = figures(wound(celsius=70.0))["resistance"] / figures(SETUP)["resistance"]
    assert ratio == pytest.approx(1 + 0.00393 * 50, rel=1e-12)


def test_one_layer_lies_near_nagaoka_and_many_near_wheeler():
    for turns, formula, within in ((30, "Nagaoka's formula", 0.03), (400, "Wheeler's formula for many layers", 0.04)):
        answer = analyse_exciter(wound(turns=turns), bounds={}, at_hz=())
        assert answer.formula == formula
        assert answer.formula_h == pytest.approx(answer.quantities["inductance"].value, rel=within)
    block = analyse_exciter(wound(is_round=False), bounds={}, at_hz=())
    assert block.formula == ""
    assert math.isnan(block.formula_h)


def test_voltage_in_a_pickup_far_away_is_that_of_two_dipoles():
    far = replace(SETUP, pickup=replace(PICKUP, gap_m=0.5, height_m=1e-4, build_m=1e-4))
    found = figures(far, 100.0)
    area_m2 = math.pi * (35 * 10.1125e-3**2 + 25 * 10.3375e-3**2)
    mutual_h = MU0 * area_m2 * 8000 * 0.058 * 0.010 / (2 * math.pi * 0.5039**3)  # 3.9 mm: to the middle of the winding
    assert found["mutual_inductance"] == pytest.approx(mutual_h, rel=5e-3)
    assert found[emf_key(100.0)] == pytest.approx(2 * math.pi * 100 * mutual_h * found["current"], rel=5e-3)


def test_a_pickup_by_more_nodes_gives_the_same(monkeypatch):
    near = replace(SETUP, pickup=replace(PICKUP, gap_m=0.001))
    few = figures(near)["mutual_inductance"]
    monkeypatch.setattr("fit.answers.exciter.rating.AXIAL_NODES", 12)
    monkeypatch.setattr("fit.answers.exciter.rating.RADIAL_NODES", 12)
    assert few == pytest.approx(figures(near)["mutual_inductance"], rel=0.01)


def test_intervals_are_those_of_drawn_benches():
    answer = analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(1e3,))
    draw, per_layer = np.random.default_rng(2), turns_per_layer(WINDING)
    drawn = []
    for _ in range(400):
        setup = SETUP
        for name, bound in BOUNDS.items():
            part, field = name.split(".")
            group = getattr(setup, part)
            value = getattr(group, field) * math.exp(draw.uniform(-bound, bound))
            setup = replace(setup, **{part: replace(group, **{field: value})})
        drawn.append(setup_figures(setup, per_layer, at_hz=(1e3,)))
    for key, name in (("resistance", "resistance"), ("current", "current"), ("emf", emf_key(1e3))):
        estimate = answer.emf[1e3] if key == "emf" else answer.quantities[key]
        logs = np.log([one[name] for one in drawn])
        assert estimate.standard_uncertainty / estimate.value == pytest.approx(float(np.std(logs)), rel=0.12)  # of 400: 3.5 %
        assert estimate.low < estimate.value < estimate.high


# Limits


def warned(setup):
    return {finding.code for finding in analyse_exciter(setup, bounds={}, at_hz=()).findings if finding.severity != "pass"}


QUIET = replace(SETUP, drive=replace(DRIVE, level_v=0.1))


@pytest.mark.parametrize(
    ("code", "good", "bad"),
    [
        ("fits", wound(turns=455), wound(turns=456)),
        ("output-load", driven(minimum_load_ohm=100.0), driven(minimum_load_ohm=110.0)),
        ("resistor-power", driven(level_v=4.5), driven(level_v=12.0)),
        ("coil-warmth", driven(level_v=5.0), replace(wound(wire_m=5e-5), drive=replace(DRIVE, level_v=20.0, sense_ohm=10.0))),
        ("corner", SETUP, wound(turns=400)),
        ("pickup-level", QUIET, driven(level_v=5.0)),
        ("pickup-level", QUIET, driven(level_v=2e-3)),
    ],
)
def test_each_limit_is_found_and_only_where_it_is_passed(code, good, bad):
    assert code not in warned(good)
    assert code in warned(bad)


def test_the_cures_that_are_named_work():
    texts = {f.code: f.text for f in analyse_exciter(driven(level_v=12.0, minimum_load_ohm=600.0), bounds={}, at_hz=()).findings}
    needed_ohm = float(texts["output-load"].split("resistor of ")[1].split(" Ω")[0])
    assert "output-load" not in warned(driven(minimum_load_ohm=600.0, sense_ohm=needed_ohm))
    assert "output-load" in warned(driven(minimum_load_ohm=600.0, sense_ohm=needed_ohm - 2))
    level_v = float(texts["resistor-power"].split("down to ")[1].split(" V")[0])
    assert "resistor-power" not in warned(driven(level_v=0.97 * level_v))  # printed with two digits
    begin_v = float(texts["pickup-level"].split("output at ")[1].split(" V")[0])
    assert "pickup-level" not in warned(driven(level_v=begin_v))


def test_wrong_calls():
    with pytest.raises(ValueError, match="0 turns: expected 1 to 3000"):
        analyse_exciter(wound(turns=0), bounds={}, at_hz=())
    with pytest.raises(ValueError, match="no room in a winding space of 8 mm by 3 mm"):
        turns_per_layer(replace(WINDING, enamelled_m=0.0031))
    with pytest.raises(ValueError, match=r"cannot be 0\.1 mm thick"):
        analyse_exciter(wound(enamelled_m=1e-4), bounds={}, at_hz=())
    with pytest.raises(ValueError, match="the distance is 0, it must be above 0"):
        analyse_exciter(replace(SETUP, pickup=replace(PICKUP, gap_m=0.0)), bounds={}, at_hz=())
    with pytest.raises(ValueError, match=r"pickup's inner size is -0\.001"):
        analyse_exciter(replace(SETUP, pickup=replace(PICKUP, build_m=0.011)), bounds={}, at_hz=())
    with pytest.raises(ValueError, match="AWG 51 is not a gauge"):
        gauge_diameter_m(51)
    with pytest.raises(ValueError, match="both must be above 0"):
        wire_resistance_ohm(1e-4, length_m=0.0)
    with pytest.raises(ValueError, match="no sense resistor up to 1 MΩ stands 1000 V"):
        smallest_sense_ohm(driven(level_v=1000.0, rating_w=1e-3))


# The other way round


def wish(**changes):
    asked = DesignWish(wires=wires_to_choose(None), corner_hz=20e3, current_a=None, emf_v=None, keep_sense=False)
    return replace(asked, **changes)


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


@pytest.mark.parametrize("emf_v", [5e-3, 20e-3, 100e-3])
def test_a_wanted_voltage_is_reached_with_the_fewest_turns(emf_v):
    design = design_exciter(SETUP, wish(emf_v=emf_v))
    winding = design.setup.winding
    fewer = replace(design.setup, winding=replace(winding, turns=winding.turns - 1))
    assert design.unmet == {}
    assert figures(design.setup, 1e3)[emf_key(1e3)] >= emf_v > figures(fewer, 1e3)[emf_key(1e3)]


@pytest.mark.parametrize("current_a", [0.5e-3, 2e-3, 5e-3, 15e-3])
def test_a_wanted_current_flows(current_a):
    design = design_exciter(SETUP, wish(current_a=current_a))
    found = figures(design.setup)
    assert design.unmet == {}
    assert found["current"] == pytest.approx(current_a, rel=0.06)  # the next of 24 preferred resistors
    assert found["corner"] >= 20e3


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
