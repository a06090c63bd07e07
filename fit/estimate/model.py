"""All takes as a function of one parameter vector, with its exact Jacobian."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np

from fit.estimate.at_jack import Jack
from fit.estimate.coils import Circumstances
from fit.estimate.evidence import Evidence, TakeEvidence, dcr_in_takes, warmth_of
from fit.estimate.lay_out import models_of, placed_after, wire_takes
from fit.estimate.parameters import (
    Parameter,
    PickupModel,
    added_parts,
    chain_parameters,
    coil_parameters,
    suffix_of,
    widen_priors,
)
from fit.estimate.parts import change_parameters, field_parameters, part_parameters, pickup_parameters
from fit.estimate.shifts import shift_rows
from measure.response import BAND_HZ, ComplexArray, FloatArray, Response, relative_std

LOWEST_POINTS = 5  # of a take: there a response is a positive number times s, whatever the controls
WORST_RELATIVE_NOISE = 0.3  # [1] noisier points carry nothing, and their logarithm has tails
NOISY = 0.01  # [1] from which on a point's own magnitude says too little of its noise
NEIGHBOURHOOD_OCTAVES = 1 / 6


class Circuit(Protocol):
    """What stands between the exciter and the jack, at the points of a problem."""

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        """Response for a unit gain, shape (m,), and the derivatives of its logarithm by parameter name."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Problem:
    """Takes and model, laid out for fast evaluation; m points over all takes, p parameters.

    Attributes
    ----------
    evidence : Evidence
        What it was built from.
    frequency_hz, noise : ndarray, shape (m,)
        Frequency, and the noise's standard deviation relative to the response. [Hz], [1]
    data : ndarray of complex, shape (m,)
        Measured responses, inverted where the polarity is. [V/V]
    take_of_point : ndarray of int, shape (m,)
        Index of the take.
    rate_of_point_hz : ndarray, shape (m,)
        Sample rate, the unit of the delay. [Hz]
    points_per_third : float
        Frequencies a third of an octave in each take.
    models : dict
        Pickup that some take feels to its circuit; ``""`` for a pickup straight at the jack.
    shifts : dict
        Parameter of each calibration error to its relative effect, shape (m,).
    clocked : tuple of str
        Parameters of what stores energy: all of them look larger by as much as the sample clock is fast.
    released : tuple of str
        Parameters whose priors were let go.
    """

    model: PickupModel
    evidence: Evidence
    parameters: tuple[Parameter, ...]
    frequency_hz: FloatArray
    noise: FloatArray
    data: ComplexArray
    take_of_point: np.ndarray
    rate_of_point_hz: FloatArray
    points_per_third: float
    models: dict[str, PickupModel]
    circuit: Circuit
    shifts: dict[str, ComplexArray]
    clocked: tuple[str, ...] = ()
    released: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prediction:
    """Logarithm of the modelled response over the measured one, and its derivatives.

    Attributes
    ----------
    residual : ndarray of complex, shape (m,)
        ln(T_model/T_data): the noise of the data stands in no denominator that a lower gain could make larger. [1]
    jacobian : ndarray of complex, shape (p, m)
        Its derivative with respect to each parameter.
    """

    residual: ComplexArray
    jacobian: ComplexArray


