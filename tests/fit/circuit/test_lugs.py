"""Lugs, contacts and the leads between them, against instruments wired by hand."""

from collections import defaultdict

import pytest

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.lugs import Lug, all_lugs, contacts_of, wires_of
from fit.circuit.reading import read_instrument
from fit.circuit.soundness import part_ends
from tests.instrument_texts import SOUND
from tests.random_instruments import draw_instrument

SOUND_ONE = read_instrument(SOUND)


def test_a_pair_joined_in_several_positions_is_one_contact():
    found = {(one.ends, one.closed_in) for one in contacts_of(SOUND_ONE)}
    assert found == {
        (("neck hot", "bus"), ("neck", "both")),
        (("bridge hot", "bus"), ("both", "split")),
        (("bridge middle", "ground"), ("split",)),
    }


def test_a_pair_written_the_other_way_round_is_the_same_contact():
    turned = SOUND.replace('split = [["bridge hot", "bus"]', 'split = [["bus", "bridge hot"]')
    assert turned != SOUND
    assert len(contacts_of(read_instrument(turned))) == 3


def test_a_switch_lug_with_several_partners_is_a_common():
    lugs = {(one.lug, one.node) for one in all_lugs(SOUND_ONE) if one.part == "switch.selector"}
    assert lugs == {
        ("throw", "neck hot"),
        ("common", "bus"),
        ("throw", "bridge hot"),
        ("throw", "bridge middle"),
        ("throw", "ground"),
    }


def test_a_coil_is_positive_at_its_first_end():
    neck = [one for one in all_lugs(SOUND_ONE) if one.part == "pickup.neck"]
    assert [(one.lug, one.node) for one in neck] == [("+", "neck hot"), ("-", "ground")]


def joined(instrument):
    """Groups of lugs that the leads join."""
    parent = {}

    def top(one):
        while parent.setdefault(one, one) != one:
            one = parent[one]
        return one

    for wire in wires_of(instrument):
        parent[top(wire.first)] = top(wire.second)
    groups = defaultdict(set)
    for lug in all_lugs(instrument):
        groups[top(lug)].add(lug)
    return groups.values()


INSTRUMENTS = [read_instrument(layout_text(name)) for name in DESCRIPTIONS] + [draw_instrument(seed)[1] for seed in range(40)]


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=[*DESCRIPTIONS, *map(str, range(40))])
def test_leads_join_the_lugs_of_each_node_and_no_others_without_a_ring(instrument):
    groups = joined(instrument)
    assert all(len({lug.node for lug in group}) == 1 for group in groups)
    assert len(groups) == len({lug.node for lug in all_lugs(instrument)})
    assert len(wires_of(instrument)) == len(all_lugs(instrument)) - len(groups)


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=[*DESCRIPTIONS, *map(str, range(40))])
def test_every_end_of_every_part_is_a_lug(instrument):
    lugs = defaultdict(list)
    for one in all_lugs(instrument):
        lugs[one.part].append(one.node)
    assert {place: sorted(nodes) for place, nodes in part_ends(instrument).items()} == {
        part: sorted(nodes) for part, nodes in lugs.items() if not part.startswith(("switch.", "jack"))
    }
    assert Lug(part="jack", lug="tip", node=instrument.output) in all_lugs(instrument)


def test_ground_leads_go_to_the_sleeve():
    ground = [wire for wire in wires_of(SOUND_ONE) if wire.first.node == "ground"]
    assert {(wire.second.part, wire.second.lug) for wire in ground} == {("jack", "sleeve")}
    assert {wire.first.part for wire in ground} == {
        "pickup.neck",
        "pickup.bridge.second",
        "switch.selector",
        "pot.volume",
        "capacitor.tone",
    }
