"""The command history: what was found of an item, by date."""

from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.history import by_day, changes_of, read_history, values_of
from fit.desk.book.kept_fit import changed_takes, fingerprints
from fit.desk.show.document.history import HistoryDocument, PastResult
from fit.desk.show.sheets.history import sheet_of_history
from fit.desk.show.words import plain_text
from measure.logbook.store import open_logbook


def history_of(desk: Desk, item: str | None, *, is_whole: bool = False) -> Outcome:
    """Tell what was found of an item, day by day.

    Parameters
    ----------
    item : str or None
        As the takes state it; None where there is one, or none, in the logbook.
    is_whole : bool
        Every result, not only the last good one of each day.

    Raises
    ------
    ValueError
        If nothing is kept of the item, or there are several and none is named.
    """
    logbook = open_logbook(desk.logbook)
    kept = read_history(logbook)
    items = tuple(dict.fromkeys(one.item for one in kept if one.item is not None))
    if item is not None and item not in items:
        msg = f'no result is kept of "{plain_text(item[:60])}"; items: {", ".join(items) or "none is stated"}'
        raise ValueError(msg)
    if item is None and items and all(one.item is not None for one in kept):
        if len(items) > 1:
            msg = f"results of several items are kept, name one of them: {', '.join(items)}"
            raise ValueError(msg)
        (item,) = items
    own = [one for one in kept if one.item == item]
    if any(not one.simulated for one in own):
        own = [one for one in own if not one.simulated]
    results = tuple(sorted(own, key=_measured)) if is_whole else by_day(own)
    changed = changes_of(results)
    now = fingerprints(logbook)
    doubtful = tuple(
        f"{one.measured_utc[:10]}: {other} was amended or removed since; fit again"
        for one in results
        if (other := changed_takes(now, one.stated))
    )
    document = HistoryDocument(item=item, items=items, results=results, changed=changed, doubtful=doubtful)
    values = [values_of(one) for one in results]
    sheet = sheet_of_history(results, changed, item=item, items=items, doubtful=doubtful, values=values)
    return Outcome(document=document, sheet=sheet)


def _measured(one: PastResult) -> str:
    return one.measured_utc
