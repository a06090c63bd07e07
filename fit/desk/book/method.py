"""Which checks make sense for a method, what they mean there, and how they are worded."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fit.answers.compare.noise import NoiseTake
from fit.desk.show.document.bench import MainsLine, Noise, ThirdOctave
from measure.logbook.take import Take
from measure.marking import parse_parts
from measure.response import Finding, FloatArray, Response, median, relative_std
from measure.signal.recording import Recording

NO_SIGNAL = 0.5  # [1] noise over response from which no value can rest on it
SENSELESS_CHECKS = {
    "quiet": (
        "truncated",
        "silent",
        "dead-channel",
        "swapped",
        "rate-mismatch",
        "clock-drift",
        "automatic-gain",
        "buried-in-hum",
        "low-level",
        "overdriven",
        "nonlinear-input",
    ),
    "impedance": ("swapped",),  # the jack of a lone capacitor falls as an exchanged reference would; "passive" tells them apart
}
FAINT_CHECKS = ("buried-in-hum", "low-level")  # a foil's signal may be as faint as the shielding is good
REPEATS_DIFFER = {
    "plate": "the plate or the cables moved; fix them and repeat",
    "impedance": "a plug, a control or the wiring moved; see to it and repeat",
}
WORDS = {
    "plate": (("exciter", "plate"), ("the coil", "the plate")),
    "impedance": ((", or bring the exciter closer", ""), ("the exciter's plug", "the plugs"), ("bring the coil closer, ", "")),
}


def sift_findings(findings: Sequence[Finding], recordings: Sequence[Recording], *, method: str) -> tuple[Finding, ...]:
    """Leave out what makes no sense for a method, and see the rest as it does.

    Returns
    -------
    tuple of Finding
        A foil's faint signal is a warning at most.
    """
    kept = tuple(finding for finding in findings if finding.code not in SENSELESS_CHECKS.get(method, ()))
    if method == "quiet":
        kept = tuple(_without_stimulus(finding) for finding in kept)
    if method == "plate":
        kept = tuple(_faint(finding, recordings) for finding in kept)
    return tuple(_worded(finding, method) for finding in kept)


def judge_response(response: Response, *, method: str, is_timed: bool = True) -> tuple[Finding, ...]:
    """Judge a response by the way it was made.

    Parameters
    ----------
    method : str
        What was driven: "exciter", "plate" or "impedance".
    is_timed : bool
        Its delay is known, from a reference channel.

    Returns
    -------
    tuple of Finding
        Those of the response itself included.
    """
    from measure.checks.causality import judge_causal
    from measure.checks.method import judge_impedance, judge_plate

    own = tuple(_worded(finding, method) for finding in response.findings)
    causal = judge_causal(response, is_timed=is_timed)
    if method == "plate":  # faint at low notes by its nature, which its own check knows
        return (*(finding for finding in own if finding.code != "noisy-response"), *judge_plate(response), causal)
    if method == "impedance":
        return (*own, *_no_signal(response), *judge_impedance(response), causal)
    return (*own, *_no_signal(response), causal)


def compare_repeats(recordings: Sequence[Recording], *, method: str) -> Finding:
    """Judge whether repeats agree.

    Parameters
    ----------
    recordings : sequence of Recording
        Two or more, each with a reference channel.

    Returns
    -------
    Finding
        ``"coil-moved"`` for the exciter, ``"repeats-differ"`` otherwise.
    """
    from measure.checks.repeats import check_repeats

    finding = check_repeats(recordings)
    if method not in REPEATS_DIFFER:
        return finding
    text = finding.text.split(": ", maxsplit=1)[0] + ("" if finding.severity == "pass" else f": {REPEATS_DIFFER[method]}")
    return replace(finding, code="repeats-differ", text=text)


def noise_of(recordings: Sequence[Recording], *, stimulus: FloatArray | None, method: str) -> Noise:
    """Hum and noise of a take's repeats; all of a "quiet" take counts, of any other the silences around the stimulus."""
    from measure.signal.noise import noise_levels

    levels = noise_levels(recordings, stimulus=stimulus, is_quiet=method == "quiet")
    hum, floor = levels.hum, levels.broadband
    return Noise(
        hum_hz=levels.mains_hz,
        hum_dbfs=None if hum is None else hum.dbfs,
        hum_std_db=None if hum is None else hum.std_db,
        hum_limit_dbfs=levels.hum_limit_dbfs,
        floor_dbfs=None if floor is None else floor.dbfs,
        floor_std_db=None if floor is None else floor.std_db,
        band_hz=levels.band_hz,
        silence_s=levels.length_s,
        lines=tuple(
            MainsLine(order=int(order), dbfs=level.dbfs, std_db=level.std_db)
            for order, level in zip(levels.line_order, levels.lines, strict=True)
        ),
        third_octaves=tuple(
            ThirdOctave(frequency_hz=float(middle_hz), dbfs=level.dbfs, std_db=level.std_db)
            for middle_hz, level in zip(levels.third_octave_hz, levels.third_octaves, strict=True)
        ),
    )


