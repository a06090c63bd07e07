"""Responses, where they came from, and what was noticed on the way.

The types that this package produces and that fitting consumes: numpy and the standard library only.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

UNITS = ("V/V", "Ω")
# [Hz] Below, the EMF is too small to tell anything and the coil's R alone counts; above, interfaces filter.
BAND_HZ = (30.0, 20000.0)
# How the names of two rows of `Response.shifts` begin: what a loopback does not know of the two inputs' ratio.
CHANNEL_GAIN, CHANNEL_DELAY = "gain between the inputs", "delay between the inputs"

FloatArray = NDArray[np.floating[Any]]
ComplexArray = NDArray[np.complexfloating[Any, Any]]
Severity = Literal["pass", "warn", "reject"]
Outcome = Literal["good", "usable", "rejected"]
OUTCOMES: dict[Severity, Outcome] = {"pass": "good", "warn": "usable", "reject": "rejected"}  # of all findings, by the worst
Unit = Literal["V/V", "Ω"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at, its figure, and what to do about it.

    Attributes
    ----------
    code : str
        Name of the check, lower case with hyphens, for example ``"clipped"``.
    severity : {"pass", "warn", "reject"}
        ``"reject"``: no value may be derived from the recording.
    text : str
        What was found, with numbers, and what to do; one line.
    figure : float or None
        The number that was judged; None where nothing could be measured.
    unit : str
        Unit of `figure`; empty for a pure number.
    """

    code: str
    severity: Severity
    text: str
    figure: float | None = None
    unit: str = ""


def worst(findings: Iterable[Finding]) -> Severity:
    """Find the worst severity; "pass" where there are no findings."""
    order = tuple(OUTCOMES)
    return max((finding.severity for finding in findings), key=order.index, default="pass")


def outcome(findings: Iterable[Finding]) -> Outcome:
    """Sum findings up as "good", "usable" or "rejected", by the worst of them."""
    return OUTCOMES[worst(findings)]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Origin:
    """What a response was made from.

    Attributes
    ----------
    tool_version : str
        Version of the tool that computed the response.
    time_utc : str
        When the recording was made, or empty where that is not known. ISO 8601, UTC.
    device : str
        Interface or file the samples came from.
    rate_hz : float
        Sample rate; 0 for a response that was measured elsewhere. [Hz]
    stimulus : str
        What was played, in words; empty where that is not known.
    n_repeats : int
        How many recordings were averaged.
    recording_sha256 : tuple of str
        One for each recording.
    simulated : bool
        Made by the virtual bench.
    note : str
        Anything else, for people.
    """

    tool_version: str = ""
    time_utc: str = ""
    device: str = ""
    rate_hz: float = 0.0
    stimulus: str = ""
    n_repeats: int = 1
    recording_sha256: tuple[str, ...] = ()
    simulated: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Response:
    """A complex ratio against frequency with the covariance of its noise.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, all > 0. [Hz]
    value : ndarray of complex, shape (n,)
        Pickup over reference. [`unit`]
    covariance : ndarray, shape (n, 2, 2)
        Of the real and the imaginary part of each value. [`unit`²]
    shifts : ndarray of complex, shape (k, n)
        The 1 σ effect of each named calibration error, common to all frequencies. [`unit`]
    shift_names : tuple of str, length k
        What each row of `shifts` is.
    unit : {"V/V", "Ω"}
        Ratio of two voltages, or an impedance.
    origin : Origin
        What it was made from.
    findings : tuple of Finding
        What was noticed on the way.

    """

    frequency_hz: FloatArray
    value: ComplexArray
    covariance: FloatArray
    shifts: ComplexArray = field(default_factory=lambda: np.zeros((0, 0), dtype=complex))
    shift_names: tuple[str, ...] = ()
    unit: Unit = "V/V"
    origin: Origin = field(default_factory=Origin)
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Copy the arrays, make the copies read-only and check them once.

        Raises
        ------
        ValueError
            If a shape, the order of the frequencies or a number is wrong; the message names the field.
        """
        n = np.size(self.frequency_hz)
        shifts = (
            np.reshape(self.shifts, (len(self.shift_names), n)) if np.size(self.shifts) else np.zeros((len(self.shift_names), n))
        )
        checks = {
            "frequency_hz": (np.array(self.frequency_hz, dtype=float), (n,)),
            "value": (np.array(self.value, dtype=complex), (n,)),
            "covariance": (np.array(self.covariance, dtype=float), (n, 2, 2)),
            "shifts": (np.array(shifts, dtype=complex), (len(self.shift_names), n)),
        }
        for name, (array, shape) in checks.items():
            if array.shape != shape:
                msg = f"{name} has shape {array.shape}, expected {shape}"
                raise ValueError(msg)
            if not np.all(np.isfinite(array)):
                msg = f"{name} holds a value that is not finite"
                raise ValueError(msg)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if n == 0 or self.frequency_hz[0] <= 0 or np.any(np.diff(self.frequency_hz) <= 0):
            msg = "frequency_hz must be rising and above 0, with at least one frequency"
            raise ValueError(msg)
        variance = np.diagonal(self.covariance, axis1=1, axis2=2)
        if np.any(variance < 0) or not np.allclose(self.covariance[:, 0, 1], self.covariance[:, 1, 0]):
            msg = "covariance must be symmetric with a diagonal that is not negative"
            raise ValueError(msg)
        if self.unit not in UNITS:
            msg = f"unit is {self.unit!r}, expected one of {UNITS}"
            raise ValueError(msg)


def median(values: FloatArray, *, axis: int = -1) -> FloatArray:
    """Compute the median without numpy.ma, which `numpy.median` imports at its first call, 40 ms.

    Parameters
    ----------
    values : ndarray
        At least one along the axis.

    Returns
    -------
    ndarray
        One dimension less; nan where a value is.
    """
    n = values.shape[axis]
    low, high = (n - 1) // 2, n // 2
    ordered = np.partition(values, (low, high, n - 1), axis=axis)
    middle = (np.take(ordered, low, axis=axis) + np.take(ordered, high, axis=axis)) / 2
    last = np.take(ordered, n - 1, axis=axis)
    return np.where(np.isnan(last), last, middle)


def percentile(values: FloatArray, percent: float) -> float:
    """Compute a percentile without numpy.ma, as `median` does.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least one.
    percent : float
        0 to 100; between two values it is taken in proportion. [%]
    """
    place = percent / 100 * (len(values) - 1)
    low = int(place)
    high = min(low + 1, len(values) - 1)
    ordered = np.partition(values, (low, high, len(values) - 1))
    found = ordered[low] + (ordered[high] - ordered[low]) * (place - low)
    return float(ordered[-1] if np.isnan(ordered[-1]) else found)


def relative_std(response: Response) -> FloatArray:
    """Noise of a response relative to its magnitude.

    Returns
    -------
    ndarray, shape (n,)
        √(var Re + var Im) / abs(value); infinite where the value is 0.
    """
    std = np.sqrt(response.covariance[:, 0, 0] + response.covariance[:, 1, 1])
    magnitude = np.abs(response.value)
    return np.where(magnitude > 0, std / np.where(magnitude > 0, magnitude, 1.0), np.inf)
