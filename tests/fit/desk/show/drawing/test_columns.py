"""Nodes in columns: pickups at the left, the jack at the right, nothing from a column to itself."""

from itertools import pairwise

import pytest

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.drawing.columns import assign_columns
from fit.desk.show.drawing.parts import drawn_parts
from tests.random_instruments import draw_instrument


def columns_of(instrument):
    return assign_columns(drawn_parts(instrument, {}), output=instrument.output)


def layout(name):
    return columns_of(read_instrument(layout_text(name)))


def test_tone_control_and_its_capacitor_hang_as_one():
    columns = layout("one-pickup")
    assert [[link[0].part for link in chain] for chain in columns.hung] == [["pot.tone", "capacitor.tone"]]
    assert [part.part for part in columns.through] == ["pickup.bridge", "pot.volume"]
    assert columns.level == {"bridge hot": 1, "tip": 2}


def test_a_shared_capacitor_hangs_alone():
    columns = layout("three-singles")
    assert [[link[0].part for link in chain] for chain in columns.hung] == [["capacitor.tone"]]
    assert columns.level["bus"] == 2
    assert columns.level["tone link"] == columns.level["tip"] == 4


def test_a_coil_leads_from_its_negative_end_to_its_positive_one():
    level = layout("two-pickups-series").level
    assert level["bridge cold"] == 0
    assert level["bridge hot"] == 1


INSTRUMENTS = [read_instrument(layout_text(name)) for name in DESCRIPTIONS] + [draw_instrument(seed)[1] for seed in range(60)]


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=[*DESCRIPTIONS, *map(str, range(60))])
def test_each_part_is_drawn_once_and_leads_somewhere(instrument):
    columns = columns_of(instrument)
    parts = [part for part in drawn_parts(instrument, {}) if part.kind != "jack"]
    drawn = [*columns.through, *(part for chain in columns.hung for part, _, _ in chain)]
    assert sorted(map(repr, parts)) == sorted(map(repr, drawn))
    for part in columns.through:
        levels = [columns.level[node] for _, node in part.lugs if node != "ground"]
        assert len(part.lugs) == 3 or len(set(levels)) == len(levels)
    assert columns.level[instrument.output] == max(columns.level.values())
    for chain in columns.hung:
        for (upper, _, lower_lug), (lower, upper_lug, _) in pairwise(chain):
            assert upper.at(lower_lug) == lower.at(upper_lug)
        assert chain[-1][0].at(chain[-1][2]) == "ground"
