"""The parameter vector of a joint fit: names, first values, and priors.

Everything positive is fitted as its logarithm; the shares of the eddy losses by a transform that keeps them passive.
Every reference (added part, dcr, input) is a parameter with a Gaussian prior at its stated uncertainty.
"""

from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import Profile
from fit.estimate.evidence import Evidence
from measure.quantity import Quantity
from measure.response import FloatArray

DELAY_STD_SAMPLES = 0.05  # [sample] between two inputs of one card
DELAY_STD_WITHOUT_REFERENCE = 2.0  # [sample] what is left of the arrival, and of the interface's filters
GAIN_STEP_STD = 0.0014  # [ln 1] of a take's gain while the exciter was not moved
LEAST_RELATIVE_STD = 1e-6  # [1] of a reference that is claimed to be exact

# Weak priors that only keep what the data cannot tell from running away; common practice, no source.
WEAK = {
    "log_inductance": (float(np.log(3.0)), 1.5),
    "log_winding_capacitance": (float(np.log(110e-12)), 1.5),
    "log_tau": (float(np.log(1 / (2 * np.pi * 6000.0))), 1.0),
    "log_width": (0.5, 1.0),
    "share": (-1.5, 3.0),
    "field": (1.0, 2.0),
    "log_resistance": (float(np.log(7e3)), 1.0),
    "log_second": (0.0, 0.35),
    "log_second_capacitance": (0.0, 0.7),
    "log_excitation": (-0.5, 1.0),
    "log_coupling": (-2.0, 1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PickupModel:
    """Which circuit stands for the pickup: the eddy losses of each coil, coils in series.

    Attributes
    ----------
    eddies : tuple of tuple of {"loop", "spread"}
        One tuple for each coil, one or two coils.
    """

    eddies: tuple[tuple[Profile, ...], ...] = ((),)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Parameter:
    """One entry of the parameter vector.

    Attributes
    ----------
    name : str
        For example ``"log_inductance"``.
    start : float
        Where a search begins when nothing better is known.
    prior_mean, prior_std : float
        Gaussian prior; an infinite standard deviation means none.
    source : str
        What the prior rests on, for the budget; empty for weak priors and for what is only fitted.
    """

    name: str
    start: float
    prior_mean: float = 0.0
    prior_std: float = np.inf
    source: str = ""


def _log_reference(name: str, quantity: Quantity, source: str) -> Parameter:
    if quantity.standard_uncertainty is None:
        msg = f"{source} is given as {quantity.text} without a bound; write for example {quantity.text} ± 1%"
        raise ValueError(msg)
    relative = max(quantity.standard_uncertainty / quantity.value, LEAST_RELATIVE_STD)
    mean = float(np.log(quantity.value))
    return Parameter(name=name, start=mean, prior_mean=mean, prior_std=relative, source=source)


def _weak(name: str, kind: str, start: float | None = None) -> Parameter:
    mean, std = WEAK[kind]
    return Parameter(name=name, start=mean if start is None else start, prior_mean=mean, prior_std=std)


def coil_parameters(model: PickupModel, dcr: Quantity | None) -> list[Parameter]:
    """Parameters of the pickup itself.

    Parameters
    ----------
    model : PickupModel
        The circuit.
    dcr : Quantity or None
        From a multimeter. [Ω]

    Returns
    -------
    list of Parameter
        Coil, eddy losses, second coil.
    """
    parameters = [
        _weak("log_inductance", "log_inductance"),
        _weak("log_winding_capacitance", "log_winding_capacitance"),
        _log_reference("log_resistance", dcr, "dcr") if dcr else _weak("log_resistance", "log_resistance"),
    ]
    for coil, profiles in enumerate(model.eddies):
        for index, profile in enumerate(profiles):
            key = f"{coil}_{index}"
            parameters += [_weak(f"share_{key}", "share"), _weak(f"log_tau_{key}", "log_tau"), _weak(f"field_{key}", "field")]
            if profile == "spread":
                parameters.append(_weak(f"log_width_{key}", "log_width"))
    if len(model.eddies) == 2:
        parameters += [_weak(name, "log_second", 0.05) for name in ("log_second_inductance", "log_second_resistance")]
        parameters.append(_weak("log_second_winding_capacitance", "log_second_capacitance", 0.05))
        parameters += [_weak("log_second_excitation", "log_excitation"), _weak("log_coupling", "log_coupling")]
    return parameters


def chain_parameters(evidence: Evidence) -> list[Parameter]:
    """Parameters of what the pickup is measured with.

    Parameters
    ----------
    evidence : Evidence
        Takes and references.

    Returns
    -------
    list of Parameter
        Delay, gain of each placement, gain step of each further take, input, exciter.
    """
    std = DELAY_STD_WITHOUT_REFERENCE if evidence.reference_kind == "none" else DELAY_STD_SAMPLES
    parameters = [Parameter(name="delay", start=0.0, prior_std=std, source="delay between the inputs")]
    placement = -1
    for index, take in enumerate(evidence.takes):
        if index == 0 or take.coil_moved:
            placement = index
            parameters.append(Parameter(name=f"log_gain_{index}", start=0.0))
        else:
            source = f"gain of {take.name} against {evidence.takes[placement].name}"
            parameters.append(Parameter(name=f"gain_step_{index}", start=0.0, prior_std=GAIN_STEP_STD, source=source))
    parameters.append(_log_reference("log_input_resistance", evidence.input_resistance, "input resistance"))
    parameters.append(_log_reference("log_input_capacitance", evidence.input_capacitance, "input capacitance"))
    if evidence.exciter_corner is not None and evidence.reference_kind != "current":
        parameters.append(_log_reference("log_exciter_corner", evidence.exciter_corner, "exciter corner"))
    return parameters


def added_parts(evidence: Evidence, take_of_point: np.ndarray) -> tuple[dict[str, tuple[bool, FloatArray]], list[Parameter]]:
    """Parameters of the parts across the jack, one for each physical part.

    Parameters
    ----------
    evidence : Evidence
        Takes with their parts; the same value and bound in several takes is the same part.
    take_of_point : ndarray of int, shape (m,)
        Index of each point's take.

    Returns
    -------
    tuple
        Name to (is it a capacitor, 1 at the points where it is clipped on, shape (m,)), and the parameters.
    """
    masks: dict[str, tuple[bool, FloatArray]] = {}
    parameters: list[Parameter] = []
    names: dict[tuple[object, ...], str] = {}
    for index, take in enumerate(evidence.takes):
        used: dict[tuple[object, ...], int] = {}
        for part in take.added:
            plain = (part.value, part.standard_uncertainty, part.unit)
            used[plain] = used.get(plain, 0) + 1
            key = (*plain, used[plain])
            if key not in names:
                names[key] = f"log_added_{len(names)}"
                parameters.append(_log_reference(names[key], part, f"added {part.text} in {take.name}"))
                masks[names[key]] = (part.unit == "F", np.zeros(len(take_of_point)))
            masks[names[key]][1][take_of_point == index] = 1.0
    return masks, parameters
