"""The desk at a terminal: messages and progress on stderr, silence where JSON was asked for."""

import codecs
import contextlib
import io
import json
import os
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from measure.text import plain_json, plain_lines, plain_text

if TYPE_CHECKING:
    from fit.desk.book.desk import Desk

Item = TypeVar("Item")

PLAIN = "plain_ascii"
SAID_WIDTH = 80  # columns of a terminal
# What is written for a letter that a terminal has not; the name of what is Greek, else the
# letter without its accent, else a question mark.
READABLE = {
    "\N{MINUS SIGN}": "-",
    "\N{EN DASH}": "-",
    "\N{BOX DRAWINGS LIGHT HORIZONTAL}": "-",
    "\N{BOX DRAWINGS LIGHT VERTICAL}": "|",
    "\N{GREEK CAPITAL LETTER OMEGA}": "Ohm",
    "\N{OHM SIGN}": "Ohm",
    "\N{GREEK SMALL LETTER MU}": "u",
    "\N{MICRO SIGN}": "u",
    "\N{PLUS-MINUS SIGN}": "+-",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{DIVISION SIGN}": "/",
    "\N{MIDDLE DOT}": "*",
    "\N{BULLET}": "*",
    "\N{DEGREE SIGN}": " deg ",
    "\N{SUPERSCRIPT MINUS}": "^-",
    "\N{SQUARE ROOT}": "sqrt ",
    "\N{MUSIC SHARP SIGN}": "#",
    "\N{MUSIC FLAT SIGN}": "b",
    "\N{PARTIAL DIFFERENTIAL}": "d",
    "\N{SECTION SIGN}": "section ",
    "\N{BOX DRAWINGS LIGHT VERTICAL AND RIGHT}": "+",
    "\N{BOX DRAWINGS LIGHT UP AND RIGHT}": "+",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{ALMOST EQUAL TO}": "~",
}


def ready_streams() -> None:
    """Write UTF-8 where output goes to a file or another program, and at a terminal what its letters can show."""
    codecs.register_error("readable", _readable)
    codecs.register(_plain_codec)
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            is_read = stream is sys.stdin
            if stream.isatty():
                is_plain = not is_read and codecs.lookup(stream.encoding).name == "ascii"
                stream.reconfigure(encoding=PLAIN if is_plain else None, errors="replace" if is_read else "readable")
            else:
                stream.reconfigure(encoding="utf-8", errors="replace")


# click takes ASCII by that name for a mistake, and writes UTF-8.
def _plain_codec(name: str) -> codecs.CodecInfo | None:
    """Offer ASCII by another name."""
    known = codecs.lookup("ascii")
    made = (known.encode, known.decode, known.streamreader, known.streamwriter)
    return codecs.CodecInfo(*made, known.incrementalencoder, known.incrementaldecoder, name=PLAIN) if name == PLAIN else None


def _readable(error: UnicodeError) -> tuple[str, int]:
    """Put what every encoding has for letters that this one lacks."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_in_ascii(letter) for letter in error.object[error.start : error.end]), error.end


def _in_ascii(letter: str) -> str:
    name = unicodedata.name(letter, "").split()
    if letter not in READABLE and name[:1] == ["GREEK"]:
        return name[-1].lower()
    return READABLE.get(letter) or unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode() or "?"


def desk_at(logbook: Path, *, as_json: bool = False) -> "Desk":
    """Give a command its desk.

    Parameters
    ----------
    as_json : bool
        Nothing but one document may go to stdout.
    """
    from fit.desk.book.desk import Desk

    return Desk(logbook=logbook, say=_say, tell=_keep_silent if as_json else _tell, steps=_steps, bar=_bar, redraw=_redraw)


def read_line(prompt: str, *, on_stderr: bool) -> str | None:
    """Ask, and read what is typed.

    Parameters
    ----------
    on_stderr : bool
        Where stdout is for a document alone.

    Returns
    -------
    str or None
        None at the end of input.
    """
    click.echo(plain_lines(prompt), nl=False, err=on_stderr)
    try:
        typed = input()
    except EOFError:
        click.echo("", err=on_stderr)
        return None
    if not sys.stdin.isatty():  # from a pipe or a file: nobody has seen it typed
        click.echo(plain_lines(typed), err=on_stderr)
    return typed


def _tell(line: str) -> None:
    with reader_may_leave():
        click.echo(plain_lines(line))
        sys.stdout.flush()


def _keep_silent(line: str) -> None:
    del line


def _say(line: str) -> None:
    for part in said_lines(line, is_terminal=sys.stderr.isatty()):
        click.echo(plain_lines(part), err=True)


def said_lines(line: str, *, is_terminal: bool) -> list[str]:
    """Break what is said between words for somebody at a terminal; what can be typed stays whole, and so does all for a file."""
    if not is_terminal or len(line) <= SAID_WIDTH or "coilsweep " in line or "  " in line.lstrip():
        return [line]
    return textwrap.wrap(line, SAID_WIDTH, subsequent_indent="  ", break_on_hyphens=False, break_long_words=False)


# A bar for people who wait at a terminal; for everyone else just the items.
def _steps(items: Sequence[Item], label: str) -> Iterator[Item]:
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield from items
        return
    with click.progressbar(items, label=plain_text(label), file=sys.stderr, color=False) as bar:
        yield from bar


# In a terminal the line is drawn over; elsewhere each stands by itself.
def _redraw(line: str) -> None:
    line = plain_text(line)
    if sys.stderr.isatty():
        width = shutil.get_terminal_size().columns - 1
        click.echo(f"\r{line[:width]:<{width}}" if line else "", err=True, nl=not line)
    elif line:
        click.echo(line, err=True)


@contextlib.contextmanager
def _bar(label: str) -> Iterator[Callable[[int, int | None], None]]:
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda _done, _of: None
        return
    with click.progressbar(length=1000, label=plain_text(label), file=sys.stderr, color=False) as bar:

        def advance(done: int, of: int | None) -> None:
            if of:
                bar.update(max(round(1000 * done / of) - bar.pos, 0))

        yield advance


def json_text(document: Mapping[str, Any]) -> str:
    """Document as JSON, in letters that stdout has and a terminal only shows."""
    is_unicode_shown = (sys.stdout.encoding or "").lower().startswith("utf")
    return plain_json(json.dumps(document, ensure_ascii=not is_unicode_shown, indent=1, allow_nan=False))


@contextlib.contextmanager
def reader_may_leave() -> Iterator[None]:
    """Let whoever reads stdout stop reading, as `head` does."""
    try:
        yield
    except BrokenPipeError:
        give_up_stdout()


def give_up_stdout() -> None:
    """Send what is still to be written to stdout nowhere: its reader left, or its disk is full."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
