"""Parts soldered in and leads moved, against circuits built by hand and solved by other code."""

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument
from fit.answers.predict.variant import Variant, carry_values, change_values, solder
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from measure.quantity import parse_quantity
from tests.guitar_circuit import EXCITER_H, GROUND, TIP, Circuit, Winding, solve_tip

TEXT = """
[pickup.bridge]
ends = ["hot", "ground"]
dcr = "6.2k"
inductance = "2.4"
winding_capacitance = "100p"
[pickup.neck]
ends = ["neck hot", "ground"]
dcr = "6k"
inductance = "2"
winding_capacitance = "90p"
[pot.volume]
value = "250k"
taper = "audio"
cw = "hot"
wiper = "tip"
ccw = "ground"
[pot.tone]
value = "240k"
taper = "audio"
wiper = "hot"
ccw = "tone link"
[capacitor.tone]
value = "22n"
between = ["tone link", "ground"]
[switch.selector.positions]
bridge = [["hot", "tip bus"]]
both = [["hot", "neck hot"]]
[resistor.far]
value = "10M"
between = ["tip bus", "ground"]
"""
LOAD = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("600p")}
SHARE = 0.35  # of the volume's track from ccw to wiper
COUPLING = 0.01


def by_hand(*, resistors=(), capacitors=(), tone="hot", tone_farad=22e-9):
    """The bridge pickup heard through volume and tone, with what was soldered in."""
    circuit = Circuit(
        resistors=[*resistors, (TIP, GROUND, 1e6)],
        capacitors=[*capacitors, ("hot", GROUND, 100e-12), ("tone link", GROUND, tone_farad), (TIP, GROUND, 600e-12)],
        windings=[Winding(name="bridge", henry=2.4, ohm=6.2e3, to_exciter=COUPLING, ends=("hot", GROUND))],
        joins=[("hot", "bus")],
    )
    circuit.resistors.append(("bus", GROUND, 10e6))
    circuit.add_pot(("hot", TIP, GROUND), 250e3, SHARE)
    circuit.add_pot(("", tone, "tone link"), 240e3, 0.6)
    return circuit


def gain_by_hand(circuit, frequency_hz):
    emf = 2j * np.pi * frequency_hz * COUPLING * np.sqrt(EXCITER_H * 2.4)
    return solve_tip(circuit, frequency_hz) / emf


def gain_of(variant):
    answer = predict_instrument(
        variant.instrument,
        {"volume": "35%", "tone": "60%"},
        load=LOAD,
        changes=variant.changes,
        excite="bridge",
    )
    return answer.frequency_hz, answer.pickups["bridge"].gain


