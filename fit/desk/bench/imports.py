"""Recordings made elsewhere into the logbook: read, checked, kept whole, or kept and marked as rejected."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import msgspec

from fit.circuit.controls import split_settings
from fit.desk.book.bounds import assumption
from fit.desk.book.card import freeing
from fit.desk.book.desk import DONE, REJECTED, Desk, Outcome
from fit.desk.book.rig import rig_of
from fit.desk.book.take import exists_already, is_response_file, look_at, same_rate
from fit.desk.show.sheets.fit import checks_told
from fit.desk.show.words import plain_text
from measure.checks.judgement import Looked
from measure.errors import FileError
from measure.logbook.kept import findings_to_keep
from measure.logbook.naming import check_name, kept_name
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook, write_take
from measure.logbook.take import FileStimulus, Method, RecordingFile, ResponseFile, Take
from measure.quantity import parse_parts
from measure.response import FloatArray, Origin
from measure.signal.recording import Recording


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeFacts:
    """What was true when recordings were made; channels None: as the rig states.

    Attributes
    ----------
    added, coil_over, note, method : str
        Parts across the jack; pickup under the exciter; the person's note; what was driven.
    settings : tuple of str
        CONTROL=VALUE each.
    coil_moved : bool
        The exciter was moved since the take before.
    pickup_channel : int or None
        Counts from 1.
    reference_channel : str or None
        A number from 1, or "none".
    stimulus_file : Path or None
        What was played.
    simulated : bool
        Made by the virtual bench.
    series_resistor : str or None
        Through which the jack was driven, for the method impedance.
    temperature_c : float or None
        Of the winding. [°C]
    """

    added: str = ""
    settings: tuple[str, ...] = ()
    coil_over: str = ""
    coil_moved: bool = False
    method: str = "exciter"
    pickup_channel: int | None = None
    reference_channel: str | None = None
    stimulus_file: Path | None = None
    note: str = ""
    simulated: bool = False
    series_resistor: str | None = None
    temperature_c: float | None = None


def import_recordings(desk: Desk, name: str, files: Sequence[Path], *, facts: TakeFacts) -> Outcome:
    """Take recordings made elsewhere into the logbook, checked.

    Parameters
    ----------
    desk : Desk
        Where.
    name : str
        Of the take.
    files : sequence of Path
        Repeats.
    facts : TakeFacts
        What was true when they were made.

    Returns
    -------
    Outcome
        The checks; exit code 3 where the recording was rejected, which is kept all the same.

    Raises
    ------
    FileError
        If a file cannot be used, or the take is there already.
    """
    if is_response_file(files[0]):
        return import_response(desk, name, files, facts=facts)
    check_name(name)
    parts = parse_parts(facts.added)
    if not desk.logbook.exists():
        desk.say(f"New logbook: {desk.logbook}")
    logbook = open_logbook(desk.logbook, create=True)
    if exists_already(logbook, name):
        msg = f'there is a take "{name}" already, and takes are never overwritten: choose another name'
        raise FileError(msg)
    rig = rig_of(logbook)
    recordings = _read_files(desk, files, rig, facts)
    if len({recording.sha256 for recording in recordings}) < len(recordings):
        msg = "the same recording is given twice: repeats are recordings made one after the other, name each once"
        raise FileError(msg)
    stimulus = _read_played(facts, recordings)
    for part in parts:
        if part.bound is None:
            desk.say(f"warning: {assumption(part, 'added')}")
    free = freeing(logbook, rig, recordings, is_live=False)
    looked = look_at(recordings, stimulus=stimulus, method=facts.method, free=free)
    take = write_take(logbook, describe_take(name, files, recordings, rig, facts, looked), _sources(files, facts))
    say_reasons(desk, logbook, take, looked)
    if facts.pickup_channel is None and rig.interface.pickup_channel is None:
        desk.say(f"No rig says otherwise: channel {recordings[0].pickup_channel} is taken for the pickup.")
    lines, document = checks_told(take.simulated, looked, noise=None)
    return Outcome(
        lines=tuple([f"Kept: take {name}", *lines]),
        document={"schema": "coilsweep.import/1", "take": name, "kept": str(logbook.path / "takes" / name)} | document,
        exit_code=REJECTED if looked.outcome == "rejected" else DONE,
    )


def import_response(desk: Desk, name: str, files: Sequence[Path], *, facts: TakeFacts) -> Outcome:
    """Take a response measured elsewhere into the logbook, checked.

    Parameters
    ----------
    desk : Desk
        Where.
    name : str
        Of the take.
    files : sequence of Path
        One CSV or Touchstone file.
    facts : TakeFacts
        What was true when it was measured.

    Returns
    -------
    Outcome
        The checks; exit code 3 where the response was rejected, which is kept all the same.

    Raises
    ------
    FileError
        If the file cannot be used, or the take is there already.
    ValueError
        If an option was given that only recordings have.
    """
    from fit.desk.book.response import content_line, look_at_table, read_table

    check_name(name)
    parts = parse_parts(facts.added)
    if len(files) > 1:
        msg = f"{len(files)} files: a response measured elsewhere is one file, and a take of its own"
        raise ValueError(msg)
    options = {"--pickup-channel": facts.pickup_channel, "--reference-channel": facts.reference_channel}
    given = [option for option, value in (options | {"--stimulus": facts.stimulus_file}).items() if value is not None]
    if given:
        msg = f"{given[0]} is for recordings; {plain_text(files[0].name)} holds a response already"
        raise ValueError(msg)
    table, content = read_table(files[0])
    method: Method = msgspec.convert(facts.method, Method)
    looked = look_at_table(table, method=method, origin=Origin(simulated=facts.simulated))
    if not desk.logbook.exists():
        desk.say(f"New logbook: {desk.logbook}")
    logbook = open_logbook(desk.logbook, create=True)
    if exists_already(logbook, name):
        msg = f'there is a take "{name}" already, and takes are never overwritten: choose another name'
        raise FileError(msg)
    for part in parts:
        if part.bound is None:
            desk.say(f"warning: {assumption(part, 'added')}")
    is_simulated = facts.simulated or table.simulated
    document = _facts_document(name, replace(facts, simulated=is_simulated), looked) | {"kind": "response"}
    kept = ResponseFile(file=kept_name("response", files[0]), sha256=hashlib.sha256(content).hexdigest())
    described = msgspec.convert(document | {"response_file": msgspec.to_builtins(kept)}, Take)
    described = msgspec.structs.replace(described, rig=rig_of(logbook), findings=findings_to_keep(looked.findings))
    take = write_take(logbook, described, {kept.file: files[0]})
    say_reasons(desk, logbook, take, looked)
    if table.unused:
        desk.say(f"Columns that were not used: {plain_text(', '.join(table.unused)[:200])}")
    lines, told = checks_told(take.simulated, looked, noise=None)
    return Outcome(
        lines=(f"Kept: take {name}", content_line(take, looked.response), *lines),
        document={"schema": "coilsweep.import/1", "take": name, "kept": str(logbook.path / "takes" / name)} | told,
        exit_code=REJECTED if looked.outcome == "rejected" else DONE,
    )


def _read_files(desk: Desk, files: Sequence[Path], rig: Rig, facts: TakeFacts) -> list[Recording]:
    from measure.source.files import read_recording

    elsewhere = [file for file in files if is_response_file(file)]
    if elsewhere:
        msg = f"{elsewhere[0]}: a response measured elsewhere (CSV, Touchstone) is a take of its own; import it by itself"
        raise FileError(msg)
    pickup, reference = _channels(rig, facts)
    recordings = [
        replace(read_recording(file, pickup_channel=pickup, reference_channel=reference), simulated=facts.simulated)
        for file in desk.steps(files, "reading")
    ]
    rates = {recording.rate_hz for recording in recordings}
    if len(rates) > 1:
        msg = f"the repeats have different sample rates, {sorted(rates)} Hz: import those of one rate as one take"
        raise FileError(msg)
    return recordings


def _channels(rig: Rig, facts: TakeFacts) -> tuple[int, int | None]:
    pickup = facts.pickup_channel or rig.interface.pickup_channel or 1
    text = facts.reference_channel
    if text is None:
        if rig.reference.kind == "none" or facts.method == "quiet":  # nothing is played, so there is nothing to refer to
            return pickup, None
        return pickup, rig.interface.reference_channel or (1 if pickup == 2 else 2)
    if text.lower() == "none":
        return pickup, None
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        msg = f'--reference-channel "{plain_text(text[:40])}" is neither a channel counted from 1 nor none'
        raise ValueError(msg)
    return pickup, int(text)


def _read_played(facts: TakeFacts, recordings: Sequence[Recording]) -> FloatArray | None:
    from measure.source.files import read_stimulus

    if facts.method == "quiet" and facts.stimulus_file is not None:
        msg = "--stimulus: nothing is played for a quiet take, leave it out"
        raise ValueError(msg)
    if facts.method == "impedance" and recordings[0].reference_channel is None:
        msg = "an impedance take needs both ends of the series resistor: record its driven end and name it by --reference-channel"
        raise ValueError(msg)
    if facts.stimulus_file is None:
        if recordings[0].reference_channel is None and facts.method != "quiet":
            msg = "without a reference channel the stimulus is needed: --stimulus FILE, what was played"
            raise ValueError(msg)
        return None
    stimulus, rate_hz = read_stimulus(facts.stimulus_file)
    same_rate(rate_hz, recordings[0].rate_hz, name=facts.stimulus_file.name)
    return stimulus


def describe_take(
    name: str, files: Sequence[Path], recordings: Sequence[Recording], rig: Rig, facts: TakeFacts, looked: Looked
) -> Take:
    """Put a take together from what was recorded, said and found.

    Parameters
    ----------
    name : str
        Of the take.
    files : sequence of Path
        Where its recordings are.
    recordings : sequence of Recording
        Repeats.
    rig : Rig
        As it is now.
    facts : TakeFacts
        What was true when they were made.
    looked : Looked
        What the checks found.

    Returns
    -------
    Take
        To be written.
    """
    kept = tuple(
        RecordingFile(
            file=kept_name("recording", file, index=index),
            pickup_channel=recording.pickup_channel,
            reference_channel=recording.reference_channel,
            sha256=recording.sha256,
        )
        for index, (file, recording) in enumerate(zip(files, recordings, strict=True), start=1)
    )
    played = None if facts.stimulus_file is None else FileStimulus(file=kept_name("stimulus", facts.stimulus_file))
    document = _facts_document(name, facts, looked) | {"rate_hz": recordings[0].rate_hz}
    records = findings_to_keep(looked.findings)
    take = msgspec.convert(document | {"recordings": msgspec.to_builtins(kept)}, Take)
    return msgspec.structs.replace(take, stimulus=played, rig=rig, findings=records)


def _facts_document(name: str, facts: TakeFacts, looked: Looked) -> dict[str, Any]:
    from measure.transfer.response import tool_version

    return {
        "name": name,
        "method": facts.method,
        "added": facts.added,
        "controls": split_settings(facts.settings),
        "coil_over": facts.coil_over or None,
        "coil_moved": facts.coil_moved,
        "series_resistor": facts.series_resistor,
        "temperature_c": facts.temperature_c,
        "note": facts.note,
        "simulated": facts.simulated,
        "outcome": looked.outcome,
        "tool_version": tool_version(),
    }


def _sources(files: Sequence[Path], facts: TakeFacts) -> dict[str, Path]:
    sources = {kept_name("recording", file, index=index): file for index, file in enumerate(files, start=1)}
    if facts.stimulus_file is not None:
        sources[kept_name("stimulus", facts.stimulus_file)] = facts.stimulus_file
    return sources


def say_reasons(desk: Desk, logbook: Logbook, take: Take, looked: Looked) -> None:
    """Say what was found that a person should know at once.

    Parameters
    ----------
    desk : Desk
        Where.
    logbook : Logbook
        With the take.
    take : Take
        As kept.
    looked : Looked
        What the checks found.
    """
    from fit.desk.book.through_controls import doubt_controls

    for finding in looked.findings:
        if finding.severity == "reject":
            desk.say(f"rejected: {finding.code}: {plain_text(finding.text)}")
        elif finding.severity == "warn":
            desk.say(f"warning: {finding.code}: {plain_text(finding.text)}")
    doubt = doubt_controls(logbook, take)
    if doubt is not None:
        desk.say(f"warning: {plain_text(doubt)}")
    if looked.outcome == "rejected":
        desk.say(f'The take "{take.name}" is kept and marked as rejected. Repeat it under another name.')
    elif take.method == "quiet":
        desk.say(f"Nothing is fitted to a quiet take; its hum and noise: coilsweep inspect {plain_text(take.name)}")
