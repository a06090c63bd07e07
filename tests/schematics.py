"""A drawing of an instrument read back from its SVG: nets from where lines lie, not from what is written beside them."""

import json
import re
from collections import defaultdict
from itertools import pairwise
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"
NEAR = 0.02  # [px] the SVG has two decimals
TEXT_SIZES = {"title": 15.0, "name": 12.0, "value": 11.0, "note": 11.0, "lug": 9.0}


def scenes(svg):
    root = ElementTree.fromstring(svg)
    return [one for one in root.iter(f"{SVG}g") if one.get("class") == "scene"]


def symbols(scene):
    """Parts with their data attributes; a contact once for each pair of nodes."""
    return [one for one in scene.iter(f"{SVG}g") if one.get("data-part")]


def wire_lines(scene):
    """Straight lines of the wires, hops taken for the straight line under them, and the places of the hops."""
    lines, hops = [], []
    for path in scene.iter(f"{SVG}path"):
        if path.get("class") != "wire":
            continue
        words = re.findall(r"[MHVa]|-?[\d.]+", path.get("d"))
        x, y = float(words[1]), float(words[2])
        start = (x, y)
        at = 3
        while at < len(words):
            if words[at] == "H":
                x, at = float(words[at + 1]), at + 2
            elif words[at] == "V":
                y, at = float(words[at + 1]), at + 2
            else:
                radius = float(words[at + 1])
                hops.append((x + radius, y))
                x, at = x + 2 * radius, at + 8
        lines.append((start, (x, y)))
    return lines, hops


def is_on(point, line):
    (x, y), ((x0, y0), (x1, y1)) = point, line
    low_x, high_x, low_y, high_y = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
    return low_x - NEAR <= x <= high_x + NEAR and low_y - NEAR <= y <= high_y + NEAR


def nets_of(scene):
    """Each lug, by part and name, to the number of its net; ground symbols are one net.

    A wire's end that lies on another wire is joined to it, a crossing alone is not.
    """
    lines, _ = wire_lines(scene)
    points = [("wire", i, end) for i, line in enumerate(lines) for end in line]
    lugs = defaultdict(list)
    for number, symbol in enumerate(symbols(scene)):
        for lug, point in json.loads(symbol.get("data-pins")).items():
            points.append(("lug", (number, lug), tuple(point)))
            lugs[number].append(lug)
    parent = {}

    def top(one):
        while parent.setdefault(one, one) != one:
            one = parent[one]
        return one

    for kind, key, point in points:
        for i, line in enumerate(lines):
            if is_on(point, line):
                parent[top((kind, key))] = top(("wire", i))
        for other_kind, other, place in points:
            if max(abs(point[0] - place[0]), abs(point[1] - place[1])) <= NEAR:
                parent[top((kind, key))] = top((other_kind, other))
    out = {}
    for number, symbol in enumerate(symbols(scene)):
        here = {lug: top(("lug", (number, lug))) for lug in lugs[number]}
        for ground in symbol.iter(f"{SVG}path"):
            if ground.get("data-kind") == "ground":
                here[ground.get("data-lug")] = "ground"
        out[number] = here
    return out


def drawn_netlist(scene):
    """Parts as (part, kind, lug to net), nets by their number in the order in which they are met; ground is 0."""
    nets = nets_of(scene)
    return [(one.get("data-part"), one.get("data-kind"), nets[i]) for i, one in enumerate(symbols(scene))]


def labels(element):
    return [one for one in element.iter(f"{SVG}text") if one.text]


def path_points(path):
    """Points of a path of M, L, H, V, A and a, those of half circles included."""
    words = re.findall(r"[MLHVAa]|-?[\d.]+", path.get("d"))
    x = y = 0.0
    out, at = [], 0
    while at < len(words):
        word = words[at]
        if word in "ML":
            x, y, at = float(words[at + 1]), float(words[at + 2]), at + 3
        elif word == "H":
            x, at = float(words[at + 1]), at + 2
        elif word == "V":
            y, at = float(words[at + 1]), at + 2
        else:
            radius = float(words[at + 1])
            dx, dy = float(words[at + 6]), float(words[at + 7])
            out.append((x + radius, y - radius))
            x, y = (dx, dy) if word == "A" else (x + dx, y + dy)
            at += 8
        out.append((x, y))
    return out


def path_lines(path):
    """Straight pieces between the points of a path; a jump begins anew."""
    out = []
    for piece in re.findall(r"M[^M]*", path.get("d")):
        one = ElementTree.Element("path", {"d": piece})
        points = path_points(one)
        out += list(pairwise(points))
    return out


def meets(box, line):
    """Whether a line runs through a box (left, top, right, bottom): Liang and Barsky's clipping, 1984."""
    (x0, y0), (x1, y1) = line
    left, top, right, bottom = box
    low, high = 0.0, 1.0
    for step, near, far in ((x1 - x0, left - x0, right - x0), (y1 - y0, top - y0, bottom - y0)):
        if step == 0:
            if near >= 0 or far <= 0:
                return False
            continue
        first, last = sorted((near / step, far / step))
        low, high = max(low, first), min(high, last)
    return low < high
