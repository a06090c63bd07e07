"""What a method (exciter, foil near the wiring, series resistor, silence) calls for: its checks, and which others make sense."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from measure.response import Finding, FloatArray, Response, Severity, median, relative_std
from measure.signal.recording import Recording

PLATE_HZ = (300.0, 10e3)  # [Hz] where a plate's small capacitance lets something through
CLEAR = 0.1  # [1] noise over response; above it decibels mislead (JCGM 102:2011, 9.3)
NOTHING = 0.5  # [1] noise over response at half of the frequencies: nothing came through
LEAST_SHARE = 0.5  # [1] of the frequencies that have to be clear
RISE_HZ, RISE_CLEAR = (60.0, 300.0), 0.3  # [Hz] below any resonance, [1] noise over response
LEAST_RISE = 0.5  # [1] power of the frequency; a capacitance into a resistance gives 1, into an inductance 2
N_RISE = 8  # [1] frequencies at least
SIGMAS = 4.0  # [1] chance gets there once in 1e4
PASSIVE_HZ = (50.0, 5000.0)  # [Hz] above, a fraction of a sample between the inputs turns the phase by as much as the limit
PASSIVE_WARN, PASSIVE_REJECT = 0.03, 0.1  # [1] of the driven end's voltage
RESISTOR_HZ = (100.0, 5000.0)  # [Hz]
DIVIDED = (0.02, 0.98)  # [1] ratio at half of the frequencies: outside, the error of a gain is 50 times that of the impedance


def judge_signal(response: Response) -> tuple[Finding, ...]:
    """Tell silence from a quiet signal, which can only be done once the response is there; nothing where there is a signal."""
    noise = float(median(relative_std(response)))
    if noise < NOTHING:
        return ()
    text = (
        f"No signal: noise is {100 * noise:.0f} % of the response at half of the frequencies (limit {100 * NOTHING:.0f} %). "
        "Check plugs and output level, and record again."
    )
    return (Finding(code="no-signal", severity="reject", text=text, figure=100 * noise, unit="%"),)


def judge_plate(response: Response) -> tuple[Finding, ...]:
    """Judge the response of a plate, a foil at a known voltage near the wiring.

    Returns
    -------
    tuple of Finding
        ``"plate-level"``: how much of the band stands out of the noise; ``"plate-coupling"``: whether it rises with frequency,
        as through a small capacitance. Warnings at most: good shielding leaves nothing to be seen.
    """
    noise = relative_std(response)
    inside = (response.frequency_hz >= PLATE_HZ[0]) & (response.frequency_hz <= PLATE_HZ[1])
    if not np.any(inside):
        text = f"not judged: no frequencies between {PLATE_HZ[0]:g} and {PLATE_HZ[1]:g} Hz"
        return (Finding(code="plate-level", severity="pass", text=text), _judge_coupling(response, noise))
    share = float(np.mean(noise[inside] < CLEAR))
    where = f"the plate's signal is clear of the noise at {100 * share:.0f} % of the frequencies between {PLATE_HZ[0]:g} Hz and "
    where += f"{PLATE_HZ[1] / 1000:g} kHz (least {100 * LEAST_SHARE:.0f} %)"
    severity: Severity = "pass" if share >= LEAST_SHARE else "warn"
    if float(median(noise[inside])) > NOTHING:
        where += "; either the shielding keeps it out, or plate or cable is not connected: see that the plate is driven"
    elif severity == "warn":
        where += "; raise its voltage, bring it closer, or record repeats"
    level = Finding(code="plate-level", severity=severity, text=where, figure=100 * share, unit="%")
    return (level, _judge_coupling(response, noise))


def judge_impedance(response: Response) -> tuple[Finding, ...]:
    """Judge the response of a jack that is driven through a series resistor.

    Parameters
    ----------
    response : Response
        Jack over driven end of the resistor: Z / (R + Z).

    Returns
    -------
    tuple of Finding
        ``"passive"``: whether any instrument can give this ratio; ``"series-resistor"``: whether the resistor suits.

    Notes
    -----
    Of a passive Z in series with R > 0 the ratio Z / (R + Z) lies in the disc of radius 1/2 around 1/2, since Re Z >= 0 there and
    the bilinear map takes the right half plane to it. Exchanged channels, a turned polarity and unequal gains lead out of it.
    """
    passive = _judge_passive(response)
    if passive.severity == "reject":
        return (passive, Finding(code="series-resistor", severity="pass", text="not judged: the ratio itself is wrong"))
    return (passive, _judge_resistor(response))


def _judge_coupling(response: Response, noise: FloatArray) -> Finding:
    code = "plate-coupling"
    low = (response.frequency_hz >= RISE_HZ[0]) & (response.frequency_hz <= RISE_HZ[1]) & (noise < RISE_CLEAR)
    if np.count_nonzero(low) < N_RISE:
        return Finding(code=code, severity="pass", text="not judged: too few low notes stand out of the noise")
    # The noise of the logarithm of a magnitude is half of that of both parts.
    weight = np.sqrt(2) / np.maximum(noise[low], 1e-6)
    octaves = np.log(response.frequency_hz[low])
    (slope, _), covariance = np.polyfit(octaves, np.log(np.abs(response.value[low])), 1, w=weight, cov="unscaled")
    std = float(np.sqrt(covariance[0, 0]))
    figure = float(slope) * 20 * float(np.log10(2))
    text = (
        f"the plate's signal rises by {figure:.1f} dB an octave between {RISE_HZ[0]:g} and {RISE_HZ[1]:g} Hz "
        f"(least {LEAST_RISE * 6.02:.0f} dB, through a small capacitance 6 to 12 dB)"
    )
    if float(slope) + SIGMAS * std >= LEAST_RISE:
        return Finding(code=code, severity="pass", text=text, figure=figure, unit="dB/octave")
    text += "; the plate touches the wiring, or its drive leaks past it: insulate it and keep its lead away from the jack's cable"
    return Finding(code=code, severity="warn", text=text, figure=figure, unit="dB/octave")


def _judge_passive(response: Response) -> Finding:
    code = "passive"
    inside = (response.frequency_hz >= PASSIVE_HZ[0]) & (response.frequency_hz <= PASSIVE_HZ[1])
    if not np.any(inside):
        return Finding(code=code, severity="pass", text=f"not judged: no frequencies below {PASSIVE_HZ[1]:g} Hz")
    std = np.sqrt(np.trace(response.covariance[inside], axis1=1, axis2=2))
    beyond = np.abs(response.value[inside] - 0.5) - 0.5 - SIGMAS * std
    worst = int(np.argmax(beyond))
    figure = float(beyond[worst])
    if figure <= PASSIVE_WARN:
        text = f"the ratio lies within {PASSIVE_WARN:g} of what an instrument can give"
        return Finding(code=code, severity="pass", text=text, figure=max(figure, 0.0))
    severity: Severity = "reject" if figure > PASSIVE_REJECT else "warn"
    limit = PASSIVE_REJECT if severity == "reject" else PASSIVE_WARN
    text = (
        f"at {response.frequency_hz[inside][worst]:.0f} Hz jack over driven end lies {figure:.2g} outside of what any "
        f"instrument can give (limit {limit:g}): the inputs are exchanged, one of them is turned in polarity, or their gains "
        "differ; set both alike"
    )
    return Finding(code=code, severity=severity, text=text, figure=figure)


def _judge_resistor(response: Response) -> Finding:
    code = "series-resistor"
    inside = (response.frequency_hz >= RESISTOR_HZ[0]) & (response.frequency_hz <= RESISTOR_HZ[1])
    if not np.any(inside):
        return Finding(code=code, severity="pass", text=f"not judged: no frequencies below {RESISTOR_HZ[1]:g} Hz")
    figure = float(median(np.abs(response.value[inside])))
    text = f"the jack has {figure:.2g} of the driven end's voltage at half of the frequencies ({DIVIDED[0]:g} to {DIVIDED[1]:g})"
    if DIVIDED[0] <= figure <= DIVIDED[1]:
        return Finding(code=code, severity="pass", text=text, figure=figure)
    text += (
        "; the resistor is too large for it, take a smaller one"
        if figure < DIVIDED[0]
        else ("; the resistor is too small for it, take a larger one, and see that the instrument is plugged in")
    )
    return Finding(code=code, severity="warn", text=text, figure=figure)


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

    own = tuple(_worded(finding, method) for finding in response.findings)
    causal = judge_causal(response, is_timed=is_timed)
    if method == "plate":  # faint at low notes by its nature, which its own check knows
        return (*(finding for finding in own if finding.code != "noisy-response"), *judge_plate(response), causal)
    if method == "impedance":
        return (*own, *judge_signal(response), *judge_impedance(response), causal)
    return (*own, *judge_signal(response), causal)


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
