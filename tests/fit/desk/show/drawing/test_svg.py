"""The drawing as SVG, read back: every part, every net, every contact; no words on words or lines."""

import json
import re
from collections import defaultdict
from xml.etree import ElementTree

import pytest

from fit.circuit.controls import read_settings
from fit.circuit.instrument import coils_of, lugs_of
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.wiring import joined_nodes
from fit.desk.show.drawing.letters import Label, label_box
from fit.desk.show.drawing.svg import DARK, LIGHT, drawing_svg
from tests.random_instruments import draw_instrument
from tests.schematics import SVG, drawn_netlist, is_on, labels, meets, path_lines, scenes, symbols, wire_lines

LAYOUTS = {name: read_instrument(layout_text(name)) for name in DESCRIPTIONS}
N_DRAWN, N_QUICK = 300, 60
CHUNK = 30
STRIPE = 25  # [px]


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
    near = defaultdict(list)  # texts and lines by the stripes of the drawing that they touch
    for path in root.iter(f"{SVG}path"):
        for line in path_lines(path):
            for stripe in stripes(min(line[0][1], line[1][1]), max(line[0][1], line[1][1])):
                near[stripe].append(line)
    words = defaultdict(list)
    for text, box in texts:
        assert min(box[0], box[1], width - box[2], height - box[3]) >= 0, text
        here = stripes(box[1], box[3])
        for other, (left, top, right, bottom) in {one for stripe in here for one in words[stripe]}:
            assert box[2] <= left or right <= box[0] or box[3] <= top or bottom <= box[1], (text, other)
        for line in {one for stripe in here for one in near[stripe]}:
            assert not meets(box, line), (text, line)
        for stripe in here:
            words[stripe].append((text, box))


