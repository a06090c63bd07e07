"""Where the controls stand so that one pickup reaches the output, and which pots bring a capacitor across it."""

import msgspec
import pytest

from fit.circuit.alone import alone_controls, pickups_heard, switch_ways, turned_down
from fit.circuit.instrument import Switch
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument


def of_layout(name):
    return read_instrument(layout_text(name))


@pytest.mark.parametrize("name", DESCRIPTIONS)
def test_every_pickup_of_every_layout_is_heard_and_without_blend_pots_alone(name):
    instrument = of_layout(name)
    for pickup in instrument.pickup:
        controls = alone_controls(instrument, pickup)
        assert set(controls) == {*instrument.pot, *instrument.switch}
        heard = pickups_heard(instrument, controls)
        assert pickup in heard
        assert heard == (pickup,) or "blend" in instrument.pot


@pytest.mark.parametrize(
    ("name", "pickup", "stands"),
    [
        ("one-pickup", "bridge", {"volume": "10", "tone": "10"}),
        ("two-pickups-blend", "bridge", {"blend": "10"}),
        ("two-pickups-blend", "neck", {"blend": "0"}),
        ("three-singles-blend", "bridge", {"blend": "0", "selector": "bridge"}),
        ("two-pickups-series", "neck", {"selector": "neck"}),
        ("humbucker-modes", "bridge", {"mode": "series"}),
    ],
)
def test_a_blend_pot_takes_the_others_away(name, pickup, stands):
    assert stands.items() <= alone_controls(of_layout(name), pickup).items()


@pytest.mark.parametrize(
    ("name", "down"),
    [
        ("one-pickup", {"bridge": ("tone",)}),
        ("three-singles", {"bridge": (), "middle": ("tone-2",), "neck": ("tone-1",)}),
        ("three-singles-bridge-tone", {"bridge": ("tone-2",), "middle": (), "neck": ("tone-1",)}),
        ("two-pickups-tone-after", {"bridge": ("bridge-tone",), "neck": ("neck-tone",)}),
        ("treble-bleed", {"bridge": ("tone",)}),
    ],
)
def test_tone_controls_are_found_by_what_they_do(name, down):
    instrument = of_layout(name)
    assert {pickup: turned_down(instrument, alone_controls(instrument, pickup)) for pickup in instrument.pickup} == down


def test_a_volume_control_is_no_tone_control_whatever_it_is_called():
    instrument = read_instrument(layout_text("one-pickup").replace("pot.tone]", "pot.dark]"))
    assert turned_down(instrument, alone_controls(instrument, "bridge")) == ("dark",)


def test_more_positions_than_anybody_goes_through_are_refused_at_once():
    switch = Switch(positions={"on": (("bridge hot", "tip"),), "off": ()})
    many = msgspec.structs.replace(of_layout("one-pickup"), switch={f"s{number}": switch for number in range(64)})
    says = f"64 switches have {2**64} positions together, more than 1000: .* make the takes one by one, coilsweep take NAME"
    with pytest.raises(ValueError, match=says):
        alone_controls(many, "bridge")
    ways = list(switch_ways({"a": ("1", "2"), "b": ("x", "y")}))
    assert [tuple(way.values()) for way in ways] == [("1", "x"), ("1", "y"), ("2", "x"), ("2", "y")]
    assert list(switch_ways({})) == [{}]