def build_problem(
    evidence: Evidence, model: PickupModel, *, thin: int = 1, is_foreseen: bool = False, released: Sequence[str] = ()
) -> Problem:
    """Lay takes and model out as one vector problem.

    Parameters
    ----------
    thin : int
        Keep every so many frequencies, the same in all takes.
    is_foreseen : bool
        Those stand for all: each with the noise of as many averaged, for uncertainties that are foretold and not found.
    released : sequence of str
        Parameters whose priors are let go.

    Returns
    -------
    Problem
        For `predict_residual`.

    Raises
    ------
    ValueError
        If a take has fewer than ten frequencies that tell anything; the message names it.
    """
    kept = [usable_points(take) & every_point(take.response.frequency_hz, thin) for take in evidence.takes]
    sizes = [int(mask.sum()) for mask in kept]
    for take, size in zip(evidence.takes, sizes, strict=True):
        if size < max(10 // thin, 3):
            band = f"between {BAND_HZ[0]:.0f} Hz and {BAND_HZ[1]:.0f} Hz"
            msg = f"take {take.name} has {size} usable frequencies {band}, at least 10 are needed: raise the level"
            raise ValueError(msg)
    frequencies = [take.response.frequency_hz[mask] for take, mask in zip(evidence.takes, kept, strict=True)]
    take_of_point = np.repeat(np.arange(len(kept)), sizes)
    models, circuit, parameters = _circuit(evidence, model, frequencies, take_of_point)
    rates = [take.response.origin.rate_hz or 48000.0 for take in evidence.takes]
    problem = Problem(
        model=model,
        evidence=evidence,
        parameters=tuple(widen_priors(parameters, released)),
        frequency_hz=np.concatenate(frequencies),
        noise=np.concatenate([smooth_noise(t.response)[k] for t, k in zip(evidence.takes, kept, strict=True)])
        / np.sqrt(thin if is_foreseen else 1),
        data=np.concatenate([_with_positive_gain(t, k) for t, k in zip(evidence.takes, kept, strict=True)]),
        take_of_point=take_of_point,
        rate_of_point_hz=np.asarray(rates)[take_of_point],
        points_per_third=points_per_third(frequencies),
        models=models,
        circuit=circuit,
        shifts=shift_rows(evidence, kept),
        clocked=_clocked(evidence, parameters),
        released=tuple(released),
    )
    return problem if _is_at_jack(evidence) else _with_signs_of_model(problem)


def _is_at_jack(evidence: Evidence) -> bool:
    """See whether all that there is is a pickup straight at the jack, under the exciter."""
    is_plain = all(take.method == "exciter" and not take.is_after for take in evidence.takes)
    return is_plain and evidence.instrument is None


def _circuit(
    evidence: Evidence, model: PickupModel, frequencies: Sequence[FloatArray], take_of_point: np.ndarray
) -> tuple[dict[str, PickupModel], Circuit, list[Parameter]]:
    added, added_parameters = added_parts(evidence)
    others = [*chain_parameters(evidence), *added_parameters]
    if _is_at_jack(evidence):
        masks: dict[str, tuple[bool, FloatArray]] = {}
        for index, parts in enumerate(added):
            for name, is_capacitor in parts:
                mask = masks.setdefault(name, (is_capacitor, np.zeros(len(take_of_point))))[1]
                mask[take_of_point == index] = 1.0
        known = {"log_resistance": (dcr_in_takes(evidence, evidence.dcr), "dcr")} if evidence.dcr else {}
        placed = placed_after(evidence, "", take_of_point)
        at_coil = Circumstances(placed=placed, warmth=warmth_of(evidence)[take_of_point])
        jack = Jack(model=model, s=2j * np.pi * np.concatenate(frequencies), part_masks=masks, circumstances=at_coil)
        coil = coil_parameters(model, known)
        return {"": model}, jack, [*coil, *field_parameters(coil, {"": [name for name, _ in placed]}), *others]
    models = models_of(evidence, model)
    wired = wire_takes(evidence, models, frequencies=frequencies, added=added)
    electrical = [*pickup_parameters(evidence, wired.models), *part_parameters(evidence, wired.names)]
    placements = {wired.suffixes[name]: [one for one, _ in wired.circumstances[name].placed] for name in wired.models}
    fields = field_parameters(electrical, placements)
    return wired.models, wired, [*electrical, *fields, *others, *change_parameters(evidence, electrical)]


def _clocked(evidence: Evidence, parameters: Sequence[Parameter]) -> tuple[str, ...]:
    capacitors = {name for parts in added_parts(evidence)[0] for name, is_capacitor in parts if is_capacitor}
    stores = (
        "log_inductance",
        "log_winding_capacitance",
        "log_tau_",
        "log_capacitor.",
        "log_input_capacitance",
        "shunt",
        "delay",
    )
    return tuple(each.name for each in parameters if each.name in capacitors or each.name.startswith(stores))


def usable_points(take: TakeEvidence) -> np.ndarray:
    """Choose the frequencies of a take that a fit uses.

    Returns
    -------
    ndarray of bool, shape (n,)
        Within the band, and not drowned in noise.
    """
    frequency = take.response.frequency_hz
    return (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1]) & (smooth_noise(take.response) < WORST_RELATIVE_NOISE)


