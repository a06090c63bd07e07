"""What can be no circuit is named in one line; what is at a limit still passes."""

from dataclasses import dataclass

import msgspec
import pytest

from fit.circuit.instrument import Instrument, Part, Pickup, Pot, SecondCoil, Switch
from fit.circuit.soundness import check_wiring, every_join, part_ends

PLAIN = Instrument(
    pickup={"bridge": Pickup(ends=("hot", "ground"))},
    pot={"volume": Pot(taper="audio", cw="hot", wiper="tip", ccw="ground")},
)


def with_switch(**positions):
    return msgspec.structs.replace(PLAIN, switch={"mode": Switch(positions=positions)})


def with_part(*between):
    return msgspec.structs.replace(PLAIN, resistor={"bleed": Part(between=between)})


def test_nodes_of_every_part():
    instrument = Instrument(
        pickup={"bridge": Pickup(ends=("a", "b"), second=SecondCoil(ends=("b", "ground")))},
        pot={"tone": Pot(taper="audio", wiper="a", ccw="t"), "blend": Pot(taper="linear", cw="x", wiper="y", ccw="z")},
        capacitor={"tone": Part(between=("t", "ground"))},
        resistor={"bleed": Part(between=("a", "tip"))},
        switch={"mode": Switch(positions={"on": (("a", "tip"),)})},
    )
    assert part_ends(instrument) == {
        "pickup.bridge": ("a", "b"),
        "pickup.bridge.second": ("b", "ground"),
        "pot.tone": ("a", "t"),
        "pot.blend": ("x", "y", "z"),
        "capacitor.tone": ("t", "ground"),
        "resistor.bleed": ("a", "tip"),
    }


def test_joins_of_every_position():
    instrument = with_switch(one=(("a", "b"),), both=(("a", "b"), ("c", "d")))
    assert list(every_join(instrument)) == [("mode", ("a", "b")), ("mode", ("a", "b")), ("mode", ("c", "d"))]


@dataclass(frozen=True)
class Wrong:
    instrument: Instrument
    says: str


LONG = "n" * 61
PAIRS = (("hot", "tip"),)
WRONG = {
    "pot with one lug": Wrong(
        msgspec.structs.replace(PLAIN, pot={"tone": Pot(taper="audio", wiper="hot")}),
        "pot.tone: 1 lug is used",
    ),
    "pot joined to itself": Wrong(
        msgspec.structs.replace(PLAIN, pot={"tone": Pot(taper="audio", cw="hot", wiper="tip", ccw="tip")}),
        'pot.tone: is joined to itself at "tip", leave one lug out',
    ),
    "part joined to itself": Wrong(with_part("hot", "hot"), 'resistor.bleed: is joined to itself at "hot", give two different'),
    "long node": Wrong(with_part("hot", LONG), "resistor.bleed: a point has a name of at most 60"),
    "empty node": Wrong(with_part("hot", ""), "resistor.bleed: a point has a name"),
    "blank around a node": Wrong(with_part("hot", "tip "), "resistor.bleed: a point has a name"),
    "node that cannot be printed": Wrong(with_part("hot", "a\tb"), "resistor.bleed: a point has a name"),
    "no positions": Wrong(with_switch(), "switch.mode.positions: expected 1 to 32 positions, got 0"),
    "33 positions": Wrong(with_switch(**{f"p{n}": PAIRS for n in range(33)}), "expected 1 to 32 positions, got 33"),
    "65 joins": Wrong(with_switch(on=PAIRS * 65), "switch.mode.positions.on: expected a name without = and at most 64"),
    "name with =": Wrong(with_switch(**{"a=b": PAIRS}), "switch.mode.positions.a=b: expected a name without ="),
    "long position": Wrong(with_switch(**{LONG: PAIRS}), "a point has a name of at most 60"),
    "switch to a long node": Wrong(with_switch(on=(("hot", LONG),)), "switch.mode.positions.on: a point has a name"),
    "switch from a long node": Wrong(with_switch(on=((LONG, "hot"),)), "switch.mode.positions.on: a point has a name"),
    "switch joined to itself": Wrong(with_switch(on=(("hot", "hot"),)), 'positions.on: "hot" is joined to itself, give two'),
    "long output": Wrong(msgspec.structs.replace(PLAIN, output=LONG), "output: a point has a name"),
    "output at ground": Wrong(msgspec.structs.replace(PLAIN, output="ground"), 'output: the output cannot be "ground"'),
    "part that goes nowhere": Wrong(with_part("hot", "x"), 'resistor.bleed: point "x" goes nowhere, no other part touches it'),
    "two parts joined that go nowhere else": Wrong(
        msgspec.structs.replace(with_switch(on=(("x", "y"),)), resistor={"bleed": Part(between=("hot", "x"))}),
        'switch.mode: point "y" goes nowhere, only "x" is ever joined to it',
    ),
    "three nodes of a switch and one part": Wrong(
        msgspec.structs.replace(
            with_switch(on=(("x", "y"), ("y", "z"), ("z", "x"))), resistor={"bleed": Part(between=("hot", "x"))}
        ),
        'resistor.bleed: point "x" goes nowhere',
    ),
    "output that nothing touches": Wrong(
        Instrument(pickup={"bridge": Pickup(ends=("hot", "ground"))}, resistor={"r": Part(between=("hot", "ground"))}),
        'output: point "tip" floats, no part and no switch touches it',
    ),
    "output without a way to ground": Wrong(
        Instrument(pickup={"bridge": Pickup(ends=("tip", "hot"))}, resistor={"r": Part(between=("hot", "tip"))}),
        'output: point "tip" floats, no way leads from it to "ground" in any position',
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_no_circuit_is_named(case):
    with pytest.raises(ValueError) as caught:  # noqa: PT011 - compared below, without a pattern's own signs
        check_wiring(WRONG[case].instrument)
    assert WRONG[case].says in str(caught.value)
    assert "\n" not in str(caught.value)


SOUND = {
    "plain": PLAIN,
    "60 characters": msgspec.structs.replace(
        PLAIN, resistor={"one": Part(between=("hot", "n" * 60)), "two": Part(between=("n" * 60, "tip"))}
    ),
    "32 positions": with_switch(**{f"p{n}": PAIRS for n in range(32)}),
    "64 joins": with_switch(on=PAIRS * 64),
    "one part at ground alone": with_part("hot", "ground"),
    "part behind a switch": msgspec.structs.replace(
        with_switch(on=(("x", "hot"),)), capacitor={"tone": Part(between=("x", "ground"))}
    ),
    "two parts that meet only through a switch": msgspec.structs.replace(
        with_switch(on=(("x", "y"),)), resistor={"one": Part(between=("hot", "x")), "two": Part(between=("y", "ground"))}
    ),
    "node between two positions": msgspec.structs.replace(
        with_switch(one=(("m", "hot"),), two=(("m", "tip"),)), resistor={"bleed": Part(between=("hot", "tip"))}
    ),
    "ground reached through a switch": Instrument(
        pickup={"bridge": Pickup(ends=("tip", "cold"))}, switch={"mode": Switch(positions={"on": (("cold", "ground"),)})}
    ),
}


@pytest.mark.parametrize("case", SOUND)
def test_what_is_a_circuit_passes(case):
    check_wiring(SOUND[case])
