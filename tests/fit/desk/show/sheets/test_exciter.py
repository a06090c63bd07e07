"""An exciter's figures for people."""

from dataclasses import replace

import pytest

from fit.answers.exciter.rating import analyse_exciter
from fit.desk.show.sheets.exciter import NAMES, Shown, sheet_of_exciter
from measure.response import Finding
from tests.exciter_setups import SETUP
from tests.sheet_parts import headings, said, tables

ANSWER = analyse_exciter(SETUP, bounds={"drive.level_v": 0.1}, at_hz=(100.0, 1e3))


def shown(**changes):
    facts = {"answer": ANSWER, "wire": "0.2 mm", "typed": "--former 20", "is_design": False, "unmet": {}, "assumed": ()}
    return Shown(**(facts | changes))


def test_a_coil_there_is_and_one_to_wind():
    there, wound = sheet_of_exciter(shown()), sheet_of_exciter(shown(is_design=True))
    assert (there.title, wound.title) == ("An exciter", "An exciter to wind")
    assert "Exciter: 60 turns of 0.2 mm enamelled copper wire on a round former of 20 mm, no iron" in said(there)
    assert "Wind 60 turns of 0.2 mm" in said(wound)
    assert "Next" not in headings(there)
    assert 'coilsweep exciter --turns 60 --wire "0.2 mm" --sense-resistor 100 --former 20' in said(wound)
    assert 'coilsweep rig --reference current --sense-resistor "100 ± 1%"' in said(wound)


def test_one_turn_is_one():
    winding = replace(SETUP.winding, turns=1)
    answer = analyse_exciter(replace(SETUP, winding=winding), bounds={}, at_hz=(1e3,))
    assert "Exciter: 1 turn of" in said(sheet_of_exciter(shown(answer=answer)))
    assert "1 layer, " in said(sheet_of_exciter(shown(answer=answer)))


def test_currents_and_heat_are_told_in_thousandths():
    rows = {row[0]: row[1] for row in tables(sheet_of_exciter(shown()))[0].rows[1:]}
    assert list(rows) == list(NAMES.values())
    assert rows["Current"].unit == "mA"
    assert rows["Current"].value == pytest.approx(1e3 * ANSWER.quantities["current"].value)
    assert rows["Heat in the coil"].unit == "mW"
    assert rows["Inductance"].unit == "H"


def test_within_limits_or_what_is_not():
    good = replace(ANSWER, findings=())
    assert "Output, resistor and coil are within their limits." in said(sheet_of_exciter(shown(answer=good)))
    hot = replace(ANSWER, findings=(Finding(code="coil-hot", severity="warn", text="the coil gets hot"),))
    text = said(sheet_of_exciter(shown(answer=hot)))
    assert "the coil gets hot" in text
    assert "within their limits" not in text


def test_what_is_missed_is_said_once():
    finding = Finding(code="corner", severity="warn", text="the corner is low")
    one = shown(answer=replace(ANSWER, findings=(finding,)), unmet={"corner": "no coil reaches 20 kHz"})
    assert one.warnings() == ["no coil reaches 20 kHz"]


def test_what_was_assumed_is_listed():
    assert "Assumed" in headings(sheet_of_exciter(shown(assumed=("a pickup of 8000 turns",))))
    assert "a pickup of 8000 turns" in said(sheet_of_exciter(shown(assumed=("a pickup of 8000 turns",))))
    assert "Assumed" not in headings(sheet_of_exciter(shown()))
