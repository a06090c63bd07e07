"""Results by date: what each fit found of an item."""

from typing import Literal

import msgspec

from fit.answers.figures import FitOutcome
from fit.desk.show.document.pieces import Document, Piece, Value


class PastResult(Piece, frozen=True, kw_only=True):
    """What a fit found, as it is kept.

    Attributes
    ----------
    begun_utc, measured_utc : str
        When the first and the last of its takes were made. ISO 8601.
    fitted_utc : str
        When it was fitted. ISO 8601.
    item : str or None
        What was measured, as the takes state it.
    takes : tuple of str
        That it rests on.
    stated : dict of str to str
        Name of each take to the fingerprint of what it was then.
    simulated : bool
        A take came from the virtual bench.
    outcome : {"good", "misfit"}
        The values of a misfit are indicative only.
    temperature_c : float or None
        Of the winding, as the takes state it. [°C]
    values : dict of str to Value
        What was found, by name.
    """

    begun_utc: str
    measured_utc: str
    fitted_utc: str
    item: str | None
    takes: tuple[str, ...]
    stated: dict[str, str]
    simulated: bool
    outcome: FitOutcome
    temperature_c: float | None
    values: dict[str, Value]


class KeptResults(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """The file of all of them, in the order they were fitted."""

    schema: Literal["coilsweep.results/1"] = "coilsweep.results/1"
    results: tuple[PastResult, ...] = ()


class HistoryDocument(Document, frozen=True, kw_only=True, tag="coilsweep.history/1"):
    """What was found of an item, day by day.

    Attributes
    ----------
    item : str or None
        That was asked for; null for those of which no item is stated.
    items : tuple of str
        All that are stated.
    results : tuple of PastResult
        In the order they were measured; of each day the good one that tells most, unless all were asked for.
    changed : dict of str to tuple of (bool or None)
        For each quantity, for each result, whether it differs by more than both intervals from the one before that tells it; null
        where it is not told, or was not before.
    doubtful : tuple of str
        Results that rest on takes which were amended or removed since, one line each.
    """

    item: str | None
    items: tuple[str, ...]
    results: tuple[PastResult, ...]
    changed: dict[str, tuple[bool | None, ...]]
    doubtful: tuple[str, ...]
