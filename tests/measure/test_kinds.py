"""What things of one kind have: one rule for tolerances that are left out, limits that make sense."""

import pytest

from measure.kinds import KINDS, LIKELY, assume_tolerance, kind_of, kind_of_unit
from measure.marking import read_value
from measure.quantity import LIMITS


# One rule for what is left out, whatever command asks.
def test_a_tolerance_left_out_is_that_of_the_kind():
    typed = {"capacitor": "22n", "pot": "500k", "resistor": "150k", "dcr": "7k9", "input capacitance": "185p"}
    assumed = {kind: assume_tolerance(read_value(text, kind), kind) for kind, text in typed.items()}
    shares = {kind: round(one.bound / one.value, 12) for kind, one in assumed.items()}
    assert shares == {"capacitor": 0.10, "pot": 0.20, "resistor": 0.05, "dcr": 0.05, "input capacitance": 0.10}
    stated = read_value("223J", "capacitor")
    assert assume_tolerance(stated, "capacitor") is stated


def test_a_kind_follows_from_the_name():
    names = {
        "capacitor.tone": "capacitor",
        "pot.volume.marked": "pot",
        "bridge.dcr": "dcr",
        "bridge.second.winding_capacitance": "winding capacitance",
        "input.capacitance": "input capacitance",
        "bridge.eddy_loop_1.corner": None,
    }
    assert {name: kind_of(name) for name in names} == names


def test_what_is_offered_is_usual_and_what_is_usual_possible():
    for kind, facts in KINDS.items():
        low, high = LIMITS[facts.unit]
        assert low <= facts.possible[0] <= facts.usual[0] < facts.usual[1] <= facts.possible[1] <= high, kind
        if kind in LIKELY:
            assert facts.usual[0] <= LIKELY[kind][0] < LIKELY[kind][1] <= facts.usual[1], kind


@pytest.mark.parametrize(("unit", "kind"), [("Ω", "resistor"), ("F", "capacitor"), ("H", "inductance"), ("Hz", "corner")])
def test_a_part_of_which_only_the_unit_is_known(unit, kind):
    assert kind_of_unit(unit) == kind
    assert KINDS[kind].unit == unit


@pytest.mark.parametrize(
    ("kind", "least", "less", "most", "more"),
    [
        ("capacitor", "0.01p", "0.009p", "1000u", "1001u"),
        ("pot", "1k", "0.99k", "20M", "20.1M"),
        ("resistor", "0.01 Ω", "0.009 Ω", "10G", "10.1G"),
        ("dcr", "0.1 Ω", "0.09 Ω", "1M", "1.01M"),
        ("input resistance", "1 Ω", "0.9 Ω", "1 TΩ", ""),
        ("sense resistor", "0.01 Ω", "0.009 Ω", "50k", "50.1k"),
        ("inductance", "0.1 μH", "0.09 μH", "10 kH", "10.1 kH"),
        ("corner", "1 mHz", "0.9 mHz", "1 GHz", "1.1 GHz"),
    ],
)
def test_limits_of_what_there_is(kind, least, less, most, more):
    """The limits themselves can be stated; what lies beyond is a slip of the unit."""
    for text in (least, most):
        read_value(f"{text} ± 1%", kind)
    for text in filter(None, (less, more)):  # nothing has more than 1 TΩ
        with pytest.raises(ValueError, match=f"no {KINDS[kind].what} has"):
            read_value(f"{text} ± 1%", kind)
