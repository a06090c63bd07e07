"""What the inputs hear while a quiet tone plays: levels, and what they say about the bench."""

from dataclasses import dataclass

import numpy as np

from measure.response import Finding, FloatArray

TONE_HZ = 1000.0  # [Hz] that is played
TONE_LEVEL = 0.03  # [1] peak over full scale, −30 dBFS: soft
N_LINES = 5  # [1] of either mains frequency; they hold nearly all of a hum's power
HUM_HZ = tuple(order * mains_hz for mains_hz in (50.0, 60.0) for order in range(1, N_LINES + 1))  # [Hz]
FULL = 0.98  # [1] of full scale
DEAD_DBFS = -100.0  # [dBFS] an open input of 16 bits is louder
HEARD_DB = -10.0  # [dB] of a tone over all noise, from which on it is no chance and no crosstalk; chance ends at −30
SWEEP_GAIN_DB = 20.0  # [dB] at least that a sweep of some seconds gains on a tone of its level: 16 points an octave
CLEAN_DB = -60.0  # [dB] noise of a take over its response that limits nothing
HUM_HEARD_DB = 20.0  # [dB] of the hum over the noise
RISE_DB = 26.0  # [dB] of a pickup's response from the tone to its resonance: common practice, no source
CLIP_DBFS = -1.0  # [dBFS] the loudest that a sweep should reach
FEEDBACK_DB = 40.0  # [dB] hum on the reference within so much of the pickup's, and above its own noise


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelLevel:
    """One input; a full-scale sine is 0 dBFS (AES17), its peak too.

    Attributes
    ----------
    peak_dbfs, tone_dbfs, hum_dbfs, noise_dbfs : float
        Largest sample, the tone, mains lines together, and what is left. [dBFS]
    """

    peak_dbfs: float
    tone_dbfs: float
    hum_dbfs: float
    noise_dbfs: float


def read_levels(samples: FloatArray, rate_hz: int, *, tone_hz: float = TONE_HZ) -> tuple[ChannelLevel, ...]:
    """Split what each input hears.

    Parameters
    ----------
    samples : ndarray, shape (n, c)
        Some tenths of a second; full scale is 1.
    rate_hz : int
        Sample rate. [Hz]
    tone_hz : float
        That plays. [Hz]

    Returns
    -------
    tuple of ChannelLevel, length c
        Tone and lines by least squares, all at once.

    Raises
    ------
    ValueError
        If there are fewer samples than a fifth of a second has: the lines could not be told apart.
    """
    if len(samples) < rate_hz / 5:
        msg = f"{len(samples)} samples are less than a fifth of a second at {rate_hz} Hz: hum and tone cannot be told apart"
        raise ValueError(msg)
    time_s = np.arange(len(samples)) / rate_hz
    waves = [2 * np.pi * frequency * time_s for frequency in (tone_hz, *HUM_HZ)]
    basis = np.stack([*(np.cos(wave) for wave in waves), *(np.sin(wave) for wave in waves), np.ones(len(samples))], axis=1)
    weights = np.linalg.solve(basis.T @ basis, basis.T @ np.asarray(samples, dtype=float))  # far from singular: 5 periods a line
    left = samples - basis @ weights
    n_waves = len(waves)
    power = (weights[:n_waves] ** 2 + weights[n_waves : 2 * n_waves] ** 2) / 2
    return tuple(
        ChannelLevel(
            peak_dbfs=_db(float(np.max(np.abs(samples[:, column]))) ** 2),
            tone_dbfs=_db(2 * float(power[0, column])),
            hum_dbfs=_db(2 * float(np.sum(power[1:, column]))),
            noise_dbfs=_db(2 * float(np.mean(left[:, column] ** 2))),
        )
        for column in range(samples.shape[1])
    )


