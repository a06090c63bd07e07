"""A part against its marking, as a sheet."""

from dataclasses import replace

import pytest

from fit.answers.figures import Contribution, NextTake
from fit.desk.questions.confirm import confirm_document, judge_part
from fit.desk.show.document.pieces import plain
from fit.desk.show.sheets.confirm import sheet_of_confirm
from fit.desk.show.terminal import lines as terminal_lines
from measure.quantity import parse_quantity
from tests.answer_by_hand import answer as answer_by_hand
from tests.answer_by_hand import estimate

MARKED = parse_quantity("33n ± 10%", "F")


TAKE = NextTake(add="", text="one more take with the controls set to tone=0", predicted_relative_std=0.004)


def confirm_lines(judged, budget, *, takes, simulated):
    return terminal_lines(sheet_of_confirm(judged, budget, takes=takes, simulated=simulated), with_details=True, width=1000)


def fitted(**changes):
    return replace(answer_by_hand(), **changes)


def test_an_interval_over_the_limit_names_the_take_that_narrows_it():
    quantities = {"capacitor.tone": estimate(36.2e-9, 2e-10, "F")}
    judged = judge_part("capacitor.tone", MARKED, fitted(quantities=quantities, next_takes={"capacitor.tone": (TAKE,)}))
    assert judged.next_take is TAKE
    lines = confirm_lines(judged, (), takes=("a", "b"), simulated=True)
    assert lines[2] == "capacitor.tone, from a, b"
    assert lines[1].startswith("simulated")
    assert lines[0].startswith("NOT RESOLVED: the value lies inside the marking, but its 95 % interval reaches 290 pF above")
    text = " ".join(" ".join(lines).split())
    # by hand: U = 1.96 · 0.2 nF; limits 29.7 and 36.3 nF moved inwards by it; Φ((36.3 − 36.2)/0.2) = Φ(0.5) = 0.6915
    assert "accepted 30.10 … 35.90 nF guard band w = U = 390 pF (JCGM 106, 8.3; ILAC-G8:09/2019)" in text
    assert "within its marking 69.1 % probability; no verdict" in text
    assert lines[-1] == "What would tell: one more take with the controls set to tone=0: capacitor.tone to ± 0.78 %"


def test_lines_of_a_pot_without_a_tolerance():
    quantities = {"pot.volume": estimate(463e3, 2e3, "Ω")}
    judged = judge_part("pot.volume", parse_quantity("500k", "Ω"), fitted(quantities=quantities))
    budget = (Contribution(source="dcr", contribution=1.9e3), Contribution(source="noise", contribution=50.0))
    text = "\n".join(confirm_lines(judged, budget, takes=("a",), simulated=False))
    assert "500k, ± 20 % assumed" in text
    assert "400 kΩ … 600 kΩ allowed" in text
    assert "463.0 kΩ" in text
    assert "−7.4 %" in text
    assert "± 3.7 kΩ  100 %" in text
    assert "noise" not in text  # less than half a percent of the variance
    assert "500K" in text
    assert "simulated" not in text
    document = plain(confirm_document(judged, fitted(quantities=quantities, budget={"pot.volume": budget}), warnings=()))
    assert document["marked"]["tolerance_assumed"] is True
    assert document["marked"]["allowed"] == [pytest.approx(400e3), pytest.approx(600e3)]
    assert document["budget"][0] == {"source": "dcr", "contribution": 1.9e3}


# Nothing that counts was measured: the rule is stated all the same, and nothing is made up.
def test_a_misfit_has_a_rule_but_no_probability():
    quantities = {"capacitor.tone": estimate(33e-9, 1e-10, "F")}
    judged = judge_part("capacitor.tone", MARKED, answer := fitted(quantities=quantities, outcome="misfit"))
    document = plain(confirm_document(judged, answer, warnings=()))
    assert document["decision_rule"]["rule"].startswith("guarded acceptance and guarded rejection, guard band w = U")
    assert "JCGM 106:2012, 8.3" in document["decision_rule"]["standard"]
    assert (document["decision_rule"]["side"], document["decision_rule"]["guard_band"]) == (None, None)
    assert (document["conformance_probability"], document["specific_risk"]) == (None, None)
    assert "probability" not in "\n".join(confirm_lines(judged, (), takes=("a",), simulated=False))


def test_a_marking_narrower_than_the_interval_accepts_nothing():
    quantities = {"capacitor.tone": estimate(33e-9, 3e-9, "F")}
    judged = judge_part("capacitor.tone", MARKED, answer := fitted(quantities=quantities))
    document = plain(confirm_document(judged, answer, warnings=()))
    assert (judged.verdict, document["decision_rule"]["side"]) == ("not resolved", "inside near both limits")
    assert document["decision_rule"]["acceptance"] is None
    assert document["conformance_probability"] == pytest.approx(0.7287, abs=1e-4)  # 2Φ(1.1) − 1, from a table
    assert "no value: the interval is too wide" in "\n".join(confirm_lines(judged, (), takes=("a",), simulated=False))


def test_a_rejected_part_states_the_risk_of_its_rejection():
    quantities = {"capacitor.tone": estimate(37e-9, 0.3e-9, "F")}
    judged = judge_part("capacitor.tone", MARKED, answer := fitted(quantities=quantities))
    document = plain(confirm_document(judged, answer, warnings=()))
    assert (judged.verdict, document["decision_rule"]["side"]) == ("outside marking", "above")
    assert document["specific_risk"] == document["conformance_probability"] == pytest.approx(0.00982, abs=1e-5)  # Φ(−7/3)
    text = " ".join(" ".join(confirm_lines(judged, (), takes=("a",), simulated=False)).split())
    assert "within its marking 1.0 % probability; risk of the verdict 1.0 %" in text
