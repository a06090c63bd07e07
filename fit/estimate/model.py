"""The pickup at the jack as a function of a parameter vector, with its exact Jacobian."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fit.circuit.coil import CoilElements, CoilValues, ProfileValues, coil_elements
from fit.circuit.network import Network, Solution, build_network, solve_network
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.parameters import Parameter, PickupModel, added_parts, chain_parameters, coil_parameters
from measure.response import ComplexArray, FloatArray, relative_std

LOWEST_HZ = 30.0  # [Hz] below, the EMF is too small to tell anything and the coil's R alone counts
HIGHEST_HZ = 20000.0  # [Hz] above, interfaces filter
WORST_RELATIVE_NOISE = 0.3  # [1] noisier points carry nothing, and their logarithm is biased


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Problem:
    """Takes and model, laid out for fast evaluation; m points over all takes, p parameters.

    Attributes
    ----------
    model : PickupModel
        The circuit.
    evidence : Evidence
        What it was built from.
    parameters : tuple of Parameter, length p
        In the order of the vector.
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
    part_masks : dict
        Name of an added part's parameter to (is it a capacitor, points where it is clipped on).
    network : Network
        Topology.
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
    part_masks: dict[str, tuple[bool, FloatArray]]
    network: Network


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prediction:
    """Modelled response over the measured one, less 1, and its derivatives.

    Attributes
    ----------
    residual : ndarray of complex, shape (m,)
        (T_model − T_data)/T_data. [1]
    jacobian : ndarray of complex, shape (p, m)
        Its derivative with respect to each parameter.
    """

    residual: ComplexArray
    jacobian: ComplexArray


def build_problem(evidence: Evidence, model: PickupModel, *, thin: int = 1) -> Problem:
    """Lay takes and model out as one vector problem.

    Parameters
    ----------
    evidence : Evidence
        Takes and references.
    model : PickupModel
        The circuit.
    thin : int
        Keep every so many frequencies, the same in all takes, with the noise of as many averaged.

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
            band = f"between {LOWEST_HZ:.0f} Hz and {HIGHEST_HZ:.0f} Hz"
            msg = f"take {take.name} has {size} usable frequencies {band}, at least 10 are needed: raise the level"
            raise ValueError(msg)
    take_of_point = np.repeat(np.arange(len(kept)), sizes)
    part_masks, part_parameters = added_parts(evidence, take_of_point)
    coils = _coil_nodes(len(model.eddies))
    rates = [take.response.origin.rate_hz or 48000.0 for take in evidence.takes]
    return Problem(
        model=model,
        evidence=evidence,
        parameters=(*coil_parameters(model, evidence.dcr), *chain_parameters(evidence), *part_parameters),
        frequency_hz=np.concatenate([t.response.frequency_hz[k] for t, k in zip(evidence.takes, kept, strict=True)]),
        noise=np.concatenate([relative_std(t.response)[k] for t, k in zip(evidence.takes, kept, strict=True)]) / np.sqrt(thin),
        data=np.concatenate([_with_positive_gain(t, k) for t, k in zip(evidence.takes, kept, strict=True)]),
        take_of_point=take_of_point,
        rate_of_point_hz=np.asarray(rates)[take_of_point],
        points_per_third=_points_per_third([t.response.frequency_hz[k] for t, k in zip(evidence.takes, kept, strict=True)]),
        part_masks=part_masks,
        network=build_network([*coils, ("tip", "ground")], coils, "tip"),
    )


def usable_points(take: TakeEvidence) -> np.ndarray:
    """Choose the frequencies of a take that a fit uses.

    Parameters
    ----------
    take : TakeEvidence
        With n frequencies.

    Returns
    -------
    ndarray of bool, shape (n,)
        Within the band, and not drowned in noise.
    """
    frequency = take.response.frequency_hz
    return (frequency >= LOWEST_HZ) & (frequency <= HIGHEST_HZ) & (relative_std(take.response) < WORST_RELATIVE_NOISE)


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


def _points_per_third(frequencies: list[FloatArray]) -> float:
    spacing = np.median(np.concatenate([np.diff(np.log2(frequency)) for frequency in frequencies]))
    return float(1 / (3 * spacing))


def _with_positive_gain(take: TakeEvidence, kept: np.ndarray) -> ComplexArray:
    """Undo an inverted polarity: at low frequencies the response of a coil is a positive number times s."""
    value, frequency = take.response.value[kept], take.response.frequency_hz[kept]
    low = frequency <= max(1000.0, frequency[4])
    return value if np.median(value.imag[low] / frequency[low]) >= 0 else -value


def _coil_nodes(n_coils: int) -> list[tuple[str, str]]:
    return [("tip", "ground")] if n_coils == 1 else [("tip", "middle"), ("middle", "ground")]


def predict_residual(problem: Problem, vector: FloatArray) -> Prediction:
    """Relative difference of model and data, and its Jacobian.

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
    p = name_values(problem, vector)
    s = 2j * np.pi * problem.frequency_hz
    log_rows: dict[str, ComplexArray] = {}
    solution = _solve_pickup(problem, p, s, log_rows)
    log_gain, gain_rows = _gain(problem, p)
    log_rows.update(gain_rows)
    delay_s = s / problem.rate_of_point_hz
    log_rows["delay"] = -delay_s
    ratio = s * solution.voltage * np.exp(log_gain - p["delay"] * delay_s) / problem.data
    if "log_exciter_corner" in p:
        turn = s / (2 * np.pi * np.exp(p["log_exciter_corner"]))
        ratio = ratio / (1 + turn)
        log_rows["log_exciter_corner"] = turn / (1 + turn)
    jacobian = np.empty((len(p), len(s)), dtype=complex)
    for row, parameter in enumerate(problem.parameters):
        np.multiply(log_rows[parameter.name], ratio, out=jacobian[row])
    return Prediction(residual=ratio - 1.0, jacobian=jacobian)


