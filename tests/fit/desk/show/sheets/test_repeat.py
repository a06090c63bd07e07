"""What is said of a bench's repeatability: spreads, whether intervals hold, and what would tell more."""

import pytest

from fit.desk.show.sheets.repeat import advice_of, relative_text, sheet_of_repeat, verdict_lines
from tests.sets_by_hand import KEY, repeated
from tests.sheet_parts import headings, pictures, said, tables

ONE_PLACE = ((0, 0),) * 4
ONE_DAY = ((0, 0), (0, 0), (1, 0), (1, 0))
ONE_SET = ((0, 0), (1, 0), (2, 0), (3, 0))


def test_sets_placements_and_days_are_counted():
    text = said(sheet_of_repeat(repeated()))
    assert "from 6 sets of 2 takes (nothing added; 1n ± 1%): exciter laid down 3 times on 3 days" in text
    assert "exciter laid down once on 1 day" in said(sheet_of_repeat(repeated(ONE_PLACE)))


def test_spreads_are_named_by_what_they_hold():
    rows = tables(sheet_of_repeat(repeated()))[0].rows
    assert rows[1][0].startswith("Resonance, cable and input on, ")
    assert {row[1] for row in rows[1:]} == {"exciter left where it is", "exciter laid down anew, another day", "all of it"}
    assert pictures(sheet_of_repeat(repeated())) == ["results"]


@pytest.mark.parametrize(("spread", "own_std", "text"), [(5.0, 10.0, "The stated intervals hold"), (50.0, 2.0, "TOO NARROW")])
def test_intervals_that_hold_and_those_that_do_not(spread, own_std, text):
    found = repeated(spread=spread, own_std=own_std)
    assert text in verdict_lines(found)[0]
    assert text in said(sheet_of_repeat(found))
    assert ("hold" in text) == (found.quantities[KEY].verdict == "holds")


@pytest.mark.parametrize(
    ("design", "text"),
    [
        (ONE_PLACE, "the exciter lay in one place"),
        (ONE_DAY, "sets of other days would tell what another day adds"),
        (ONE_SET, "one set each time"),
        (((0, 0), (0, 0), (1, 1), (1, 1)), "the exciter was laid down once a day"),
    ],
)
def test_what_the_design_leaves_open_is_advised(design, text):
    found = repeated(design)
    advice = advice_of(found.quantities[KEY], found.fitted)
    assert any(text in one for one in advice)
    assert "What would tell more" in headings(sheet_of_repeat(repeated(design, advice=advice)))


def test_few_degrees_of_freedom_are_said():
    found = repeated(ONE_DAY)
    assert any(
        "few degrees of freedom" in one and "more times that" in one for one in advice_of(found.quantities[KEY], found.fitted)
    )


@pytest.mark.parametrize(
    ("size", "mean", "unit", "text"),
    [(0.0023, 2.3, "H", "0.1 %"), (0.0023, -2.3, "H", "0.1 %"), (0.012, 13.5, "dB", "0.012 dB"), (0.012, 0.0, "dB", "0.012 dB")],
)
def test_levels_stay_in_decibels(size, mean, unit, text):
    assert relative_text(size, mean, unit) == text


def test_what_is_simulated_says_so():
    sheet = sheet_of_repeat(repeated(simulated=True))
    assert sheet.title.endswith("(simulated)")
    assert "virtual bench" in said(sheet)
