"""What leads on from a take to an answer: a command line that can be typed as it stands."""

from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING

from fit.desk.book.desk import DONE, Outcome
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.rig import rig_of
from fit.desk.show.sheets.notices import next_line
from fit.desk.show.words import command_text
from measure.errors import FileError
from measure.logbook.days import days_of
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, has_take, instrument_path, list_takes, read_take
from measure.logbook.take import Take

if TYPE_CHECKING:
    from fit.circuit.instrument import Instrument
    from fit.desk.book.fits import Fit, FitWish

FITTED = ("exciter", "impedance")
SHARED = ("input.resistance", "input.capacitance", "reference.kind", "exciter.corner_hz")


def with_next_step(kept: Outcome, logbook: Logbook, name: str) -> Outcome:
    """Add to what is told of a new take what to type next."""
    stated = read_take(logbook, name, verify=False).conditions
    if stated.method == "quiet":
        return kept  # what it tells was said already
    more = [next_line(after_take(logbook, name, rig_of(logbook)))]
    if stated.method == "exciter" and not (stated.added or stated.controls) and kept.exit_code == DONE:
        more.append("A further take with a known part across the jack (--add), the exciter left in place, tells more.")
    return replace(kept, lines=(*kept.lines, *more))


def after_take(logbook: Logbook, name: str, rig: Rig) -> str:
    """Say what to type after a take: what is still to be stated, a fit with what was made beside it, or a look at it.

    Parameters
    ----------
    rig : Rig
        As it is stated now.

    Returns
    -------
    str
        One command line; it ends well.
    """
    listed = list_takes(logbook).takes
    take = next(one for one in listed if one.name == name)
    stated = take.conditions
    if take.outcome == "rejected" or stated.method not in FITTED:
        return command_text(("inspect", name), logbook.path)
    if _is_open(take, rig):
        return command_text(("rig", "--ask"), logbook.path)
    path = instrument_path(logbook)
    if not path.exists() and stated.controls:
        return command_text(("instrument",), logbook.path)  # it lists the layouts, of which one has to be written first
    try:
        instrument = read_instrument_file(path) if path.exists() else None
    except FileError:
        return command_text(("inspect", name), logbook.path)
    if instrument is not None and stated.method == "exciter" and stated.coil_over is None and len(instrument.pickup) > 1:
        return command_text(("takes", "amend", name, "--coil-over", next(iter(instrument.pickup))), logbook.path)
    days = days_of(listed)
    beside = [one.name for one in listed if days[one.name] == days[name] and _goes_with(one, take, instrument, rig)]
    return command_text(("fit", *beside) if name in beside else ("inspect", name), logbook.path)


def fit_again(logbook: Logbook, wish: "FitWish") -> str:
    """Command line of a fit that was asked for before."""
    return command_text(("fit", *_words(wish)), logbook.path)


def after_fit(logbook: Logbook, found: "Fit", marked: Collection[str]) -> str:
    """Say what to type after a fit: is a marked part what is printed on it, where there is one; else everything as a page.

    A winding resistance that the takes refute is not typed again: without it they may tell all the same. After any other misfit
    no part is confirmed.

    Parameters
    ----------
    marked : collection of str
        Parts that the fit tells and that are only marked.
    """
    refuted = [one.parameter for one in found.released if one.is_reference]
    if found.wish.dcr is not None and any(is_dcr(source) for source in refuted):
        return fit_again(logbook, replace(found.wish, dcr=None))
    if not marked or found.answer.outcome != "good":
        return command_text(("report",), logbook.path)
    return command_text(("confirm", _first(marked), *_words(found.wish)), logbook.path)


def free_name(logbook: Logbook | None, wanted: str = "open") -> str:
    """Name that no take has yet: the one that is wanted, or that with a number."""
    number, name = 1, wanted
    while logbook is not None and has_take(logbook, name):
        number += 1
        name = f"{wanted}-{number}"
    return name


def is_dcr(source: str) -> bool:
    """See whether a statement, as the budget calls its sources, is that of a winding's resistance."""
    return source.partition(" ")[0] == "dcr"


# A capacitor is what people doubt most.
def _first(marked: Collection[str]) -> str:
    return next((part for part in marked if part.startswith("capacitor.")), next(iter(marked)))


def _words(wish: "FitWish") -> list[str]:
    options = {"--dcr": wish.dcr, "--have": wish.at_hand or None}
    return [*wish.names, *(word for option, value in options.items() if value is not None for word in (option, value))]


def _stated(take: Take, now: Rig, key: str) -> object:
    """Tell what a take was made with, where it says so; what the logbook's rig says else."""
    section, name = key.split(".")
    own = None if take.rig is None else getattr(getattr(take.rig, section), name)
    return getattr(getattr(now, section), name) if own is None else own


def _is_open(take: Take, now: Rig) -> bool:
    """See whether the rig lacks something without which no fit is made."""
    if not take.hears_input:
        return False
    needed = ["input.resistance", "input.capacitance"]
    has_reference = not take.recordings or any(one.reference_channel is not None for one in take.recordings)
    if not has_reference or _stated(take, now, "reference.kind") in ("loopback", "none"):
        needed.append("exciter.corner_hz")
    return any(_stated(take, now, key) is None for key in needed)


def _goes_with(one: Take, take: Take, instrument: "Instrument | None", now: Rig) -> bool:
    """See whether a fit takes two takes together."""
    stated, own = one.conditions, take.conditions
    if one.outcome == "rejected" or stated.method not in FITTED or stated.item != own.item or one.simulated != take.simulated:
        return False
    are_heard = one.hears_input and take.hears_input
    if are_heard and any(_stated(one, now, key) != _stated(take, now, key) for key in SHARED):
        return False
    if not are_heard and any(_is_open(each, now) for each in (one, take)):
        return False
    if stated.method == "impedance" and stated.series_resistor is None and one.kind == "recording":
        return False
    if instrument is None:
        return not stated.controls and stated.coil_over == own.coil_over
    return _tells(one, instrument)


def _tells(take: Take, instrument: "Instrument") -> bool:
    """See whether a take says something of the parts, its controls set so."""
    from fit.circuit.controls import read_settings
    from fit.desk.book.through_controls import is_connected

    stated = take.conditions
    try:
        settings = read_settings(instrument, stated.controls)
    except ValueError:
        return False
    if stated.method != "exciter":
        return True
    over = stated.coil_over or (next(iter(instrument.pickup)) if len(instrument.pickup) == 1 else "")
    return over in instrument.pickup and is_connected(instrument, settings, over)