def name_values(problem: Problem, vector: FloatArray) -> dict[str, float]:
    """Pair each entry of the parameter vector with its name.

    Parameters
    ----------
    problem : Problem
        With p parameters.
    vector : ndarray, shape (p,)
        Parameters.

    Returns
    -------
    dict
        Name to value.
    """
    return dict(zip((parameter.name for parameter in problem.parameters), vector.tolist(), strict=True))


def _gain(problem: Problem, p: dict[str, float]) -> tuple[FloatArray, dict[str, ComplexArray]]:
    """Logarithm of the gain at each point: that of the placement's first take, and each further take's own step."""
    per_take = np.zeros(len(problem.evidence.takes))
    masks: dict[str, np.ndarray] = {}
    placement = ""
    for index in range(len(per_take)):
        step = f"gain_step_{index}"
        if step in p:
            per_take[index] = p[placement] + p[step]
            masks[step] = problem.take_of_point == index
            masks[placement] = masks[placement] | masks[step]
        else:
            placement = f"log_gain_{index}"
            per_take[index] = p[placement]
            masks[placement] = problem.take_of_point == index
    return per_take[problem.take_of_point], {name: mask.astype(complex) for name, mask in masks.items()}


def coil_values(model: PickupModel, p: dict[str, float]) -> tuple[CoilValues, ...]:
    """Element values of each coil.

    Parameters
    ----------
    model : PickupModel
        The circuit.
    p : dict
        Parameter names to values.

    Returns
    -------
    tuple of CoilValues
        One or two.
    """
    coils = []
    for coil, profiles in enumerate(model.eddies):
        factors = [p[f"log_second_{name}"] if coil else 0.0 for name in ("inductance", "resistance", "winding_capacitance")]
        if len(model.eddies) == 2:
            # dcr is measured over both coils: the shares add up to it
            factors[1] -= float(np.log1p(np.exp(p["log_second_resistance"])))
        left, eddies = 1.0, []
        for index, profile in enumerate(profiles):
            key = f"{coil}_{index}"
            share = left / (1 + np.exp(-p[f"share_{key}"]))
            left -= share
            width = float(np.exp(p[f"log_width_{key}"])) if profile == "spread" else 0.0
            eddies.append((share, float(np.exp(p[f"log_tau_{key}"])), width, p[f"field_{key}"], profile))
        coils.append(
            CoilValues(
                inductance_h=float(np.exp(p["log_inductance"] + factors[0])),
                resistance_ohm=float(np.exp(p["log_resistance"] + factors[1])),
                winding_capacitance_f=float(np.exp(p["log_winding_capacitance"] + factors[2])),
                excitation=float(np.exp(p["log_second_excitation"])) if coil else 1.0,
                eddies=tuple(eddies),
            )
        )
    return tuple(coils)


def coupling_of(p: dict[str, float]) -> float:
    """Coupling between the two coils; 0 where there is one.

    Parameters
    ----------
    p : dict
        Parameter names to values.

    Returns
    -------
    float
        k, between 0 and 1.
    """
    return float(1 / (1 + np.exp(-p["log_coupling"]))) if "log_coupling" in p else 0.0


