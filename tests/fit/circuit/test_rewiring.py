"""Points that a person can name, parts between them, leads that are moved."""

import msgspec
import pytest

from fit.circuit.instrument import Pot, lugs_of
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.rewiring import add_chain, ends_of, find_point, leads_of, loose_after, move_leads, places_of, points_of
from fit.circuit.soundness import check_wiring, part_ends


def layout(name):
    return read_instrument(layout_text(name))


@pytest.mark.parametrize(
    ("name", "point", "node"),
    [
        ("three-singles", "jack", "tip"),
        ("three-singles", "ground", "ground"),
        ("three-singles", "volume.cw", "bus"),
        ("three-singles", "pot.volume.wiper", "tip"),
        ("three-singles", "selector.common", "bus"),
        ("humbucker-modes", "mode.common", None),
        ("three-singles", "bridge.hot", "bridge hot"),
        ("three-singles", "pickup.bridge.cold", "ground"),
        ("humbucker-modes", "bridge.second.hot", "bottom hot"),
        ("three-singles", "capacitor.tone.first", "tone link"),
        ("three-singles", "tone-1 top", "tone-1 top"),
    ],
)
def test_a_point_has_its_node(name, point, node):
    if node is None:
        with pytest.raises(ValueError, match=r'there is no point "mode.common", the instrument has: jack, ground, '):
            find_point(layout(name), point)
    else:
        assert find_point(layout(name), point) == node


@pytest.mark.parametrize("name", DESCRIPTIONS)
def test_all_points_of_a_layout_can_be_named(name):
    instrument = layout(name)
    for point, node in points_of(instrument).items():
        assert find_point(instrument, point) == node


@pytest.mark.parametrize(
    ("place", "ends"),
    [
        ("volume", ("bus", "tip")),  # a treble bleed
        ("pot.tone-1", ("tone-1 top", "tone link")),
        ("capacitor.tone", ("tone link", "ground")),
        ("bridge", ("bridge hot", "ground")),
        ("jack", ("tip", "ground")),
        ("volume.cw:ground", ("bus", "ground")),
        ("bus : tip", ("bus", "tip")),
    ],
)
def test_a_place_has_two_ends(place, ends):
    assert ends_of(layout("three-singles"), place) == ends


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("volum", 'there is no "volum" to put a part across: expected one of jack, pot.volume'),
        ("jack:nowhere", 'there is no point "nowhere", the instrument has: jack, ground, volume.cw'),
        ("jack:tip", "both are the same point, tip"),
        ("tone-1.cw:ground", 'there is no point "tone-1.cw"'),  # a lug that is not used
    ],
)
def test_a_place_that_is_none_is_refused_with_those_there_are(place, says):
    with pytest.raises(ValueError, match=says):
        ends_of(layout("three-singles"), place)


def test_parts_in_series_lie_one_behind_the_other():
    more, keys = add_chain(layout("three-singles"), ("bus", "tip"), [("capacitor", "1n2"), ("resistor", "150k")])
    assert keys == ("capacitor.added-1", "resistor.added-2")
    first, second = more.capacitor["added-1"].between, more.resistor["added-2"].between
    assert (first[0], second[1]) == ("bus", "tip")
    assert first[1] == second[0]
    check_wiring(more)
    with pytest.raises(ValueError, match="too many, expected at most 20"):
        add_chain(more, ("bus", "tip"), 19 * [("resistor", "1M")])


def test_an_added_part_never_takes_the_place_of_another():
    more, keys = add_chain(layout("three-singles"), ("bus", "tip"), [("resistor", "1M"), ("resistor", "150k")])
    kept = msgspec.structs.replace(more, resistor={"added-2": more.resistor["added-2"]})
    again, keys = add_chain(kept, ("bus", "tip"), [("resistor", "1k"), ("resistor", "2k")])
    assert keys == ("resistor.added-1", "resistor.added-3")
    assert {name: part.value for name, part in again.resistor.items()} == {"added-1": "1k", "added-2": "150k", "added-3": "2k"}


