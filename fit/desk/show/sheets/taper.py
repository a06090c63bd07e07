"""Table of measured tapers."""

from collections.abc import Mapping

from fit.answers.digits import interval_texts
from fit.answers.pickup.tapers import PotTaper
from fit.desk.show.words import table_lines


def taper_rows(tapers: Mapping[str, PotTaper]) -> list[tuple[str, ...]]:
    """Rows of the table of measured electrical fractions.

    Parameters
    ----------
    tapers : mapping
        Pot to taper.

    Returns
    -------
    list of tuple of str
        The first row is the heading; empty where there is no taper.
    """
    if not tapers:
        return []
    rows: list[tuple[str, ...]] = [("", "from ccw to wiper", "95 % interval", "nominal")]
    for pot, taper in tapers.items():
        for point in taper.points:
            share = point.share
            value, interval = interval_texts(100 * share.value, 100 * share.low, 100 * share.high, "%")
            where = f"{pot} at {point.rotation:g}"
            rows.append((where, value, interval, f"{100 * point.nominal:.0f} % ({taper.taper})"))
    return rows


def taper_lines(tapers: Mapping[str, PotTaper]) -> list[str]:
    """Table of measured electrical fractions for a terminal.

    Parameters
    ----------
    tapers : mapping
        Pot to taper.

    Returns
    -------
    list of str
        Empty where there is none.
    """
    rows = taper_rows(tapers)
    return ["", "Tapers, share of the track", *table_lines(rows)] if rows else []
