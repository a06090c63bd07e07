"""What a loopback told of the card: taken out of responses, with its own uncertainty.

In a loopback both inputs record one voltage, the output's. Whatever ratio they show there is theirs and not the pickup's:
`apply_calibration` divides it out. What the calibration itself does not know goes into the response's
`shifts`, one named row for the gain and one for the delay, the same in every response it was applied to.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from measure.errors import CalibrationError
from measure.response import CHANNEL_DELAY, CHANNEL_GAIN, ComplexArray, Finding, FloatArray, Response

OLD_DAYS = 30.0  # [days] after which a calibration is worth repeating: common practice, no source
EDGE_OCTAVES = 0.25  # [octaves] beyond the ends of a curve that its last value is held
CARD_GAIN, CARD_DELAY = "gain of the card", "delay of the card"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """A complex ratio against frequency, smooth enough to be read between its points.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, all > 0; n >= 4. [Hz]
    value : ndarray of complex, shape (n,)
        Not 0. [1]
    relative_std : ndarray, shape (n,)
        Noise of each value, both parts together, over its magnitude. [1]
    """

    frequency_hz: FloatArray
    value: ComplexArray
    relative_std: FloatArray

    def __post_init__(self) -> None:
        """Copy the arrays, make the copies read-only and check them once.

        Raises
        ------
        ValueError
            If a shape, the order of the frequencies or a number is wrong; the message names the field.
        """
        n = np.size(self.frequency_hz)
        for name, kind in (("frequency_hz", float), ("value", complex), ("relative_std", float)):
            array = np.array(getattr(self, name), dtype=kind)
            if array.shape != (n,) or not np.all(np.isfinite(array)):
                msg = f"{name} of a calibration: expected {n} finite numbers, got shape {array.shape}"
                raise ValueError(msg)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if n < 4 or self.frequency_hz[0] <= 0 or np.any(np.diff(self.frequency_hz) <= 0):
            msg = f"frequency_hz of a calibration must be rising and above 0, with at least four frequencies; it has {n}"
            raise ValueError(msg)
        if np.any(self.value == 0) or np.any(self.relative_std < 0):
            msg = "a calibration holds a ratio of 0, or a negative standard deviation"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Calibration:
    """What a loopback told of one card at one sample rate.

    Attributes
    ----------
    channels : Curve
        Pickup's input over reference input, for one and the same voltage.
    card : Curve or None
        Pickup's input over what was played, full scale to full scale, without the latency; None where that is not known.
    gain_std : float
        Of the ratio, the same at all frequencies, relative. [1]
    delay_std_s : float
        Of the delay between the inputs. [s]
    rate_hz : int
        Sample rate that it holds for. [Hz]
    device : str
        Interface that it holds for; empty where that was not stated.
    pickup_channel, reference_channel : int
        Inputs that it holds for, from 1.
    time_utc : str
        When the loopback was recorded. ISO 8601, UTC.
    latency_s : float or None
        From playing to recording. [s]
    floor_dbfs : tuple of float or None
        Noise floor of pickup's and reference input, without hum; a full-scale sine is 0. [dB]
    simulated : bool
        Made by the virtual bench.
    """

    channels: Curve
    card: Curve | None = None
    gain_std: float
    delay_std_s: float
    rate_hz: int
    device: str = ""
    pickup_channel: int = 1
    reference_channel: int = 2
    time_utc: str
    latency_s: float | None = None
    floor_dbfs: tuple[float | None, float | None] = (None, None)
    recording_sha256: tuple[str, ...] = ()
    simulated: bool = False

    def __post_init__(self) -> None:
        """Check the numbers once.

        Raises
        ------
        ValueError
            If one is out of its range; the message names it.
        """
        limits = {
            "gain_std": 0 < self.gain_std < 1,
            "delay_std_s": 0 < self.delay_std_s < 1,
            "rate_hz": self.rate_hz > 0,
            "pickup_channel and reference_channel": min(self.pickup_channel, self.reference_channel) >= 1,
        }
        for name, is_good in limits.items():
            if not is_good:
                msg = f"{name} of a calibration out of its range"
                raise ValueError(msg)


def curve_at(curve: Curve, frequency_hz: FloatArray) -> ComplexArray:
    """Read a curve at any frequencies: its logarithm by a cubic spline over ln f, the phase unwrapped, the delay taken apart.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        Frequencies, all > 0. [Hz]

    Returns
    -------
    ndarray of complex, shape (m,)
        Beyond the ends, up to `EDGE_OCTAVES`, the last magnitude and the delay are held.

    Raises
    ------
    CalibrationError
        If a frequency lies farther outside; the message says which.
    """
    from scipy.interpolate import CubicSpline

    reach = 2.0**EDGE_OCTAVES
    low_hz, high_hz = float(curve.frequency_hz[0]), float(curve.frequency_hz[-1])
    if np.any(frequency_hz < low_hz / reach) or np.any(frequency_hz > high_hz * reach):
        msg = (
            f"the response reaches from {np.min(frequency_hz):.0f} to {np.max(frequency_hz):.0f} Hz, the loopback only from "
            f"{low_hz:.0f} to {high_hz:.0f} Hz: record the loopback with the same sweep"
        )
        raise CalibrationError(msg)
    phase = np.unwrap(np.angle(curve.value))
    # a delay is a line over f, and would be a steep curve over ln f
    delay = float(np.sum(curve.frequency_hz * (phase - phase.mean())) / np.sum(curve.frequency_hz * _centred(curve)))
    log_ratio = np.log(np.abs(curve.value)) + 1j * (phase - delay * curve.frequency_hz)
    spline = CubicSpline(np.log(curve.frequency_hz), log_ratio)
    inside = np.clip(np.log(frequency_hz), np.log(low_hz), np.log(high_hz))
    return np.asarray(np.exp(spline(inside) + 1j * delay * frequency_hz), dtype=complex)


def apply_calibration(response: Response, calibration: Calibration, *, is_referred: bool = True) -> Response:
    """Take the card out of a response.

    Parameters
    ----------
    response : Response
        With n frequencies, as recorded.
    calibration : Calibration
        Of the same card; see `require_match`.
    is_referred : bool
        The response refers to the reference input; without it, to what was played.

    Returns
    -------
    Response
        Divided by the ratio of the inputs, or by the response of the card; with two more rows of `shifts`.

    Raises
    ------
    CalibrationError
        If the curve does not reach as far as the response, or the response refers to what was played and the loopback does not
        tell the card's own response.
    """
    ratio = _ratio(response, calibration, is_referred=is_referred)
    scaled = _scaled(response, 1 / ratio)
    names = shift_names(calibration, is_referred=is_referred)
    turn = -2j * np.pi * response.frequency_hz * calibration.delay_std_s
    rows = np.stack([calibration.gain_std * scaled.value, turn * scaled.value])
    return replace(scaled, shifts=np.concatenate([scaled.shifts, rows]), shift_names=(*scaled.shift_names, *names))


def shift_names(calibration: Calibration, *, is_referred: bool = True) -> tuple[str, str]:
    """Name what a calibration does not know, for the budget.

    Parameters
    ----------
    is_referred : bool
        As for `apply_calibration`.

    Returns
    -------
    tuple of str
        Gain and delay; the same in every response that the calibration was applied to.
    """
    kinds = (CHANNEL_GAIN, CHANNEL_DELAY) if is_referred else (CARD_GAIN, CARD_DELAY)
    made = calibration.time_utc[:19].replace("T", " ")
    return f"{kinds[0]}, loopback of {made}", f"{kinds[1]}, loopback of {made}"


def require_match(
    calibration: Calibration, *, rate_hz: int, device: str, pickup_channel: int, reference_channel: int | None
) -> None:
    """Refuse a calibration that was made with something else.

    Parameters
    ----------
    rate_hz : int
        Of the recording. [Hz]
    device : str
        It was made with; empty where that was not stated.
    pickup_channel : int
        Input of the pickup, from 1.
    reference_channel : int or None
        Input of the reference; None where it was not recorded.

    Raises
    ------
    CalibrationError
        If rate, device or an input differ; the message says which, and the cure.
    """
    cure = "run coilsweep calibrate loopback again with what the takes are made with"
    if rate_hz != calibration.rate_hz:
        msg = f"the loopback was recorded at {calibration.rate_hz} Hz, the take at {rate_hz} Hz: {cure}"
        raise CalibrationError(msg)
    if device != calibration.device:
        names = [f'"{name}"' if name else "a card without a name" for name in (calibration.device, device)]
        msg = f"the loopback was recorded with {names[0]}, the take with {names[1]}: {cure}"
        raise CalibrationError(msg)
    inputs = (pickup_channel, calibration.reference_channel if reference_channel is None else reference_channel)
    if inputs != (calibration.pickup_channel, calibration.reference_channel):
        made = f"{calibration.pickup_channel} and {calibration.reference_channel}"
        msg = f"the loopback was recorded by inputs {made}, the take by {inputs[0]} and {inputs[1]}: {cure}"
        raise CalibrationError(msg)


def judge_age(calibration: Calibration, *, at_utc: str, old_days: float = OLD_DAYS) -> Finding:
    """Say how old a calibration was when a take was made.

    Parameters
    ----------
    at_utc : str
        When the take was made. ISO 8601, UTC.
    old_days : float
        A warning from then on. [days]

    Returns
    -------
    Finding
        ``"calibration-age"``.

    Raises
    ------
    ValueError
        If a time cannot be read.
    """
    days = abs((_time(at_utc) - _time(calibration.time_utc)).total_seconds()) / 86400
    text = f"the loopback was recorded {days:.0f} days from the take (limit {old_days:.0f})"
    if days <= old_days:
        return Finding(code="calibration-age", severity="pass", text=text, figure=days, unit="days")
    text += ": run coilsweep calibrate loopback again"
    return Finding(code="calibration-age", severity="warn", text=text, figure=days, unit="days")


def _time(text: str) -> datetime:
    time = datetime.fromisoformat(text)
    return time if time.tzinfo is not None else time.replace(tzinfo=UTC)


def _centred(curve: Curve) -> FloatArray:
    return curve.frequency_hz - curve.frequency_hz.mean()


def _ratio(response: Response, calibration: Calibration, *, is_referred: bool) -> ComplexArray:
    curve = calibration.channels if is_referred else calibration.card
    if curve is None:
        msg = (
            "the take refers to what was played, but the loopback does not tell what the card makes of it: "
            "run coilsweep calibrate loopback again with --stimulus FILE"
        )
        raise CalibrationError(msg)
    return curve_at(curve, response.frequency_hz)


def _scaled(response: Response, factor: ComplexArray) -> Response:
    """Multiply a response by a factor at each frequency, its covariance and shifts with it."""
    turn = np.empty((len(factor), 2, 2))
    turn[:, 0, 0] = turn[:, 1, 1] = factor.real
    turn[:, 1, 0], turn[:, 0, 1] = factor.imag, -factor.imag
    covariance = turn @ response.covariance @ turn.transpose(0, 2, 1)
    return replace(
        response,
        value=response.value * factor,
        covariance=(covariance + covariance.transpose(0, 2, 1)) / 2,
        shifts=response.shifts * factor,
    )
