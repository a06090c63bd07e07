"""Statements that were let go: what was stated, what the takes say instead, in the unit that people state it in."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.pickup.contradictions import released_of
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from measure.response import Response
from tests.drawn_choice import AT_STOPS, FREQUENCY_HZ, MODELS, TWO, choice_at, choice_with
from tests.found_parts import LOAD

BARE = PickupModel(eddies=((),))


def evidence():
    response = Response(
        frequency_hz=FREQUENCY_HZ,
        value=2j * np.pi * FREQUENCY_HZ * 1e-3,
        covariance=1e-12 * np.eye(2) * FREQUENCY_HZ[:, None, None] ** 2,
    )
    takes = (
        TakeEvidence(name="open", response=response),
        TakeEvidence(name="plus", response=response, added=(parse_quantity("1n ± 1%"),)),
    )
    return Evidence(
        takes=takes, input_resistance=LOAD["input.resistance"], input_capacitance=LOAD["input.capacitance"],
        dcr=parse_quantity("8k ± 2%"),
    )  # fmt: skip


def choice_without(*released, moved=None, std=1.0):
    problem = build_problem(evidence(), BARE, released=list(released))
    vector = np.array([one.start for one in problem.parameters])
    names = [one.name for one in problem.parameters]
    for name, value in (moved or {}).items():
        vector[names.index(name)] = value
    return choice_with(problem, vector, std**2 * np.eye(len(vector)))


def test_nothing_was_let_go():
    assert released_of(choice_without()) == ()


def test_a_reference_in_the_unit_of_its_part():
    choice = choice_without("log_added_0", moved={"log_added_0": np.log(1.1e-9)}, std=0.02)
    (one,) = released_of(replace(choice, alternatives=("log_resistance",)))
    assert one.parameter == "added 1n ± 1% in plus"
    assert one.is_reference
    assert (one.stated.unit, one.found.unit) == ("F", "F")
    # 95 % of a rectangle of 1 %: 0.95 of the bound to either side
    assert one.stated.value == pytest.approx(1e-9, rel=1e-9, abs=0)
    assert one.stated.standard_uncertainty == pytest.approx(1e-11 / np.sqrt(3), rel=1e-6, abs=0)
    assert (one.stated.low, one.stated.high) == pytest.approx((1e-9 * np.exp(-0.0095), 1e-9 * np.exp(0.0095)), rel=2e-5, abs=0)
    assert one.stated.distribution == "rectangular"
    assert one.stated.coverage_factor == pytest.approx(0.95 * np.sqrt(3), rel=2e-3)
    assert one.found.value == pytest.approx(1.1e-9, rel=1e-9, abs=0)
    assert one.found.standard_uncertainty == pytest.approx(0.02 * 1.1e-9, rel=1e-9, abs=0)
    assert one.found.high == pytest.approx(1.1e-9 * np.exp(1.96 * 0.02), rel=1e-9, abs=0)
    assert len(one.instead) == 1
    assert "dcr" in one.instead[0]


def test_a_reading_of_the_winding_is_in_ohms():
    (one,) = released_of(choice_without("log_resistance", moved={"log_resistance": np.log(8.5e3)}))
    assert (one.stated.value, one.stated.unit) == (pytest.approx(8e3, rel=1e-9), "Ω")
    assert one.found.value == pytest.approx(8.5e3, rel=1e-9)


@pytest.mark.parametrize(("name", "unit", "value"), [("delay", "sample", 0.7), ("highpass", "Hz", -7.0)])
def test_what_belongs_to_the_bench_is_no_reference(name, unit, value):
    choice = choice_without(name, moved={name: value}, std=0.1)
    (one,) = released_of(replace(choice, alternatives=("log_resistance",)))
    assert (one.is_reference, one.instead) == (False, ())
    assert (one.stated.value, one.stated.unit, one.stated.distribution) == (0.0, unit, "normal")
    assert one.stated.low == -one.stated.high == pytest.approx(-1.96 * one.stated.standard_uncertainty, rel=1e-9)
    assert (one.found.value, one.found.unit) == (value, unit)
    assert (one.found.low, one.found.high) == pytest.approx((value - 0.196, value + 0.196), rel=1e-9)


def test_a_leak_is_a_conductance():
    choice = choice_at(TWO, AT_STOPS, MODELS["no loss"], rng=np.random.default_rng(41), coil_over="neck")
    names = [one.name for one in choice.problem.parameters]
    found = {one.parameter: one for one in released_of(choice)}
    assert set(found) == {"insulation of capacitor.bridge-tone", "insulation of capacitor.neck-tone"}
    one = found["insulation of capacitor.neck-tone"]
    # stated: none, within 2 nS; found: the parameter in microsiemens, its variance 1 here
    assert (one.stated.value, one.stated.unit) == (0.0, "S")
    assert one.stated.high == pytest.approx(1.96 * 2e-9, rel=1e-9, abs=0)
    assert one.found.value == pytest.approx(1e-6 * choice.fit.vector[names.index("across_capacitor.neck-tone")], rel=1e-9, abs=0)
    assert one.found.standard_uncertainty == pytest.approx(1e-6, rel=1e-9, abs=0)