def stripes(top, bottom):
    return range(int(top // STRIPE), int(bottom // STRIPE) + 1)


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


CHUNKS = [pytest.param(first, marks=() if first < N_QUICK else pytest.mark.slow) for first in range(0, N_DRAWN, CHUNK)]


@pytest.mark.long
@pytest.mark.parametrize("first", CHUNKS)
def test_drawn_instruments_read_back_to_their_own_netlists(first):
    for seed in range(first, first + CHUNK):
        check_all(draw_instrument(seed)[1])


def positions_of(instrument):
    return [(name, position) for name, switch in instrument.switch.items() for position in switch.positions]


@pytest.mark.long
@pytest.mark.parametrize("instrument", [*LAYOUTS.values(), *(draw_instrument(seed)[1] for seed in range(8))])
def test_each_position_joins_what_the_file_joins_there(instrument):
    """Nets of the drawing, with closed contacts taken for wires, against the nodes that the network has there."""
    svg = drawing_svg(instrument, is_each=True)
    seen = set()
    for scene in scenes(svg):
        node_of = same_netlist(drawn_netlist(scene), stated_netlist(instrument))
        at = json.loads(scene.get("data-at", "{}"))
        seen |= set(at.items())
        settings = read_settings(instrument, {**at, **dict.fromkeys(instrument.pot, "5")})
        joined = joined_nodes(instrument, settings)
        parent = {}

        def top(node, parent=parent):
            while parent.setdefault(node, node) != node:
                node = parent[node]
            return node

        for one, (_, kind, nets) in zip(symbols(scene), drawn_netlist(scene), strict=True):
            if kind == "contact" and one.get("data-state") == "closed":
                first, second = (node_of[net] for net in nets.values())
                parent[top(first)] = top(second)
            assert (one.get("data-state") in ("open", "closed")) == (kind == "contact" and bool(at))
        nodes = {node for _, _, lugs in stated_netlist(instrument) for node in lugs.values()}
        for one in nodes:
            for other in nodes:
                assert (top(one) == top(other)) == (joined.get(one, one) == joined.get(other, other)), (at, one, other)
    assert seen == set(positions_of(instrument))
    check_words(svg)


def test_a_contact_is_drawn_as_it_stands():
    (scene,) = scenes(drawing_svg(LAYOUTS["three-singles"], at={"selector": "neck"}))
    for one in symbols(scene):
        blades = {path.get("class") for path in one.iter(f"{SVG}path")} & {"open", "closed"}
        if one.get("data-kind") == "contact":
            assert blades == {one.get("data-state")}
            assert (one.get("data-state") == "closed") == ("neck" in json.loads(one.get("data-closed-in")))


def test_pickups_that_are_not_heard_are_grey_and_the_caption_names_the_others():
    svg = drawing_svg(LAYOUTS["three-singles"], at={"selector": "neck-middle", "volume": "7"})
    (scene,) = scenes(svg)
    css = {one.get("data-part"): one.get("class") for one in symbols(scene) if one.get("data-kind") == "coil"}
    assert {part for part, text in css.items() if "silent" in text.split()} == {"pickup.bridge"}
    assert "selector = neck-middle, volume = 7 (heard: middle, neck)" in svg


def test_a_lead_has_the_colour_of_the_wire_that_it_goes_on_in():
    """Of what is open, closed or not heard the body alone is coloured."""
    svg = drawing_svg(LAYOUTS["three-singles"], at={"selector": "neck"})
    (grey,) = re.findall(r"[^}]+(?=\{stroke:var\(--soft\)\})", svg)
    assert set(grey.split(",")) == {".schematic g.open .open", ".schematic g.open .lug", ".schematic g.silent .coil"}
    assert ".schematic g.closed path" not in svg
    (scene,) = scenes(svg)
    (silent,) = [one for one in symbols(scene) if one.get("data-part") == "pickup.bridge"]
    assert sorted({path.get("class") for path in silent.iter(f"{SVG}path")}) == ["coil", "line"]


def test_one_drawing_for_each_position_of_each_switch():
    assert len(scenes(drawing_svg(LAYOUTS["three-singles"], is_each=True))) == 5
    assert len(scenes(drawing_svg(LAYOUTS["one-pickup"], is_each=True))) == 1


def test_a_wrong_position_is_refused():
    with pytest.raises(ValueError, match="there is no position"):
        drawing_svg(LAYOUTS["three-singles"], at={"selector": "nowhere"})


def test_data_attributes_name_part_kind_and_nodes():
    (scene,) = scenes(drawing_svg(LAYOUTS["treble-bleed"]))
    data = {one.get("data-part"): (one.get("data-kind"), json.loads(one.get("data-nets"))) for one in symbols(scene)}
    assert data["pot.volume"] == ("pot", {"cw": "bridge hot", "wiper": "tip", "ccw": "ground"})
    assert data["capacitor.bleed"] == ("capacitor", {"1": "bridge hot", "2": "tip"})
    assert data["jack"] == ("jack", {"tip": "tip", "sleeve": "ground"})


def test_colours_follow_the_reader_or_are_fixed():
    follows, light, dark = (drawing_svg(LAYOUTS["one-pickup"], theme=theme) for theme in ("auto", "light", "dark"))
    assert "prefers-color-scheme:dark" in follows
    assert "prefers-color-scheme" not in light + dark
    assert DARK["paper"] in dark
    assert DARK["paper"] not in light
    root = ElementTree.fromstring(light)  # without its style sheet it is still dark on light
    assert all(one.get("fill") == LIGHT["ink"] for one in labels(root))


@pytest.mark.parametrize(("colours", "least"), [(LIGHT, 4.5), (DARK, 4.5)])
def test_words_stand_out(colours, least):
    """Contrast of WCAG 2.1, 1.4.3; grey contacts have words in the colour of notes."""

    def luminance(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    for name in ("ink", "note", "on"):
        high, low = sorted((luminance(colours[name]), luminance(colours["paper"])), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= least, name


def test_what_people_wrote_is_no_markup():
    text = layout_text("one-pickup").replace("tone link", '<b>&"x').replace('"<b>&"x"', "'<b>&\"x'")
    named = text.replace('name = "', 'name = "</title><script>')
    svg = drawing_svg(read_instrument(named))
    assert "<script" not in svg
    check_all(read_instrument(named))


def test_a_part_that_is_asked_for_is_marked_and_notes_are_told():
    svg = drawing_svg(LAYOUTS["one-pickup"], asked="capacitor.tone", notes=("simulated: not real",))
    (scene,) = scenes(svg)
    assert [one.get("data-part") for one in symbols(scene) if "asked" in one.get("class").split()] == ["capacitor.tone"]
    assert "simulated: not real" in svg


def test_a_page_has_no_second_title_and_its_own_paper():
    title = LAYOUTS["one-pickup"].name
    inline, file = drawing_svg(LAYOUTS["one-pickup"], is_inline=True), drawing_svg(LAYOUTS["one-pickup"])
    assert 'class="paper"' in file
    assert 'class="paper"' not in inline
    assert f">{title}</text>" in file
    assert f">{title}</text>" not in inline
    assert f'aria-label="Circuit: {title}"' in inline
    assert "http" not in inline


def test_crossing_wires_without_a_hop_would_be_seen():
    svg = drawing_svg(LAYOUTS["three-singles-blend"])
    (scene,) = scenes(svg)
    assert wire_lines(scene)[1]
    (flat,) = scenes(re.sub(r"H([\d.]+)a[\d. ]+0 0 1 [\d.]+ 0H", "H", svg))
    assert not wire_lines(flat)[1]
    with pytest.raises(AssertionError):
        check_lines(flat)


def test_a_wrong_wire_would_be_seen():
    (scene,) = scenes(drawing_svg(LAYOUTS["three-singles"]))
    wire = max((path for path in scene.iter(f"{SVG}path") if path.get("class") == "wire"), key=lambda path: len(path.get("d")))
    wire.set("d", "M0 0H1")
    with pytest.raises(AssertionError):
        same_netlist(drawn_netlist(scene), stated_netlist(LAYOUTS["three-singles"]))


def test_words_on_words_would_be_seen():
    svg = drawing_svg(LAYOUTS["one-pickup"])
    with pytest.raises(AssertionError):
        check_words(svg.replace(">tone pot</text>", ">a tone control that is called so by nobody</text>", 1))