def noise_take(take: Take, recordings: Sequence[Recording], *, stimulus: FloatArray | None) -> NoiseTake:
    """Hum and noise of a take, to be compared with those of others.

    Parameters
    ----------
    stimulus : ndarray, shape (n,), or None
        What was played.

    Returns
    -------
    NoiseTake
        Its condition is controls and added parts.
    """
    from measure.signal.noise import noise_levels

    levels = noise_levels(recordings, stimulus=stimulus, is_quiet=take.conditions.method == "quiet")
    hum, noise = levels.hum, levels.broadband
    parts = [f"{part.value:g} {part.unit}" for part in parse_parts(take.conditions.added)]
    controls = take.conditions.controls
    return NoiseTake(
        name=take.name,
        hum_dbfs=None if hum is None else hum.dbfs,
        hum_std_db=0.0 if hum is None else hum.std_db,
        hum_freedom=np.inf if hum is None else hum.freedom,
        hum_limit_dbfs=levels.hum_limit_dbfs,
        n_lines=len(levels.lines),
        noise_dbfs=None if noise is None else noise.dbfs,
        noise_std_db=0.0 if noise is None else noise.std_db,
        noise_freedom=np.inf if noise is None else noise.freedom,
        condition="; ".join([*(f"{control}={controls[control]}" for control in sorted(controls)), *sorted(parts)]),
    )


def _worded(finding: Finding, method: str) -> Finding:
    text = finding.text
    for exciter, other in WORDS.get(method, ()):
        text = text.replace(exciter, other)
    return replace(finding, text=text)


# Of the breaks only those are looked for in a quiet take that samples alone prove.
def _without_stimulus(finding: Finding) -> Finding:
    if finding.code != "dropouts" or finding.severity != "pass":
        return finding
    return replace(finding, text="no stretch of samples comes twice", figure=0.0, unit="")


# A foil behind good shielding gives nothing: that is an answer, and no reason to throw the take away.
def _faint(finding: Finding, recordings: Sequence[Recording]) -> Finding:
    is_open = all(np.any(recording.samples[:, recording.pickup_channel - 1]) for recording in recordings)
    is_faint = finding.code in FAINT_CHECKS or (finding.code == "dead-channel" and "pickup channel (" in finding.text)
    return replace(finding, severity="warn") if is_faint and is_open and finding.severity == "reject" else finding


# Without the stimulus, silence cannot be told from a quiet signal before the response is there.
def _no_signal(response: Response) -> tuple[Finding, ...]:
    noise = float(median(relative_std(response)))
    if noise < NO_SIGNAL:
        return ()
    text = (
        f"No signal: noise is {100 * noise:.0f} % of the response at half of the frequencies (limit {100 * NO_SIGNAL:.0f} %). "
        "Check plugs and output level, and record again."
    )
    return (Finding(code="no-signal", severity="reject", text=text, figure=100 * noise, unit="%"),)