def smooth_noise(response: Response) -> FloatArray:
    """Noise of a response relative to its magnitude, free of the magnitude's own noise.

    Returns
    -------
    ndarray, shape (n,)
        Points chosen or weighted by their own noisy magnitude would be those that the noise happened to raise. Where the noise
        is above 1 %, the magnitude is that of the neighbours too: the mean of ln|value| over f within a third of an octave.
    """
    plain = relative_std(response)
    is_noisy = plain > NOISY
    if not is_noisy.any():
        return plain
    std = np.sqrt(response.covariance[:, 0, 0] + response.covariance[:, 1, 1])
    octaves = np.log2(response.frequency_hz)
    square = np.abs(response.value / response.frequency_hz) ** 2
    own = (std / response.frequency_hz) ** 2
    out = plain.copy()
    for index in np.flatnonzero(is_noisy):
        near = np.abs(octaves - octaves[index]) <= NEIGHBOURHOOD_OCTAVES
        signal = float(np.mean(square[near] - own[near]))  # the noise's own part taken out
        least = float(np.mean(own[near])) / np.count_nonzero(near)
        out[index] = std[index] / response.frequency_hz[index] / np.sqrt(max(signal, least))
    return out


def every_point(frequency_hz: FloatArray, step: int) -> np.ndarray:
    """Choose every so many frequencies, the same ones for all takes on the usual grid of 16 an octave.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Frequencies. [Hz]
    step : int
        1 keeps all.

    Returns
    -------
    ndarray of bool, shape (n,)
        What is kept.
    """
    place = 16 * np.log2(frequency_hz / 1000.0)
    index = np.round(place).astype(int)
    if not np.allclose(place, index, atol=1e-3):
        index = np.arange(len(frequency_hz))
    return index % step == 0


def points_per_third(frequencies: Sequence[FloatArray]) -> float:
    """Count the frequencies in a third of an octave.

    Parameters
    ----------
    frequencies : sequence of ndarray
        Of each take, two or more. [Hz]

    Returns
    -------
    float
        Median over all. [1]
    """
    spacing = np.median(np.concatenate([np.diff(np.log2(frequency)) for frequency in frequencies]))
    return float(1 / (3 * spacing))


def _with_positive_gain(take: TakeEvidence, kept: np.ndarray) -> ComplexArray:
    """Undo an inverted polarity: at low frequencies the response of a coil is a positive number times s."""
    value, frequency = take.response.value[kept], take.response.frequency_hz[kept]
    if take.method == "impedance":
        return value
    low = frequency <= max(1000.0, frequency[:LOWEST_POINTS][-1])
    return value if np.median(value.imag[low] / frequency[low]) >= 0 else -value


def _with_signs_of_model(problem: Problem) -> Problem:
    """Invert the takes in which the pickup under the exciter reaches the jack inverted: its polarity is no part of the fit."""
    p = {parameter.name: parameter.start for parameter in problem.parameters}
    voltage, _ = problem.circuit.evaluate(p)
    data = problem.data.copy()
    for index, take in enumerate(problem.evidence.takes):
        points = np.flatnonzero(problem.take_of_point == index)
        if take.method == "exciter" and np.median(voltage[points[:LOWEST_POINTS]].imag) < 0:
            data[points] = -data[points]
    return replace(problem, data=data)


def predict_residual(problem: Problem, vector: FloatArray) -> Prediction:
    """Logarithm of model over data, and its Jacobian.

    Parameters
    ----------
    problem : Problem
        With m points and p parameters.
    vector : ndarray, shape (p,)
        Parameters.

    Returns
    -------
    Prediction
        Complex residual (m,) and Jacobian (p, m).
    """
    chain = _chain_of(problem)
    p = name_values(problem, vector)
    if "clock" in p:
        _as_the_clock_shows(chain, p)
    voltage, log_rows = problem.circuit.evaluate(p)
    ratio = voltage * np.exp(np.array([p[name] for name in chain.linear]) @ chain.rows)
    ratio /= problem.data
    if "highpass" in p:
        both = chain.frequency_j + p["highpass_both"]
        pickup = both + p["highpass"]
        ratio *= both / pickup
        log_rows["highpass"] = -1 / pickup
        log_rows["highpass_both"] = 1 / both + log_rows["highpass"]
    if "log_exciter_corner" in p:
        turn = chain.excited_j * np.exp(-p["log_exciter_corner"])
        ratio /= 1 + turn
        log_rows["log_exciter_corner"] = turn / (1 + turn)
    jacobian = chain.jacobian.copy()
    for name, place in chain.places.items():  # what is felt in no take is held by its prior alone
        if name in log_rows:
            jacobian[place] = log_rows[name]
    if "clock" in p:
        _add_clock_row(chain, p, jacobian)
    return Prediction(residual=np.log(ratio), jacobian=jacobian)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Chain:
    """Everything of a problem but the circuit: gains, delay and calibration errors are linear in ln T.

    Attributes
    ----------
    linear : tuple of str, length k
        Gains, delay and calibration errors.
    rows : ndarray of complex, shape (k, m)
        Derivatives of ln T by them, the same whatever their values are.
    jacobian : ndarray of complex, shape (p, m)
        The same at the places of the parameters, 0 elsewhere.
    frequency_j, excited_j : ndarray of complex, shape (m,)
        Frequency times j; the same, 0 where no exciter was used. [Hz]
    places : dict
        Parameter to its place.
    clocked_logs, clocked_others : dict
        The same of what the clock enlarges, fitted as its logarithm or not.
    """

    linear: tuple[str, ...]
    rows: ComplexArray
    jacobian: ComplexArray
    frequency_j: ComplexArray
    excited_j: ComplexArray
    places: dict[str, int]
    clocked_logs: dict[str, int]
    clocked_others: dict[str, int]