def judge_levels(levels: tuple[ChannelLevel, ...], *, tone_level: float, sweep_level: float) -> tuple[Finding, ...]:
    """Say what the levels mean.

    Parameters
    ----------
    levels : tuple of ChannelLevel
        Pickup, and reference where there is one.
    tone_level, sweep_level : float
        Peaks of the tone and of the sweep that is to follow, over full scale.

    Returns
    -------
    tuple of Finding
        ``"clipped"`` and ``"dead-channel"`` of each input, ``"exciter"``, and with a reference ``"output"`` and ``"feedback"``;
        what is all right passes.
    """
    names = ("pickup", "reference")[: len(levels)]
    findings = [_clipping(name, level) for name, level in zip(names, levels, strict=True)]
    findings += [_silence(name, level) for name, level in zip(names, levels, strict=True)]
    findings.append(_exciter(levels[0], _db(sweep_level**2) - _db(tone_level**2)))
    if len(levels) > 1:
        findings.append(_output(levels[1]))
        findings.append(_feedback(levels[0], levels[1]))
    return tuple(findings)


def _db(power: float) -> float:
    return float(10 * np.log10(max(power, 1e-20)))


def _clipping(name: str, level: ChannelLevel) -> Finding:
    is_bad = level.peak_dbfs > _db(FULL**2)
    text = (
        f"{name} clips ({level.peak_dbfs:.1f} dBFS): lower its input gain"
        if is_bad
        else f"{name}: peak {level.peak_dbfs:.1f} dBFS"
    )
    return Finding(code="clipped", severity="reject" if is_bad else "pass", text=text, figure=level.peak_dbfs, unit="dBFS")


def _silence(name: str, level: ChannelLevel) -> Finding:
    is_bad = level.peak_dbfs < DEAD_DBFS
    text = f"{name} is dead ({level.peak_dbfs:.0f} dBFS): check plug, cable and input" if is_bad else f"{name} is alive"
    return Finding(code="dead-channel", severity="reject" if is_bad else "pass", text=text, figure=level.peak_dbfs, unit="dBFS")


def _exciter(pickup: ChannelLevel, to_sweep_db: float) -> Finding:
    over_db = pickup.tone_dbfs - pickup.noise_dbfs
    at_peak_dbfs = pickup.tone_dbfs + to_sweep_db + RISE_DB
    take_db = -(over_db + to_sweep_db + SWEEP_GAIN_DB)
    if over_db < HEARD_DB:
        text = f"the exciter is not heard (tone {over_db:.0f} dB over the noise): lay it on the pickup, raise the output"
        return Finding(code="exciter", severity="warn", text=text, figure=over_db, unit="dB")
    if at_peak_dbfs > CLIP_DBFS:
        reach = f"the sweep may reach {at_peak_dbfs:+.0f} dBFS at the resonance"
        text = f"the exciter is too near or too loud: {reach}; lift it or turn down"
        return Finding(code="exciter", severity="warn", text=text, figure=at_peak_dbfs, unit="dBFS")
    if take_db > CLEAN_DB:
        text = f"the exciter is far: a take would have some {take_db:.0f} dB of noise; bring it nearer, or play louder"
        return Finding(code="exciter", severity="warn", text=text, figure=over_db, unit="dB")
    text = f"exciter found: tone {over_db:.0f} dB over the noise"
    return Finding(code="exciter", severity="pass", text=text, figure=over_db, unit="dB")


def _output(reference: ChannelLevel) -> Finding:
    over_db = reference.tone_dbfs - reference.noise_dbfs
    is_bad = over_db < HEARD_DB
    text = (
        f"the reference does not hear the tone ({over_db:.0f} dB over the noise): check output, its volume and the sense resistor"
        if is_bad
        else f"the output is heard: tone {over_db:.0f} dB over the reference's noise"
    )
    return Finding(code="output", severity="warn" if is_bad else "pass", text=text, figure=over_db, unit="dB")


def _feedback(pickup: ChannelLevel, reference: ChannelLevel) -> Finding:
    is_heard = reference.hum_dbfs > reference.noise_dbfs + HUM_HEARD_DB and pickup.hum_dbfs > pickup.noise_dbfs
    is_bad = is_heard and reference.hum_dbfs > pickup.hum_dbfs - FEEDBACK_DB
    text = (
        "the reference hears the pickup's hum: switch direct monitoring off, it feeds the inputs back to the output"
        if is_bad
        else "no feedback seen"
    )
    figure = reference.hum_dbfs - pickup.hum_dbfs
    return Finding(code="feedback", severity="warn" if is_bad else "pass", text=text, figure=figure, unit="dB")
