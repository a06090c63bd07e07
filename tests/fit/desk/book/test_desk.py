"""Where a command works and what it hands back: silent unless it is given a voice, a sheet before lines."""

from fit.desk.book.desk import Desk, Outcome, draw_nothing, lines_of, no_bar, silent_desk
from fit.desk.show.sheet import Sheet, Text


def test_a_desk_without_bars_shows_none(tmp_path, capsys):
    desk = Desk(logbook=tmp_path, say=print, tell=print, steps=lambda items, _: items)
    with desk.bar("take") as advance:
        assert advance(1, 2) is None
    desk.redraw("a line")
    assert (desk.bar, desk.redraw) == (no_bar, draw_nothing)
    assert tuple(capsys.readouterr()) == ("", "")


def test_a_silent_desk_says_nothing_and_hands_on_each_step(tmp_path, capsys):
    desk = silent_desk(tmp_path)
    desk.say("a line")
    desk.tell("an answer")
    assert list(desk.steps([1, 2], "takes")) == [1, 2]
    assert tuple(capsys.readouterr()) == ("", "")


def test_lines_of_a_sheet_go_before_plain_lines():
    sheet = Sheet(title="t", blocks=(Text(("from the sheet",)),))
    assert lines_of(Outcome(document={}, sheet=sheet, lines=("plain",))) == ("from the sheet",)
    assert lines_of(Outcome(document={}, lines=("plain", "more"))) == ("plain", "more")


def test_an_outcome_is_good_and_without_figures_unless_it_says_so():
    outcome = Outcome(document={})
    assert (outcome.exit_code, outcome.figures, outcome.page) == (0, {}, None)