@lru_cache(maxsize=4)
def _chain_of(problem: Problem) -> _Chain:
    """Lay out once what every vector of a search needs."""
    frequency_j = 1j * problem.frequency_hz
    rows = _gain_rows(problem) | {"delay": -2 * np.pi * frequency_j / problem.rate_of_point_hz} | problem.shifts
    places = {parameter.name: index for index, parameter in enumerate(problem.parameters)}
    jacobian = np.zeros((len(places), len(problem.data)), dtype=complex)
    for name, row in rows.items():
        jacobian[places[name]] = row
    return _Chain(
        linear=tuple(rows),
        rows=np.array(list(rows.values())),
        jacobian=jacobian,
        frequency_j=frequency_j,
        excited_j=np.where(_is_excited(problem), frequency_j, 0.0),
        places=places,
        clocked_logs={name: places[name] for name in problem.clocked if name.startswith("log_")},
        clocked_others={name: places[name] for name in problem.clocked if not name.startswith("log_")},
    )


def _as_the_clock_shows(chain: _Chain, p: dict[str, float]) -> None:
    """Enlarge every L and C in `p` by as much as the clock is fast: the card says a lower frequency than there was."""
    for name in chain.clocked_logs:
        p[name] += p["clock"]
    for name in chain.clocked_others:
        p[name] *= float(np.exp(p["clock"]))


def _add_clock_row(chain: _Chain, p: dict[str, float], jacobian: ComplexArray) -> None:
    """Sum the rows of all that the clock enlarges; `p` is as the clock shows it."""
    total = jacobian[list(chain.clocked_logs.values())].sum(axis=0)
    for name, place in chain.clocked_others.items():
        total += jacobian[place] * p[name]
        jacobian[place] *= np.exp(p["clock"])
    jacobian[chain.places["clock"]] = total


def _is_excited(problem: Problem) -> np.ndarray:
    return np.array([take.method == "exciter" for take in problem.evidence.takes])[problem.take_of_point]


def name_values(problem: Problem, vector: FloatArray) -> dict[str, float]:
    """Pair each entry of the parameter vector with its name.

    Parameters
    ----------
    vector : ndarray, shape (p,)
        Parameters.
    """
    return dict(zip((parameter.name for parameter in problem.parameters), vector.tolist(), strict=True))


def suffixes_of(problem: Problem) -> dict[str, str]:
    """Tell what stands behind the names of each pickup's parameters.

    Returns
    -------
    dict
        Pickup to suffix; empty where there is one alone.
    """
    instrument = problem.evidence.instrument
    return {name: "" if instrument is None else suffix_of(name, instrument.pickup) for name in problem.models}


def _gain_rows(problem: Problem) -> dict[str, ComplexArray]:
    """Where each gain counts: that of a placement's first take in all of its takes, each further take's own step in that one."""
    names = {parameter.name for parameter in problem.parameters}
    rows: dict[str, ComplexArray] = {}
    placement = ""
    for index, take in enumerate(problem.evidence.takes):
        is_here = (problem.take_of_point == index).astype(complex)
        step, own = f"gain_step_{index}", f"log_gain_{index}"
        if step in names:
            rows[step] = is_here
            rows[placement] = rows[placement] + is_here
        else:
            rows[own] = is_here
            placement = own if take.method == "exciter" else placement
    return rows
