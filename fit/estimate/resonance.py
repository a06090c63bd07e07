"""Resonances of a fitted pickup: its own, and behind cable and input, each with its gradient.

Unloaded: the natural frequency |s|/2π and the quality factor |s|/(−2 Re s) of the pole of the coil with its winding
capacitance alone. Loaded: where the voltage at the jack per volt of EMF peaks, and how high.
"""

from dataclasses import dataclass, replace

import numpy as np

from fit.circuit.coil import CoilValues, coil_elements
from fit.circuit.network import solve_network
from fit.estimate.at_jack import jack_network
from fit.estimate.coils import coil_rows, coil_values, coupling_of
from fit.estimate.model import Problem, name_values, suffixes_of
from fit.estimate.parameters import PickupModel
from measure.response import ComplexArray, FloatArray

SEARCH_HZ = (200.0, 60000.0)  # [Hz] where a pickup's peak is looked for
ZOOM_STEPS = 41
STEP = 1e-3  # [ln Hz] for the slope's derivative along frequency; its error is of the order STEP²
POLE_STEPS = 50


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pole:
    """Natural frequency and quality factor, with the derivatives of their logarithms.

    Attributes
    ----------
    frequency_hz, quality : float
        [Hz], [1]
    by_log_frequency, by_log_quality : dict
        Parameter name to derivative of ln f and of ln Q.
    """

    frequency_hz: float
    quality: float
    by_log_frequency: dict[str, float]
    by_log_quality: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Peak:
    """Where a gain peaks, and how high, with derivatives.

    Attributes
    ----------
    frequency_hz, gain_db : float
        [Hz], [dB]
    by_log_frequency, by_gain_db : ndarray, shape (p,)
        Derivatives of ln f and of the gain in dB by the parameter vector.
    """

    frequency_hz: float
    gain_db: float
    by_log_frequency: FloatArray
    by_gain_db: FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LoadedGain:
    """Voltage at the jack per volt of EMF behind cable and input, without added parts.

    Attributes
    ----------
    value : ndarray of complex, shape (m,)
        [V/V]
    by_parameter : ndarray of complex, shape (p, m)
        Derivative of ln(value) by the parameter vector.
    """

    value: ComplexArray
    by_parameter: ComplexArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Own:
    """Parameters of one pickup by their names without suffix, the input's too."""

    model: PickupModel
    suffix: str
    p: dict[str, float]


def _own(problem: Problem, vector: FloatArray, pickup: str) -> _Own:
    name = pickup or next(iter(problem.models))
    suffix, p = suffixes_of(problem)[name], name_values(problem, vector)
    own = p | {key.removesuffix(suffix): value for key, value in p.items() if key.endswith(suffix)} if suffix else p
    return _Own(model=problem.models[name], suffix=suffix, p=own)


def _named(name: str, suffix: str) -> str:
    return name if name.startswith("log_input") else name + suffix


def loaded_gain(problem: Problem, vector: FloatArray, frequency_hz: FloatArray, *, pickup: str = "") -> LoadedGain:
    """Gain of a pickup behind cable and input.

    Parameters
    ----------
    problem : Problem
        Model and parameters' names; p of them.
    vector : ndarray, shape (p,)
        The fit.
    frequency_hz : ndarray, shape (m,)
        Frequencies. [Hz]
    pickup : str
        Which one; empty for the first.

    Returns
    -------
    LoadedGain
        Two coils: both EMFs in proportion to their inductance, 1 V in all.
    """
    own = _own(problem, vector, pickup)
    p, s = own.p, 2j * np.pi * frequency_hz
    coils = tuple(_without_exciter(coil) for coil in coil_values(own.model, p))
    total_h = sum(coil.inductance_h for coil in coils)
    elements = coil_elements(coils, s, coupling_of(p))
    emf = np.array([np.full(len(s), coil.inductance_h / total_h, dtype=complex) for coil in coils])
    conductance, susceptance = np.exp(-p["log_input_resistance"]), s * np.exp(p["log_input_capacitance"])
    admittance = np.array([*(s * coil.winding_capacitance_f for coil in coils), conductance + susceptance])
    solution = solve_network(jack_network(len(coils)), admittance=admittance, impedance=elements.impedance, emf=emf)
    rows: dict[str, ComplexArray] = {}
    coil_rows(p, coils, elements=elements, solution=solution, s=s, rows=rows)
    by_load = solution.by_admittance[-1] / solution.voltage
    rows["log_input_resistance"] = -by_load * conductance
    rows["log_input_capacitance"] = by_load * susceptance
    if len(coils) == 2:  # the EMFs' proportion follows the inductances'
        second = coils[1].inductance_h / total_h
        part = solution.coil_transfer * emf / solution.voltage
        rows["log_second_inductance"] = rows["log_second_inductance"] + (1 - second) * part[1] - second * part[0]
    zero = np.zeros_like(s)
    named = {_named(name, own.suffix): row for name, row in rows.items() if _is_electrical(name)}
    by_parameter = np.array([named.get(parameter.name, zero) for parameter in problem.parameters])
    return LoadedGain(value=solution.voltage, by_parameter=by_parameter)


