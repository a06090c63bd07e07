"""The drawing of what is clipped where: it says the same as its name, tells the takes apart, and lets no text become markup."""

import re
from xml.etree import ElementTree as ET

import pytest

from fit.desk.show.drawing.hookup import HEIGHT, WIDTH, hookup_svg

CASES = {
    "pickup": ({"is_moved": True}, "Exciter on the pickup; lay it on, fix it. Pickup to input 1. Nothing added"),
    "added": (
        {"added": "1n ± 1%"},
        "Exciter on the pickup; leave it where it is. Pickup to input 1. 1n ± 1% across tip and sleeve",
    ),
    "neck": (
        {"coil_over": "neck", "is_guitar": True, "is_moved": True},
        "Exciter on the neck pickup; lay it on, fix it. Guitar to input 1. Nothing added",
    ),
    "quiet": ({"method": "quiet", "is_guitar": True}, "Exciter off, aside. Guitar to input 1. Nothing added"),
}


def drawn(**how):
    return ET.fromstring(hookup_svg(**how))


def css(root):
    return [node.get("class") for node in root.iter()]


def texts(root):
    return [node.text for node in root.iter("text")]


@pytest.mark.parametrize(("how", "name"), CASES.values(), ids=CASES)
def test_it_is_named_by_what_it_shows(how, name):
    root = drawn(**how)
    assert root.get("aria-label") == name
    assert ("sense" in css(root)) == (how.get("method") != "quiet")
    assert ("clipped" in css(root)) == bool(how.get("added"))
    assert ("guitar" in texts(root)) == how.get("is_guitar", False)


def test_what_is_added_stands_in_its_box_in_lines_that_fit():
    root = drawn(added="680p ± 1%, 150k ± 1%, 2n2 ± 5%, 100k ± 1%, 470p ± 1%, 1n ± 1%")
    lines = [node for node in root.iter("text") if node.get("class") == "new"]
    assert len(lines) == 2
    assert lines[0].text == "680p ± 1%, 150k ± 1%, 2n2"
    assert lines[1].text.endswith(" …")


def test_no_text_becomes_markup():
    svg = hookup_svg(added='<script>"&', coil_over="<b>neck</b>")
    assert "<script" not in svg
    assert "<b>" not in svg
    assert '<script>"&' in texts(ET.fromstring(svg))


@pytest.mark.parametrize("how", [case[0] for case in CASES.values()], ids=CASES)
def test_everything_lies_within_the_drawing_and_has_no_colour_of_its_own(how):
    svg = hookup_svg(**how)
    assert not re.search(r'\b(?:style|fill|stroke)="', svg)
    for x, y in re.findall(r'<(?:text|rect)[^>]* x="([\d.]+)" y="([\d.]+)"', svg):
        assert 0 <= float(x) <= WIDTH
        assert 0 <= float(y) <= HEIGHT
