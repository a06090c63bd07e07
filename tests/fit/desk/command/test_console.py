"""The desk at a terminal: what goes to stdout and what to stderr, bars where somebody watches, readers that leave."""

import ast
import contextlib
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

import fit
import measure
from fit.desk.command.console import desk_at, read_line, reader_may_leave, ready_streams


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


COMMAND = "from fit.desk.command.main import run; run()"
C_LOCALE = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


def start(words, settings, **streams):
    """A command in a process of its own, its letters as the settings say."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("LC_", "LANG", "PYTHONIO"))}
    return subprocess.Popen([sys.executable, "-c", COMMAND, *words], env=environment | settings, **streams)


RIG = ["rig", "--input-resistance", "1M ± 1%", "--sense-resistor", "100 Ω ± 1%"]


@pytest.mark.long
@pytest.mark.parametrize("settings", [{"PYTHONIOENCODING": "cp1252"}, {"PYTHONIOENCODING": "ascii"}, C_LOCALE])
@pytest.mark.parametrize("as_json", [False, True])
def test_what_goes_to_a_file_or_a_program_is_utf_8_everywhere(tmp_path, settings, as_json):
    book = ["--logbook", str(tmp_path)]
    start([*RIG, *book], settings if settings is not C_LOCALE else {}, stdout=subprocess.DEVNULL).wait()
    assert '"100 Ω ± 1%"' in (tmp_path / "rig.toml").read_text(encoding="utf-8")
    process = start(["rig", *book, *["--json"][: int(as_json)]], settings, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    out, err = process.communicate()
    assert process.returncode == 0, err
    assert "100 Ω ± 1%" in out.decode("utf-8")
    (tmp_path / "rig.toml").write_text('[input]\nresistance = "−5 Ω"\n', encoding="utf-8")
    process = start(["rig", *book], settings, stderr=subprocess.PIPE)
    assert '"−5 Ω"' in process.communicate()[1].decode("utf-8")


@pytest.mark.long
@pytest.mark.parametrize(
    ("encoding", "ohm"),
    [
        ("ascii", "100 Ohm +- 1%"),
        ("cp1252", "100 Ohm ± 1%"),
        ("cp437", "100 Ω ± 1%"),
        ("koi8-r", "100 Ohm +- 1%"),
        ("latin-1", "100 Ohm ± 1%"),
    ],
)
def test_a_terminal_is_given_words_for_letters_it_has_not(tmp_path, encoding, ohm):
    pty = pytest.importorskip("pty", reason="a system without terminals of this kind")
    reader, writer = pty.openpty()
    process = start([*RIG, "--logbook", str(tmp_path)], {"PYTHONIOENCODING": encoding}, stdout=writer, stderr=subprocess.DEVNULL)
    os.close(writer)
    written = b""
    with contextlib.suppress(OSError):  # how a terminal ends
        while part := os.read(reader, 4096):
            written += part
    os.close(reader)
    assert process.wait() == 0
    assert ohm in written.decode(encoding)
    assert "?" not in written.decode(encoding)


def test_typed_letters_come_from_a_pipe_as_utf_8():
    script = "from fit.desk.command.console import *; ready_streams(); print(read_line('', on_stderr=True))"
    words, typed = [sys.executable, "-c", script], "1M ± 1 Ω\n"
    done = subprocess.run(
        words, env=os.environ | {"PYTHONIOENCODING": "cp1252"}, input=typed.encode(), capture_output=True, check=True
    )
    assert done.stdout.decode("utf-8") == typed


@pytest.mark.long
def test_every_letter_that_is_written_has_words_on_the_plainest_terminal():
    ready_streams()
    letters = set()
    for path in [*Path(fit.__file__).parent.rglob("*.py"), *Path(measure.__file__).parent.rglob("*.py")]:
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        told = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}  # docstrings
        texts = [node.value for node in nodes if isinstance(node, ast.Constant) and id(node) not in told]
        letters |= {letter for text in texts if isinstance(text, str) for letter in text}
    plain = {letter: letter.encode("ascii", "readable").decode() for letter in letters}
    only_read = set("′″∠")  # in names of columns
    assert {letter for letter, text in plain.items() if text == "?"} - only_read <= {"?", "\N{REPLACEMENT CHARACTER}"}
    assert [letter.encode("ascii", "readable").decode() for letter in "−Ω±χé"] == ["-", "Ohm", "+-", "chi", "e"]