BLEED_C, BLEED_R = 1.2e-9, 150e3
CASES = {
    "treble bleed of a capacitor": (["volume=1n2"], [], by_hand(capacitors=[("hot", TIP, BLEED_C)])),
    "in series": (
        ["volume=1n2 + 150k"],
        [],
        by_hand(capacitors=[("hot", "middle", BLEED_C)], resistors=[("middle", TIP, BLEED_R)]),
    ),
    "in parallel": (["volume=1n2, 150k"], [], by_hand(capacitors=[("hot", TIP, BLEED_C)], resistors=[("hot", TIP, BLEED_R)])),
    "codes": (["volume=122K, 150k + .047"], [], by_hand(
        capacitors=[("hot", TIP, BLEED_C), ("middle", TIP, 47e-9)], resistors=[("hot", "middle", BLEED_R)])),
    "a second capacitor": (["capacitor.tone=10n"], [], by_hand(tone_farad=32e-9)),
    "a resistor across two points": (["bridge.hot:jack=220k"], [], by_hand(resistors=[("hot", TIP, 220e3)])),
    "a capacitor at the jack": (["jack=470p"], [], by_hand(capacitors=[(TIP, GROUND, 470e-12)])),
    "a lead moved to the jack": ([], ["tone.wiper=jack"], by_hand(tone=TIP)),
    "the tone's lead taken off": ([], ["tone.wiper=nothing"], by_hand(tone="in the air")),
    "a capacitor's, too": ([], ["capacitor.tone.second=nothing"], by_hand(tone="in the air")),
    "a part soldered to a lead taken off": (["tone.wiper:jack=1n"], ["tone.wiper=nothing"], by_hand(
        tone="in the air", capacitors=[("in the air", TIP, 1e-9)])),
    "both": (["volume=1n2"], ["tone.wiper=volume.wiper"], by_hand(tone=TIP, capacitors=[("hot", TIP, BLEED_C)])),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("case", CASES)
def test_responses_are_those_of_the_circuit_by_hand(case):
    additions, moves, circuit = CASES[case]
    plain = Variant(instrument=read_instrument(TEXT))
    frequency_hz, gain = gain_of(solder(plain, additions=additions, moves=moves))
    np.testing.assert_allclose(gain, gain_by_hand(circuit, frequency_hz), rtol=1e-9)
    assert np.max(np.abs(gain / gain_of(plain)[1] - 1)) > 1e-3  # what was done shows


def test_added_parts_are_changes_with_their_ends():
    variant = solder(Variant(instrument=read_instrument(TEXT)), additions=["volume=1n2 +- 5% + 150k ± 1%"])
    assert variant.added == {
        "capacitor.added-1": ("hot", "behind capacitor.added-1"),
        "resistor.added-2": ("behind capacitor.added-1", "tip"),
    }
    assert {key: one.bound / one.value for key, one in variant.changes.items()} == {
        "capacitor.added-1": pytest.approx(0.05),
        "resistor.added-2": pytest.approx(0.01),
    }


@pytest.mark.parametrize(
    ("additions", "moves", "says"),
    [
        (["volume"], [], "is not PLACE=PARTS"),
        (["volume=1n2,"], [], "a part is missing"),
        (["volume=104"], [], "may be 100 nF .* or 100 kΩ"),
        (["volume=0,022"], [], "write a point, not a comma"),
        ([], ["tone.wiper"], "is not LEAD=POINT"),
    ],
)
def test_what_cannot_be_soldered_is_refused(additions, moves, says):
    with pytest.raises(ValueError, match=says):
        solder(Variant(instrument=read_instrument(TEXT)), additions=additions, moves=moves)


def test_a_pot_that_is_printed_with_its_taper_has_it():
    plain = Variant(instrument=read_instrument(TEXT))
    changed = change_values(plain, ["pot.volume=B500K", "capacitor.tone=.01"], losses_of=plain.instrument)
    assert changed.instrument.pot["volume"].taper == "linear"
    assert (changed.changes["pot.volume"].value, changed.changes["capacitor.tone"].value) == (500e3, pytest.approx(10e-9))
    assert plain.instrument.pot["volume"].taper == "audio"


def test_parts_go_into_another_layout_by_their_names():
    own = read_instrument(layout_text("three-singles").replace('"22n ± 10%"', '"47n ± 5%"').replace('"2.4"', '"2.6"'))
    other = read_instrument(layout_text("three-singles-blend"))
    carried, strange = carry_values(other, own)
    assert carried.capacitor["tone"].marked == "47n ± 5%"
    assert carried.pickup["neck"].inductance == "2.6"
    assert carried.switch == other.switch
    assert set(strange) == {"pot.tone", "pot.blend"}


def test_halves_are_no_whole_pickup():
    own = read_instrument(layout_text("one-pickup"))
    carried, strange = carry_values(read_instrument(layout_text("humbucker-modes")), own)
    assert carried.pickup["bridge"].inductance == "1.9"
    assert "pickup.bridge" in strange
    split = read_instrument(layout_text("humbucker-modes").replace('"1.9"', '"2.1"'))
    again, _ = carry_values(read_instrument(layout_text("humbucker-modes")), split)
    assert (again.pickup["bridge"].inductance, again.pickup["bridge"].second.inductance) == ("2.1", "2.1")