def test_a_tone_lead_is_moved_and_its_contact_left_alone():
    moved = move_leads(layout("three-singles"), {"tone-2.wiper": "bridge.hot"})
    assert moved.pot["tone-2"].wiper == "bridge hot"
    assert all("tone-2 top" not in pair for joins in moved.switch["selector"].positions.values() for pair in joins)
    assert all(("tone-1 top", "bus") in joins for name, joins in moved.switch["selector"].positions.items() if "neck" in name)


def test_ends_change_places_all_at_once():
    swapped = move_leads(layout("two-pickups-series"), {"neck.hot": "neck.cold", "neck.cold": "neck.hot"})
    assert swapped.pickup["neck"].ends == ("ground", "neck hot")
    both = move_leads(layout("humbucker-modes"), {"bridge.second.hot": "ground", "bridge.second.cold": "bridge.second.hot"})
    assert both.pickup["bridge"].second.ends == ("ground", "bottom hot")


def test_a_lug_that_was_not_used_may_be():
    assert lugs_of(Pot(taper="audio", wiper="a", ccw="b")) == {"wiper": "a", "ccw": "b"}
    moved = move_leads(layout("one-pickup"), {"tone.cw": "ground"})
    assert moved.pot["tone"].cw == "ground"
    capacitor = move_leads(layout("three-singles"), {"capacitor.tone.second": "jack"})
    assert capacitor.capacitor["tone"].between == ("tone link", "tip")


LEADS = ("cw", "wiper", "ccw", "hot", "cold", "first", "second")
EVERY_LEAD = [(name, one) for name in DESCRIPTIONS for one in points_of(layout(name)) if one.rpartition(".")[2] in LEADS]


@pytest.mark.parametrize(("name", "lead"), EVERY_LEAD)
def test_any_lead_can_be_taken_off_but_the_only_one_to_the_jack(name, lead):
    at_jack = [ends for ends in part_ends(layout(name)).values() if layout(name).output in ends]
    if find_point(layout(name), lead) == layout(name).output and len(at_jack) == 1:
        with pytest.raises(ValueError, match='"tip" floats, no part and no switch touches it'):
            move_leads(layout(name), {lead: "nothing"})
        return
    after = move_leads(layout(name), {lead: "nothing"})
    end = find_point(after, lead)
    assert [point for point, node in points_of(after).items() if node == end] == [lead, end]  # nothing else lies there
    assert not any(end in pair for switch in after.switch.values() for joins in switch.positions.values() for pair in joins)


def test_what_a_lead_that_is_taken_off_leaves_behind_may_go_nowhere_and_nothing_else():
    off = {"capacitor.tone.second": "nothing", "tone.wiper": "nothing"}
    after = move_leads(layout("one-pickup"), off)
    assert loose_after(layout("one-pickup"), off) == {"loose capacitor.tone.second", "ground", "loose tone.wiper", "bridge hot"}
    with pytest.raises(ValueError, match="goes nowhere"):
        check_wiring(after)
    with pytest.raises(ValueError, match=r'pot.tone: point "tone link" goes nowhere'):
        move_leads(layout("one-pickup"), {"tone.wiper": "nothing", "capacitor.tone.first": "jack"})
    named = read_instrument(layout_text("one-pickup").replace("tip", "nothing"))
    assert find_point(move_leads(named, {"tone.wiper": "nothing"}), "tone.wiper") == "nothing"  # a point of that name


@pytest.mark.parametrize(
    ("moves", "says"),
    [
        ({"tone.middle": "ground"}, 'there is no lead "tone.middle", expected one of volume.cw'),
        ({"tone.wiper": "nowhere"}, 'there is no point "nowhere"'),
        ({"tone.ccw": "ground"}, 'capacitor.tone: point "tone link" goes nowhere'),
        ({"bridge.hot": "ground"}, 'pickup.bridge: is joined to itself at "ground"'),
    ],
)
def test_what_is_no_move_is_refused(moves, says):
    with pytest.raises(ValueError, match=says):
        move_leads(layout("one-pickup"), moves)


@pytest.mark.parametrize("name", DESCRIPTIONS)
def test_what_is_offered_can_be_soldered(name):
    instrument = layout(name)
    for lead in leads_of(instrument):
        check_wiring(move_leads(instrument, {lead: points_of(instrument)[lead]}))
    for place, ends in places_of(instrument).items():
        assert ends_of(instrument, place) == ends
