"""What was measured elsewhere into the logbook: recordings or a response, read, checked, and kept also where it is rejected."""

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from fit.desk.bench.intake import Draft, draft_take, keep_take, open_for_take, say_assumptions
from fit.desk.bench.recordings import read_batch
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.response import content_line, keep_response
from fit.desk.book.rig import rig_of
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.card import freeing
from measure.logbook.conditions import Conditions
from measure.logbook.naming import check_name, kept_name, usual_form
from measure.logbook.responses import look_at_table, read_table
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook
from measure.logbook.take import ResponseFile, Take
from measure.response import Origin
from measure.transfer.assessment import assess
from measure.version import VERSION


@dataclass(frozen=True, slots=True, kw_only=True)
class Files:
    """What is to be imported as one take; channels None: as the rig states.

    Attributes
    ----------
    paths : tuple of Path
        Recordings, repeats of each other; or one table of a response.
    pickup_channel : int or None
        Of the recordings, from 1.
    reference_channel : str or None
        A number from 1, or "none".
    simulated : bool
        Made by the virtual bench.
    """

    paths: tuple[Path, ...]
    stimulus_file: Path | None = None
    pickup_channel: int | None = None
    reference_channel: str | None = None
    simulated: bool = False


def import_take(desk: Desk, name: str, files: Files, *, conditions: Conditions) -> Outcome:
    """Take recordings, or a response measured elsewhere, into the logbook, checked.

    Parameters
    ----------
    conditions : Conditions
        What was true when it was.

    Returns
    -------
    Outcome
        The checks; exit code 3 where the take was rejected, which is kept all the same.

    Raises
    ------
    FileError
        If a file cannot be used, or the take is there already.
    ValueError
        If an option was given that does not go with the files.
    """
    name = usual_form(name)
    check_name(name)
    draft = _draft_response(name, files, conditions) if is_response_file(files.paths[0]) else None
    logbook = open_for_take(desk, name, conditions)
    rig = rig_of(logbook)
    if draft is None:
        draft = _draft_recordings(desk, logbook, name, files, conditions, rig=rig)
    else:
        draft = replace(draft, take=msgspec.structs.replace(draft.take, rig=rig))
    say_assumptions(desk, conditions)
    made = keep_take(desk, logbook, draft)
    if made.take.kind == "recording" and made.judgement.response is not None:
        keep_response(logbook, made.take, made.judgement.response)
    return made.reply


def _draft_recordings(desk: Desk, logbook: Logbook, name: str, files: Files, conditions: Conditions, *, rig: Rig) -> Draft:
    elsewhere = [file for file in files.paths if is_response_file(file)]
    if elsewhere:
        msg = f"{elsewhere[0]}: a response measured elsewhere (CSV, Touchstone) is a take of its own; import it by itself"
        raise FileError(msg)
    channels = _channels(rig, files, conditions)
    _require_played(files, conditions, has_reference=channels[1] is not None)
    batch = read_batch(desk, files.paths, files.stimulus_file, channels=channels, simulated=files.simulated)
    if len({recording.sha256 for recording in batch.repeats}) < len(batch.repeats):
        msg = "the same recording is given twice: repeats are recordings made one after the other, name each once"
        raise FileError(msg)
    free = freeing(logbook, rig, batch.repeats, is_live=False)
    judgement = assess(batch.repeats, stimulus=batch.played, method=conditions.method, free=free)
    draft = draft_take(name, conditions, batch, files.paths, rig=rig, judgement=judgement, stimulus=files.stimulus_file)
    if files.pickup_channel is not None or rig.interface.pickup_channel is not None:
        return draft
    return replace(draft, remarks=(f"No rig says otherwise: channel {channels[0]} is taken for the pickup.",))


# What is asked of the stimulus hangs on the method and on what was recorded.
def _require_played(files: Files, conditions: Conditions, *, has_reference: bool) -> None:
    if conditions.method == "quiet" and files.stimulus_file is not None:
        msg = "--stimulus: nothing is played for a quiet take, leave it out"
        raise ValueError(msg)
    if conditions.method == "impedance" and not has_reference:
        msg = "an impedance take needs both ends of the series resistor: record its driven end and name it by --reference-channel"
        raise ValueError(msg)
    if files.stimulus_file is None and not has_reference and conditions.method != "quiet":
        msg = "without a reference channel the sweep is needed: --stimulus FILE, what was played"
        raise ValueError(msg)


def _channels(rig: Rig, files: Files, conditions: Conditions) -> tuple[int, int | None]:
    pickup = files.pickup_channel or rig.interface.pickup_channel or 1
    text = files.reference_channel
    if text is None:
        if rig.reference.kind == "none" or conditions.method == "quiet":  # nothing is played, so there is nothing to refer to
            return pickup, None
        return pickup, rig.interface.reference_channel or (1 if pickup == 2 else 2)
    if text.lower() == "none":
        return pickup, None
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        msg = f'--reference-channel "{plain_text(text[:40])}" is neither a channel counted from 1 nor none'
        raise ValueError(msg)
    return pickup, int(text)


def _draft_response(name: str, files: Files, conditions: Conditions) -> Draft:
    if len(files.paths) > 1:
        msg = f"{len(files.paths)} files: a response measured elsewhere is one file, and a take of its own"
        raise ValueError(msg)
    (path,) = files.paths
    options = {"--pickup-channel": files.pickup_channel, "--reference-channel": files.reference_channel}
    given = [option for option, value in (options | {"--stimulus": files.stimulus_file}).items() if value is not None]
    if given:
        msg = f"{given[0]} is for recordings; {plain_text(path.name)} holds a response already"
        raise ValueError(msg)
    table, content = read_table(path)
    judgement = look_at_table(table, method=conditions.method, origin=Origin(simulated=files.simulated))
    kept = ResponseFile(file=kept_name("response", path), sha256=hashlib.sha256(content).hexdigest())
    take = Take(
        name=name,
        conditions=conditions,
        kind="response",
        response_file=kept,
        simulated=files.simulated or table.simulated,
        outcome=judgement.outcome,
        findings=judgement.findings,
        tool_version=VERSION,
    )
    unused = f"Columns that were not used: {plain_text(', '.join(table.unused)[:200])}"
    return Draft(
        take=take,
        sources={kept.file: path},
        judgement=judgement,
        remarks=(unused,) if table.unused else (),
        lines=(content_line(take, judgement.response),),
    )


def is_response_file(path: Path) -> bool:
    """See whether a file holds a response that was measured elsewhere, by its suffix.

    Returns
    -------
    bool
        True for CSV and Touchstone files.
    """
    return path.suffix.lower() in {".csv", ".s1p", ".s2p", ".txt"}
