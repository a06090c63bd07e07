"""Quantities of a fit: values by hand from the parameter vector, gradients against differences."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.parts.quantities import derive_quantities
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import TakeEvidence
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from tests.drawn_choice import AT_STOPS, CONTROLS, MODELS, TWO, choice_at, choice_with

LED_OUT = read_instrument(layout_text("humbucker-modes"))
TWO_COILS = PickupModel(eddies=((), ()))


def drawn(model="no loss", controls=AT_STOPS):
    return choice_at(TWO, controls, MODELS[model], rng=np.random.default_rng(31), coil_over="neck")


def led_out():
    return choice_at(LED_OUT, {"mode": "series"}, TWO_COILS, rng=np.random.default_rng(32), coil_over="")


def parameters(choice):
    return {one.name: value for one, value in zip(choice.problem.parameters, choice.fit.vector.tolist(), strict=True)}


def sigmoid(x):
    return 1 / (1 + np.exp(-x))


@pytest.mark.parametrize(
    "make",
    [drawn, lambda: drawn("loop and spread", CONTROLS), lambda: drawn("two coils, two losses each"), led_out],
    ids=["no loss", "losses", "two coils", "led out"],
)
def test_gradients_against_differences(make):
    """Along drawn directions: of the logarithm, or of the value itself."""
    choice, rng, step = make(), np.random.default_rng(5), 1e-6
    derived = derive_quantities(choice)
    for _ in range(3):
        direction = rng.normal(size=len(choice.fit.vector))
        up, down = (
            derive_quantities(choice_with(choice.problem, choice.fit.vector + sign * step * direction, choice.covariance))
            for sign in (1, -1)
        )
        for name, one in derived.items():
            above, below = up[name].value, down[name].value
            slope = (np.log(above / below) if one.is_log else above - below) / (2 * step)
            size = np.linalg.norm(one.gradient)
            close = 3e-3 if "_loaded" in name else 1e-5  # a loaded peak lies between the frequencies of a grid
            assert one.gradient @ direction == pytest.approx(slope, rel=close, abs=close * size), name
            assert size > 0, name


def test_elements_of_a_coil_are_those_of_the_vector():
    choice = drawn()
    p, found = parameters(choice), derive_quantities(choice)
    for name, parameter, unit in (
        ("inductance", "log_inductance", "H"),
        ("winding_capacitance", "log_winding_capacitance", "F"),
        ("dc_resistance", "log_resistance", "Ω"),
    ):
        for pickup in ("bridge", "neck"):
            quantity = found[f"{pickup}.{name}"]
            assert quantity.value == pytest.approx(np.exp(p[f"{parameter}@{pickup}"]), rel=1e-12, abs=0)
            assert quantity.unit == unit
    # 1/(2π√(LC)) and √(L/C)/R
    henry, farad, ohm = (found[f"neck.{name}"].value for name in ("inductance", "winding_capacitance", "dc_resistance"))
    assert found["neck.resonance_unloaded"].value == pytest.approx(1 / (2 * np.pi * np.sqrt(henry * farad)), rel=1e-3)
    assert found["neck.q_unloaded"].value == pytest.approx(np.sqrt(henry / farad) / ohm, rel=1e-3)
    assert found["neck.resonance_loaded"].value < found["neck.resonance_unloaded"].value
    assert (found["neck.peak_loaded"].unit, found["neck.peak_loaded"].is_log) == ("dB", False)


def test_parts_are_those_of_the_vector():
    choice = drawn()
    p, found = parameters(choice), derive_quantities(choice)
    expected = {
        "pot.bridge-volume": (np.exp(p["log_pot.bridge-volume"]), "Ω"),
        "capacitor.neck-tone": (np.exp(p["log_capacitor.neck-tone"]), "F"),
        "pot.neck-volume@7": (sigmoid(p["logit_pot.neck-volume@7"]), "1"),
        "pot.bridge-tone.stop_0": (100.0 * p["stop.bridge-tone@0"], "Ω"),  # in units of 100 Ω
        "capacitor.neck-tone.loss_tangent": (p["loss_capacitor.neck-tone"], "1"),
        "capacitor.neck-tone.leak": (1e6 / p["across_capacitor.neck-tone"], "Ω"),  # in units of a microsiemens
    }
    for name, (value, unit) in expected.items():
        assert found[name].value == pytest.approx(value, rel=1e-12, abs=0), name
        assert found[name].unit == unit
    assert "resistor" not in " ".join(found)


def test_a_leak_is_told_only_where_it_was_let_go_and_leads_current():
    choice = drawn()
    place = [one.name for one in choice.problem.parameters].index("across_capacitor.neck-tone")
    vector = choice.fit.vector.copy()
    vector[place] = -0.1
    assert "capacitor.neck-tone.leak" not in derive_quantities(choice_with(choice.problem, vector, choice.covariance))
    held = build_problem(choice.problem.evidence, choice.problem.model)
    kept = choice_with(held, choice.fit.vector, choice.covariance)
    assert not [name for name in derive_quantities(kept) if name.endswith(".leak")]


def test_losses_come_by_falling_share():
    choice = drawn("loop and spread")
    p, found = parameters(choice), derive_quantities(choice)
    first = sigmoid(p["share_0_0@neck"])
    second = (1 - first) * sigmoid(p["share_0_1@neck"])
    assert first > second
    assert found["neck.eddy_loop_1.coupling"].value == pytest.approx(np.sqrt(first), rel=1e-12)
    assert found["neck.eddy_spread_2.coupling"].value == pytest.approx(np.sqrt(second), rel=1e-12)
    corner_hz = 1 / (2 * np.pi * np.exp(p["log_tau_0_1@neck"]))
    assert found["neck.eddy_spread_2.corner"].value == pytest.approx(corner_hz, rel=1e-12)
    names = [one.name for one in choice.problem.parameters]
    vector = choice.fit.vector.copy()
    vector[names.index("share_0_0@neck")] = -4.0  # now the spread has more
    other = derive_quantities(choice_with(choice.problem, vector, choice.covariance))
    assert other["neck.eddy_loop_2.coupling"].value == pytest.approx(np.sqrt(sigmoid(-4.0)), rel=1e-12)
    assert "neck.eddy_spread_1.coupling" in other


def test_two_coils_that_are_led_out_are_told_apart():
    choice = led_out()
    p, found = parameters(choice), derive_quantities(choice)
    (pickup,) = LED_OUT.pickup
    found = {name.removeprefix(f"{pickup}."): one for name, one in found.items()}
    p = {name.removesuffix(f"@{pickup}"): value for name, value in p.items()}
    first_h, second_h = np.exp(p["log_inductance"]), np.exp(p["log_inductance"] + p["log_second_inductance"])
    k = found["coil_coupling"].value
    assert (found["coil_1.inductance"].value, found["coil_2.inductance"].value) == pytest.approx((first_h, second_h), rel=1e-12)
    assert found["inductance"].value == pytest.approx(first_h + second_h + 2 * k * np.sqrt(first_h * second_h), rel=1e-12)
    ohms = [found[f"coil_{number}.dc_resistance"].value for number in (1, 2)]
    assert sum(ohms) == pytest.approx(np.exp(p["log_resistance"]), rel=1e-12)
    assert ohms[1] / ohms[0] == pytest.approx(np.exp(p["log_second_resistance"]), rel=1e-12)
    farad = [found[f"coil_{number}.winding_capacitance"].value for number in (1, 2)]
    assert farad[1] / farad[0] == pytest.approx(np.exp(p["log_second_winding_capacitance"]), rel=1e-12)
    hidden = derive_quantities(drawn("two coils, two losses each"))
    assert not [name for name in hidden if "coil_" in name or "winding" in name or "eddy" in name]


def test_one_pickup_at_the_jack_has_plain_names():
    choice = drawn()
    evidence = choice.problem.evidence
    (take,) = evidence.takes
    alone = replace(evidence, instrument=None, takes=(TakeEvidence(name="one", response=take.response),))
    problem = build_problem(alone, MODELS["no loss"])
    vector = np.array([one.start for one in problem.parameters])
    found = derive_quantities(choice_with(problem, vector, np.eye(len(vector))))
    assert {"inductance", "winding_capacitance", "dc_resistance", "q_loaded", "resonance_loaded"} <= set(found)
    assert not [name for name in found if "." in name]
