"""Where a command works, how it speaks while it does, and what it hands back."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

from fit.desk.document import Document

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
    """

    logbook: Path
    say: Callable[[str], None]
    tell: Callable[[str], None]
    steps: Steps


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
