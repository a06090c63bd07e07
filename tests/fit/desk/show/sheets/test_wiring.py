"""What each switch position connects, in words."""

import pytest

from fit.answers.wiring.arrangement import Joined
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import Position
from fit.desk.show.sheets.wiring import position_text


def reading(sign=1, *, is_connected=True, level=0.5):
    return Reading(take="t", is_connected=is_connected, level=level, level_std=0.01, sign=sign)


@pytest.mark.parametrize(
    ("readings", "joined", "halves", "text"),
    [
        ({"a": reading(0, is_connected=False)}, None, {}, "nothing"),
        ({"a": reading(level=1.0)}, Joined(kind="one", name="a"), {}, "a"),
        ({"a": reading(level=0.7)}, Joined(kind="one", name="a"), {}, "a, at 70 % of its level"),
        ({"a": reading()}, Joined(kind="half", name="a"), {"a": "split"}, "a, split to one coil"),
        ({"a": reading(level=0.77)}, Joined(kind="half", name="a"), {"a": "perhaps"}, "a, at 77 % of its level, perhaps split"),
        ({"a": reading()}, Joined(kind="half", name="a"), {"a": ""}, "a, split, or its coils in parallel"),
        ({"a": reading(), "b": reading(0)}, None, {}, "a and b, how they are joined is not decided, polarity not told"),
        (
            {"a": reading(), "b": reading(), "c": reading(-1)},
            Joined(kind="series", members=tuple(Joined(kind="one", name=name) for name in "abc")),
            {},
            "a in series with b in series with c, c out of phase",
        ),
    ],
)
def test_positions_in_words(readings, joined, halves, text):
    position = Position(
        label="x", controls={}, readings=readings, joined=joined, possible=(), halves=halves, is_complete=True, needs=()
    )
    assert position_text(position) == text
