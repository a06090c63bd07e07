"""Where a command works, how it speaks while it does, and what it hands back."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from fit.desk.show.document.pieces import Document
from fit.desk.show.sheet import Sheet
from fit.desk.show.terminal import details_lines, lines

if TYPE_CHECKING:
    from fit.desk.show.figures.style import Draw

DONE, REJECTED = 0, 3  # exit codes
Item = TypeVar("Item")


class Steps(Protocol):
    """Hands items on one by one, with a progress bar where somebody watches."""

    def __call__(self, items: Sequence[Item], label: str) -> Iterable[Item]:
        """Hand on."""
        ...


Advance = Callable[[int, int | None], None]


@contextlib.contextmanager
def no_bar(label: str) -> Iterator[Advance]:
    """Show nothing.

    Parameters
    ----------
    label : str
        In front of the bar that is not shown.

    Yields
    ------
    callable
        Takes how far it is, and how far it goes.
    """
    del label
    yield lambda _done, _of: None


def draw_nothing(line: str) -> None:
    """Show nothing."""
    del line


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """Where a command works, and how it speaks while it does.

    Attributes
    ----------
    say : callable
        Prints one line of a message; not for answers.
    tell : callable
        Prints one line of an answer before the command is over; does nothing where only a document is wanted.
    bar : callable
        Progress over time: a context that gives a function of how far it is.
    redraw : callable
        Puts a line in place of the one before; an empty one ends it.
    """

    logbook: Path
    say: Callable[[str], None]
    tell: Callable[[str], None]
    steps: Steps
    bar: Callable[[str], AbstractContextManager[Advance]] = no_bar
    redraw: Callable[[str], None] = draw_nothing


def silent_desk(logbook: Path) -> Desk:
    """Work without a word: only what comes back tells what was found."""
    return Desk(logbook=logbook, say=draw_nothing, tell=draw_nothing, steps=lambda items, _label: items)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outcome:
    """What a command has to say.

    Attributes
    ----------
    sheet : Sheet or None
        The same for people; None where `lines` say it all.
    lines : tuple of str
        For people, where there is no sheet.
    figures : mapping of str to callable
        Draw what `sheet` or `page` shows, and more, by name.
    page : callable or None
        Gives the sheet of a page, where a page tells more than a terminal.
    exit_code : int
        0 done, 3 rejected.
    """

    document: Document
    sheet: Sheet | None = None
    lines: tuple[str, ...] = ()
    figures: "Mapping[str, Draw]" = field(default_factory=dict)
    page: Callable[[], Sheet] | None = None
    exit_code: int = DONE


def lines_of(outcome: Outcome, *, with_details: bool = False) -> tuple[str, ...]:
    """Lines of an outcome for a terminal: those of its sheet, where it has one."""
    return outcome.lines if outcome.sheet is None else tuple(lines(outcome.sheet, with_details=with_details))


def first_lines(outcome: Outcome) -> tuple[str, ...]:
    """Lines of an outcome without its details, and what there is of those."""
    return lines_of(outcome) if outcome.sheet is None else (*lines(outcome.sheet), *details_lines(outcome.sheet))
