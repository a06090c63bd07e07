"""Symbols at their places: inside the drawing, none on another, bars apart."""

import itertools
from functools import cache

import pytest

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.drawing.layout import CLEAR, lay_out, symbol_box
from tests.draws import some
from tests.random_instruments import draw_instrument

ALL = [*DESCRIPTIONS, *some(range(30), 10)]  # layouts, and seeds of drawn instruments


@cache
def laid_out(name):
    return lay_out(read_instrument(layout_text(name)) if name in DESCRIPTIONS else draw_instrument(name)[1], {})


@pytest.mark.parametrize("name", ALL)
def test_no_symbol_lies_on_another_or_outside(name):
    drawn = laid_out(name)
    boxes = [symbol_box(symbol) for symbol in drawn.symbols]
    for box in boxes:
        assert min(box) >= 0
        assert box[2] <= drawn.width
        assert box[3] <= drawn.height
    for (one, first), (other, second) in itertools.combinations(zip(drawn.symbols, boxes, strict=True), 2):
        is_apart = first[2] <= second[0] or second[2] <= first[0] or first[3] <= second[1] or second[3] <= first[1]
        assert is_apart, (one.drawn.part, other.drawn.part)


@pytest.mark.parametrize("name", ALL)
def test_bars_of_one_track_are_apart(name):
    bars = [run for run in laid_out(name).runs if run.start[0] == run.end[0]]
    for one, other in itertools.combinations(bars, 2):
        if one.start[0] == other.start[0]:
            assert one.end[1] + CLEAR <= other.start[1] or other.end[1] + CLEAR <= one.start[1], (one.node, other.node)


@pytest.mark.parametrize("name", ALL)
def test_the_signal_runs_from_the_left_to_the_right(name):
    drawn = laid_out(name)
    jack = next(symbol_box(one) for one in drawn.symbols if one.drawn.kind == "jack")
    assert all(symbol_box(one)[0] < jack[0] for one in drawn.symbols if one.drawn.kind == "coil")


@pytest.mark.parametrize(
    ("name", "hops"), [("one-pickup", 0), ("two-pickups-tone-before", 0), ("three-singles", 0), ("treble-bleed", 0)]
)
def test_what_can_be_drawn_without_crossings_is(name, hops):
    assert sum(len(run.hops) for run in laid_out(name).runs) == hops


def test_both_coils_of_a_pickup_stand_in_a_frame():
    assert [frame.pickup for frame in laid_out("humbucker-modes").frames] == ["pickup.bridge"]


def test_pickups_stand_in_the_order_of_the_file():
    coils = [one for one in laid_out("three-singles").symbols if one.drawn.kind == "coil"]
    assert [one.drawn.part for one in sorted(coils, key=lambda one: symbol_box(one)[1])] == [
        "pickup.bridge",
        "pickup.middle",
        "pickup.neck",
    ]