def _without_exciter(coil: CoilValues) -> CoilValues:
    """Take the exciting field's share of the eddy losses out: the EMF is given here, not the exciter's current."""
    eddies = tuple((share, tau_s, width, 0.0, profile) for share, tau_s, width, _, profile in coil.eddies)
    return replace(coil, eddies=eddies)


def _is_electrical(name: str) -> bool:
    return not name.startswith(("field_", "log_second_excitation"))


def loaded_peak(problem: Problem, vector: FloatArray, *, pickup: str = "") -> Peak | None:
    """Find the peak of the gain behind cable and input.

    Parameters
    ----------
    vector : ndarray, shape (p,)
        The fit.
    pickup : str
        Which one; empty for the first.

    Returns
    -------
    Peak or None
        None where the gain has no peak.
    """
    low, high = SEARCH_HZ
    frequency = np.geomspace(low, high, 400)
    for _ in range(2):
        gain = np.abs(loaded_gain(problem, vector, frequency, pickup=pickup).value)
        top = int(np.argmax(gain))
        if top in (0, len(frequency) - 1):
            return None
        frequency = np.geomspace(frequency[top - 1], frequency[top + 1], ZOOM_STEPS)
    peak_hz = float(frequency[len(frequency) // 2])
    around = np.exp(STEP * np.array([-1.0, 0.0, 1.0]))
    level = np.log(np.abs(loaded_gain(problem, vector, peak_hz * around, pickup=pickup).value))
    peak_hz *= float(np.exp(STEP * (level[0] - level[2]) / (2 * (level[0] - 2 * level[1] + level[2]))))
    three = loaded_gain(problem, vector, peak_hz * around, pickup=pickup)
    level = np.log(np.abs(three.value))
    bend = (level[0] - 2 * level[1] + level[2]) / STEP**2
    slope_by = (three.by_parameter[:, 2].real - three.by_parameter[:, 0].real) / (2 * STEP)
    return Peak(
        frequency_hz=peak_hz,
        gain_db=float(20 / np.log(10) * level[1]),
        by_log_frequency=-slope_by / bend,
        by_gain_db=20 / np.log(10) * three.by_parameter[:, 1].real,
    )


def find_pole(coil: CoilValues, *, capacitance_f: float, conductance_s: float = 0.0) -> tuple[complex, complex]:
    """Find the resonance's pole of one coil across a capacitance and a conductance.

    Parameters
    ----------
    coil : CoilValues
        The coil; its own winding capacitance is not added.
    capacitance_f, conductance_s : float
        Everything across it. [F], [S]

    Returns
    -------
    tuple of complex
        s with 1 + Z(s)·(sC + G) = 0 and Im s > 0, and the derivative of that expression by s. [rad/s], [s]

    Raises
    ------
    ValueError
        If there is no oscillating pole.
    """
    s = (-0.1 + 1j) / np.sqrt(coil.inductance_h * capacitance_f)
    for _ in range(POLE_STEPS):
        value, slope = _characteristic(coil, s, capacitance_f, conductance_s)
        step = value / slope
        s -= step
        if abs(step) < 1e-13 * abs(s):
            break
    if not (np.isfinite(s) and s.imag > 0):
        msg = "the coil has no oscillating resonance: its losses are too high"
        raise ValueError(msg)
    return complex(s), complex(_characteristic(coil, s, capacitance_f, conductance_s)[1])


def _characteristic(coil: CoilValues, s: complex, capacitance_f: float, conductance_s: float) -> tuple[complex, complex]:
    """1 + Z Y, and its derivative by s (a profile depends on s·τ alone, so s ∂P/∂s = ∂P/∂ln τ)."""
    elements = coil_elements([coil], np.array([s]))
    impedance = elements.impedance[0, 0, 0]
    impedance_slope = (impedance - coil.resistance_ohm) / s
    for (share, *_), values in zip(coil.eddies, elements.profiles[0], strict=True):
        impedance_slope -= coil.inductance_h * share * values.by_log_tau[0]
    admittance = s * capacitance_f + conductance_s
    return 1 + impedance * admittance, impedance_slope * admittance + impedance * capacitance_f


def pole_of(problem: Problem, vector: FloatArray, *, is_loaded: bool, pickup: str = "") -> Pole | None:
    """Natural frequency and quality factor of a pickup of one coil.

    Parameters
    ----------
    vector : ndarray, shape (p,)
        The fit.
    is_loaded : bool
        Cable and input are connected; otherwise the winding capacitance alone.
    pickup : str
        Which one; empty for the first.

    Returns
    -------
    Pole or None
        None for two coils, or where nothing oscillates.
    """
    own = _own(problem, vector, pickup)
    p, coils = own.p, coil_values(own.model, own.p)
    if len(coils) != 1:
        return None
    coil = coils[0]
    input_f = float(np.exp(p["log_input_capacitance"])) if is_loaded else 0.0
    conductance = float(np.exp(-p["log_input_resistance"])) if is_loaded else 0.0
    try:
        s, slope = find_pole(coil, capacitance_f=coil.winding_capacitance_f + input_f, conductance_s=conductance)
    except ValueError:
        return None
    by_pole = {
        _named(name, own.suffix): -value / slope / s
        for name, value in _characteristic_by_parameter(coil, p, s, is_loaded).items()
    }
    damping = -s.real / abs(s)
    # ln f = Re ln s; Q = |s| / (−2 Re s), so d ln Q = d ln|s| − d(Re s)/Re s
    return Pole(
        frequency_hz=abs(s) / (2 * np.pi),
        quality=1 / (2 * damping),
        by_log_frequency={name: float(value.real) for name, value in by_pole.items()},
        by_log_quality={name: float(value.real - (value * s).real / s.real) for name, value in by_pole.items()},
    )


def _characteristic_by_parameter(coil: CoilValues, p: dict[str, float], s: complex, is_loaded: bool) -> dict[str, complex]:
    """Differentiate 1 + Z Y by each parameter that it depends on."""
    elements = coil_elements([coil], np.array([s]))
    impedance = complex(elements.impedance[0, 0, 0])
    winding = s * coil.winding_capacitance_f
    admittance = winding
    out = {"log_winding_capacitance": impedance * winding}
    if is_loaded:
        conductance, susceptance = np.exp(-p["log_input_resistance"]), s * np.exp(p["log_input_capacitance"])
        admittance = winding + conductance + susceptance
        out |= {"log_input_resistance": -impedance * conductance, "log_input_capacitance": impedance * susceptance}
    resistance_ohm = float(coil.resistance_ohm)
    out["log_resistance"] = resistance_ohm * admittance
    out["log_inductance"] = (impedance - resistance_ohm) * admittance
    scale = s * coil.inductance_h * admittance
    for index, ((share, _, _, _, profile), values) in enumerate(zip(coil.eddies, elements.profiles[0], strict=True)):
        sigmoid = 1 / (1 + np.exp(-p[f"share_0_{index}"]))
        later = sum(coil.eddies[k][0] * elements.profiles[0][k].value[0] for k in range(index + 1, len(coil.eddies)))
        out[f"share_0_{index}"] = -scale * (share * (1 - sigmoid) * values.value[0] - sigmoid * later)
        out[f"log_tau_0_{index}"] = -scale * share * values.by_log_tau[0]
        if profile == "spread":
            out[f"log_width_0_{index}"] = -scale * share * values.by_log_width[0]
    return out
