"""From recordings of a loopback to a calibration: both inputs on the output, or on any one point that the output drives."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.checks.recording import noise_summary
from measure.checks.resampling import judge_resampling
from measure.errors import CalibrationError
from measure.response import Finding, FloatArray, Response, relative_std
from measure.signal.arrival import N_PRESENT, find_latency
from measure.signal.recording import Recording, Samples
from measure.signal.timetable import read_timetable
from measure.transfer.calibration import Calibration, Curve
from measure.transfer.response import estimate_response

GAIN_STABILITY = 2e-4  # [1] of two inputs' ratio from take to take, controls untouched: common practice, no source
DELAY_STABILITY = 5e-4  # [samples] of their delay, which one clock times: common practice, no source
JUDGED_HZ = (50.0, 15000.0)  # [Hz] where the ratio is judged
PHASE_HZ = 10e3  # [Hz] where the noise of a phase is put down to a delay
MOST_NOISE = 2e-4  # [1] of the ratio: 0.002 dB, 0.01°
UNEVEN_WARN, UNEVEN_REJECT = 0.12, 0.7  # [1] range of ln ratio over frequency: 1 dB or 7°, 6 dB or 40°


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Loopback:
    """What recordings of a loopback gave.

    Attributes
    ----------
    findings : tuple of Finding
        A "reject" among them: it is no loopback, and may not be applied.
    """

    calibration: Calibration
    findings: tuple[Finding, ...]


def solve_loopback(
    recordings: Sequence[Recording], *, stimulus: FloatArray | None = None, device: str = "", time_utc: str
) -> Loopback:
    """Find what the two inputs, and the card as a whole, do to a voltage.

    Parameters
    ----------
    recordings : sequence of Recording
        One, or several repeats, of both inputs on one point.
    stimulus : ndarray, shape (n,), optional
        What was played; with it, latency and the card's own response are found too.
    device : str
        The interface, as the rig states it.
    time_utc : str
        When the loopback was recorded. ISO 8601, UTC.

    Returns
    -------
    Loopback
        Calibration, and what was noticed.

    Raises
    ------
    CalibrationError
        If a recording has no reference channel, or the inputs or rates of the recordings differ.
    """
    first = recordings[0] if recordings else None
    if first is None or first.reference_channel is None:
        msg = "a loopback needs a recording of both inputs: name the channel of the second one as the reference channel"
        raise CalibrationError(msg)
    if len({(one.rate_hz, one.pickup_channel, one.reference_channel) for one in recordings}) > 1:
        msg = "the recordings of the loopback have different sample rates or channels: use repeats of one and the same"
        raise CalibrationError(msg)
    response = estimate_response(recordings, stimulus=stimulus)
    inside = _inside(response.frequency_hz)
    noise = float(np.sqrt(np.mean(relative_std(response)[inside] ** 2))) if inside.any() else np.inf
    turned = replace(first, pickup_channel=first.reference_channel, reference_channel=first.pickup_channel)
    calibration = Calibration(
        channels=_curve(response),
        card=None if stimulus is None else _curve(_card_response(recordings, stimulus)),
        gain_std=float(np.hypot(GAIN_STABILITY, min(noise, 0.1))),
        delay_std_s=float(np.hypot(DELAY_STABILITY / first.rate_hz, min(noise, 0.1) / (2 * np.pi * PHASE_HZ))),
        rate_hz=first.rate_hz,
        device=device,
        pickup_channel=first.pickup_channel,
        reference_channel=first.reference_channel,
        time_utc=time_utc,
        latency_s=None if stimulus is None else _latency_s(first, stimulus),
        floor_dbfs=(noise_summary(first)["floor_dbfs"], noise_summary(turned)["floor_dbfs"]),
        recording_sha256=tuple(one.sha256 for one in recordings if one.sha256),
        simulated=any(one.simulated for one in recordings),
    )
    findings = (*response.findings, _judge_shape(response, inside), _judge_noise(noise))
    wall = None if stimulus is None else judge_resampling(_reference(first), stimulus, first.rate_hz)
    return Loopback(calibration=calibration, findings=findings if wall is None else (*findings, wall))


def _reference(recording: Recording) -> Samples:
    channel = recording.reference_channel or recording.pickup_channel
    return recording.samples[:, channel - 1]


def _inside(frequency_hz: FloatArray) -> np.ndarray:
    return (frequency_hz >= JUDGED_HZ[0]) & (frequency_hz <= JUDGED_HZ[1])


def _curve(response: Response) -> Curve:
    return Curve(frequency_hz=response.frequency_hz, value=response.value, relative_std=relative_std(response))


def _card_response(recordings: Sequence[Recording], stimulus: FloatArray) -> Response:
    """Pickup's input over what was played."""
    alone = [replace(recording, reference_channel=None) for recording in recordings]
    return estimate_response(alone, stimulus=stimulus)


def _latency_s(recording: Recording, stimulus: FloatArray) -> float | None:
    samples = recording.samples[:, recording.pickup_channel - 1]
    timetable = read_timetable(stimulus, rate_hz=recording.rate_hz)
    latency, contrast = find_latency(samples, stimulus, timetable, rate_hz=recording.rate_hz)
    return latency / recording.rate_hz if contrast >= N_PRESENT else None


def _judge_shape(response: Response, inside: np.ndarray) -> Finding:
    """See whether both inputs recorded one voltage: their ratio is then a number and a short delay, all but independent of f."""
    code = "one-point"
    if np.count_nonzero(inside) < 10:
        text = f"the loopback has no frequencies between {JUDGED_HZ[0]:g} and {JUDGED_HZ[1] / 1000:g} kHz: record a sweep"
        return Finding(code=code, severity="reject", text=text)
    frequency_hz, log_gain = response.frequency_hz[inside], np.log(np.abs(response.value[inside]))
    phase = np.unwrap(np.angle(response.value[inside]))
    slope, offset = np.polyfit(frequency_hz, phase, 1)
    # a reversed polarity is half a turn
    turn = phase - slope * frequency_hz - np.round(offset / np.pi) * np.pi
    uneven_gain, uneven_phase = float(np.ptp(log_gain)), float(np.max(np.abs(turn)))
    uneven = max(uneven_gain, uneven_phase)
    seen = (
        f"the inputs' ratio stays within {20 / np.log(10) * uneven_gain:.2g} dB and {np.degrees(uneven_phase):.2g}° of a number"
    )
    text = f"{seen} and a delay (limit 1 dB, 7°)"
    if uneven <= UNEVEN_WARN:
        return Finding(code=code, severity="pass", text=text, figure=uneven)
    if uneven <= UNEVEN_REJECT:
        text += ": the inputs differ in kind, or something is in between; connect both straight to the output, both set alike"
        return Finding(code=code, severity="warn", text=text, figure=uneven)
    text += ": they did not record one voltage; connect both to the output, nothing else in between"
    return Finding(code=code, severity="reject", text=text, figure=uneven)


def _judge_noise(noise: float) -> Finding:
    text = f"noise of the inputs' ratio {noise:.1g} of it at each frequency (limit {MOST_NOISE:g})"
    if noise <= MOST_NOISE:
        return Finding(code="loopback-noise", severity="pass", text=text, figure=noise)
    text += ": play louder, or record repeats"
    return Finding(code="loopback-noise", severity="warn", text=text, figure=noise)
