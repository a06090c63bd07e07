"""Symbols lie inside their blocks, and their pins are where their lines end."""

import itertools

import pytest

from fit.desk.show.drawing.letters import label_box
from fit.desk.show.drawing.parts import Drawn
from fit.desk.show.drawing.symbols import EARTH_DEPTH, across_block, half_width, hung_block, jack_block, pot_block

POT_WORDS = ("volume", "500 kΩ audio", "marked")


def two(kind, *nodes, lugs="12", words=("a name", "22 nF", "marked")):
    return Drawn(part=f"{kind}.x", kind=kind, lugs=tuple(zip(lugs, nodes, strict=True)), words=words)


def lines_of(symbol):
    return [line for one in symbol.strokes for line in itertools.pairwise(one.points)]


def check(block):
    for symbol in block.symbols:
        ends = {(round(x, 6), round(y, 6)) for line in lines_of(symbol) for x, y in line}
        for _, (x, y) in (*symbol.pins, *symbol.grounds):
            assert (round(x, 6), round(y, 6)) in ends
        boxes = [label_box(one) for one in symbol.labels]
        points = [point for line in lines_of(symbol) for point in line]
        assert min([x for x, _ in points] + [box[0] for box in boxes]) >= 0
        assert max([x for x, _ in points] + [box[2] for box in boxes]) <= block.width
        assert min([y for _, y in points] + [box[1] for box in boxes]) >= -block.above
        assert max([y for _, y in points] + [box[3] for box in boxes]) <= block.below
        assert all(y + EARTH_DEPTH <= block.below for _, (_, y) in symbol.grounds)


@pytest.mark.parametrize("kind", ["capacitor", "resistor", "contact"])
def test_a_part_between_two_nodes_reaches_from_edge_to_edge(kind):
    drawn = two(kind, "a", "b")
    block = across_block(drawn, left="2", right="1", half=half_width(drawn))
    assert {(port.node, port.side, port.at) for port in block.ports} == {
        ("a", "right", (block.width, 0.0)),
        ("b", "left", (0.0, 0.0)),
    }
    check(block)


@pytest.mark.parametrize(("left", "right", "plus_is_right"), [("-", "+", True), ("+", "-", False)])
def test_the_plus_of_a_coil_stands_at_its_positive_end(left, right, plus_is_right):
    drawn = two("coil", "hot", "cold", lugs="+-")
    block = across_block(drawn, left=left, right=right, half=half_width(drawn))
    (plus,) = [one for one in block.symbols[0].labels if one.text == "+"]
    assert (plus.x > block.width / 2) == plus_is_right
    check(block)


def test_a_grounded_coil_has_its_ground_at_the_left_and_one_port():
    drawn = two("coil", "hot", "ground", lugs="+-")
    block = across_block(drawn, left="-", right="+", half=half_width(drawn))
    ((lug, (x, _)),) = block.symbols[0].grounds
    assert lug == "-"
    assert x < block.width / 2
    assert [port.node for port in block.ports] == ["hot"]
    check(block)


@pytest.mark.parametrize(("left", "right"), list(itertools.permutations(["cw", "wiper", "ccw"], 2)))
def test_a_pot_with_two_lugs_lies_or_hangs(left, right):
    drawn = Drawn(part="pot.x", kind="pot", lugs=((left, "a"), (right, "b")), words=POT_WORDS)
    across = across_block(drawn, left=left, right=right, half=half_width(drawn))
    check(across)
    numbers = {"ccw": "1", "wiper": "2", "cw": "3"}
    assert {one.text for one in across.symbols[0].labels if one.css == "lug"} == set(numbers.values())
    hung = hung_block([(Drawn(part="pot.x", kind="pot", lugs=((left, "a"), (right, "ground")), words=POT_WORDS), left, right)])
    check(hung)
    assert [port.side for port in hung.ports] == ["tap"]


UPRIGHT = [  # an end on ground is below
    (ground, is_flipped, sides)
    for ground in ("cw", "wiper", "ccw", "")
    for is_flipped in (False, True)
    for sides in itertools.product([True, False], repeat=3)
    if ground != ("ccw" if is_flipped else "cw")
]


@pytest.mark.parametrize(("ground", "is_flipped", "sides"), UPRIGHT)
def test_an_upright_pot_takes_its_lugs_from_any_side(ground, is_flipped, sides):
    lugs = ("cw", "wiper", "ccw")
    drawn = Drawn(
        part="pot.x", kind="pot", lugs=tuple((lug, "ground" if lug == ground else f"node {lug}") for lug in lugs), words=POT_WORDS
    )
    left = frozenset(lug for lug, is_left in zip(lugs, sides, strict=True) if is_left and lug != ground)
    block = pot_block(drawn, left=left, is_flipped=is_flipped)
    check(block)
    assert {port.node: port.side for port in block.ports} == {
        f"node {lug}": "left" if lug in left else "right" for lug in lugs if lug != ground
    }


def test_a_chain_is_joined_from_part_to_part_and_ends_on_ground():
    pot = Drawn(part="pot.tone", kind="pot", lugs=(("wiper", "bus"), ("ccw", "node")), words=POT_WORDS)
    block = hung_block([(pot, "wiper", "ccw"), (two("capacitor", "node", "ground"), "1", "2")])
    upper, lower = block.symbols
    assert dict(upper.pins)["ccw"] == dict(lower.pins)["1"]
    assert upper.grounds == ()
    assert [lug for lug, _ in lower.grounds] == ["2"]
    check(block)


def test_the_jack_has_a_tip_and_a_grounded_sleeve():
    block = jack_block(Drawn(part="jack", kind="jack", lugs=(("tip", "tip"), ("sleeve", "ground")), words=("jack",)))
    assert [lug for lug, _ in block.symbols[0].grounds] == ["sleeve"]
    check(block)
