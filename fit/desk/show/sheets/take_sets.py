"""Takes put together to sets, and how they are named."""

from collections.abc import Sequence
from dataclasses import dataclass

from fit.answers.pickup.answer import PickupAnswer
from fit.desk.show.words import headline_keys
from measure.logbook.take import Take

MOST_NAMED = 4  # takes in a sentence


HEADLINES = ("inductance", "winding_capacitance", "dc_resistance", "resonance_loaded", "q_loaded", "lc_product")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeSet:
    """Takes that are fitted together to one result.

    Attributes
    ----------
    day, placement : int
        From 0; a placement that lasted over a night counts as two.
    takes : tuple of Take
        One for each load, in the order in which the loads first came.
    """

    day: int
    placement: int
    takes: tuple[Take, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its takes."""
        return tuple(take.name for take in self.takes)

    @property
    def date(self) -> str:
        """Date of its last take, UTC."""
        return self.takes[-1].time_utc[:10]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeSets:
    """What takes came to.

    Attributes
    ----------
    loads : tuple of str
        What each set consists of, in words.
    notes : tuple of str
        What was left out, and what is doubtful, one line each.
    """

    sets: tuple[TakeSet, ...]
    loads: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FittedSet:
    """A set with its result."""

    takes: TakeSet
    answer: PickupAnswer


def shown_quantities(keys: Sequence[str]) -> list[str]:
    """Choose the quantities that lines and pictures show.

    Returns
    -------
    list of str
        A few that do not follow from each other.
    """
    return headline_keys(keys, HEADLINES) or list(keys)


def sets_text(split: TakeSets, n_sets: int) -> str:
    """Say of what the sets consist.

    Returns
    -------
    str
        For example ``"12 sets of 2 takes (nothing added; 1n ± 1%)"``.
    """
    n_takes = len(split.loads)
    takes = f"{n_takes} takes" if n_takes > 1 else "one take"
    return f"{n_sets} set{'s' if n_sets != 1 else ''} of {takes} ({'; '.join(split.loads)})"


def named(names: Sequence[str]) -> str:
    """Name takes in a sentence.

    Examples
    --------
    >>> named(["a"]), named(["a", "b", "c", "d", "e", "f"])
    ('take a', 'takes a, b, c, d and 2 more')
    """
    shown = ", ".join(names[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"take{'s' if len(names) > 1 else ''} {shown}{more}"
