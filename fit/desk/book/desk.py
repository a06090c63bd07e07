"""Where a command works, how it speaks while it does, and what it hands back."""

import contextlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from fit.desk.show.document import Document

DONE, REJECTED = 0, 3  # exit codes
Item = TypeVar("Item")


class Steps(Protocol):
    """Hands items on one by one, with a progress bar where somebody watches."""

    def __call__(self, items: Sequence[Item], label: str) -> Iterable[Item]:
        """Hand on.

        Parameters
        ----------
        items : sequence
            What is worked through.
        label : str
            In front of the bar.

        Returns
        -------
        iterable
            The same items.
        """
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
    """Show nothing.

    Parameters
    ----------
    line : str
        That is not shown.
    """
    del line


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """Where a command works, and how it speaks while it does.

    Attributes
    ----------
    logbook : Path
        Folder of rig and takes.
    say : callable
        Prints one line of a message; not for answers.
    tell : callable
        Prints one line of an answer before the command is over; does nothing where only a document is wanted.
    steps : callable
        Progress over items.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a command has to say.

    Attributes
    ----------
    lines : tuple of str
        For people.
    document : dict
        The same for programs.
    exit_code : int
        0 done, 3 rejected.
    """

    lines: tuple[str, ...]
    document: Document
    exit_code: int = DONE
