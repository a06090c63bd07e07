"""What each switch position connects, in words."""

import pytest

from fit.answers.wiring.arrangement import Joined
from fit.answers.wiring.levels import Reading
from fit.answers.wiring.survey import Position, WiringAnswer
from fit.desk.show.sheet import Meaning
from fit.desk.show.sheets.wiring import level_text, position_text, sheet_of_wiring
from tests.sheet_parts import headings, pictures, said, tables


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


def position(label="x", **readings):
    joined = Joined(kind="one", name=next(iter(readings)))
    return Position(
        label=label, controls={}, readings=readings, joined=joined, possible=(), halves={}, is_complete=True, needs=()
    )


def survey(*positions, leakage=None):
    names = tuple(positions[0].readings)
    return WiringAnswer(pickups=names, positions=positions, leakage=leakage, unheard=(), unmeasured=(), left_out=())


@pytest.mark.parametrize(
    ("label", "text"), [("selector=neck", "At selector=neck you hear a."), ("as it is", "With everything as it is you hear a.")]
)
def test_what_it_means_is_a_sentence(label, text):
    blocks = sheet_of_wiring(survey(position(label, a=reading(level=1.0))), None, differences={}, takes=("t",)).blocks
    assert [block.text for block in blocks if isinstance(block, Meaning)] == [text]


@pytest.mark.parametrize(("sign", "text"), [(1, "+0.50"), (-1, "−0.50"), (0, "±0.50")])
def test_a_level_has_its_sign(sign, text):
    assert level_text(reading(sign)) == text


def test_a_cell_says_what_is_known_of_a_pickup():
    unknown = Reading(take="t", is_connected=None, level=None, level_std=None, sign=0)
    no_take = Reading(take=None, is_connected=None, level=None, level_std=None, sign=0)
    one = position(a=reading(), b=reading(0, is_connected=False), c=unknown, d=no_take)
    (table, *_) = tables(sheet_of_wiring(survey(one), None, differences={}, takes=("t",)))
    assert table.rows[0] == ("position", "a", "b", "c", "d", "what is connected")
    assert table.rows[1][:5] == ("x", "+0.50", "·", "?", "")


def test_what_differs_from_the_file_is_marked_and_agreement_is_said():
    answer = survey(position(a=reading(level=1.0)), leakage=0.031)
    sheet = sheet_of_wiring(answer, answer, differences={"x": ("a is inverted",)}, takes=("t",))
    assert "DIFFERS from instrument.toml" in headings(sheet)
    assert "x: a is inverted" in said(sheet)
    assert "read at most 3.1 %" in said(sheet)
    assert "Nothing differs from instrument.toml." in said(sheet_of_wiring(answer, answer, differences={}, takes=("t",)))
    assert "instrument.toml" not in said(sheet_of_wiring(answer, None, differences={}, takes=("t",)))
    assert pictures(sheet) == ["positions", "circuit"]


def test_many_takes_are_counted_not_listed():
    answer = survey(position(a=reading(level=1.0)))
    assert "Wiring, from 2 takes: t1, t2" in said(sheet_of_wiring(answer, None, differences={}, takes=("t1", "t2")))
    many = tuple(f"take-{number}" for number in range(7))
    assert "take-3" not in said(sheet_of_wiring(answer, None, differences={}, takes=many))
