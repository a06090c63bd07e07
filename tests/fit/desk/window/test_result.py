"""What was found, for the page: what fit prints, with curves, and the takes that would narrow it."""

import numpy as np
import pytest

from fit.desk.window import messages
from fit.desk.window.result import MOST_POINTS, result_of, thin
from measure.errors import FileError
from tests.desk_bench import run, run_json

TAKES = ("open-before", "plus-added-before")


@pytest.fixture
def found(compared):
    return result_of(compared, messages.ResultOpen(takes=TAKES))


def test_it_is_what_fit_finds(found, compared, capsys):
    code, document, _ = run_json(capsys, "fit", *TAKES, "--logbook", compared)
    assert code == 0
    assert found.document["quantities"] == document["quantities"]
    assert (found.takes, found.outcome, found.simulated) == (TAKES, "good", True)
    assert set(found.choices) == {"open-before", "plus-added-before", "open-after", "plus-added-after"}  # no quiet ones
    assert '<dl class="values"' in found.answer_html
    assert "limited most by" in found.sheet_html
    for html in (found.answer_html, found.sheet_html):
        assert "style=" not in html
        assert "<style" not in html


def test_the_last_fit_is_shown_without_being_asked_for(found, compared):
    again = result_of(compared, messages.ResultOpen())
    assert again.takes == found.takes
    assert again.document["quantities"] == found.document["quantities"]


def test_the_model_and_what_it_leaves_make_up_what_was_measured(found):
    assert [one.take for one in found.fitted] == list(TAKES)
    for one in found.fitted:
        measured, model, left = (np.array(curve.db) for curve in (one.measured, one.model, one.residual))
        assert model - left == pytest.approx(measured, abs=1e-6)
        assert np.abs(left).max() < 0.1
        half = np.array(one.measured.high_db) - measured
        assert (half > 0).all()
        assert np.array(one.residual.high_db) - left == pytest.approx(half, abs=1e-6)
        assert len(measured) <= MOST_POINTS


def test_what_would_narrow_it_is_a_take_that_can_be_typed(found):
    assert found.narrower
    assert found.job == ""  # the job that made them rests on more takes than these
    for one in found.narrower:
        assert one.command.startswith("coilsweep take further")
        assert "ddy loop" not in one.text
        assert "±" in one.text
        assert one.added in one.command


def test_what_a_take_comes_to_is_what_fit_says(found, compared, capsys):
    """The same percentages at the terminal, whose interval is that of the table."""
    _, out, _ = run(capsys, "fit", *TAKES, "--details", "--logbook", compared)
    said = " ".join(out.split())
    reaches = [one.text.rpartition(": ")[2] for one in found.narrower]
    assert [reach for reach in reaches if "(now ±" in reach and reach in said], (reaches, out)


def test_nothing_was_fitted_yet(compared):
    (compared / "results" / "fit.json").unlink(missing_ok=True)
    empty = result_of(compared, messages.ResultOpen())
    assert (empty.takes, empty.outcome, empty.document) == ((), "", None)
    assert "open-before" in empty.choices
    assert result_of(compared / "not there yet", messages.ResultOpen()).choices == ()


def test_a_take_that_is_not_there_is_refused(compared):
    with pytest.raises(FileError, match="lid"):
        result_of(compared, messages.ResultOpen(takes=("lid",)))


def test_points_are_thinned_evenly_over_octaves():
    grid = np.linspace(20.0, 20e3, 5000)
    shown = grid[thin(grid)]
    assert (shown[0], shown[-1]) == (grid[0], grid[-1])
    assert len(shown) <= MOST_POINTS
    above = shown[shown > 2000.0]
    assert np.diff(np.log(above)).max() < 2.5 * np.log(1000.0) / (MOST_POINTS - 1)
    assert np.array_equal(thin(grid[:50]), np.arange(50))
