"""From a fit to the values of an instrument's parts, with the covariance of all of them."""

from collections.abc import Collection

import numpy as np

from fit.answers.parts.fitted import MeasuredParts
from fit.circuit.coil import CoilValues
from fit.circuit.realparts import INPUT_F, is_beside, leak_key, loss_key, owner_of
from fit.estimate.coils import coil_values, coupling_of
from fit.estimate.ladder import Choice
from fit.estimate.model import Problem, name_values, suffixes_of
from fit.estimate.parameters import ACROSS_UNIT_S, STOP_UNIT_OHM

INPUT_LOSS = "loss_input_capacitance"
PART_KINDS = ("pot.", "capacitor.", "resistor.", "input.")
# a value, and parameters to the derivative of its logarithm; of itself where `is_signed` says so
Slopes = tuple[float, dict[str, float]]


def measured_parts(
    choice: Choice, *, leave_out: Collection[str] = (), outcome: str = "good", instrument_sha256: str = ""
) -> MeasuredParts | None:
    """Take the parts' values out of a fit.

    Parameters
    ----------
    leave_out : collection of str
        Quantities that the takes do not tell, by the names that `derive_quantities` gives them. A part among them is
        left out, with its stops and losses; a pickup whose inductance is among them is left out whole, and so is nothing else:
        values that no take tells apart keep each other in check by their covariance.
    outcome : str
        ``"good"`` or ``"misfit"``.

    Returns
    -------
    MeasuredParts or None
        Of every pickup and part that some take feels, before a job where there are takes from after it; a pickup straight at
        the jack, without an instrument.toml, is called ``"pickup"``. None where nothing is left, or the fit ran away to where no
        part can be.
    """
    problem = choice.problem
    p = name_values(problem, choice.fit.vector)
    found: dict[str, Slopes] = {}
    for pickup, suffix in suffixes_of(problem).items():
        own = {name.removesuffix(suffix): value for name, value in p.items() if name.endswith(suffix)}
        if "log_inductance" not in own or (f"{pickup}.inductance" if suffix else "inductance") in leave_out:
            continue
        coils = coil_values(problem.models[pickup], own)
        for name, (value, rows) in _of_pickup(pickup or "pickup", coils, own).items():
            found[name] = (value, {f"{key}{suffix}": row for key, row in rows.items()})
    found |= {
        name: one
        for name, one in (_of_parts(p) | _beside_parts(problem, p)).items()
        if owner_of(name) not in leave_out and (is_beside(name) or name not in leave_out)
    }
    index = {parameter.name: place for place, parameter in enumerate(problem.parameters)}
    gradient = np.zeros((len(found), len(index)))
    for row, (_, slopes) in enumerate(found.values()):
        for key, slope in slopes.items():
            gradient[row, index[key]] = slope
    covariance = gradient @ choice.covariance @ gradient.T
    evidence = problem.evidence
    if not found:
        return None
    try:
        return MeasuredParts(
            values={name: value for name, (value, _) in found.items()},
            names=tuple(found),
            log_covariance=(covariance + covariance.T) / 2,
            takes=tuple(take.name for take in evidence.takes),
            simulated=any(take.response.origin.simulated for take in evidence.takes),
            outcome=outcome,
            instrument_sha256=instrument_sha256,
            input_stated={
                "input.resistance": evidence.input_resistance.value,
                "input.capacitance": evidence.input_capacitance.value,
            },
        )
    except ValueError:
        return None


# The couplings g of the exciter's field and the second coil's excitation are of the exciter, not of strings: they stay out.
def _of_pickup(pickup: str, coils: tuple[CoilValues, ...], p: dict[str, float]) -> dict[str, Slopes]:
    out: dict[str, Slopes] = {}
    for number, coil in enumerate(coils):
        name = f"{pickup}.second" if number else pickup
        second = {"resistance": -_sigmoid(p["log_second_resistance"]) + number} if len(coils) == 2 else {}
        if number:
            second |= {"inductance": 1.0, "winding_capacitance": 1.0}
        elements = (
            ("inductance", "inductance", coil.inductance_h),
            ("dcr", "resistance", coil.resistance_ohm),
            ("winding_capacitance", "winding_capacitance", coil.winding_capacitance_f),
        )
        for key, parameter, value in elements:
            more = {f"log_second_{parameter}": second[parameter]} if parameter in second else {}
            out[f"{name}.{key}"] = (float(value), {f"log_{parameter}": 1.0} | more)
        out |= _of_losses(name, number, coil, p)
    if len(coils) == 2:
        k = coupling_of(p)
        out[f"{pickup}.coupling"] = (k, {"log_coupling": k * (1 - k)})
    return out


def _of_losses(name: str, number: int, coil: CoilValues, p: dict[str, float]) -> dict[str, Slopes]:
    out: dict[str, Slopes] = {}
    counts = {"loop": 0, "spread": 0}
    for index, (share, tau_s, width, _, profile) in enumerate(coil.eddies):
        counts[profile] += 1
        key = f"{name}.eddy_{profile}_{counts[profile]}"
        rows = {f"share_{number}_{earlier}": -_sigmoid(p[f"share_{number}_{earlier}"]) / 2 for earlier in range(index)}
        rows[f"share_{number}_{index}"] = _sigmoid(-p[f"share_{number}_{index}"]) / 2
        out[f"{key}.coupling"] = (float(np.sqrt(share)), rows)
        out[f"{key}.corner"] = (float(1 / (2 * np.pi * tau_s)), {f"log_tau_{number}_{index}": -1.0})
        if profile == "spread":
            out[f"{key}.half_width"] = (width, {f"log_width_{number}_{index}": 1.0})
    return out


def _of_parts(p: dict[str, float]) -> dict[str, Slopes]:
    out: dict[str, Slopes] = {}
    for parameter, number in p.items():
        kind, _, name = parameter.partition("_")
        name = name.replace("input_", "input.", 1) if name.startswith("input_") else name
        if kind == "log" and name.startswith(PART_KINDS):
            out[name] = (float(np.exp(number)), {parameter: 1.0})
        elif kind == "logit":
            out[name] = (_sigmoid(number), {parameter: _sigmoid(-number)})
    return out


def _beside_parts(problem: Problem, p: dict[str, float]) -> dict[str, Slopes]:
    """Ohms left at stops, whether a branch holds them or they only lessen what is seen of the track; loss tangents, leaks."""
    out: dict[str, Slopes] = {}
    for parameter, number in p.items():
        kind, _, name = parameter.partition("." if parameter.startswith(("stop.", "reach.")) else "_")
        if kind in ("stop", "reach"):
            pot, _, end = name.partition("@")
            track = f"log_pot.{pot}"
            unit = STOP_UNIT_OHM if kind == "stop" else float(np.exp(p[track]))
            slopes = {parameter: unit} | ({} if kind == "stop" else {track: unit * number})
            out[f"pot.{pot}.stop_{end}"] = (unit * number, slopes)
        elif kind == "loss" and name.startswith("capacitor."):
            out[loss_key(name)] = (number, {parameter: 1.0})
        elif parameter == INPUT_LOSS:
            out[loss_key(INPUT_F)] = (number, {parameter: 1.0})
        elif kind == "across" and parameter in problem.released and number > 0:
            out[leak_key(name)] = (1 / (ACROSS_UNIT_S * number), {parameter: -1 / number})
    return out


def _sigmoid(x: float) -> float:
    return float(1 / (1 + np.exp(-x)))
