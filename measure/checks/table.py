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
SHARPEST = 12.0  # [1] Q that a pickup, with whatever hangs on it, does not reach: common practice, no source
SPIKE = 0.1  # [1] of ln of the size, over what such a resonance and the noise do between three neighbours
NOISE_REACH = 10  # [points] to both sides whose scatter is the noise
NOISE_ABOVE, NOISE_BELOW = 8.0, 16.0  # [1] times the scatter is no noise; the logarithm of a noisy size has its tail below
STEEPEST = 2.0  # [1] of d ln(size)/d ln(f), at an end, where there is a neighbour on one side only
NOISY = 0.15  # [1] of ln: where neighbours scatter so much, only what is absurd is named
ABSURD = 100.0  # [1] times its neighbours: no scatter and no resonance
ABSURD_STEP = 1e3  # [1] between one frequency and the next
ABSURD_STD = 1e6  # [1] times those beside it: no hum and no noise
MOST_LOG = 700.0  # [1] whose exponential is still a number
MOST_SPIKES = 20  # looked for
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
        One for each check; those that need sound numbers are left out where these are not, and ``"spike"`` where there is none.
    """
    findings = [_judge_order(table), _judge_finite(table)]
    if all(finding.severity == "pass" for finding in findings):
        findings += [_judge_points(table.frequency_hz), _judge_band(table.frequency_hz), _judge_gaps(table.frequency_hz)]
        findings += _judge_spikes(table)
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
    rises = np.append(frequency[:1] > 0, frequency[1:] > frequency[:-1])
    if np.all(rises):
        return _finding("order", "pass", "Frequencies rise from line to line.")
    first = int(np.argmin(rises))
    n_below = int(np.sum(frequency <= 0))
    if n_below:
        at = int(np.argmax(frequency <= 0))
        text = (
            f"Line {table.lines[at]} has a frequency of {frequency[at]:g} Hz, and {n_below} of {len(frequency)} are not above 0"
        )
        return _finding("order", "reject", f"{text}. Leave {'that line' if n_below == 1 else 'them'} out.", float(n_below))
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


def _judge_spikes(table: ResponseTable) -> list[Finding]:
    """Find values, and frequencies, that have nothing to do with their neighbours."""
    steps = table.frequency_hz[1:] / table.frequency_hz[:-1]
    far = int(np.argmax(steps)) if len(steps) else 0
    if len(steps) and steps[far] > ABSURD_STEP:
        line, other = (table.lines[far + 1], far) if far > len(steps) // 2 else (table.lines[far], far + 1)
        text = (
            f"The frequency in line {line} is {steps[far]:.2g} times off the next, {table.frequency_hz[other]:.5g} Hz: a slip. "
            "Correct that line, or leave it out."
        )
        return [_finding("spike", "reject", text, float(steps[far]))]
    spikes = _spikes(table)
    if not spikes:
        return []
    worst, ratio = max(spikes, key=lambda spike: abs(np.log(spike[1])))
    is_nothing = table.value[worst] == 0
    ways = f"{ratio:.3g} times" if ratio > 1 else "0 against" if is_nothing else f"1/{1 / ratio:.3g} of"
    where = f"line {table.lines[worst]}, {table.frequency_hz[worst]:.5g} Hz"
    is_absurd = not 1 / ABSURD < ratio < ABSURD
    others = "" if len(spikes) == 1 else f"; so do lines {', '.join(str(table.lines[at]) for at, _ in spikes if at != worst)}"
    cure = f"Leave {'them' if others else 'it'} out, or measure again."
    text = f"The value in {where}, is {ways} what its neighbours say{others}. {cure}"
    return [_finding("spike", "reject" if is_absurd else "warn", text, ratio)]


def _spikes(table: ResponseTable) -> list[tuple[int, float]]:
    """Points whose size no resonance and no noise explains, and how many times what their neighbours say; the worst first."""
    tiny = np.finfo(float).tiny
    kept = np.arange(len(table.frequency_hz))
    octave, size = np.log(table.frequency_hz), np.log(np.maximum(np.abs(table.value), tiny))
    relative = np.zeros(len(size)) if table.std is None else table.std / np.maximum(np.abs(table.value), tiny)
    spikes: list[tuple[int, float]] = []
    while len(kept) > 4 and len(spikes) < MOST_SPIKES:
        off, limit = _off_neighbours(octave[kept], size[kept], np.minimum(relative[kept], 1.0))
        excess = np.abs(off) - limit
        place = int(np.argmax(excess))
        if excess[place] <= 0:
            break
        spikes.append((int(kept[place]), float(np.exp(min(off[place], MOST_LOG)))))
        kept = np.delete(kept, place)
    return spikes


def _off_neighbours(octave: FloatArray, size: FloatArray, relative: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far each point lies off the line through its two neighbours, and how far it may, shape (n,) each.

    A resonance of quality Q stands by ln √(1 + (2Qh)²) over a neighbour that is h away in ln f.
    """
    n, step = len(octave), np.diff(octave)
    share = step[:-1] / (step[:-1] + step[1:])
    middle = size[1:-1] - size[:-2] - share * (size[2:] - size[:-2])
    off = np.concatenate([[size[0] - size[1]], middle, [size[-1] - size[-2]]])
    reach = np.concatenate([step[:1], np.maximum(step[:-1], step[1:]), step[-1:]])
    limit = np.log1p((2 * SHARPEST * reach) ** 2) / 2 + SPIKE
    limit[[0, -1]] += STEEPEST * reach[[0, -1]]
    near = np.abs(middle)
    padded = (
        np.pad(near, NOISE_REACH + 1, mode="reflect")
        if len(near) > NOISE_REACH + 1
        else np.full(n + 2 * NOISE_REACH, np.median(near))
    )
    scatter = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * NOISE_REACH + 1), axis=1)
    noise = np.where(off > 0, NOISE_ABOVE, NOISE_BELOW) * np.maximum(scatter, relative)
    return off, limit + np.where(scatter > NOISY, np.maximum(noise, np.log(ABSURD)), noise)


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
    slip = _slip_of_std(table.std)
    if slip is not None:
        place, ratio = slip
        ways = f"{ratio:.2g} times" if ratio > 1 else "0 against" if table.std[place] == 0 else f"1/{1 / ratio:.2g} of"
        text = f"The standard deviation in line {table.lines[place]} is {ways} what the lines beside it state: a slip."
        return _finding("noise", "warn", f"{text} Correct that line, or leave it out.", median, "%")
    return _finding(
        "noise", "pass", f"The stated standard deviation is {median:.2g} % of the value at half of the lines.", median, "%"
    )


def _slip_of_std(std: FloatArray) -> tuple[int, float] | None:
    """Find the line whose standard deviation has least to do with both beside it, and how many times the nearer of them it is."""
    size = np.log(np.maximum(np.nan_to_num(std), np.finfo(float).tiny))
    if len(size) < 3:
        return None
    below, above = size[1:-1] - size[:-2], size[1:-1] - size[2:]
    off = np.where(below * above > 0, np.sign(below) * np.minimum(np.abs(below), np.abs(above)), 0.0)
    place = int(np.argmax(np.abs(off)))
    return None if abs(off[place]) < np.log(ABSURD_STD) else (place + 1, float(np.exp(np.clip(off[place], -MOST_LOG, MOST_LOG))))
