"""What a job changed, for the page: what compare prints, with both responses and their difference."""

import numpy as np
import pytest

from fit.desk.window import messages
from fit.desk.window.before_after import compared_of
from tests.desk_bench import run_json

pytestmark = pytest.mark.long

SIDES = {"before": ("open-before", "plus-added-before"), "after": ("open-after", "plus-added-after")}


def test_it_is_what_compare_finds(compared, capsys):
    found = compared_of(compared, messages.CompareOpen(**SIDES))
    code, document, _ = run_json(
        capsys, "compare", "--before", *SIDES["before"], "--after", *SIDES["after"], "--logbook", compared
    )
    assert code == 0
    assert found.document["quantities"] == document["quantities"]
    assert "CHANGED: winding capacitance" in found.answer_html
    assert "Part by part" in found.sheet_html
    assert [(one.before, one.after) for one in found.responses] == list(zip(*SIDES.values(), strict=True))


def test_the_difference_lies_between_both_responses(compared):
    found = compared_of(compared, messages.CompareOpen(**SIDES))
    for pair in found.responses:
        before, after = pair.overlay
        assert [curve.label for curve in pair.overlay] == [pair.before, pair.after]
        change = np.array(pair.change.db)
        assert (np.array(pair.change.low_db) <= change).all()
        assert change == pytest.approx(np.array(pair.recorded.db), abs=0.3)
        at = np.array(pair.change.frequency_hz)
        levels = [np.interp(np.log(at), np.log(curve.frequency_hz), curve.db) for curve in (after, before)]
        difference = levels[0] - levels[1]
        assert difference - np.median(difference[:8]) == pytest.approx(np.array(pair.recorded.db), abs=0.3)


def test_takes_that_say_so_are_compared_without_being_named(compared):
    found = compared_of(compared, messages.CompareOpen())
    assert set(found.before) == {"quiet-before", *SIDES["before"]}
    assert set(found.after) == {"quiet-after", *SIDES["after"]}
    assert "hum" in found.answer_html


def test_where_no_take_says_so_somebody_has_to_choose(tmp_path):
    for folder in (tmp_path, tmp_path / "not there yet"):
        found = compared_of(folder, messages.CompareOpen())
        assert (found.before, found.after, found.document) == ((), (), None)


def test_one_side_alone_is_refused(compared):
    with pytest.raises(ValueError, match="no take is named for the side after"):
        compared_of(compared, messages.CompareOpen(before=SIDES["before"]))
