"""What an exciter does: figures by hand, intervals against drawn benches."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.exciter.rating import analyse_exciter, emf_key, setup_figures, textbook_inductance
from fit.answers.exciter.setup import turns_per_layer
from fit.answers.exciter.turns import MU0, Turns, coil_inductance_h
from tests.exciter_setups import BOUNDS, PICKUP, SETUP, WINDING, figures, wound


def test_coils_couple_less_than_fully():
    found = figures(SETUP)
    pickup_layer = tuple(Turns(half_width_m=0.029, half_depth_m=0.005, n=100, is_round=False) for _ in range(1))
    own_h = coil_inductance_h(pickup_layer, pitch_m=1.1e-4, wire_diameter_m=6e-5) * (PICKUP.turns / 100) ** 2
    coupling = found["mutual_inductance"] / math.sqrt(own_h * found["inductance"])
    assert 0.02 < coupling < 0.6


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


@pytest.mark.long
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


def test_how_the_turns_lie_and_how_warm_the_coil_gets():
    answer = analyse_exciter(SETUP, bounds={}, at_hz=())
    assert (answer.layers, answer.turns_per_layer) == (2, 35)
    assert answer.build_m == pytest.approx(0.45e-3, rel=1e-12)
    assert answer.fill == pytest.approx(60 * math.pi / 4 * 0.225**2 / (8 * 3), rel=1e-12)
    found = figures(SETUP)
    # 10 W/(m²·K) from the outer face: a turn on top of both layers, as wide as 35 turns.
    face_m2 = math.pi * (20e-3 + 5 * 0.225e-3) * 35 * 0.225e-3
    assert found["coil_rise"] == pytest.approx(found["coil_power"] / (10 * face_m2), rel=1e-12)
    loop_ohm = found["resistance"] + 130
    assert found["corner_with_source"] == pytest.approx(loop_ohm / (2 * math.pi * found["inductance"]), rel=1e-12)


def test_textbook_formula_for_the_shape():
    name, found_h = textbook_inductance(wound(turns=35).winding, 35)
    assert name == "Nagaoka's formula"
    length_m = 35 * 0.225e-3
    sheet_h = MU0 * math.pi * (10.1125e-3 * 35) ** 2 / length_m
    assert 0.429199 < found_h / sheet_h < 0.471865  # D/l = 2.57: Nagaoka's table has these at 3 and at 2.5
    name, found_h = textbook_inductance(wound(turns=70).winding, 35)
    assert name == "Wheeler's formula for many layers"
    a, b, c = (one / 25.4 for one in (10.225, 35 * 0.225, 0.45))  # [inch]
    assert found_h == pytest.approx(0.8e-6 * (a * 70) ** 2 / (6 * a + 9 * b + 10 * c), rel=1e-12)


def test_bounds_become_standard_deviations_of_a_rectangle():
    answer = analyse_exciter(SETUP, bounds={"winding.wire_m": 0.02}, at_hz=())
    # the resistance goes with 1/d²
    resistance = answer.quantities["resistance"]
    assert resistance.standard_uncertainty / resistance.value == pytest.approx(2 * 0.02 / math.sqrt(3), rel=1e-5)
    factor = math.exp(1.96 * 2 * 0.02 / math.sqrt(3))
    assert (resistance.low, resistance.high) == pytest.approx((resistance.value / factor, resistance.value * factor), rel=1e-4)
    # turns wound by hand: 3 % of the inductance, whatever is stated
    plain = analyse_exciter(SETUP, bounds={}, at_hz=()).quantities
    for name in ("inductance", "corner", "corner_with_source"):
        assert plain[name].standard_uncertainty / plain[name].value == pytest.approx(0.03 / math.sqrt(3), rel=1e-12)
    assert plain["resistance"].standard_uncertainty == 0.0


def test_iron_and_turns_of_the_pickup_count_as_factors():
    plain = figures(SETUP, 5e3)
    more = figures(replace(SETUP, pickup=replace(PICKUP, turns=16000, iron=1.5)), 5e3)
    assert more[emf_key(5e3)] == pytest.approx(3 * plain[emf_key(5e3)], rel=1e-12)
    assert more["inductance"] == plain["inductance"]


def test_a_weak_pickup_is_judged_at_5_kilohertz():
    found = figures(SETUP, 5e3)
    finding = next(one for one in analyse_exciter(SETUP, bounds={}, at_hz=()).findings if one.code == "pickup-level")
    assert finding.figure == pytest.approx(found[emf_key(5e3)], rel=1e-12)
    assert emf_key(5e3) == "emf@5000"


def test_values_without_sense_are_refused():
    with pytest.raises(ValueError, match="0 turns: expected 1 to 3000"):
        analyse_exciter(wound(turns=0), bounds={}, at_hz=())
