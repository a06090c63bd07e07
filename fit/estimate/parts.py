"""Parameters of an instrument: its pickups, its parts, where its pots stand, and what a job did to them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fit.circuit.copper import TEMPERATURE_COEFFICIENT_PER_K
from fit.circuit.instrument import Instrument, stated_values
from fit.estimate.coils import placed_name
from fit.estimate.evidence import BETWEEN_SIDES_STD_K, THERMOMETER_STD_K, Evidence, dcr_in_takes
from fit.estimate.parameters import (
    ACROSS_STD,
    CHANGE,
    STATED_LOSS_STD,
    WARMER,
    Parameter,
    PickupModel,
    coil_parameters,
    fraction_name,
    log_reference,
    suffix_of,
    weak,
)
from measure.quantity import Quantity

CHANGEABLE = ("log_inductance", "log_resistance", "log_pot.", "log_capacitor.", "log_resistor.")
SHUNT_STD = 10.0  # [1] of `SHUNT_UNIT_F`
FRACTION_STD = {"rotation": 0.6, "percent": 0.05}  # [logit] of a pot's electrical fraction: tapers differ between makes
LEAK_STD = 0.1  # [1] of the exciter's field at a pickup beside the one it stands over
PLACED_FIELD_STD = 0.15  # [1] of an eddy loss's share of the field from one placement to the next
MARKED_STD = 1.0  # [ln 1] a marking is where a search begins, no more


def pickup_parameters(evidence: Evidence, models: Mapping[str, PickupModel]) -> list[Parameter]:
    """Parameters of every pickup of an instrument.

    Parameters
    ----------
    models : mapping
        Pickup that some take feels to its circuit.
    """
    parameters = []
    pickups = models.keys() if evidence.instrument is None else evidence.instrument.pickup.keys()
    for name, model in models.items():
        known = {} if evidence.instrument is None else _stated_of_pickup(evidence.instrument, name)
        if evidence.dcr is not None and len(pickups) == 1:
            known["log_resistance"] = (evidence.dcr, "dcr")
        if "log_resistance" in known:
            read, source = known["log_resistance"]
            known["log_resistance"] = (dcr_in_takes(evidence, read), source)
        parameters += coil_parameters(model, known, suffix=suffix_of(name, pickups))
    return parameters


def _stated_of_pickup(instrument: Instrument, name: str) -> dict[str, tuple[Quantity, str]]:
    """Find what instrument.toml states of a pickup of one coil; of two coils, the resistance of both together."""
    stated = stated_values(instrument)
    known: dict[str, tuple[Quantity, str]] = {}
    of = f" of {name}" if len(instrument.pickup) > 1 else ""
    for kind, value in (("resistance", "dcr"), ("inductance", "inductance"), ("winding_capacitance", "winding_capacitance")):
        quantity = stated[f"{name}.{value}"].quantity
        second = stated.get(f"{name}.second.{value}")
        if second is not None:
            if kind != "resistance" or quantity is None or second.quantity is None:
                continue
            total = quantity.value + second.quantity.value
            std = float(np.hypot(quantity.standard_uncertainty or 0.0, second.quantity.standard_uncertainty or 0.0))
            quantity = replace(quantity, value=total, standard_uncertainty=std, bound=None)
        if quantity is not None:
            known[f"log_{kind}"] = (quantity, f"{value.replace('_', ' ')}{of} as stated")
    return known


def part_parameters(evidence: Evidence, names: Sequence[str]) -> list[Parameter]:
    """Parameters of pots, capacitors, resistors, electrical fractions and leakage.

    Parameters
    ----------
    names : sequence of str
        Those that some take feels; of cable, input and added parts `chain_parameters` and `added_parts` take care.
    """
    stated = {} if evidence.instrument is None else stated_values(evidence.instrument)
    parameters = []
    for name in names:
        key = name.removeprefix("log_")
        if name.startswith("shunt"):
            parameters.append(Parameter(name=name, start=0.0, prior_std=SHUNT_STD))
        elif name.startswith("across_"):
            source = f"insulation of {name.removeprefix('across_')}"
            parameters.append(Parameter(name=name, start=0.0, prior_std=ACROSS_STD, source=source))
        elif name.startswith(("stop.", "reach.")):
            parameters.append(_track_end(name))
        elif name.startswith("loss_capacitor."):
            parameters.append(_loss_of_part(evidence, name))
        elif name.startswith("leak_"):
            parameters.append(Parameter(name=name, start=0.0, prior_std=LEAK_STD))
        elif name.startswith("logit_"):
            parameters.append(_fraction(evidence, name))
        elif key in stated:
            quantity = stated[key].quantity
            if quantity is None:
                parameters.append(weak(name, "log_" + key.split(".", 1)[0]))
            elif stated[key].is_marked:
                mean = float(np.log(quantity.value))
                parameters.append(Parameter(name=name, start=mean, prior_mean=mean, prior_std=MARKED_STD))
            else:
                parameters.append(log_reference(name, quantity, f"{key} as stated"))
    return parameters


def _track_end(name: str) -> Parameter:
    kind, _, where = name.partition(".")
    pot, _, end = where.partition("@")
    source = f"travel of {pot} at {end}" if kind == "reach" else f"ohms left at {end} of {pot}"
    return replace(weak(name, kind if kind == "reach" else f"{kind}@{end}"), source=source)


def _loss_of_part(evidence: Evidence, name: str) -> Parameter:
    part = name.removeprefix("loss_capacitor.")
    stated = None if evidence.instrument is None else evidence.instrument.capacitor[part]
    source = f"loss of capacitor.{part}"
    if stated is not None and stated.loss_tangent is not None:
        mean, std = stated.loss_tangent, STATED_LOSS_STD * stated.loss_tangent
        return Parameter(name=name, start=mean, prior_mean=mean, prior_std=std, source=source)
    kind = "unknown" if stated is None or stated.kind is None else stated.kind
    return replace(weak(name, f"loss_{kind}"), source=source)


def field_parameters(parameters: Sequence[Parameter], placed: Mapping[str, Sequence[str]]) -> list[Parameter]:
    """Parameters of where the exciter stood: each later placement has shares g of its own.

    Parameters
    ----------
    placed : mapping
        What stands behind a pickup's names to its later placements.

    Returns
    -------
    list of Parameter
        A step for each loss and placement.
    """
    out = []
    for parameter in parameters:
        name, mark, pickup = parameter.name.partition("@")
        if name.startswith("field_"):
            for placement in placed.get(mark + pickup, ()):
                step = placed_name(name, placement) + mark + pickup
                source = "place of the exciter"
                out.append(Parameter(name=step, start=0.0, prior_std=PLACED_FIELD_STD, source=source))
    return out


def _fraction(evidence: Evidence, name: str) -> Parameter:
    for take in evidence.takes:
        for pot, setting in take.settings.pots.items():
            if fraction_name(f"pot.{pot}", take.settings) == name:
                mean = float(np.log(setting.fraction / (1 - setting.fraction)))
                is_percent = setting.label.endswith("%")
                std = FRACTION_STD["percent" if is_percent else "rotation"]
                source = f"{pot} set to {setting.label}" if is_percent else f"taper of {pot} at {setting.label}"
                return Parameter(name=name, start=mean, prior_mean=mean, prior_std=std, source=source)
    msg = f"no take has the setting of {name}"
    raise ValueError(msg)


def change_parameters(evidence: Evidence, parameters: Sequence[Parameter]) -> list[Parameter]:
    """Parameters of what a job changed, where there are takes from after it.

    Parameters
    ----------
    evidence : Evidence
        Takes from before and after.

    Returns
    -------
    list of Parameter
        A step in the logarithm of every part; how much warmer the windings are.
    """
    if not any(take.is_after for take in evidence.takes):
        return []
    is_known = all(take.temperature_c is not None for take in evidence.takes)
    kelvin = THERMOMETER_STD_K * 2**0.5 if is_known else BETWEEN_SIDES_STD_K
    warmer = Parameter(
        name=WARMER, start=0.0, prior_std=TEMPERATURE_COEFFICIENT_PER_K * kelvin, source="temperature of the winding after"
    )
    names = [parameter.name for parameter in parameters if parameter.name.startswith(CHANGEABLE)]
    return [warmer, *(Parameter(name=CHANGE + name, start=0.0, prior_std=MARKED_STD) for name in names)]
