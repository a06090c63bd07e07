"""The wirings to choose from: each sketched and drawn, with all that it has."""

import re

import pytest

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.page import html
from fit.desk.show.sheets.layouts import SKETCHES, sheet_of_layouts, sheet_of_sketches
from fit.desk.show.terminal import lines


@pytest.mark.parametrize("name", DESCRIPTIONS)
def test_a_sketch_names_all_pickups_pots_and_switches_and_no_other(name):
    instrument = read_instrument(layout_text(name))
    words = set(re.findall(r"[a-z]+(?:-(?:[a-z]+|[12]))?", "\n".join(SKETCHES[name])))
    assert {*instrument.pickup, *instrument.pot, *instrument.switch} <= words
    every = [read_instrument(layout_text(other)) for other in DESCRIPTIONS]
    known = {part for one in every for part in (*one.pickup, *one.pot, *one.switch)}
    assert words & known <= {
        *instrument.pickup,
        *instrument.pot,
        *instrument.switch,
        *next(iter(instrument.switch.values()), _NONE).positions,
    }
    assert max(map(len, SKETCHES[name])) <= 78


class _NONE:
    positions = ()


def test_the_numbers_are_those_that_are_typed():
    text = lines(sheet_of_sketches("the takes alone tell"))
    heads = [line.split(":")[0].split() for line in text if re.match(r"\d+  ", line)]
    assert heads == [[str(number), name] for number, name in enumerate(DESCRIPTIONS, start=1)]
    assert text[-1].split()[:2] == [str(len(DESCRIPTIONS) + 1), "none"]
    assert not any("none" in line for line in lines(sheet_of_sketches()))


def test_the_page_draws_each_of_them():
    page = html(sheet_of_layouts())
    assert page.count("<svg") == len(DESCRIPTIONS)
    for name in DESCRIPTIONS:
        assert f"{name}:" in page
