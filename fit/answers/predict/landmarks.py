"""Where a predicted curve peaks or falls by 3 dB, and how that place moves with every value: exact, by the derivatives."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fit.circuit.transfers import Transfer
from measure.response import ComplexArray, FloatArray

ZOOM_POINTS, ZOOM_ROUNDS = 33, 3  # a 24th of an octave is cut down to a millionth
STEP = 1e-3  # [ln Hz] for the curvature at a peak; the error is of its square
LEAST_PROMINENCE = 0.0115  # [ln 1] 0.1 dB: a lower rise is no peak that anyone would hear
THREE_DB = float(np.log(2.0) / 2)  # [ln 1] half the power
Solve = Callable[[FloatArray], Transfer]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Spot:
    """A place on a curve.

    Attributes
    ----------
    frequency_hz, log_gain : float
        Where, and ln of the gain there. [Hz], [ln V/V]
    frequency_slopes, gain_slopes : dict
        Name of a value to the derivative of ln f and of the ln of the gain by its logarithm. [1]
    """

    frequency_hz: float
    log_gain: float
    frequency_slopes: dict[str, float]
    gain_slopes: dict[str, float]


def relative_slopes(transfer: Transfer, row: int) -> dict[str, ComplexArray]:
    """Differentiate the logarithm of a gain: real part for ln of the magnitude, imaginary part for the phase.

    Parameters
    ----------
    row : int
        Excitation, whose gain is not 0.

    Returns
    -------
    dict
        Name of a value to the derivative by its logarithm, shape (n,). [1], [rad]
    """
    return {key: slope[row] / transfer.voltage[row] for key, slope in transfer.by_log.items()}


def find_peak(solve: Solve, frequency_hz: FloatArray, row: int) -> Spot | None:
    """Find the highest maximum of a gain.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, fine enough to show every maximum. [Hz]

    Returns
    -------
    Spot or None
        None where the gain has no maximum between the ends, or is 0 somewhere.
    """
    transfer = solve(frequency_hz)
    if not transfer.voltage[row].all():
        return None
    level = np.log(np.abs(transfer.voltage[row]))
    slope = (transfer.by_log_frequency[row] / transfer.voltage[row]).real
    tops = np.flatnonzero((slope[:-1] > 0) & (slope[1:] <= 0))
    tops = np.array([top for top in tops if level[top : top + 2].max() - level[: top + 1].min() > LEAST_PROMINENCE], dtype=int)
    if not tops.size:
        return None
    top = int(tops[np.argmax(np.maximum(level[tops], level[tops + 1]))])

    def slope_at(f: FloatArray) -> FloatArray:
        found = solve(f)
        return (found.by_log_frequency[row] / found.voltage[row]).real

    peak_hz = _zoom(slope_at, frequency_hz[top], frequency_hz[top + 1])
    around = solve(peak_hz * np.exp([-STEP, 0.0, STEP]))
    slopes = {key: one.real for key, one in relative_slopes(around, row).items()}
    steepness = (around.by_log_frequency[row] / around.voltage[row]).real
    curvature = float(steepness[2] - steepness[0])
    return Spot(
        frequency_hz=peak_hz,
        log_gain=float(np.log(np.abs(around.voltage[row, 1]))),
        frequency_slopes={key: -float(one[2] - one[0]) / curvature for key, one in slopes.items()},
        gain_slopes={key: float(one[1]) for key, one in slopes.items()},
    )


def find_corner(solve: Solve, frequency_hz: FloatArray, row: int) -> Spot | None:
    """Find where a gain first falls 3 dB below that at the lowest frequency.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising. [Hz]

    Returns
    -------
    Spot or None
        None where it does not fall so far, or is 0 somewhere.
    """
    gain = solve(frequency_hz).voltage[row]
    if not gain.all():
        return None
    level = np.log(np.abs(gain))
    below = np.flatnonzero(level <= level[0] - THREE_DB)
    if not below.size:
        return None
    first = int(below[0])

    def excess(f: FloatArray) -> FloatArray:
        return np.log(np.abs(solve(f).voltage[row])) - (level[0] - THREE_DB)

    corner_hz = _zoom(excess, frequency_hz[first - 1], frequency_hz[first])
    both = solve(np.array([frequency_hz[0], corner_hz]))
    slopes = {key: one.real for key, one in relative_slopes(both, row).items()}
    steepness = float((both.by_log_frequency[row] / both.voltage[row]).real[1])
    return Spot(
        frequency_hz=corner_hz,
        log_gain=float(np.log(np.abs(both.voltage[row, 1]))),
        frequency_slopes={key: -float(one[1] - one[0]) / steepness for key, one in slopes.items()},
        gain_slopes={key: float(one[1]) for key, one in slopes.items()},
    )


# Root of a function that falls through 0 once between two frequencies.
def _zoom(function: Callable[[FloatArray], FloatArray], low_hz: float, high_hz: float) -> float:
    for _ in range(ZOOM_ROUNDS):
        grid = np.geomspace(low_hz, high_hz, ZOOM_POINTS)
        value = function(grid)
        place = max(int(np.argmax(value <= 0)), 1)
        low_hz, high_hz = float(grid[place - 1]), float(grid[place])
        before, after = float(value[place - 1]), float(value[place])
    share = before / (before - after) if before > after else 0.5
    return float(low_hz * (high_hz / low_hz) ** share)
