"""What switch positions connect, on guitars drawn at random: series and parallel reduced by hand, not by our solver."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.wiring.arrangement import arrangements, is_split_alone
from fit.answers.wiring.expected import expect_wiring, find_differences
from fit.answers.wiring.levels import WiringTake
from fit.answers.wiring.survey import label_positions, read_wiring
from fit.circuit.reading import read_instrument
from measure.response import Response
from tests.drawn_wirings import FREQUENCY_HZ, LEAKAGE, Guitar, check, five_positions, nested
from tests.draws import some
from tests.guitar_cases import draw_four_pots, draw_three_pickups
from tests.guitar_circuit import GROUND, TIP, Circuit, solve_tip
from tests.guitar_parts import add_pickup, draw_pickup


# Three pickups, five positions, one of them out of phase, the coil over each in turn: 50 guitars.
@pytest.mark.parametrize("seed", range(50))
def test_five_positions_with_one_pickup_out_of_phase(seed):
    rng = np.random.default_rng([1, seed])
    names = ("bridge", "middle", "neck")
    odd = names[seed % 3]
    guitar = Guitar(rng, names, signs={name: -1 if name == odd else 1 for name in names})
    answer = read_wiring(guitar.takes(five_positions()))
    check(answer, five_positions(), guitar.signs)
    for position in answer.positions:
        for name, one in position.readings.items():
            assert one.sign == (0 if not one.is_connected else guitar.signs[name])  # most pickups count as positive
    assert answer.leakage < LEAKAGE * 4.1  # strengths differ by up to four
    assert answer.unheard == ()
    assert all(position.needs == () for position in answer.positions)


# Two to four pickups; each alone, and positions with any arrangement drawn from all there are.
@pytest.mark.parametrize("seed", range(60))
def test_any_arrangement(seed):
    rng = np.random.default_rng([2, seed])
    names = ("bridge", "middle", "neck", "piezo")[: 2 + seed % 3]
    guitar = Guitar(rng, names)
    guitar.strength = {name: rng.uniform(0.8, 1.25) for name in names}
    positions = {name: name for name in names}
    for index in range(4):
        chosen = tuple(sorted(rng.choice(names, size=int(rng.integers(2, min(len(names), 3) + 1)), replace=False)))
        every = list(arrangements(chosen))
        positions[f"mix-{index}"] = as_drawn(every[int(rng.integers(len(every)))])
    check(read_wiring(guitar.takes(positions)), positions, guitar.signs)


def as_drawn(joined):
    return joined.name if joined.kind == "one" else (joined.kind, [as_drawn(member) for member in joined.members])


# A humbucker and a single coil: whole, split, both ways together, in series.
@pytest.mark.parametrize("seed", range(50))
def test_a_humbucker_that_is_split(seed):
    rng = np.random.default_rng([3, seed])
    guitar = Guitar(rng, ("bridge", "neck"), humbuckers=("bridge",))
    positions = {
        "bridge": "bridge",
        "split": "half bridge",
        "both": ("parallel", ["bridge", "neck"]),
        "split-neck": ("parallel", ["half bridge", "neck"]),
        "neck": "neck",
        "series": ("series", ["bridge", "neck"]),
    }
    answer = read_wiring(guitar.takes(positions))
    check(answer, positions, guitar.signs)
    assert next(one for one in answer.positions if one.label == "selector=split").halves == {"bridge": ""}


# A volume pot at half is no split: it is stated in the take that it was turned.
def test_a_pot_turned_down_is_no_split():
    guitar = Guitar(np.random.default_rng(5), ("bridge",))
    whole, turned = guitar.take("bridge", "on", "bridge"), guitar.take("bridge", "on", "bridge", turned=0.5, name="turned")
    turned.controls["volume"] = "7"
    answer = read_wiring([whole, turned])
    assert [one.label for one in answer.positions] == ["selector=on", "volume=7, selector=on"]
    assert answer.positions[1].halves == {}
    assert answer.positions[1].readings["bridge"].level == pytest.approx(0.5, abs=0.01)


# A coil laid down anew may read 15 % more or less: parallel and series are told apart all the same.
@pytest.mark.parametrize("seed", range(20))
def test_a_coil_laid_down_anew(seed):
    rng = np.random.default_rng([6, seed])
    guitar = Guitar(rng, ("bridge", "neck"))
    positions = {
        "bridge": "bridge",
        "neck": "neck",
        "both": ("parallel", ["bridge", "neck"]),
        "chain": ("series", ["bridge", "neck"]),
    }
    takes = []
    for index, (pickup, label) in enumerate(itertools.product(guitar.names, positions)):
        takes.append(guitar.take(pickup, label, positions[label], placement=index, turned=rng.uniform(0.93, 1.07)))
    answer = read_wiring(takes)
    check(answer, positions, guitar.signs)
    assert answer.positions[2].readings["neck"].level_std > 0.05


def test_a_missing_take_is_named():
    guitar = Guitar(np.random.default_rng(7), ("bridge", "neck"))
    positions = {"bridge": "bridge", "both": ("series", ["bridge", "neck"]), "neck": "neck"}
    takes = [take for take in guitar.takes(positions) if take.name != "neck-both"]
    both = next(one for one in read_wiring(takes).positions if one.label == "selector=both")
    assert both.readings["neck"].is_connected is None
    assert both.readings["bridge"].is_connected
    assert both.joined is None
    assert both.needs == ("the coil over neck at selector=both",)
    assert not both.is_complete


# Without a position where each is alone, series and parallel cannot be told; both readings stay.
def test_pickups_that_are_never_alone():
    guitar = Guitar(np.random.default_rng(8), ("bridge", "neck"))
    (both,) = read_wiring(guitar.takes({"both": ("series", ["bridge", "neck"])})).positions
    assert both.joined is None
    assert {one.kind for one in both.possible} == {"series", "parallel"}
    assert both.needs == (
        "the coil over bridge at a position where it is the only one connected",
        "the coil over neck at a position where it is the only one connected",
    )
    assert all(one.is_connected for one in both.readings.values())


def test_a_pickup_that_is_never_connected():
    guitar = Guitar(np.random.default_rng(9), ("bridge", "neck"))
    guitar.strength = dict.fromkeys(guitar.names, 1.0)
    answer = read_wiring(guitar.takes({"up": "bridge", "down": "bridge"}))
    assert answer.unheard == ("neck",)
    assert [one.readings["neck"].is_connected for one in answer.positions] == [False, False]
    assert [nested(one.joined) for one in answer.positions] == ["bridge", "bridge"]


def test_a_silent_take_is_not_connected():
    guitar = Guitar(np.random.default_rng(10), ("bridge", "neck"))
    takes = guitar.takes({"bridge": "bridge", "neck": "neck"})
    silent = WiringTake(name="neck-off", pickup="neck", controls={"selector": "bridge"}, placement=0, response=None)
    takes = [silent if take.name == "neck-bridge" else take for take in takes]
    answer = read_wiring(takes, switches=("selector",))
    check(answer, {"bridge": "bridge", "neck": "neck"}, guitar.signs)


def test_noise_that_hides_the_answer_is_no_answer():
    guitar = Guitar(np.random.default_rng(11), ("bridge", "neck"))
    takes = [
        guitar.take("bridge", "bridge", "bridge"),
        guitar.take("neck", "neck", "neck"),
        guitar.take("bridge", "neck", "neck", noise=30.0),
        guitar.take("neck", "bridge", "bridge"),
    ]
    at_neck = next(one for one in read_wiring(takes).positions if one.label == "selector=neck")
    assert at_neck.readings["bridge"].is_connected is None
    assert at_neck.needs == ("the coil over bridge at selector=neck",)


# All takes of a fit may be named: what is there twice, or with a tone control at 0 over one pickup alone, is left out.
def test_takes_that_add_nothing_are_left_out():
    guitar = Guitar(np.random.default_rng(15), ("bridge", "neck"))
    positions = {"bridge": "bridge", "neck": "neck"}
    again = guitar.take("bridge", "bridge", "bridge", name="again")
    turned = guitar.take("bridge", "bridge", "bridge", turned=0.6, name="turned")
    turned.controls["tone"] = "0"
    answer = read_wiring([*guitar.takes(positions), again, turned])
    check(answer, positions, guitar.signs)
    assert answer.left_out == ("again", "turned")


def test_positions_are_named_by_what_differs():
    assert label_positions([{"volume": "10", "selector": "neck"}]) == ["selector=neck"]
    assert label_positions([{"volume": "10", "way": "1"}, {"volume": "10", "way": "2"}]) == ["way=1", "way=2"]
    assert label_positions([{"volume": "10", "way": "1"}], ("way",)) == ["way=1"]
    assert label_positions([{}]) == ["as it is"]
    assert label_positions([{"volume": "10", "selector": "neck"}, {"selector": "neck"}]) == ["selector=neck", "selector=neck"]
    assert label_positions([{"volume": "7"}, {}]) == ["volume=7", "as it is"]


def test_what_cannot_be_read_is_refused():
    with pytest.raises(ValueError, match="no take is named"):
        read_wiring([])
    high = Response(frequency_hz=[1e3, 2e3, 4e3], value=np.ones(3), covariance=np.zeros((3, 2, 2)))
    with pytest.raises(ValueError, match="fewer than 3 frequencies between 100 and 500 Hz"):
        read_wiring([WiringTake(name="t", pickup="p", controls={}, placement=0, response=high)])


def wiring_takes(case):
    placement, out = 0, []
    for take in case.takes.values():
        placement += take.coil_moved
        controls = {"selector": next(iter(case.guitar.heard))} | take.settings
        out.append(
            WiringTake(name=take.name, pickup=take.coil_over, controls=controls, placement=placement, response=take.response)
        )
    return out


# Guitars with coupled windings and eddy losses, noise, smooth errors and leakage, solved by node equations of their own: every
# take of a whole session is named, those with a part added or the tone control at 0 among them.
@pytest.mark.parametrize("seed", some(range(25), 6))
@pytest.mark.parametrize("kind", ["one loop", "spread"])
def test_three_pickups_of_the_independent_guitars(seed, kind):
    odd = ("bridge", "middle", "neck", "")[seed % 4]
    case = draw_three_pickups(1000 + seed, kind=kind, out_of_phase=odd)
    answer = read_wiring(wiring_takes(case), pickups=tuple(case.guitar.pickups), switches=("selector",))
    signs = {name: -1 if name == odd else 1 for name in case.guitar.pickups}
    expected = {name: as_parallel(heard) for name, heard in case.guitar.heard.items()}
    assert len(answer.positions) == 5
    check(answer, expected, signs)
    controls = {one.label: one.controls for one in answer.positions}
    assert find_differences(answer, expect_wiring(read_instrument(case.instrument_toml), controls)) == {}
    parts, mark, positions = case.instrument_toml.partition("[switch.selector.positions]")
    exchanged = positions.replace("middle hot", "spare").replace("neck hot", "middle hot").replace("spare", "neck hot")
    stated = expect_wiring(read_instrument(parts + mark + exchanged), controls)
    assert find_differences(answer, stated).keys() == {"selector=bridge-middle", "selector=middle", "selector=neck"}


def as_parallel(names):
    return ("parallel", list(names)) if len(names) > 1 else names[0]


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("is_tone_before", [True, False])
def test_four_pots_of_the_independent_guitars(seed, is_tone_before):
    case = draw_four_pots(2000 + seed, is_tone_before=is_tone_before)
    answer = read_wiring(wiring_takes(case), switches=("selector",))
    check(answer, {name: as_parallel(heard) for name, heard in case.guitar.heard.items()}, {"bridge": 1, "neck": 1})


HUMBUCKER_POSITIONS = {
    "bridge": ("bridge", [("bridge hot", "bus"), ("bridge cold", GROUND)]),
    "split": ("half bridge", [("bridge hot", "bus"), ("bridge middle", GROUND), ("bridge cold", GROUND)]),
    "coils": ("half bridge", [("bridge hot", "bus"), ("bridge cold", GROUND)]),  # both coils between these two
    "neck": ("neck", [("neck hot", "bus")]),
    "both": (("parallel", ["bridge", "neck"]), [("bridge hot", "bus"), ("bridge cold", GROUND), ("neck hot", "bus")]),
    "chain": (("series", ["bridge", "neck"]), [("bridge hot", "bus"), ("bridge cold", "neck hot")]),
    "split-neck": (
        ("parallel", ["half bridge", "neck"]),
        [("bridge hot", "bus"), ("bridge middle", GROUND), ("bridge cold", GROUND), ("neck hot", "bus")],
    ),
}


def humbucker_take(guitar, leakage, over, position):
    """A humbucker of two coupled coils, the exciter reaching the second less; volume and tone at 10."""
    load = (("R", 1e6), ("C", 385e-12))
    circuit = Circuit()
    for name, pickup in guitar.items():
        drive, ends = 1.0 if name == over else leakage, (f"{name} hot", "bridge cold" if name == "bridge" else GROUND)
        if name == "bridge" and position == "coils":
            for number, coil in enumerate(pickup.coils):
                add_pickup(circuit, f"coil {number}", replace(pickup, coils=(coil,)), ends, drive=drive)
            circuit.couplings["coil 0 0", "coil 1 0"] = pickup.coupling
        else:
            add_pickup(circuit, name, pickup, ends, drive=drive)
        circuit.resistors.append((f"{name} hot", GROUND, 1e9))  # no node floats
    circuit.resistors.append(("bridge cold", GROUND, 1e9))
    circuit.joins.extend([*HUMBUCKER_POSITIONS[position][1], ("bus", TIP)])
    circuit.resistors += [(TIP, GROUND, 500e3), (TIP, "tone link", 500e3)]
    circuit.capacitors.append(("tone link", GROUND, 22e-9))
    for kind, value in load:
        (circuit.resistors if kind == "R" else circuit.capacitors).append((TIP, GROUND, value))
    value = solve_tip(circuit, FREQUENCY_HZ)
    covariance = np.tile((1e-4 * np.abs(value).max()) ** 2 / 2 * np.eye(2), (len(value), 1, 1))
    response = Response(frequency_hz=FREQUENCY_HZ, value=value, covariance=covariance)
    controls = {"volume": "10", "selector": position}
    return WiringTake(name=f"{over}-{position}", pickup=over, controls=controls, placement=0, response=response)


# A humbucker with coupled coils unequally driven, as it is in the independent guitars: whole, split, its coils in parallel, with
# a single coil in parallel and in series. Where the coil lies over one half, a split hardly changes the level: then that is not
# told, and everything else is.
@pytest.mark.parametrize("seed", range(50))
def test_humbucker_of_the_independent_guitars(seed):
    rng = np.random.default_rng([16, seed])
    guitar = {
        "bridge": draw_pickup(rng, "bridge", kind="humbucker", henry=(4.0, 6.0)),
        "neck": draw_pickup(rng, "neck", kind="one loop", henry=(2.0, 3.6)),
    }
    leakage = float(rng.choice([-1.0, 1.0])) * rng.uniform(0.003, 0.03)
    takes = [humbucker_take(guitar, leakage, over, position) for over in guitar for position in HUMBUCKER_POSITIONS]
    answer = read_wiring(takes)
    found = {one.label.removeprefix("selector="): one for one in answer.positions}
    for name, (joined, _) in HUMBUCKER_POSITIONS.items():
        possible = [nested(one) for one in found[name].possible]
        assert nested(joined) in possible, name
        if found[name].joined is None:
            assert is_split_alone(found[name].possible)
            assert found[name].needs == ("the coil over the middle of bridge, so that both of its coils take part alike",)
        else:
            assert nested(found[name].joined) == nested(joined), name
    assert found["coils"].halves == {"bridge": ""}
    share = found["split"].readings["bridge"].level
    assert found["split"].halves["bridge"] in (("split", "perhaps") if abs(share - 0.5) > 0.12 else ("",))
    if guitar["bridge"].coils[1].excitation > 0.75:
        assert [name for name in HUMBUCKER_POSITIONS if found[name].joined is None] == []
