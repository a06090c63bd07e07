"""Recordings of a take checked, and their response computed where that is allowed."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from measure.checks.judgement import Judgement
from measure.checks.method import compare_repeats, judge_response, sift_findings
from measure.errors import MeasureError
from measure.response import Finding, FloatArray, Response, outcome, worst
from measure.signal.recording import Recording


def assess(
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
    from measure.checks.recording import examine_recording
    from measure.checks.resampling import judge_resampling
    from measure.transfer.response import estimate_response

    if method == "quiet":
        stimulus = None
    each = [examine_recording(recording, stimulus=stimulus) for recording in recordings]
    found = worst_by_code(
        replace(one, text=f"{recording.name}: {one.text}") if len(each) > 1 and one.severity != "pass" else one
        for recording, examined in zip(recordings, each, strict=True)
        for one in examined.findings
    )
    findings = sift_findings(found, recordings, method=method)
    if method == "quiet":
        from measure.signal.noise import judge_quiet, noise_levels

        findings += judge_quiet(noise_levels(recordings, is_quiet=True))
        return Judgement(findings=findings)
    heard, latency = recordings[0], each[0].latency
    if stimulus is not None and heard.reference_channel is not None and latency is not None:  # a pickup's own response says less
        reference = heard.samples[:, heard.reference_channel - 1]
        wall = judge_resampling(reference, stimulus, heard.rate_hz, latency=latency)
        findings += () if wall is None else (wall,)
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


def _without(findings: tuple[Finding, ...], code: str) -> tuple[Finding, ...]:
    return tuple(finding for finding in findings if finding.code != code)
