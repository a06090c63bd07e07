"""What a drifted kept coil means for other results: a warning, for takes made since it was last as before."""

from collections.abc import Sequence

from fit.desk.show.sheets.drift import drift_text
from measure.errors import FileError
from measure.logbook.drifts import read_checked
from measure.logbook.store import Logbook
from measure.logbook.take import Take, parse_time


def drift_warnings(logbook: Logbook, takes: Sequence[Take]) -> tuple[str, ...]:
    """Say which kept coils have drifted, where that concerns takes.

    Parameters
    ----------
    takes : sequence of Take
        That a result is to rest on.

    Returns
    -------
    tuple of str
        One line for each coil that was last within its limits before the youngest of the takes was made.
    """
    try:
        checked = read_checked(logbook)
    except FileError as err:
        return (str(err),)
    youngest = max((parse_time(take.time_utc) for take in takes), default=None)
    if youngest is None:
        return ()
    return tuple(
        drift_text(coil, one)
        for coil, one in checked.items()
        if any(not drift.good_until_utc or parse_time(drift.good_until_utc) < youngest for drift in one.drifts.values())
    )
