"""What is wrong with a response that was measured elsewhere."""

import numpy as np
from numpy.typing import NDArray

from measure.response import BAND_HZ, Finding, FloatArray, Severity
from measure.tables.files import ResponseTable

ASSUMED_STD = 0.005  # [1] of the value, where the file states none; common practice for a good meter, no source
FEWEST, FEW = 10, 30  # frequencies in the band of a fit: too few, and few
MANY = 400  # frequencies in that band from which on a fit uses only some of them: it would take minutes, and gain little
USED_PER_OCTAVE = 16  # as many as a response from recordings has
LOW_ENOUGH_HZ, HIGH_ENOUGH_HZ = 200.0, 8000.0  # [Hz] between them lies what tells inductance and resonance; common practice
WIDEST_GAP = 1.0  # [octave] a resonance may hide in a wider one
NEGATIVE = 0.01  # [1] of abs(Z) by which a passive impedance may have a real part below 0, by errors


def judge_table(table: ResponseTable, *, is_impedance: bool) -> tuple[Finding, ...]:
    """Check a response as its file states it.

    Parameters
    ----------
    is_impedance : bool
        It is an impedance in ohms, not a ratio.

    Returns
    -------
    tuple of Finding
        One for each check; those that need sound numbers are left out where these are not.
    """
    findings = [_judge_order(table), _judge_finite(table)]
    if all(finding.severity == "pass" for finding in findings):
        findings += [_judge_points(table.frequency_hz), _judge_band(table.frequency_hz), _judge_gaps(table.frequency_hz)]
        findings += [_judge_passive(table)] if is_impedance else []
    return (*findings, _judge_std(table))


def used_points(frequency_hz: FloatArray) -> NDArray[np.bool_]:
    """Choose the frequencies that a fit uses: all, or of very many those next to 1000·2^(k/16) Hz.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising. [Hz]

    Returns
    -------
    ndarray of bool, shape (n,)
        What is kept; values are never averaged or interpolated.
    """
    if int(np.sum((frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1]))) <= MANY:
        return np.ones(len(frequency_hz), dtype=bool)
    place = USED_PER_OCTAVE * np.log2(frequency_hz / 1000.0)
    step, distance = np.round(place), np.abs(place - np.round(place))
    order = np.lexsort((distance, step))
    first = np.append(True, np.diff(step[order]) > 0)
    kept = np.zeros(len(frequency_hz), dtype=bool)
    kept[order[first]] = True
    return kept


def _finding(code: str, severity: Severity, text: str, figure: float | None = None, unit: str = "") -> Finding:
    return Finding(code=code, severity=severity, text=text, figure=figure, unit=unit)


def _judge_order(table: ResponseTable) -> Finding:
    frequency = table.frequency_hz
    rises = np.append(frequency[:1] > 0, np.diff(frequency) > 0)
    if np.all(rises):
        return _finding("order", "pass", "Frequencies rise from line to line.")
    first = int(np.argmin(rises))
    wrong = int(np.sum(~rises))
    text = f"Frequencies do not rise at {wrong} of {len(frequency)} lines, first in line {table.lines[first]}"
    return _finding("order", "reject", f"{text} ({frequency[first]:g} Hz). Sort them, each once, all above 0.", float(wrong))


def _judge_finite(table: ResponseTable) -> Finding:
    is_finite = np.isfinite(table.frequency_hz) & np.isfinite(table.value)
    is_finite &= np.isfinite(table.std) if table.std is not None else True
    if np.all(is_finite):
        return _finding("finite", "pass", "Every number is finite.", 0.0)
    wrong, line = int(np.sum(~is_finite)), table.lines[int(np.argmin(is_finite))]
    text = f"{wrong} of {len(is_finite)} lines hold no finite number, first line {line}. Leave these lines out."
    return _finding("finite", "reject", text, float(wrong))


def _judge_points(frequency_hz: FloatArray) -> Finding:
    n = int(np.sum((frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])))
    text = f"{n} frequencies between {BAND_HZ[0]:.0f} Hz and {BAND_HZ[1] / 1e3:.0f} kHz"
    if n < FEWEST:
        return _finding("points", "reject", f"{text}, at least {FEWEST} are needed. Measure more of them.", float(n))
    if n < FEW:
        return _finding("points", "warn", f"{text} are few. {FEW} or more make a surer fit.", float(n))
    if n > MANY:
        used = int(np.sum(used_points(frequency_hz)))
        return _finding("points", "pass", f"{text}; a fit uses {used} of all, {USED_PER_OCTAVE} an octave.", float(n))
    return _finding("points", "pass", f"{text}.", float(n))


def _judge_band(frequency_hz: FloatArray) -> Finding:
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    text = f"The band is {low:.5g} Hz to {high:.5g} Hz"
    if low > LOW_ENOUGH_HZ or high < HIGH_ENOUGH_HZ:
        wish = f"{LOW_ENOUGH_HZ:.0f} Hz to {HIGH_ENOUGH_HZ / 1e3:.0f} kHz"
        return _finding("band", "warn", f"{text}; a pickup shows itself between {wish}.", high, "Hz")
    return _finding("band", "pass", f"{text}.", high, "Hz")


def _judge_gaps(frequency_hz: FloatArray) -> Finding:
    kept = frequency_hz[(frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])]
    if len(kept) < 2:
        return _finding("gaps", "pass", "not judged: there are too few frequencies")
    steps = np.diff(np.log2(kept))
    widest = int(np.argmax(steps))
    text = f"The widest gap is {steps[widest]:.2g} octaves, after {kept[widest]:.5g} Hz"
    if steps[widest] > WIDEST_GAP:
        return _finding("gaps", "warn", f"{text}; a resonance may hide there.", float(steps[widest]), "octave")
    return _finding("gaps", "pass", f"{text}.", float(steps[widest]), "octave")


def _judge_passive(table: ResponseTable) -> Finding:
    ratio = table.value.real / np.maximum(np.abs(table.value), np.finfo(float).tiny)
    worst = int(np.argmin(ratio))
    n = int(np.sum(ratio < -NEGATIVE))
    if n == 0:
        return _finding("passive", "pass", "The real part of the impedance is nowhere below 0.", float(ratio[worst]))
    text = (
        f"The real part of the impedance is below 0 at {n} of {len(ratio)} frequencies, worst at "
        f"{table.frequency_hz[worst]:.5g} Hz: no passive part does that. Look at sign, phase and reference resistance."
    )
    return _finding("passive", "warn", text, float(ratio[worst]))


def _judge_std(table: ResponseTable) -> Finding:
    if table.std is None:
        text = f"The file states no standard deviation; {100 * ASSUMED_STD:.1f} % of the value is assumed as noise."
        return _finding("noise", "warn", f"{text} A stated one makes the intervals right.", 100 * ASSUMED_STD, "%")
    size = np.abs(table.value)
    is_told = np.isfinite(size) & (size > 0) & np.isfinite(table.std)
    if not np.any(is_told):
        return _finding("noise", "pass", "not judged: no value is above 0")
    median = 100 * float(np.median(table.std[is_told] / size[is_told]))
    if median > 50:
        text = (
            f"The stated standard deviation is {median:.0f} % of the value at half of the frequencies (limit 50 %): noise alone."
        )
        return _finding("noise", "reject", f"{text} Measure again at a higher level.", median, "%")
    return _finding(
        "noise", "pass", f"The stated standard deviation is {median:.2g} % of the value at half of the lines.", median, "%"
    )
