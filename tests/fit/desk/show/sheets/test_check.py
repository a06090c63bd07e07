"""What is said of a kept coil: limits, drifts, and how many measurements are missing."""

import numpy as np
import pytest

from fit.desk.show.sheets.check import few_text, record_of, sheet_of_check, shown_of, state_lines
from tests.sets_by_hand import KEY, checked
from tests.sheet_parts import headings, pictures, said, tables

STEADY = (5900.0 + 5.0 * np.sin(7.0 * np.arange(9))).tolist()
DRIFTED = [*STEADY, 5800.0, 5801.0]
SLIP = [*STEADY, 5925.0]


@pytest.mark.parametrize(
    ("values", "state"), [(STEADY[:3], "too few"), (STEADY, "within limits"), (DRIFTED, "drifted"), (SLIP, "outside")]
)
def test_the_state_heads_the_sheet(values, state):
    found = checked(values)
    assert found.state == state
    assert sheet_of_check(found).title == f"Kept coil coil: {state}"


def test_too_few_measurements_are_listed_and_the_missing_ones_counted():
    sheet = sheet_of_check(checked(STEADY[:3]))
    assert "5 more measurements are needed before limits can be drawn (8 in all)." in said(sheet)
    assert headings(sheet) == ["The latest"]
    assert pictures(sheet) == []
    assert len(tables(sheet)[0].rows[0]) == 4  # the name and three values


@pytest.mark.parametrize(("n", "text"), [(7, "one more measurement is needed"), (0, "8 more measurements are needed")])
def test_one_is_counted_as_one(n, text):
    assert few_text(n).startswith(text)


def test_no_measurement_at_all_is_borne():
    assert "Kept coil coil: 0 measurements, each of 2 takes" in said(sheet_of_check(checked([])))


def test_what_is_within_limits_is_said_to_be_and_drawn():
    sheet = sheet_of_check(checked(STEADY))
    assert "WITHIN LIMITS" in said(sheet)
    assert "The baseline is 9 measurements; it grows to 20" in said(sheet)
    assert pictures(sheet) == ["charts"]
    assert tables(sheet)[0].rows[1][-1] == "within"


def test_a_lasting_drift_names_its_size_and_first_take_and_a_slip_asks_for_another_look():
    drifted = state_lines(checked(DRIFTED))
    assert drifted[0].startswith("DRIFTED: resonance, cable and input on by −1.7 %, since take coil-9 of 2026-03-10")
    assert drifted[1].startswith("Look at what all results share")
    slip = state_lines(checked(SLIP))
    assert slip[0].startswith("OUTSIDE: ")
    assert "measure the coil again" in slip[1]
    assert "drifted, −1.7 % since 2026-03-10" in said(sheet_of_check(checked(DRIFTED)))


def test_what_later_results_need_is_kept_with_its_dates():
    record = record_of(checked(DRIFTED)).drifts[KEY]
    assert (record.since_take, record.is_lasting, record.unit) == ("coil-9", True, "Hz")
    assert record.since_utc == "2026-03-10T17:01:00.000Z"
    assert record.good_until_utc == "2026-03-09T17:01:00.000Z"
    assert record.size == pytest.approx(-100, abs=10)
    assert record_of(checked(STEADY)).drifts == {}


def test_what_was_outside_before_is_named_though_all_is_well_now():
    values = [*STEADY, 5800.0, *STEADY]
    assert "Outside before, but not now: resonance, cable and input on in take coil-9" in said(sheet_of_check(checked(values)))


def test_what_is_not_told_what_is_warned_of_and_what_is_simulated_is_said():
    sheet = sheet_of_check(checked(STEADY, simulated=True, warnings=("a warning",), untold=("inductance",)))
    assert sheet.title.endswith("(simulated)")
    assert "Not told by every measurement: inductance" in said(sheet)
    assert "a warning" in said(sheet)
    assert "virtual bench" in said(sheet)
    assert shown_of(checked(STEADY)) == [KEY]
