"""What the commands about kept takes say as JSON: the list, what was mended, an item's results by date."""

from typing import Literal

from fit.desk.show.document.pieces import Document, Piece
from measure.logbook.conditions import Conditions
from measure.logbook.take import Amendment
from measure.response import Outcome


class ListedTake(Piece, frozen=True, kw_only=True):
    """A take of the logbook.

    Attributes
    ----------
    take : str
        Its name.
    time_utc : str
        When it was made. ISO 8601.
    day : int
        At the bench, counted from 1; a pause of eight hours ends one.
    kind : str
        "recording"; "response" for one that was measured elsewhere.
    outcome : {"good", "usable", "rejected"}
        Of its checks.
    simulated : bool
        It came from the virtual bench.
    stated : Conditions
        What a person stated of it: controls, added parts and the rest.
    amended : tuple of Amendment
        What was stated otherwise before, the oldest first.
    """

    take: str
    time_utc: str
    day: int
    kind: str
    outcome: Outcome
    simulated: bool
    stated: Conditions
    amended: tuple[Amendment, ...]


class TakesDocument(Document, frozen=True, kw_only=True, tag="coilsweep.takes/1"):
    """The takes of a logbook.

    Attributes
    ----------
    takes : tuple of ListedTake
        In the order they were made.
    damaged : dict of str to str
        Name of each take that cannot be read, to the reason.
    removed : tuple of str
        Takes that were laid aside and can be restored.
    """

    takes: tuple[ListedTake, ...]
    damaged: dict[str, str]
    removed: tuple[str, ...]


class MendedDocument(Document, frozen=True, kw_only=True, tag="coilsweep.takes/1"):
    """A take that was mended.

    Attributes
    ----------
    done : {"amended", "unchanged", "renamed", "removed", "restored"}
        What was done.
    take : str
        Its name from now on.
    kept : str
        Its folder from now on.
    changes : tuple of Amendment
        Old and new values.
    updated : tuple of str
        Files of results that named the take and name it by its new name now.
    stale : tuple of str
        Files of results that rest on the take as it was before.
    notes : tuple of str
        What else follows from it, one line each.
    """

    done: Literal["amended", "unchanged", "renamed", "removed", "restored"]
    take: str
    kept: str
    changes: tuple[Amendment, ...]
    updated: tuple[str, ...]
    stale: tuple[str, ...]
    notes: tuple[str, ...]
