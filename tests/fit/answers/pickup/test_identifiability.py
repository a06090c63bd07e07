"""What takes can tell and what they cannot, and which further take would."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.parts.quantities import Derived, derive_quantities
from fit.answers.pickup.identifiability import (
    Further,
    has_two_loads,
    identify_quantities,
    relative_uncertainty,
    suggest_takes,
    would_tell,
)
from fit.circuit.controls import read_settings
from measure.quantity import parse_quantity
from tests.drawn_choice import AT_STOPS, MODELS, TWO, choice_at

ONE_LOAD = "takes with one load alone tell resonance and damping"


def drawn(model="no loss", *, std=1e-3, controls=AT_STOPS):
    choice = choice_at(TWO, controls, MODELS[model], rng=np.random.default_rng(51), coil_over="neck")
    return replace(choice, covariance=std**2 * choice.covariance)


def with_takes(choice, *changes):
    (take,) = choice.problem.evidence.takes
    evidence = replace(choice.problem.evidence, takes=(take, *(replace(take, **one) for one in changes)))
    return replace(choice, problem=replace(choice.problem, evidence=evidence))


def derived(value, gradient, **options):
    return Derived(value=value, unit=options.pop("unit", "1"), gradient=np.array(gradient), **options)


def test_takes_with_two_loads():
    choice = drawn()
    assert not has_two_loads(choice.problem.evidence)
    assert not has_two_loads(with_takes(choice, {"name": "again"}).problem.evidence)
    assert has_two_loads(with_takes(choice, {"added": (parse_quantity("1n"),)}).problem.evidence)
    turned = read_settings(TWO, AT_STOPS | {"bridge-tone": "5"})
    assert has_two_loads(with_takes(choice, {"settings": turned}).problem.evidence)
    assert has_two_loads(with_takes(choice, {"method": "impedance"}).problem.evidence)
    parts = (parse_quantity("1n"), parse_quantity("100k"))
    first, second = with_takes(choice, {"added": parts}, {"added": parts[::-1]}).problem.evidence.takes[1:]
    assert not has_two_loads(replace(choice.problem.evidence, takes=(first, second)))  # in whatever order


def test_relative_uncertainty_of_each_kind():
    covariance = np.array([[0.04, 0.0], [0.0, 0.01]])
    assert relative_uncertainty(derived(5.0, [1.0, 0.0]), covariance) == pytest.approx(0.2, rel=1e-12)
    assert relative_uncertainty(derived(5.0, [1.0, 1.0]), covariance) == pytest.approx(np.sqrt(0.05), rel=1e-12)
    level = derived(5.0, [0.0, 8.686], unit="dB", is_log=False)  # 0.87 dB: a factor of 1.1
    assert relative_uncertainty(level, covariance) == pytest.approx(0.1, rel=1e-4)
    assert relative_uncertainty(derived(40.0, [0.0, 20.0], unit="Ω", is_log=False), covariance) == pytest.approx(0.05, rel=1e-12)
    assert relative_uncertainty(derived(-3.0, [0.0, 20.0], unit="Ω", is_log=False), covariance) > 1e9
    assert relative_uncertainty(derived(5.0, [1.0, 0.0]), -covariance) == 0.0  # rounding


def test_one_load_sets_no_scale():
    choice = drawn()
    reasons = identify_quantities(choice, derive_quantities(choice))
    scaled = {name for name, why in reasons.items() if why.startswith(ONE_LOAD)}
    assert {"neck.inductance", "neck.dc_resistance", "neck.q_unloaded", "pot.neck-tone", "capacitor.neck-tone"} <= scaled
    assert not {"neck.resonance_loaded", "neck.q_loaded", "neck.peak_loaded"} & set(reasons)
    evidence = replace(choice.problem.evidence, dcr={"neck": parse_quantity("8k"), "bridge": parse_quantity("8k")})
    read = replace(choice, problem=replace(choice.problem, evidence=evidence))
    assert "neck.dc_resistance" not in identify_quantities(read, derive_quantities(choice))


# Limits of 20 %, of 10 % for pots and resistors, their fractions and stops aside.
@pytest.mark.parametrize(
    ("name", "relative", "is_told"),
    [
        ("neck.inductance", 0.19, True), ("neck.inductance", 0.21, False), ("pot.neck-tone", 0.09, True),
        ("pot.neck-tone", 0.11, False), ("pot.neck-volume@7", 0.19, True), ("pot.neck-volume@7", 0.21, False),
        ("resistor.bleed", 0.11, False), ("pot.neck-tone.stop_0", 0.19, True), ("neck.q_loaded", np.nan, False),
    ],
)  # fmt: skip
def test_how_uncertain_is_too_uncertain(name, relative, is_told):
    choice = with_takes(drawn(std=1.0), {"added": (parse_quantity("1n"),)})
    gradient = np.zeros(len(choice.fit.vector))
    gradient[0] = relative
    reasons = identify_quantities(choice, {name: derived(1.0, gradient)})
    assert (name not in reasons) is is_told
    if not is_told and relative == 0.21:
        assert reasons[name] == "the takes leave it uncertain by ± 41 %"


def test_a_capacitor_behind_a_pot_is_hidden():
    # The bridge's tone is at 0, so its capacitor shows; the neck's pot is at 10.
    choice = with_takes(drawn(std=1e-3), {"added": (parse_quantity("1n"),)})
    reasons = identify_quantities(choice, derive_quantities(choice))
    assert reasons["capacitor.neck-tone"].startswith("a pot stands between it and everything that was recorded")
    assert "capacitor.bridge-tone" not in reasons
    assert "capacitor.neck-tone.loss_tangent" not in reasons


def test_two_coils_that_are_not_led_out():
    choice = with_takes(drawn("two coils, two losses each"), {"added": (parse_quantity("1n"),)})
    reasons = identify_quantities(choice, derive_quantities(choice))
    hidden = {name for name, why in reasons.items() if why == "only the sum of two coils in series shows at the jack"}
    names = ("winding_capacitance", "resonance_unloaded", "q_unloaded", "q_loaded", "sharing of the inductance between the coils")
    assert hidden == {f"{pickup}.{name}" for pickup in ("bridge", "neck") for name in names}


def test_what_no_take_has_connected():
    choice = drawn()
    found = derive_quantities(choice)
    del found["pot.neck-tone"]
    reasons = identify_quantities(choice, found)
    assert reasons["pot.neck-tone"] == "no take has it connected"
    alone = replace(choice, problem=replace(choice.problem, models={"neck": choice.problem.models["neck"]}))
    assert identify_quantities(alone, {})["bridge.inductance"] == "no take has this pickup connected"


def test_a_capacitor_must_be_felt_to_be_told():
    further = Further(
        add="", controls=(), covariance=np.eye(1), felt={"capacitor.tone": 0.1, "capacitor.bleed": 0.09}, new_parts={}
    )
    assert would_tell("capacitor.tone", further)
    assert not would_tell("capacitor.bleed", further)
    assert not would_tell("capacitor.other", further)
    assert would_tell("pot.tone", further)


def test_further_takes_the_cheapest_first():
    choice = drawn()
    found = suggest_takes(choice, ())
    turned = [one.controls for one in found if one.controls]
    assert turned == [
        ("bridge-volume=5",), ("bridge-tone=5",), ("neck-volume=5",), ("neck-tone=0",), ("neck-tone=5",), ("selector=neck",),
    ]  # fmt: skip
    usual = {"1n ± 5%", "2n2 ± 1%", "100k ± 1%", "1n ± 1%", "470p ± 1%", "2n2 ± 1%, 100k ± 1%"}
    assert sorted(one.add for one in found if one.add) == sorted(usual)
    assert found[len(turned)].add == "1n ± 5%"
    assert found[-1].add == "2n2 ± 1%, 100k ± 1%"
    assert all(one.covariance.shape == choice.covariance.shape for one in found)
    felt = {one.controls: one.felt["capacitor.neck-tone"] for one in found if one.controls}
    assert felt["neck-tone=0",] > 0.1 > felt["bridge-tone=5",]


def test_further_takes_with_what_is_at_hand():
    choice = with_takes(drawn(), {"added": (parse_quantity("1n ± 1%"),)})
    parts = [parse_quantity(text) for text in ("1n ± 1%", "220k ± 1%", "3n3 ± 5%")]
    added = [one.add for one in suggest_takes(choice, parts) if one.add]
    assert added == ["3n3 ± 5%", "220k ± 1%", "1n ± 1%, 220k ± 1%"]  # 1n is there already


def test_a_tighter_part_tells_more():
    choice = drawn()
    place = [one.name for one in choice.problem.parameters].index("log_inductance@neck")
    std = {one.add: np.sqrt(one.covariance[place, place]) for one in suggest_takes(choice, ()) if one.add}
    assert std["1n ± 1%"] < std["1n ± 5%"]


def test_a_further_take_may_find_new_parts():
    choice = choice_at(TWO, AT_STOPS | {"selector": "neck"}, MODELS["no loss"], rng=np.random.default_rng(52), coil_over="neck")
    new = {one.controls: one.new_parts for one in suggest_takes(choice, ()) if one.controls}
    assert {"pot.bridge-volume", "capacitor.bridge-tone"} <= set(new["selector=both",])
    assert new["neck-tone=5",] == {}
    assert not any(name.startswith(("log_", "added")) for names in new.values() for name in names)
    assert ("selector=bridge",) not in new  # the pickup under the exciter would be silent
