"""How far a kept coil has drifted, in words."""

from fit.desk.show.words import in_sentence, plain_text
from measure.logbook.drifts import CheckedCoil
from measure.logbook.take import parse_time

MOST_TOLD = 3  # quantities in a warning


def drift_text(coil: str, checked: CheckedCoil) -> str:
    """Say for other results how far a kept coil has drifted, and since when.

    Parameters
    ----------
    checked : CheckedCoil
        With at least one drift.
    """
    is_lasting = any(one.is_lasting for one in checked.drifts.values())
    what = "has drifted" if is_lasting else "lay outside of its limits when it was last measured"
    cure = "something that all results share has changed" if is_lasting else "measure it again"
    name = plain_text(coil)
    simulated = " (simulated)" if checked.simulated else ""
    return f"the kept coil {name}{simulated} {what}: {drift_size(checked)}; {cure}: coilsweep check {name}"


def drift_size(checked: CheckedCoil) -> str:
    """Say how far, and since when.

    Parameters
    ----------
    checked : CheckedCoil
        With at least one drift.

    Returns
    -------
    str
        For example ``"winding capacitance by +5.7 %, since take drawer-11 of 2026-07-20"``.
    """
    drifts = sorted(checked.drifts.items(), key=lambda item: -abs(item[1].size / (item[1].centre or 1.0)))
    far = [f"{in_sentence(key)} by {change_text(one.size, one.centre, one.unit)}" for key, one in drifts[:MOST_TOLD]]
    first = min((one for _, one in drifts), key=lambda one: parse_time(one.since_utc))
    return f"{', '.join(far)}, since take {plain_text(first.since_take)} of {first.since_utc[:10]}"


def change_text(size: float, centre: float, unit: str) -> str:
    """Write a change with its sign.

    Parameters
    ----------
    size, centre : float
        How far from where. [`unit`]
    unit : str
        Levels in dB stay so; all else is put in percent of `centre`.

    Returns
    -------
    str
        For example ``"+0.42 %"``.
    """
    text = f"{size:+.2g} dB" if unit == "dB" or centre == 0 else f"{100 * size / abs(centre):+.2g} %"
    return text.replace("-", "\N{MINUS SIGN}")
