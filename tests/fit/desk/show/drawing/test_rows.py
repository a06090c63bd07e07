"""Parts in rows: what can share a row, and that moving parts about makes an arrangement no worse."""

import itertools
from functools import cache

import pytest

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.drawing.columns import assign_columns
from fit.desk.show.drawing.parts import drawn_parts
from fit.desk.show.drawing.rows import can_share, channel_widths, cost, find_rows, make_items, stack_rows
from tests.draws import some
from tests.random_instruments import draw_instrument


def items_of(instrument):
    parts = drawn_parts(instrument, {})
    return make_items(assign_columns(parts, output=instrument.output), parts[-1])


ALL = [*DESCRIPTIONS, *some(range(20), 6)]  # layouts, and seeds of drawn instruments


@cache
def made(name):
    return items_of(read_instrument(layout_text(name)) if name in DESCRIPTIONS else draw_instrument(name)[1])


def named(items, part):
    return next(item for item in items if any(symbol.drawn.part == part for symbol in item.block.symbols))


def test_pickup_tone_volume_and_jack_can_follow_each_other_in_one_row():
    items = made("one-pickup")
    assert all(can_share(one, other) for one, other in itertools.combinations(items, 2))
    assert [len(row) for row in find_rows(items)] == [4]


def test_two_pickups_cannot_share_a_row():
    items = made("three-singles")
    assert not can_share(named(items, "pickup.neck"), named(items, "pickup.middle"))


@pytest.mark.parametrize("name", ALL)
def test_every_part_stands_in_one_row_beside_what_it_can_share_it_with(name):
    items = made(name)
    rows = find_rows(items)
    assert sorted(id(item) for row in rows for item in row) == sorted(map(id, items))
    for row in rows:
        assert all(can_share(one, other) for one, other in itertools.combinations(row, 2))


@pytest.mark.parametrize("name", ALL)
def test_an_arrangement_costs_no_more_than_a_row_for_each_part(name):
    items = made(name)
    assert cost(find_rows(items)) <= cost([[item] for item in items])


@pytest.mark.parametrize("name", ALL)
def test_no_two_rows_overlap_in_any_place(name):
    stacked, height = stack_rows(find_rows(made(name)))
    taken = [
        (number, place, y - above, y + below)
        for number, row in enumerate(stacked)
        for item, y in row
        for place, (above, below) in item.room.items()
    ]
    for (row, place, top, bottom), (other, there, its_top, its_bottom) in itertools.combinations(taken, 2):
        assert row == other or place != there or bottom <= its_top or its_bottom <= top
    assert max(bottom for *_, bottom in taken) <= height + 1e-9
    assert min(top for _, _, top, _ in taken) >= -1e-9


@pytest.mark.parametrize("name", ALL)
def test_a_channel_is_as_wide_as_its_fullest_row(name):
    rows = find_rows(made(name))
    widths = channel_widths(rows)
    for channel, width in widths.items():
        assert width == max(sum(item.block.width for item in row if item.channel == channel) for row in rows)
