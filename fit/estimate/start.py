"""Where a search begins: from the shift of the resonance with an added part, or from typical values."""

import numpy as np

from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import Problem, predict_residual
from measure.response import FloatArray

# Typical of pickups, only to begin a search: common practice, no source.
TYPICAL_WINDING_CAPACITANCE_F = 110e-12
TYPICAL_INDUCTANCE_H = 3.0
LEAST_WINDING_CAPACITANCE_F, MOST_WINDING_CAPACITANCE_F = 20e-12, 600e-12
FIRST_STEP = {"share": -1.5, "log_width": 0.3}
FIRST_FIELDS = (0.5, 1.3, 2.0)  # [1] above 1 the exciting field has a zero in the right half plane, another basin


def resonance_of(take: TakeEvidence) -> float:
    """Frequency at which response over frequency peaks.

    Parameters
    ----------
    take : TakeEvidence
        One take.

    Returns
    -------
    float
        Of the highest point above 500 Hz; refined by a parabola through its neighbours. [Hz]
    """
    frequency = take.response.frequency_hz
    in_band = (frequency > 500.0) & (frequency < 20000.0)
    octaves = np.log2(frequency[in_band])
    level = np.log(np.abs(take.response.value[in_band]) / frequency[in_band])
    if len(level) < 3:
        return 5000.0
    top = int(np.clip(np.argmax(level), 1, len(level) - 2))
    left, middle, right = level[top - 1 : top + 2]
    bend = left - 2 * middle + right
    offset = float(np.clip(0.5 * (left - right) / bend, -1, 1)) if bend < 0 else 0.0
    return float(2 ** (octaves[top] + offset * (octaves[1] - octaves[0])))


def start_vector(problem: Problem, known: dict[str, float]) -> FloatArray:
    """First vector of a search.

    Parameters
    ----------
    problem : Problem
        With p parameters.
    known : dict
        Values by name from a simpler model's fit; what is not there begins at its own start.

    Returns
    -------
    ndarray, shape (p,)
        With the gains set so that model and data agree in the middle.
    """
    values = {**_first_guess(problem.evidence), **known}
    vector = np.array([values.get(parameter.name, parameter.start) for parameter in problem.parameters])
    if not any(name.startswith("log_gain_") for name in known):
        ratio = np.abs(predict_residual(problem, vector).residual + 1.0)
        for index, parameter in enumerate(problem.parameters):
            if parameter.name.startswith("log_gain_"):
                first_take = int(parameter.name.rsplit("_", 1)[1])
                low = (problem.take_of_point == first_take) & (problem.frequency_hz < 2000.0)
                chosen = low if low.any() else problem.take_of_point == first_take
                vector[index] -= np.median(np.log(ratio[chosen]))
    return vector


def _first_guess(evidence: Evidence) -> dict[str, float]:
    """Inductance and winding capacitance from how far the takes' resonances lie apart."""
    input_f = evidence.input_capacitance.value
    points = sorted((sum(part.value for part in take.added if part.unit == "F"), resonance_of(take)) for take in evidence.takes)
    total_f = TYPICAL_WINDING_CAPACITANCE_F + input_f
    (least_f, high_hz), (most_f, low_hz) = points[0], points[-1]
    if most_f > least_f and high_hz > 1.02 * low_hz:
        total_f = (most_f - least_f) / ((high_hz / low_hz) ** 2 - 1) - least_f
    winding_f = float(np.clip(total_f - input_f, LEAST_WINDING_CAPACITANCE_F, MOST_WINDING_CAPACITANCE_F))
    inductance_h = 1 / ((2 * np.pi * high_hz) ** 2 * (winding_f + input_f + least_f))
    return {
        "log_inductance": float(np.log(np.clip(inductance_h, 0.2, 30.0))),
        "log_winding_capacitance": float(np.log(winding_f)),
    }
