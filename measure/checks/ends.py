"""Whether a recording breaks off while something sounds, told from its level alone: for stimuli that nobody knows."""

import numpy as np

from measure.response import Finding, FloatArray, Severity
from measure.signal.recording import Samples

STEP_S = 0.004  # [s] in which levels are taken
STEPS_AT_ONCE = 256
N_STEPS = 4  # [steps] at each end; one of them may lie at a zero of a low note
VERY_END_S = 0.002  # [s] in which a fade has come near to nothing
LOUD = 0.1  # [1] of the highest level: an exciter's corner takes the last octaves down to a seventh
QUIETER = 5.0  # [1] times quieter is the other end: hum and noise are at both
LEAST_PEAK = 1e-4  # [1] of full scale: less is no stimulus
TONE_S = 0.05  # [s] in which a sweep is nearly a tone
TONE_WIDTH, TONE_BINS = 0.1, 3  # [1] of its frequency, [bins]: where a tone's power lies
TONAL = 0.75  # [1] of the power that has to lie there


def judge_ends(samples: Samples, rate_hz: int) -> Finding | None:
    """Judge whether the recording begins or ends in the middle of what was played.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The reference channel, or the pickup's where there is none.
    rate_hz : int
        Sample rate. [Hz]

    Returns
    -------
    Finding or None
        ``"truncated"``, the figure is the level at that end over the highest one in dB: rejected where it is that of a tone, as a
        sweep has it, a warning where it is not; None where both ends are quiet, or neither is.
    """
    step_rms = _step_levels(samples, rate_hz)
    if len(step_rms) < 4 * N_STEPS:
        return None
    highest = float(np.max(step_rms))
    edges = [step_rms[:N_STEPS], step_rms[-N_STEPS:]]
    levels = [float(np.sort(edge)[1]) for edge in edges]
    n_end = max(round(VERY_END_S * rate_hz), 2)
    very_ends = [float(np.mean(np.abs(part))) for part in (samples[:n_end], samples[-n_end:])]
    for loud, quiet, end in ((1, 0, "ends"), (0, 1, "begins")):
        is_loud = min(levels[loud], very_ends[loud]) > max(LOUD * highest, LEAST_PEAK)
        if is_loud and float(np.max(edges[quiet])) * QUIETER < levels[loud]:
            part = samples[-round(TONE_S * rate_hz) :] if loud else samples[: round(TONE_S * rate_hz)]
            return _told(end, levels[loud] / highest, is_tone=_is_tone(part.astype(float)))
    return None


def _told(end: str, level: float, *, is_tone: bool) -> Finding:
    """Say that a recording breaks off."""
    figure = float(20 * np.log10(level))
    severity: Severity = "reject" if is_tone else "warn"
    text = (
        f"the recording {end} while the sweep sounds: {figure:.0f} dB of its highest level there (limit "
        f"{20 * np.log10(LOUD):.0f} dB), and silence at the other end only; record for longer"
    )
    return Finding(code="truncated", severity=severity, text=text, figure=figure, unit="dB")


def _step_levels(samples: Samples, rate_hz: int) -> FloatArray:
    """Rms in steps of `STEP_S`, offset taken out, shape (m,)."""
    n_step = max(round(STEP_S * rate_hz), 4)
    n_steps = len(samples) // n_step
    levels = np.zeros(n_steps)
    offset = np.mean(samples, dtype=np.float64) if n_steps else 0.0
    for first in range(0, n_steps, STEPS_AT_ONCE):
        last = min(first + STEPS_AT_ONCE, n_steps)
        part = samples[first * n_step : last * n_step].astype(float) - offset
        levels[first:last] = np.sqrt(np.mean(part.reshape(last - first, n_step) ** 2, axis=1))
    return levels


def _is_tone(part: FloatArray) -> bool:
    """Tell whether most of the power lies around one frequency."""
    power = np.abs(np.fft.rfft((part - np.mean(part)) * np.hanning(len(part)))) ** 2
    total = float(np.sum(power))
    peak = int(np.argmax(power))
    reach = max(TONE_BINS, round(TONE_WIDTH * peak))
    return total > 0 and float(np.sum(power[max(peak - reach, 0) : peak + reach + 1])) > TONAL * total
