"""What is said of reference recordings: actual beside found, and one word for all of it."""

import pytest

from fit.answers.figures import Estimate
from fit.desk.show.sheets.selftest import Found, Rerun, line_of, sheet_of_selftest
from fit.desk.show.terminal import lines

COIL = Estimate(value=2.876, unit="H", standard_uncertainty=0.012, low=2.852, high=2.9)


def told(*found):
    return Rerun(found=found, versions={"coilsweep": "1.2.3", "numpy": "9.9"})


def one(**changes):
    whole = {"title": "A coil", "name": "inductance", "is_met": True, "actual": 2.87, "estimate": COIL, "e_number": 0.25}
    return Found(**{**whole, **changes})


def test_actual_and_found_stand_side_by_side():
    text = "\n".join(lines(sheet_of_selftest(told(one()))))
    assert text.startswith("AGREES")
    assert "Inductance  2.87 H  2.876 H  2.852 … 2.900 H  0.25  agrees" in text
    assert "coilsweep  1.2.3" in text


def test_one_line_that_does_not_agree_is_enough():
    wrong = one(actual=2.5, e_number=15.7, is_met=False)
    tested = told(one(), wrong)
    assert tested.outcome == "does not agree"
    text = "\n".join(lines(sheet_of_selftest(tested)))
    assert text.startswith("DOES NOT AGREE: 1 of 2 lines.")
    assert "15.70  OFF" in text


def test_what_was_not_told_does_not_agree():
    text = "\n".join(lines(sheet_of_selftest(told(one(estimate=None, e_number=None, is_met=False)))))
    assert "not told" in text


@pytest.mark.parametrize("name", ["verdict", "rejected", "response"])
def test_a_judgement_is_a_line_in_words(name):
    judged = one(name=name, actual=None, estimate=None, e_number=None, figure_db=1e-4 if name == "response" else None)
    text = "\n".join(lines(sheet_of_selftest(told(judged))))
    assert "agrees" in text.split("\n\n")[1]
    line = line_of(judged)
    assert (line.case, line.actual, line.found, line.agrees) == ("A coil", None, None, True)
