"""Table of measured tapers."""

from collections.abc import Mapping

from fit.answers.digits import interval_texts
from fit.answers.pickup.tapers import PotTaper
from fit.desk.show.sheet import Row, Section, Table


def taper_rows(tapers: Mapping[str, PotTaper]) -> tuple[Row, ...]:
    """Rows of the table of measured electrical fractions.

    Returns
    -------
    tuple
        The first row is the heading; empty where there is no taper.
    """
    if not tapers:
        return ()
    rows: list[Row] = [("", "from ccw to wiper", "95 % interval", "nominal")]
    for pot, taper in tapers.items():
        for point in taper.points:
            share = point.share
            value, interval = interval_texts(100 * share.value, 100 * share.low, 100 * share.high, "%")
            where = f"{pot} at {point.rotation:g}"
            rows.append((where, value, interval, f"{100 * point.nominal:.0f} % ({taper.taper})"))
    return tuple(rows)


def taper_section(tapers: Mapping[str, PotTaper]) -> tuple[Section, ...]:
    """Lay out measured electrical fractions; nothing where there are none."""
    rows = taper_rows(tapers)
    return (Section((Table(rows),), heading="Tapers, share of the track"),) if rows else ()
