"""The takes of a logbook, day by day."""

from fit.desk.book.desk import Desk, Outcome
from fit.desk.show.document.takes import ListedTake, TakesDocument
from fit.desk.show.sheets.takes import sheet_of_takes
from measure.logbook.days import days_of
from measure.logbook.store import list_takes, open_logbook, removed_folders
from measure.logbook.take import Take


def takes_of_logbook(desk: Desk, *, item: str | None = None) -> Outcome:
    """List the takes of a logbook: what each is of, what was set and added, what its checks came to.

    Parameters
    ----------
    item : str or None
        Only the takes of it.

    Raises
    ------
    ValueError
        If no take is of that item.
    """
    logbook = open_logbook(desk.logbook)
    listing = list_takes(logbook)
    days = days_of(listing.takes)
    chosen = [take for take in listing.takes if item in (None, take.conditions.item)]
    if item is not None and not chosen:
        known = ", ".join(dict.fromkeys(take.conditions.item for take in listing.takes if take.conditions.item)) or "none"
        msg = f'no take is of "{item[:60]}"; items that are stated: {known}'
        raise ValueError(msg)
    groups: dict[int, list[Take]] = {}
    for take in chosen:
        groups.setdefault(days[take.name], []).append(take)
    removed = tuple(removed_folders(logbook))
    document = TakesDocument(
        takes=tuple(
            ListedTake(
                take=take.name,
                time_utc=take.time_utc,
                day=days[take.name] + 1,
                kind=take.kind,
                outcome=take.outcome,
                simulated=take.simulated,
                stated=take.conditions,
                amended=take.amended,
            )
            for take in chosen
        ),
        damaged=listing.damaged,
        removed=removed,
    )
    by_day = [(takes[0].time_utc[:10], takes) for takes in groups.values()]
    sheet = sheet_of_takes(by_day, damaged=listing.damaged, removed=removed, path=str(desk.logbook))
    return Outcome(document=document, sheet=sheet)