def _solve_pickup(problem: Problem, p: dict[str, float], s: ComplexArray, rows: dict[str, ComplexArray]) -> Solution:
    """Voltage at the jack per unit of exciting field; fills `rows` with its logarithmic derivatives."""
    coils = coil_values(problem.model, p)
    elements = coil_elements(coils, s, coupling_of(p))
    loads = _load_terms(problem, p, s)
    admittance = np.empty((len(coils) + 1, len(s)), dtype=complex)
    for index, coil in enumerate(coils):
        admittance[index] = s * coil.winding_capacitance_f
    admittance[-1] = sum(loads.values())
    solution = solve_network(problem.network, admittance=admittance, impedance=elements.impedance, emf=elements.emf)
    by_load = solution.by_admittance[-1] / solution.voltage
    rows.update({name: by_load * term * (1.0 if is_capacitor else -1.0) for (name, is_capacitor), term in loads.items()})
    coil_rows(p, coils, elements=elements, solution=solution, s=s, rows=rows)
    return solution


def _load_terms(problem: Problem, p: dict[str, float], s: ComplexArray) -> dict[tuple[str, bool], ComplexArray]:
    """Admittance of each part across the jack, by its parameter and whether it is a capacitor."""
    terms: dict[tuple[str, bool], ComplexArray] = {
        ("log_input_resistance", False): np.full(len(s), np.exp(-p["log_input_resistance"]), dtype=complex),
        ("log_input_capacitance", True): s * np.exp(p["log_input_capacitance"]),
    }
    for name, (is_capacitor, mask) in problem.part_masks.items():
        terms[name, is_capacitor] = mask * (s * np.exp(p[name]) if is_capacitor else np.exp(-p[name]))
    return terms


def coil_rows(
    p: dict[str, float],
    coils: Sequence[CoilValues],
    *,
    elements: CoilElements,
    solution: Solution,
    s: ComplexArray,
    rows: dict[str, ComplexArray],
) -> None:
    """Fill `rows` with the logarithmic derivatives of the voltage by what belongs to the coils.

    Parameters
    ----------
    p : dict
        Parameter names to values.
    coils : sequence of CoilValues
        Element values at `p`.
    elements : CoilElements
        Impedances and EMFs at `p`.
    solution : Solution
        Of the network with these.
    s : ndarray of complex, shape (m,)
        2πj times the frequency. [rad/s]
    rows : dict
        Parameter name to derivative of ln V, shape (m,); filled in place.
    """
    transfer, current = solution.coil_transfer / solution.voltage, solution.coil_current
    by_inductance, by_resistance, by_capacitance = [], [], []
    for index, coil in enumerate(coils):
        product = transfer[index] * current[index]
        by_resistance.append(-product * coil.resistance_ohm)
        by_inductance.append(-product * (elements.impedance[index, index] - coil.resistance_ohm))
        by_capacitance.append(solution.by_admittance[index] / solution.voltage * (s * coil.winding_capacitance_f))
        _eddy_rows(f"{index}", p, coil, elements.profiles[index], product * (s * coil.inductance_h), transfer[index], rows)
    if len(coils) == 2:
        by_mutual = -(transfer[0] * current[1] + transfer[1] * current[0]) * (s * elements.mutual_h)
        by_inductance = [row + by_mutual / 2 for row in by_inductance]
        first_share = coils[0].resistance_ohm / (coils[0].resistance_ohm + coils[1].resistance_ohm)
        rows["log_second_inductance"] = by_inductance[1]
        rows["log_second_resistance"] = first_share * by_resistance[1] - (1 - first_share) * by_resistance[0]
        rows["log_second_winding_capacitance"] = by_capacitance[1]
        rows["log_second_excitation"] = transfer[1] * elements.emf[1]
        rows["log_coupling"] = by_mutual * (1 - coupling_of(p))
    rows["log_inductance"] = sum(by_inductance)
    rows["log_resistance"] = sum(by_resistance)
    rows["log_winding_capacitance"] = sum(by_capacitance)


def _eddy_rows(
    coil_key: str,
    p: dict[str, float],
    coil: CoilValues,
    profiles: Sequence[ProfileValues],
    by_share: ComplexArray,
    transfer: ComplexArray,
    rows: dict[str, ComplexArray],
) -> None:
    """Fill `rows` for the eddy losses of one coil; `by_share` is the derivative by share over the profile."""
    for index, (share, _, _, strength, profile) in enumerate(coil.eddies):
        key, values = f"{coil_key}_{index}", profiles[index]
        field = -coil.excitation * transfer
        sigmoid = 1 / (1 + np.exp(-p[f"share_{key}"]))
        later = sum((coil.eddies[k][0] * profiles[k].value for k in range(index + 1, len(profiles))), np.zeros_like(transfer))
        # what this share takes, the later ones lose in proportion
        rows[f"share_{key}"] = by_share * (share * (1 - sigmoid) * values.value - sigmoid * later)
        rows[f"field_{key}"] = field * values.value
        rows[f"log_tau_{key}"] = by_share * share * values.by_log_tau + field * strength * values.by_log_tau
        if profile == "spread":
            rows[f"log_width_{key}"] = (by_share * share + field * strength) * values.by_log_width
