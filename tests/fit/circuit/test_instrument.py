"""What an instrument states, by name: values, coils, losses, lugs and parts."""

import pytest

from fit.circuit.instrument import (
    Instrument,
    Part,
    Pickup,
    Pot,
    SecondCoil,
    coils_of,
    eddies_of,
    lugs_of,
    parts_of,
    stated_values,
)

SECOND = SecondCoil(ends=("m", "ground"), dcr="3k", eddy_loops=((0.2, 7e3),), coupling=0.3)
BRIDGE = Pickup(
    ends=("hot", "m"), dcr="4k ± 1%", inductance="2.1", winding_capacitance="80p", eddy_spreads=((0.4, 9e3, 1.2),), second=SECOND
)
NECK = Pickup(ends=("neck hot", "ground"), eddy_loops=((0.5, 8e3), (0.1, 2e3)))
TONE = Pot(taper="audio", marked="250k ± 20%", wiper="hot", ccw="t")
CAPACITOR = Part(between=("t", "ground"), marked="22n ± 10% tan 0.4%")
BLEED = Part(between=("hot", "tip"), value="150k", marked="1M")
INSTRUMENT = Instrument(
    pickup={"bridge": BRIDGE, "neck": NECK}, pot={"tone": TONE}, capacitor={"tone": CAPACITOR}, resistor={"bleed": BLEED}
)


def test_every_value_has_its_name_and_unit():
    found = stated_values(INSTRUMENT)
    units = {key: stated.unit for key, stated in found.items()}
    assert units == {
        "bridge.inductance": "H",
        "bridge.dcr": "Ω",
        "bridge.winding_capacitance": "F",
        "bridge.eddy_spread_1.coupling": "",
        "bridge.eddy_spread_1.corner": "Hz",
        "bridge.eddy_spread_1.half_width": "",
        "bridge.second.inductance": "H",
        "bridge.second.dcr": "Ω",
        "bridge.second.winding_capacitance": "F",
        "bridge.second.eddy_loop_1.coupling": "",
        "bridge.second.eddy_loop_1.corner": "Hz",
        "bridge.coupling": "",
        "neck.inductance": "H",
        "neck.dcr": "Ω",
        "neck.winding_capacitance": "F",
        "neck.eddy_loop_1.coupling": "",
        "neck.eddy_loop_1.corner": "Hz",
        "neck.eddy_loop_2.coupling": "",
        "neck.eddy_loop_2.corner": "Hz",
        "pot.tone": "Ω",
        "capacitor.tone": "F",
        "resistor.bleed": "Ω",
    }
    values = {key: stated.quantity.value for key, stated in found.items() if stated.quantity is not None}
    assert values == pytest.approx(
        {
            "bridge.inductance": 2.1,
            "bridge.dcr": 4e3,
            "bridge.winding_capacitance": 80e-12,
            "bridge.eddy_spread_1.coupling": 0.4,
            "bridge.eddy_spread_1.corner": 9e3,
            "bridge.eddy_spread_1.half_width": 1.2,
            "bridge.second.dcr": 3e3,
            "bridge.second.eddy_loop_1.coupling": 0.2,
            "bridge.second.eddy_loop_1.corner": 7e3,
            "bridge.coupling": 0.3,
            "neck.eddy_loop_1.coupling": 0.5,
            "neck.eddy_loop_1.corner": 8e3,
            "neck.eddy_loop_2.coupling": 0.1,
            "neck.eddy_loop_2.corner": 2e3,
            "pot.tone": 250e3,
            "capacitor.tone": 22e-9,
            "resistor.bleed": 150e3,
        },
        rel=1e-12,
    )
    assert all(found[key].quantity.unit == unit for key, unit in units.items() if key in values)


def test_only_what_is_printed_and_not_measured_is_marked():
    marked = {key for key, stated in stated_values(INSTRUMENT).items() if stated.is_marked}
    assert marked == {"pot.tone", "capacitor.tone"}
    nothing = Instrument(pickup={"bridge": NECK}, pot={"tone": Pot(taper="audio", wiper="a", ccw="b")})
    assert not stated_values(nothing)["pot.tone"].is_marked
    assert stated_values(nothing)["pot.tone"].quantity is None


def test_a_number_is_known_exactly():
    quantity = stated_values(INSTRUMENT)["bridge.coupling"].quantity
    assert (quantity.standard_uncertainty, quantity.bound, quantity.text) == (None, None, "0.3")


def test_loss_tangent_is_that_of_what_counts():
    assert CAPACITOR.loss_tangent == pytest.approx(0.004, rel=1e-12)
    assert Part(between=("a", "b"), value="22n", marked="22n tan 0.4%").loss_tangent is None
    assert Part(between=("a", "b"), value="22n tan 1%", marked="22n tan 0.4%").loss_tangent == pytest.approx(0.01, rel=1e-12)
    assert Part(between=("a", "b")).loss_tangent is None


def test_coils_in_the_order_of_the_file():
    assert list(coils_of(INSTRUMENT).items()) == [("bridge", BRIDGE), ("bridge.second", SECOND), ("neck", NECK)]


def test_losses_are_numbered_loops_before_spreads():
    coil = Pickup(ends=("a", "b"), eddy_loops=((0.1, 1e3), (0.2, 2e3)), eddy_spreads=((0.3, 3e3, 1.0), (0.1, 4e3, 0.5)))
    assert eddies_of("x", coil) == (
        ("x.eddy_loop_1", "loop"),
        ("x.eddy_loop_2", "loop"),
        ("x.eddy_spread_1", "spread"),
        ("x.eddy_spread_2", "spread"),
    )
    assert eddies_of("x", Pickup(ends=("a", "b"))) == ()


def test_lugs_that_are_used():
    assert lugs_of(TONE) == {"wiper": "hot", "ccw": "t"}
    assert list(lugs_of(Pot(taper="linear", cw="a", wiper="b", ccw="c")).items()) == [("cw", "a"), ("wiper", "b"), ("ccw", "c")]


def test_parts_with_their_units():
    assert list(parts_of(INSTRUMENT)) == [
        ("pot.tone", TONE, "Ω"),
        ("capacitor.tone", CAPACITOR, "F"),
        ("resistor.bleed", BLEED, "Ω"),
    ]


def test_a_second_coil_is_alike_and_uncoupled_unless_it_is_stated():
    plain = SecondCoil(ends=("a", "b"))
    assert (plain.coupling, plain.excitation, plain.eddy_loops, plain.eddy_spreads) == (0.0, 1.0, (), ())
    assert Instrument().output == "tip"
