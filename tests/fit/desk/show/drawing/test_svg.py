"""The drawing as SVG, read back: every part, every net, every contact; no words on words or lines."""

import json
from collections import defaultdict
from xml.etree import ElementTree

import pytest

from fit.circuit.instrument import coils_of, lugs_of
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.drawing.letters import Label, label_box
from fit.desk.show.drawing.svg import drawing_svg
from tests.random_instruments import draw_instrument
from tests.schematics import SVG, drawn_netlist, is_on, labels, meets, path_lines, scenes, symbols, wire_lines

LAYOUTS = {name: read_instrument(layout_text(name)) for name in DESCRIPTIONS}
N_DRAWN = 300
CHUNK = 30


def stated_netlist(instrument):
    """Parts as (part, kind, lug to node) from the instrument alone."""
    out = [(f"pickup.{name}", "coil", dict(zip("+-", coil.ends, strict=True))) for name, coil in coils_of(instrument).items()]
    for name, switch in instrument.switch.items():
        pairs = {frozenset(pair): pair for joins in switch.positions.values() for pair in joins}
        out += [(f"switch.{name}", "contact", dict(zip("12", pair, strict=True))) for pair in pairs.values()]
    out += [(f"pot.{name}", "pot", lugs_of(pot)) for name, pot in instrument.pot.items()]
    for kind, parts in (("capacitor", instrument.capacitor), ("resistor", instrument.resistor)):
        out += [(f"{kind}.{name}", kind, dict(zip("12", part.between, strict=True))) for name, part in parts.items()]
    return [*out, ("jack", "jack", {"tip": instrument.output, "sleeve": "ground"})]


def same_netlist(drawn, stated):
    """Whether nets of the drawing and nodes of the file go one to one; contacts of a switch may be turned and in any order."""
    fixed = sorted((part, kind, sorted(lugs)) for part, kind, lugs in drawn)
    assert fixed == sorted((part, kind, sorted(lugs)) for part, kind, lugs in stated)
    node_of, net_of = {"ground": "ground"}, {"ground": "ground"}
    places = defaultdict(list)
    for part, kind, lugs in stated:
        if kind != "contact":
            places[part].append(lugs)
    for part, kind, lugs in drawn:
        if kind == "contact":
            continue
        for lug, net in lugs.items():
            node = places[part][0][lug]
            assert node_of.setdefault(net, node) == node, (part, lug)
            assert net_of.setdefault(node, net) == net, (part, lug)
    contacts = [(part, lugs) for part, kind, lugs in drawn if kind == "contact"]
    wanted = [(part, frozenset(lugs.values())) for part, kind, lugs in stated if kind == "contact"]
    # a node that contacts alone touch has no lug of another part to be known by: match these by elimination
    free = {net for _, lugs in contacts for net in lugs.values()} - set(node_of)
    left = {node for _, nodes in wanted for node in nodes} - set(net_of)
    assert len(free) == len(left)
    while free:
        signature = {}
        for net in free:
            signature[net] = sorted(
                (part, node_of.get(other, "?"))
                for part, lugs in contacts
                if net in lugs.values()
                for other in lugs.values()
                if other != net
            )
        for node in sorted(left):
            here = sorted(
                (part, other if other in net_of else "?") for part, nodes in wanted if node in nodes for other in nodes - {node}
            )
            fits = [net for net, there in signature.items() if there == here and net in free]
            assert fits, node
            node_of[fits[0]], net_of[node] = node, fits[0]
            free.discard(fits[0])
            left = left - {node}
    found = sorted((part, tuple(sorted(node_of[net] for net in lugs.values()))) for part, lugs in contacts)
    assert found == sorted((part, tuple(sorted(nodes))) for part, nodes in wanted)
    return node_of


def check_lines(scene):
    """Wires of different nets never lie on each other; where they cross, one hops."""
    lines, hops = wire_lines(scene)
    owner = [path.get("data-node") for path in scene.iter(f"{SVG}path") if path.get("class") == "wire"]
    for i, first in enumerate(lines):
        for j, second in enumerate(lines):
            if owner[i] == owner[j]:
                continue
            assert not any(is_on(end, second) for end in first), (owner[i], owner[j])
            (x0, y), (x1, _) = first
            (x, y0), (x_end, y1) = second
            if y == first[1][1] and x == x_end and min(x0, x1) < x < max(x0, x1) and min(y0, y1) < y < max(y0, y1):
                assert any(abs(hop[0] - x) < 0.02 and abs(hop[1] - y) < 0.02 for hop in hops), (owner[i], owner[j])


def check_words(svg):
    """No words on other words, on a line of a symbol or on a wire, by an estimate of their width on the safe side."""
    root = ElementTree.fromstring(svg)
    texts = []
    for one in labels(root):
        place = Label(
            x=float(one.get("x")),
            y=float(one.get("y")),
            text=one.text,
            css=one.get("class"),
            anchor=one.get("text-anchor", "start"),
        )
        texts.append((one.text, label_box(place)))
    width, height = float(root.get("width")), float(root.get("height"))
    lines = [line for path in root.iter(f"{SVG}path") for line in path_lines(path)]
    for i, (text, box) in enumerate(texts):
        assert min(box[0], box[1], width - box[2], height - box[3]) >= 0, text
        for other, (left, top, right, bottom) in texts[i + 1 :]:
            assert box[2] <= left or right <= box[0] or box[3] <= top or bottom <= box[1], (text, other)
        for line in lines:
            assert not meets(box, line), (text, line)


def check_dots(scene):
    """A dot where three ways meet and nowhere else."""
    lines, _ = wire_lines(scene)
    pins = [tuple(point) for one in symbols(scene) for point in json.loads(one.get("data-pins")).values()]
    dots = [(float(one.get("cx")), float(one.get("cy"))) for one in scene.iter(f"{SVG}circle") if one.get("class") == "dot"]
    for point in {end for line in lines for end in line} | set(pins):
        ways = sum(max(abs(a - b) for a, b in zip(point, pin, strict=True)) < 0.02 for pin in pins)
        for line in lines:
            if is_on(point, line):
                is_end = any(max(abs(a - b) for a, b in zip(point, end, strict=True)) < 0.02 for end in line)
                ways += 1 if is_end else 2
        has_dot = any(max(abs(a - b) for a, b in zip(point, dot, strict=True)) < 0.02 for dot in dots)
        assert has_dot == (ways > 2), point


def check_symbols(scene):
    """Every lug is drawn to: a line of the symbol ends at each of its pins."""
    for one in symbols(scene):
        ends = [point for path in one.iter(f"{SVG}path") for line in path_lines(path) for point in line]
        for lug, pin in json.loads(one.get("data-pins")).items():
            assert any(max(abs(a - b) for a, b in zip(pin, end, strict=True)) < 0.02 for end in ends), (one.get("data-part"), lug)


def check_all(instrument):
    svg = drawing_svg(instrument)
    (scene,) = scenes(svg)
    same_netlist(drawn_netlist(scene), stated_netlist(instrument))
    check_lines(scene)
    check_words(svg)
    check_dots(scene)
    check_symbols(scene)


@pytest.mark.parametrize("name", LAYOUTS)
def test_each_layout_reads_back_to_its_own_netlist(name):
    check_all(LAYOUTS[name])


@pytest.mark.parametrize("first", range(0, N_DRAWN, CHUNK))
def test_drawn_instruments_read_back_to_their_own_netlists(first):
    for seed in range(first, first + CHUNK):
        check_all(draw_instrument(seed)[1])
