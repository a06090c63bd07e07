"""Kept takes mended: amended, renamed, removed, restored; and what follows from it for results and placements is said."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from fit.desk.bench.intake import say_assumptions
from fit.desk.bench.preparation import require_resistor
from fit.desk.book.derived import stated_sha256
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.fits import RESULT_FILE, last_wish
from fit.desk.book.instrument import require_stated
from fit.desk.book.next_step import after_take, fit_again
from fit.desk.book.rig import rig_of
from fit.desk.show.document.takes import MendedDocument
from fit.desk.show.sheets.takes import sheet_of_mended
from fit.desk.show.words import command_text
from measure.errors import FileError
from measure.logbook.mend import amend_take, name_in_results, remove_take, rename_take, restore_take
from measure.logbook.naming import usual_form
from measure.logbook.placement import placements
from measure.logbook.store import RESULTS, TAKES, Logbook, list_takes, open_logbook, read_take
from measure.logbook.take import Take
from measure.logbook.writers import one_writer


def amend(desk: Desk, name: str, changes: Mapping[str, Any]) -> Outcome:
    """Change what is stated of a take.

    Parameters
    ----------
    changes : mapping
        Condition to its new value; of ``"controls"`` those that are set anew, None for one that is no longer stated.

    Raises
    ------
    ValueError
        If there is nothing to change, or instrument.toml has not what is stated.
    """
    if not changes:
        msg = "nothing to change is named: --set, --add, --coil-over, --note and others, see coilsweep takes amend --help"
        raise ValueError(msg)
    logbook = open_logbook(desk.logbook)
    with one_writer(logbook.path):  # controls are merged with those that are stated
        return _amend(desk, logbook, name, changes)


def _amend(desk: Desk, logbook: Logbook, name: str, changes: Mapping[str, Any]) -> Outcome:
    before = read_take(logbook, name)
    whole = dict(changes)
    if "controls" in whole:
        controls = before.conditions.controls | whole["controls"]
        whole["controls"] = {control: value for control, value in controls.items() if value is not None}
    stated = _with(before, whole)
    if {"controls", "coil_over"} & set(whole):
        require_stated(logbook, stated.conditions)
    if "series_resistor" in whole:
        require_resistor(stated.conditions)
    if "added" in whole:
        say_assumptions(desk, stated.conditions)
    after = amend_take(logbook, before.name, whole)
    new = after.amended[len(before.amended) :]
    is_stale = _rests_on(logbook, after.name) and stated_sha256(before) != stated_sha256(after)
    document = MendedDocument(
        done="amended" if new else "unchanged",
        take=after.name,
        kept=str(logbook.path / TAKES / after.name),
        changes=new,
        updated=(),
        stale=(f"{RESULTS}/{RESULT_FILE}",) if is_stale else (),
        notes=(),
    )
    again = fit_again(logbook, last_wish(logbook, is_needed=True)) if is_stale else ""
    return _outcome(document, again or after_take(logbook, after.name, rig_of(logbook)))


def rename(desk: Desk, name: str, new: str) -> Outcome:
    """Give a take another name, also in the results that name it."""
    logbook = open_logbook(desk.logbook)
    before = read_take(logbook, name)
    with name_in_results(logbook, before.name, usual_form(new)) as updated:  # written before, named after the take
        after = rename_take(logbook, name, new)
    document = MendedDocument(
        done="renamed",
        take=after.name,
        kept=str(logbook.path / TAKES / after.name),
        changes=after.amended[-1:],
        updated=updated,
        stale=(),
        notes=(),
    )
    return _outcome(document, after_take(logbook, after.name, rig_of(logbook)))


def remove(desk: Desk, name: str) -> Outcome:
    """Lay a take aside, inside the logbook."""
    logbook = open_logbook(desk.logbook)
    before = list_takes(logbook).takes
    folder = remove_take(logbook, name)
    name = folder.name.partition("~")[0]
    is_stale = _rests_on(logbook, name)
    document = MendedDocument(
        done="removed",
        take=name,
        kept=str(folder),
        changes=(),
        updated=(),
        stale=(f"{RESULTS}/{RESULT_FILE}",) if is_stale else (),
        notes=_lost_placement(logbook, before, name),
    )
    back = command_text(("takes", "restore", name), desk.logbook)
    return Outcome(document=document, sheet=sheet_of_mended(document, back=back))


def restore(desk: Desk, name: str) -> Outcome:
    """Bring back the take of a name that was removed last."""
    logbook = open_logbook(desk.logbook)
    folder = restore_take(logbook, name)
    document = MendedDocument(
        done="restored", take=folder.name, kept=str(folder), changes=(), updated=(), stale=(), notes=()
    )  # fmt: skip
    is_sound = any(take.name == folder.name for take in list_takes(logbook).takes)
    return _outcome(document, after_take(logbook, folder.name, rig_of(logbook)) if is_sound else "")


def _outcome(document: MendedDocument, following: str) -> Outcome:
    return Outcome(document=document, sheet=sheet_of_mended(document, following=following))


def _with(take: Take, changes: Mapping[str, Any]) -> Take:
    import msgspec

    return msgspec.structs.replace(take, conditions=msgspec.structs.replace(take.conditions, **changes))


def _rests_on(logbook: Logbook, name: str) -> bool:
    """See whether the last fit is one of the take; a damaged file of it says so elsewhere."""
    try:
        return name in last_wish(logbook, is_needed=False).names
    except FileError:
        return False


def _lost_placement(logbook: Logbook, before: Sequence[Take], name: str) -> tuple[str, ...]:
    """Say where a removed take was the one that told that the coil was moved: the next would count to another placement."""
    after = list_takes(logbook).takes
    placed, now = placements(before), placements(after)
    lost = [
        later.name
        for one, later in pairwise(after)
        if placed[one.name] != placed[later.name] and now[one.name] == now[later.name]
    ]
    return tuple(
        f"Take {name} told that the coil was moved; say so of the next one: "
        f"{command_text(('takes', 'amend', one, '--coil-moved'), logbook.path)}"
        for one in lost
    )
