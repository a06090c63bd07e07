"""From files and the logbook to recordings, their checks and responses."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from fit.desk.book.method import compare_repeats, judge_response, sift_findings
from fit.desk.show.words import plain_text
from measure.checks.judgement import Judgement
from measure.errors import FileError, MeasureError
from measure.logbook.naming import alike_name
from measure.logbook.store import Logbook, kept_path, list_takes, read_take, recording_path
from measure.logbook.take import FileStimulus, Take
from measure.response import Finding, FloatArray, Response, outcome, worst
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep


class RejectedError(Exception):
    """A value was asked for that would rest on a rejected recording."""

    exit_code = 3


def look_at(
    recordings: Sequence[Recording],
    *,
    stimulus: FloatArray | None,
    method: str = "exciter",
    free: Callable[[Response], Response] | None = None,
) -> Judgement:
    """Check recordings and compute their response where that is allowed.

    Parameters
    ----------
    stimulus : ndarray, shape (n,), or None
        What was played.
    method : str
        What was driven; it says which checks make sense.
    free : callable, optional
        Takes the card out of a response before it is judged.

    Returns
    -------
    Judgement
        For the method "quiet" there is no response.
    """
    from measure.checks.recording import check_recording
    from measure.transfer.response import estimate_response

    if method == "quiet":
        stimulus = None
    each = [check_recording(recording, stimulus=stimulus) for recording in recordings]
    found = worst_by_code(
        replace(one, text=f"{recording.name}: {one.text}") if len(each) > 1 and one.severity != "pass" else one
        for recording, findings in zip(recordings, each, strict=True)
        for one in findings
    )
    findings = sift_findings(found, recordings, method=method)
    if method == "quiet":
        from measure.signal.noise import judge_quiet, noise_levels

        findings += judge_quiet(noise_levels(recordings, is_quiet=True))
        return Judgement(findings=findings)
    response = None
    is_comparable = len(recordings) > 1 and all(recording.reference_channel is not None for recording in recordings)
    if is_comparable and outcome(findings) != "rejected":
        findings += (compare_repeats(recordings, method=method),)
    if outcome(findings) != "rejected":
        try:
            response = estimate_response(recordings, stimulus=stimulus)
            response = response if free is None else free(response)
            is_timed = all(recording.reference_channel is not None for recording in recordings)
            findings += judge_response(response, method=method, is_timed=is_timed)
        except MeasureError as err:
            # where nobody said what should arrive, and nothing does, that is what the check for silence could not know
            code, findings = ("response", findings) if stimulus is not None else ("silent", _without(findings, "silent"))
            findings += (Finding(code=code, severity="reject", text=f"No response could be computed: {err}"),)
    return Judgement(findings=findings, response=None if outcome(findings) == "rejected" else response)


def join_findings(judgement: Judgement, findings: Iterable[Finding]) -> Judgement:
    """Add what the sound card told of all repeats to what the recordings tell themselves; of several with one code the worst."""
    told = worst_by_code(findings)
    whole = (*judgement.findings, *told)
    return Judgement(findings=whole, response=None if outcome(told) == "rejected" else judgement.response)


def worst_by_code(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Of several findings with one code the worst, of equal ones the first; in the order of the codes."""
    kept: dict[str, Finding] = {}
    for finding in findings:
        known = kept.setdefault(finding.code, finding)
        if worst((known, finding)) != known.severity:
            kept[finding.code] = finding
    return tuple(kept.values())


def card_findings(take: Take) -> tuple[Finding, ...]:
    """Get what the sound card told when a take was made: it cannot be seen in the recording again.

    Returns
    -------
    tuple of Finding
        Those of `measure.source.delivery` and of two clocks.
    """
    from measure.source import clocks, delivery

    return tuple(finding for finding in take.findings if finding.code in (*delivery.NAMES, clocks.NAME))


def _without(findings: tuple[Finding, ...], code: str) -> tuple[Finding, ...]:
    return tuple(finding for finding in findings if finding.code != code)


def kept_recordings(logbook: Logbook, take: Take) -> tuple[list[Recording], FloatArray | None]:
    """Read the recordings of a take, and what was played.

    Returns
    -------
    stimulus : ndarray, shape (n,), or None
        None where it is not known.

    Raises
    ------
    FileError
        If the take holds no recordings, or its stimulus has another rate.
    """
    from measure.signal.stimulus import sweep_samples
    from measure.source.files import read_recording, read_stimulus

    if not take.recordings:
        msg = f'the take "{take.name}" is a response measured elsewhere and holds no recordings'
        raise FileError(msg)
    recordings = []
    for index, item in enumerate(take.recordings):
        path = recording_path(logbook, take, index)
        recording = read_recording(path, pickup_channel=item.pickup_channel, reference_channel=item.reference_channel)
        recordings.append(replace(recording, simulated=take.simulated))
    stimulus = None
    if isinstance(take.stimulus, Sweep):
        stimulus = sweep_samples(take.stimulus)
    elif isinstance(take.stimulus, FileStimulus):
        stimulus, rate_hz = read_stimulus(kept_path(logbook, take, take.stimulus.file))
        same_rate(rate_hz, recordings[0].rate_hz, name=take.stimulus.file)
    return recordings, stimulus


def same_rate(stimulus_rate_hz: int, rate_hz: int, *, name: str) -> None:
    """See that stimulus and recording have one sample rate.

    Parameters
    ----------
    stimulus_rate_hz, rate_hz : int
        Of the stimulus and of the recording. [Hz]

    Raises
    ------
    FileError
        If they differ.
    """
    if stimulus_rate_hz != rate_hz:
        msg = f"{name}: the stimulus has {stimulus_rate_hz} Hz, the recording {rate_hz} Hz. Record at the stimulus's rate."
        raise FileError(msg)


def take_to_fit(logbook: Logbook, name: str) -> Take:
    """Read a take that values may be derived from.

    Returns
    -------
    Take
        Verified, not rejected, something was played.

    Raises
    ------
    RejectedError
        If its recording was rejected.
    FileError
        If nothing was played in it.
    """
    take = read_take(logbook, name)
    if take.outcome == "rejected":
        reasons = "; ".join(one.text for one in take.findings if one.severity == "reject")
        msg = f'the take "{name}" was rejected, no value may rest on it: {plain_text(reasons)}'
        raise RejectedError(msg)
    if take.conditions.method == "quiet":
        msg = f'in the take "{take.name}" nothing was played: it tells hum and noise (coilsweep compare), no part'
        raise FileError(msg)
    return take


def exists_already(logbook: Logbook, name: str) -> bool:
    """See whether a take of that name is there, damaged or not, or one that some system cannot tell from it.

    Returns
    -------
    bool
        True if the name is taken.
    """
    listing = list_takes(logbook)
    return alike_name(name, [*listing.damaged, *(take.name for take in listing.takes)]) is not None


def is_response_file(path: Path) -> bool:
    """See whether a file holds a response that was measured elsewhere, by its suffix.

    Returns
    -------
    bool
        True for CSV and Touchstone files.
    """
    return path.suffix.lower() in {".csv", ".s1p", ".s2p", ".txt"}
