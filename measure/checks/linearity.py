"""Whether gains stayed what they were: clipping, automatic gain, harmonics."""

import numpy as np

from measure.checks.clock import CLEAR, Pace
from measure.checks.waveform import find_flat_top, find_full_scale
from measure.response import Finding, Severity, percentile
from measure.signal.arrival import Arrival
from measure.signal.recording import Samples

FEW_SAMPLES = 3  # [samples] at full scale that are one too many: a sine touches it once
THIRD_WARN = 0.003  # [1] of the fundamental: −50 dB; an ordinary headphone amplifier stays below −70 dB
THIRD_REJECT = 0.10  # [1] the sweep is no longer one
NONLINEAR_WARN = 0.005  # [1]
NONLINEAR_REJECT = 0.05  # [1]
NEAR_PEAK = 0.1  # [1] of the pickup's greatest gain: harmonics are looked at where the signal is large
GAIN_WARN_DB = 0.7  # [dB] that no first-order corners explain
GAIN_REJECT_DB = 2.0  # [dB]


def judge_clipping(channels: dict[str, Samples], *, n_bits: int | None, quiet_peaks: dict[str, float], rate_hz: int) -> Finding:
    """Judge whether an input ran into its limit, digital or analogue.

    Parameters
    ----------
    channels : dict of str to ndarray, shape (n,)
        By name, for the message.
    quiet_peaks : dict of str to float
        Peak of each channel while nothing is played.
    rate_hz : int
        Of the recording. [Hz]

    Returns
    -------
    Finding
        ``"clipped"``; the figure is the number of samples at the ceiling.
    """
    for name, samples in channels.items():
        full = find_full_scale(samples, n_bits=n_bits)
        if full is not None and full.n_samples >= FEW_SAMPLES:
            count = f"{full.n_samples} samples at full scale (limit {FEW_SAMPLES - 1}), first at {full.first / rate_hz:.3f} s"
            text = f"{name} clipped: {count}; lower its gain by about 6 dB and record again"
            return Finding(code="clipped", severity="reject", text=text, figure=float(full.n_samples), unit="samples")
        flat = find_flat_top(samples, n_bits=n_bits, quiet_peak=quiet_peaks[name])
        if flat is not None:
            level_db = 20 * np.log10(flat.level)
            count = f"{flat.n_samples} samples at a ceiling of {level_db:.1f} dBFS, first at {flat.first / rate_hz:.3f} s"
            text = (
                f"{name} clipped below full scale: {count}; lower the level before the converter by about 6 dB and record again"
            )
            return Finding(code="clipped", severity="reject", text=text, figure=float(flat.n_samples), unit="samples")
    peak = max(max(float(np.max(samples)), -float(np.min(samples))) for samples in channels.values())
    text = f"peak {20 * np.log10(peak):.1f} dBFS, no flat tops" if peak > 0 else "all samples are 0"
    return Finding(code="clipped", severity="pass", text=text, figure=0.0, unit="samples")


def judge_gain(reference: Arrival | None, pace: Pace | None) -> Finding:
    """Judge whether the reference's gain follows first-order corners, as a sense resistor's does, or wanders.

    Parameters
    ----------
    pace : Pace or None
        From `measure.checks.clock.fit_pace`, for the corners.

    Returns
    -------
    Finding
        ``"automatic-gain"``, figure in dB.
    """
    code = "automatic-gain"
    if reference is None or pace is None or pace.rate is None:
        return Finding(code=code, severity="pass", text="not judged: needs the played sweep and a clear reference channel")
    good = (reference.gain > CLEAR * reference.noise) & np.isfinite(reference.gain)
    frequency_hz = reference.frequency_hz[good]
    model = -0.5 * np.log1p((frequency_hz / pace.gain_corner_hz) ** 2) - 0.5 * np.log1p((pace.low_corner_hz / frequency_hz) ** 2)
    rest_db = 20 / np.log(10) * (np.log(reference.gain[good]) - model)
    figure = float(np.max(rest_db) - np.min(rest_db))
    if figure <= GAIN_WARN_DB:
        text = f"the reference's gain is steady within {figure:.2f} dB (limit {GAIN_WARN_DB:g} dB)"
        return Finding(code=code, severity="pass", text=text, figure=figure, unit="dB")
    text = (
        f"the reference's gain wanders by {figure:.1f} dB in a way no circuit does (limit {GAIN_WARN_DB:g} dB): "
        f"switch off automatic gain, noise suppression and other processing of the input, and record again"
    )
    severity: Severity = "reject" if figure > GAIN_REJECT_DB else "warn"
    return Finding(code=code, severity=severity, text=text, figure=figure, unit="dB")


