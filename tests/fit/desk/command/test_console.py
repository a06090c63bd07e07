"""The desk at a terminal: what goes to stdout and what to stderr, bars where somebody watches, readers that leave."""

import io
import os
import subprocess
import sys

import pytest

from fit.desk.command.console import desk_at, read_line, reader_may_leave


class Terminal(io.StringIO):
    """A stream that somebody watches."""

    def isatty(self):
        return True


def watched(monkeypatch, kind="xterm"):
    """Somebody watches stderr, from now on."""
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setenv("TERM", kind)
    monkeypatch.setenv("COLUMNS", "20")
    return stream


def test_messages_go_to_stderr_and_answers_to_stdout(tmp_path, capsys):
    desk = desk_at(tmp_path)
    desk.say("a message")
    desk.tell("an answer")
    assert tuple(capsys.readouterr()) == ("an answer\n", "a message\n")
    assert desk.logbook == tmp_path


def test_where_a_document_is_asked_for_nothing_else_is_told(tmp_path, capsys):
    desk_at(tmp_path, as_json=True).tell("an answer")
    assert tuple(capsys.readouterr()) == ("", "")


def test_without_a_terminal_progress_is_silent_and_items_pass(tmp_path, capsys):
    desk = desk_at(tmp_path)
    assert list(desk.steps([1, 2, 3], "fits")) == [1, 2, 3]
    with desk.bar("take") as advance:
        advance(5, 10)
    assert tuple(capsys.readouterr()) == ("", "")


def test_at_a_terminal_progress_is_drawn_and_items_pass(tmp_path, monkeypatch):
    terminal = watched(monkeypatch)
    desk = desk_at(tmp_path)
    assert list(desk.steps([1, 2, 3], "fits")) == [1, 2, 3]
    assert "fits" in terminal.getvalue()
    with desk.bar("take") as advance:
        advance(5, None)  # nobody knows how far it goes
        advance(5, 10)
        advance(4, 10)  # never back
    assert "take" in terminal.getvalue()
    assert "50%" in terminal.getvalue()


def test_a_dumb_terminal_gets_no_bar(tmp_path, monkeypatch):
    terminal = watched(monkeypatch, "dumb")
    assert list(desk_at(tmp_path).steps([1], "fits")) == [1]
    assert terminal.getvalue() == ""


def test_a_line_is_drawn_over_at_a_terminal_and_cut_to_its_width(tmp_path, monkeypatch):
    terminal = watched(monkeypatch)
    desk = desk_at(tmp_path)
    desk.redraw("x" * 30)
    desk.redraw("short")
    desk.redraw("")
    assert terminal.getvalue() == f"\r{'x' * 19}\rshort{' ' * 14}\n"


def test_without_a_terminal_each_line_stands_by_itself(tmp_path, capsys):
    desk = desk_at(tmp_path)
    for line in ("one", "two", ""):
        desk.redraw(line)
    assert capsys.readouterr().err == "one\ntwo\n"


@pytest.mark.parametrize("on_stderr", [False, True])
def test_what_comes_from_a_pipe_is_shown(capsys, monkeypatch, on_stderr):
    monkeypatch.setattr(sys, "stdin", io.StringIO("yes\n"))
    assert read_line("Ready? ", on_stderr=on_stderr) == "yes"
    out, err = capsys.readouterr()
    assert (err if on_stderr else out) == "Ready? yes\n"
    assert (out if on_stderr else err) == ""


def test_what_is_typed_at_a_terminal_is_not_shown_again(capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", Terminal("yes\n"))
    monkeypatch.setattr("builtins.input", lambda: "yes")
    assert read_line("Ready? ", on_stderr=False) == "yes"
    assert capsys.readouterr().out == "Ready? "


def test_end_of_input_is_none_and_ends_the_line(capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert read_line("Ready? ", on_stderr=False) is None
    assert capsys.readouterr().out == "Ready? \n"


def test_only_a_reader_that_left_is_forgiven(monkeypatch):
    given_up = []
    monkeypatch.setattr("fit.desk.command.console.give_up_stdout", lambda: given_up.append(True))
    with reader_may_leave():
        raise BrokenPipeError
    assert given_up == [True]
    with pytest.raises(OSError, match="disk"), reader_may_leave():
        raise OSError("disk")


def test_what_is_written_after_giving_up_goes_nowhere():
    code = "import sys; from fit.desk.command.console import give_up_stdout as g; g(); print('x' * 100000); sys.stdout.flush()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, env=dict(os.environ), timeout=60)
    assert done.stdout == b""
