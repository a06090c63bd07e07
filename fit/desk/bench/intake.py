"""The one way in: from what was recorded or read, with its conditions and its judgement, to a take in the logbook."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from fit.desk.bench.recordings import Batch
from fit.desk.book.bounds import remarks
from fit.desk.book.desk import DONE, REJECTED, Desk, Outcome
from fit.desk.book.instrument import require_stated
from fit.desk.show.document.bench import ImportDocument
from fit.desk.show.document.pieces import Document, checks_of, named_takes
from fit.desk.show.sheets.inspect import checks_told
from fit.desk.show.words import command_text, plain_text
from measure.checks.judgement import Judgement
from measure.logbook.conditions import Conditions
from measure.logbook.naming import check_name, kept_name
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook, require_free, write_take
from measure.logbook.take import FileStimulus, RecordingFile, Take
from measure.marking import parse_parts
from measure.signal.stimulus import Sweep
from measure.version import VERSION


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Draft:
    """A take that is to be kept.

    Attributes
    ----------
    take : Take
        Its hashes, time and sequence are open.
    sources : dict of str to Path
        Each file that it names, to where its bytes are now.
    lines : tuple of str
        To be told between its name and the checks.
    document : callable
        Makes the JSON of what all takes have.
    """

    take: Take
    sources: Mapping[str, Path]
    judgement: Judgement
    remarks: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    document: Callable[..., Document] = ImportDocument


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KeptTake:
    """A take in the logbook, and what is told of it.

    Attributes
    ----------
    reply : Outcome
        For the command line; exit code 3 where it was rejected.
    """

    take: Take
    judgement: Judgement
    reply: Outcome


def open_for_take(desk: Desk, name: str, conditions: Conditions) -> Logbook:
    """Open the logbook for a take of a new name; it is made where it is not there.

    Raises
    ------
    ValueError
        If `name` cannot be the name of a take, or instrument.toml has not what is stated of it.
    FileError
        If the take is there already.
    """
    check_name(name)
    if not desk.logbook.exists():
        desk.say(f"New logbook: {desk.logbook}")
    logbook = open_logbook(desk.logbook, create=True)
    require_free(logbook, name)
    require_stated(logbook, conditions)
    return logbook


def say_assumptions(desk: Desk, conditions: Conditions) -> None:
    """Say what each added part was taken for, and which tolerance is assumed where it states none."""
    for part in parse_parts(conditions.added):
        for remark in remarks(part, "added"):
            desk.say(f"{'' if part.understood in remark and part.understood else 'warning: '}{remark}")


def draft_take(
    name: str,
    conditions: Conditions,
    batch: Batch,
    files: Sequence[Path],
    *,
    rig: Rig,
    judgement: Judgement,
    stimulus: Sweep | Path | None,
) -> Draft:
    """Put a take of recordings together.

    Parameters
    ----------
    stimulus : Sweep, Path or None
        What was played, or the file with it; None where that is not known, or nothing was.
    """
    kept = tuple(
        RecordingFile(
            file=kept_name("recording", file, index=index),
            pickup_channel=recording.pickup_channel,
            reference_channel=recording.reference_channel,
            sha256=recording.sha256,
        )
        for index, (file, recording) in enumerate(zip(files, batch.repeats, strict=True), start=1)
    )
    sources = {item.file: file for item, file in zip(kept, files, strict=True)}
    if isinstance(stimulus, Path):
        sources[kept_name("stimulus", stimulus)] = stimulus
        played: Sweep | FileStimulus | None = FileStimulus(file=kept_name("stimulus", stimulus))
    else:
        played = stimulus
    take = Take(
        name=name,
        conditions=conditions,
        recordings=kept,
        rate_hz=batch.repeats[0].rate_hz,
        stimulus=played,
        rig=rig,
        simulated=batch.repeats[0].simulated,
        outcome=judgement.outcome,
        findings=judgement.findings,
        tool_version=VERSION,
    )
    return Draft(take=take, sources=sources, judgement=judgement)


def keep_take(desk: Desk, logbook: Logbook, draft: Draft) -> KeptTake:
    """Keep a take, whole or not at all, also where it was rejected; say and tell what was found.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    take, judgement = write_take(logbook, draft.take, draft.sources), draft.judgement
    _say_reasons(desk, take, judgement)
    for remark in draft.remarks:
        desk.say(remark)
    document = draft.document(
        takes=named_takes((take.name,), "kept"),
        kept=str(logbook.path / "takes" / take.name),
        outcome=judgement.outcome,
        simulated=take.simulated,
        checks=checks_of(judgement.findings),
    )
    reply = Outcome(
        lines=(f"Kept: take {take.name}", *draft.lines, *checks_told(take.simulated, judgement)),
        document=document,
        exit_code=REJECTED if judgement.outcome == "rejected" else DONE,
    )
    return KeptTake(take=take, judgement=judgement, reply=reply)


def _say_reasons(desk: Desk, take: Take, judgement: Judgement) -> None:
    """Say what was found that a person should know at once."""
    for finding in judgement.findings:
        if finding.severity == "reject":
            desk.say(f"rejected: {finding.code}: {plain_text(finding.text)}")
        elif finding.severity == "warn":
            desk.say(f"warning: {finding.code}: {plain_text(finding.text)}")
    if judgement.outcome == "rejected":
        desk.say(f'The take "{take.name}" is kept and marked as rejected. Repeat it under another name.')
    elif take.conditions.method == "quiet":
        desk.say(f"Nothing is fitted to a quiet take; its hum and noise: {command_text(('inspect', take.name), desk.logbook)}")
