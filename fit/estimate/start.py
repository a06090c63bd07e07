"""Where a search begins: from the shift of the resonance with an added part, or from typical values."""

from collections.abc import Sequence

import numpy as np

from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import Problem, predict_residual, suffixes_of
from fit.estimate.parameters import Parameter
from measure.response import FloatArray

# Typical of pickups, only to begin a search: common practice, no source.
TYPICAL_WINDING_CAPACITANCE_F = 110e-12
LEAST_WINDING_CAPACITANCE_F, MOST_WINDING_CAPACITANCE_F = 20e-12, 600e-12
FIRST_STEP = {"share": -1.5, "log_width": 0.3}
FIRST_FIELDS = (0.5, 1.3, 2.0)  # [1] above 1 the exciting field has a zero in the right half plane, another basin


def resonance_of(take: TakeEvidence) -> float:
    """Frequency at which response over frequency peaks.

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
    known : dict
        Values by name from a simpler model's fit; what is not there begins at its own start.

    Returns
    -------
    ndarray, shape (p,)
        With the gains set so that model and data agree in the middle.
    """
    guess: dict[str, float] = {}
    for pickup, suffix in suffixes_of(problem).items():
        guess |= {f"{name}{suffix}": value for name, value in _first_guess(problem.evidence, pickup).items()}
    vector = np.array([_value(parameter, guess, known) for parameter in problem.parameters])
    if not any(name.startswith("log_gain_") for name in known):
        ratio = predict_residual(problem, vector).residual.real
        for index, parameter in enumerate(problem.parameters):
            if parameter.name.startswith("log_gain_"):
                first_take = int(parameter.name.rsplit("_", 1)[1])
                low = (problem.take_of_point == first_take) & (problem.frequency_hz < 2000.0)
                chosen = low if low.any() else problem.take_of_point == first_take
                vector[index] -= np.median(ratio[chosen])
    return vector


def _value(parameter: Parameter, guess: dict[str, float], known: dict[str, float]) -> float:
    """First value of a parameter: its own, that of every pickup's, the guess, or where it starts by itself."""
    name = parameter.name
    plain = name.partition("@")[0]
    if name in known:
        return known[name]
    if plain in known and not name.startswith("logit_"):
        return known[plain]
    is_reference = bool(parameter.source)
    return parameter.start if is_reference else guess.get(name, parameter.start)


def _first_guess(evidence: Evidence, pickup: str) -> dict[str, float]:
    """Inductance and winding capacitance from how far the resonances of takes at the same settings lie apart."""
    input_f = evidence.input_capacitance.value
    total_f = TYPICAL_WINDING_CAPACITANCE_F + input_f
    points = _resonances(evidence.takes, pickup)
    if not points:
        return {}
    (least_f, high_hz), (most_f, low_hz) = points[0], points[-1]
    if most_f > least_f and high_hz > 1.02 * low_hz:
        total_f = (most_f - least_f) / ((high_hz / low_hz) ** 2 - 1) - least_f
    winding_f = float(np.clip(total_f - input_f, LEAST_WINDING_CAPACITANCE_F, MOST_WINDING_CAPACITANCE_F))
    inductance_h = 1 / ((2 * np.pi * high_hz) ** 2 * (winding_f + input_f + least_f))
    return {
        "log_inductance": float(np.log(np.clip(inductance_h, 0.2, 30.0))),
        "log_winding_capacitance": float(np.log(winding_f)),
    }


def _resonances(takes: Sequence[TakeEvidence], pickup: str) -> list[tuple[float, float]]:
    """List added capacitance and resonance of the takes of one pickup at the same settings, by rising capacitance.

    At the settings where they differ; of several such, where the resonance is highest: a tone capacitor is not in the way there.
    """
    groups: dict[str, list[tuple[float, float]]] = {}
    for take in takes:
        if take.method == "exciter" and take.coil_over in ("", pickup):
            added_f = sum(part.value for part in take.added if part.unit == "F")
            groups.setdefault(repr((take.settings, take.is_after)), []).append((added_f, resonance_of(take)))
    if not groups:
        return []
    for points in groups.values():
        points.sort()
    return max(groups.values(), key=lambda points: (points[-1][0] > points[0][0], points[0][1]))