def judge_generator(reference: Arrival | None) -> Finding:
    """Judge the generator's third harmonic in the reference channel.

    Returns
    -------
    Finding
        ``"overdriven"``, figure in percent of the fundamental.
    """
    code = "overdriven"
    good = np.zeros(0, dtype=bool)
    if reference is not None:
        good = np.isfinite(reference.third) & (reference.gain > CLEAR * reference.noise) & (reference.frequency_hz > 30)
    if reference is None or np.count_nonzero(good) < 5:
        return Finding(code=code, severity="pass", text="not judged: needs the played sweep and a clear reference channel")
    third = reference.third[good] / reference.gain[good]
    figure = percentile(third, 90)
    above = reference.frequency_hz[good][third >= figure / 2]
    where = f"third harmonic {_percent_and_db(figure)} of the fundamental, {above[0]:.0f} to {above[-1]:.0f} Hz"
    if figure <= THIRD_WARN:
        text = f"{where} (limit {100 * THIRD_WARN:g} %)"
        return Finding(code=code, severity="pass", text=text, figure=100 * figure, unit="%")
    text = f"generator distorts: {where} (limit {100 * THIRD_WARN:g} %); lower the output level by about 6 dB and record again"
    severity: Severity = "reject" if figure > THIRD_REJECT else "warn"
    return Finding(code=code, severity=severity, text=text, figure=100 * figure, unit="%")


def judge_input(pickup: Arrival | None, reference: Arrival | None) -> Finding:
    """Judge the third harmonic that the pickup's own input adds to what the generator's harmonics explain.

    Returns
    -------
    Finding
        ``"nonlinear-input"``, figure in percent of the fundamental.
    """
    code = "nonlinear-input"
    unjudged = Finding(code=code, severity="pass", text="not judged: needs the played sweep and both channels clear")
    if pickup is None or reference is None:
        return unjudged
    frequency_hz = pickup.frequency_hz
    ratio = np.where(reference.gain > 0, pickup.gain / np.where(reference.gain > 0, reference.gain, 1), np.nan)
    clear = (pickup.gain > CLEAR * pickup.noise) & (reference.gain > CLEAR * reference.noise)
    good = clear & np.isfinite(pickup.third) & np.isfinite(reference.third) & (pickup.gain > NEAR_PEAK * np.nanmax(pickup.gain))
    good &= frequency_hz < frequency_hz[-1] / 3 if frequency_hz[-1] > frequency_hz[0] else True
    if np.count_nonzero(good) < 2 or np.count_nonzero(clear) < 5:
        return unjudged
    order = np.argsort(frequency_hz[clear])
    through = np.interp(3 * frequency_hz[good], frequency_hz[clear][order], ratio[clear][order])
    # The generator's harmonic passes the resonance too, whose flanks a block cannot follow: half as much again is let pass.
    excess = np.maximum(pickup.third[good] - 1.5 * through * reference.third[good], 0.0) / pickup.gain[good]
    worst = int(np.argmax(excess))
    figure = float(excess[worst])
    where = f"the pickup's input adds a third harmonic of {_percent_and_db(figure)} at {frequency_hz[good][worst]:.0f} Hz"
    if figure <= NONLINEAR_WARN:
        text = f"{where} (limit {100 * NONLINEAR_WARN:g} %)"
        return Finding(code=code, severity="pass", text=text, figure=100 * figure, unit="%")
    text = f"{where} (limit {100 * NONLINEAR_WARN:g} %): it is close to its limit; lower its gain or the drive by about 6 dB"
    severity: Severity = "reject" if figure > NONLINEAR_REJECT else "warn"
    return Finding(code=code, severity=severity, text=text, figure=100 * figure, unit="%")


def _percent_and_db(ratio: float) -> str:
    """Ratio in percent and in decibels, for people."""
    return f"{100 * ratio:.2g} % ({20 * np.log10(max(ratio, 1e-9)):.0f} dB)"
