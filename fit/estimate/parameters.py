"""The parameter vector of a joint fit: names, first values, and priors.

Names: ``log_inductance``, ``share_0_1`` … of a pickup, with ``@bridge`` behind them where there are several; ``log_pot.volume``,
``log_capacitor.tone`` … of the parts; ``logit_pot.volume@6`` of a pot's electrical fraction at a rotation; ``leak_3@neck`` of
the exciter's field at a pickup beside it; ``change_`` before a name for what a job did to it.

Everything positive is fitted as its logarithm; the shares of the eddy losses by a transform that keeps them passive.
Every reference (added part, dcr, input) is a parameter with a Gaussian prior at its stated uncertainty.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.circuit.coil import Profile
from fit.circuit.controls import Settings
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.shifts import is_calibrated, shift_names
from measure.quantity import Quantity

DELAY_STD_SAMPLES = 0.05  # [sample] between two inputs of one card
DELAY_STD_CALIBRATED = 0.002  # [sample] of the same, once a loopback has told it: common practice, no source
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
    "log_pot": (float(np.log(350e3)), 1.0),
    "log_capacitor": (float(np.log(22e-9)), 1.0),
    "log_resistor": (float(np.log(100e3)), 1.5),
    # what is left of a track, in units of `STOP_UNIT_OHM`; at 10 the electrical travel may end before the mechanical one
    "stop@0": (0.3, 1.0),
    "stop@10": (0.3, 50.0),
    "reach": (0.01, 0.01),  # [1] of the track
    # loss tangents: C0G and film 0.05 to 0.5 %, other ceramics and paper 1 to 3 %, cables 0.1 to 3 %
    "loss_unknown": (0.005, 0.01),
    "loss_film": (0.003, 0.003),
    "loss_ceramic": (0.015, 0.015),
    "loss_paper": (0.015, 0.015),
    "loss_added": (0.001, 0.002),
    "loss_input_capacitance": (0.005, 0.01),
}
STATED_LOSS_STD = 0.5  # [1] of a loss tangent that is stated, relative
STOP_UNIT_OHM = 100.0  # [Ω]
CHANGE = "change_"
SHUNT_UNIT_F = 100e-12  # [F] of a capacitance that a job added across a pickup
ACROSS_UNIT_S = 1e-6  # [S] of a leak across a capacitor
WARMER = "warmer_after"  # [ln Ω] every winding after a job, by its temperature
CHANNEL_RATIO_STD = 0.01  # [ln 1] of two inputs that no loopback has compared; common practice, no source
CALIBRATED_RATIO_STD = 0.0005  # [ln 1] of the same from take to take, once one has: common practice, no source


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
    is_bounded : bool
        The prior stands for a rectangular distribution.
    """

    name: str
    start: float
    prior_mean: float = 0.0
    prior_std: float = np.inf
    source: str = ""
    is_bounded: bool = False


# Priors tight enough for what is usual, that are let go where the takes ask for it (fit.estimate.release).
HIGHPASS_STD_HZ = 0.003  # [Hz] between the first-order high-passes of two inputs of one card, taken for equal until they are not
HIGHPASS_HZ = 5.0  # [Hz] of the reference channel's own, ± as much: felt only where the two differ
ACROSS_STD = 0.002  # [1] of `ACROSS_UNIT_S`: a sound capacitor insulates with 500 MΩ and more; common practice, no source

RELEASED_STD = {
    "log_": 0.7,  # [ln 1] of a reference: anything from half to twice
    "delay": 2.0,  # [sample]
    "highpass": 10.0,  # [Hz]
    "across_": 30.0,  # in units of ACROSS_UNIT_S: down to 30 kΩ
    "loss_": 0.1,  # [1]
}


def released_std(parameter: Parameter) -> float | None:
    """Say how wide a prior becomes when it is let go.

    Returns
    -------
    float or None
        None for what is not stated, or belongs to a single take.
    """
    if (
        not parameter.source
        or parameter.name.startswith(("log_gain_", "log_exciter_corner"))
        or parameter.name == "highpass_both"
    ):
        return None
    return next((std for begins, std in RELEASED_STD.items() if parameter.name.startswith(begins)), None)


def widen_priors(parameters: Sequence[Parameter], names: Sequence[str]) -> list[Parameter]:
    """Let priors go.

    Parameters
    ----------
    names : sequence of str
        Those that are let go.
    """
    out = []
    for parameter in parameters:
        std = released_std(parameter) if parameter.name in names else None
        out.append(parameter if std is None else replace(parameter, prior_std=std))
    return out


def log_reference(name: str, quantity: Quantity, source: str) -> Parameter:
    """Parameter of a reference: the logarithm of its value, with a prior.

    Returns
    -------
    Parameter
        Starts at the stated value.

    Raises
    ------
    ValueError
        If the quantity has no bound.
    """
    if quantity.standard_uncertainty is None:
        msg = f"{source} is given as {quantity.text} without a bound; write for example {quantity.text} ± 1%"
        raise ValueError(msg)
    relative = max(quantity.standard_uncertainty / quantity.value, LEAST_RELATIVE_STD)
    mean = float(np.log(quantity.value))
    is_bounded = quantity.bound is not None
    return Parameter(name=name, start=mean, prior_mean=mean, prior_std=relative, source=source, is_bounded=is_bounded)


def weak(name: str, kind: str, start: float | None = None) -> Parameter:
    """Parameter that is only fitted, with limits wide enough not to matter where the takes tell anything.

    Parameters
    ----------
    kind : str
        Key of `WEAK`.
    start : float or None
        Where a search begins; None for the middle.
    """
    mean, std = WEAK[kind]
    return Parameter(name=name, start=mean if start is None else start, prior_mean=mean, prior_std=std)


def _loss(capacitor: str, quantity: Quantity, kind: str, source: str) -> Parameter:
    """Parameter of a capacitor's loss tangent, as stated or as is usual."""
    if quantity.loss_tangent is None:
        return replace(weak(loss_name(capacitor), f"loss_{kind}"), source=source)
    mean, std = quantity.loss_tangent, STATED_LOSS_STD * quantity.loss_tangent
    return Parameter(name=loss_name(capacitor), start=mean, prior_mean=mean, prior_std=std, source=source)


def coil_parameters(model: PickupModel, known: Mapping[str, tuple[Quantity, str]], *, suffix: str = "") -> list[Parameter]:
    """Parameters of the pickup itself.

    Parameters
    ----------
    known : mapping
        ``"log_inductance"``, ``"log_winding_capacitance"``, ``"log_resistance"`` to a reference and what it is called.
    suffix : str
        Behind every name, to tell pickups apart.

    Returns
    -------
    list of Parameter
        Coil, eddy losses, second coil.
    """
    parameters = [
        log_reference(name, *known[name]) if name in known else weak(name, name)
        for name in ("log_inductance", "log_winding_capacitance", "log_resistance")
    ]
    for coil, profiles in enumerate(model.eddies):
        for index, profile in enumerate(profiles):
            key = f"{coil}_{index}"
            parameters += [weak(f"share_{key}", "share"), weak(f"log_tau_{key}", "log_tau"), weak(f"field_{key}", "field")]
            if profile == "spread":
                parameters.append(weak(f"log_width_{key}", "log_width"))
    if len(model.eddies) == 2:
        parameters += [weak(name, "log_second", 0.05) for name in ("log_second_inductance", "log_second_resistance")]
        parameters.append(weak("log_second_winding_capacitance", "log_second_capacitance", 0.05))
        parameters += [weak("log_second_excitation", "log_excitation"), weak("log_coupling", "log_coupling")]
    return [replace(parameter, name=parameter.name + suffix) for parameter in parameters]


def chain_parameters(evidence: Evidence) -> list[Parameter]:
    """Parameters of what the pickup is measured with.

    Returns
    -------
    list of Parameter
        Delay, high-passes, sample clock, gain of each placement, gain step of each further take, input, exciter, errors of
        calibrations.
    """
    parameters = [Parameter(name="delay", start=0.0, prior_std=_delay_std(evidence), source="delay between the inputs")]
    if evidence.reference_kind != "none" and not all(is_calibrated(take) for take in evidence.takes):
        parameters += [
            Parameter(name="highpass", start=0.0, prior_std=HIGHPASS_STD_HZ, source="high-passes of the inputs"),
            Parameter(name="highpass_both", start=HIGHPASS_HZ, prior_mean=HIGHPASS_HZ, prior_std=HIGHPASS_HZ),
        ]
    clock = f"sample clock ± {1e6 * evidence.clock_bound:g} ppm"
    parameters.append(Parameter(name="clock", start=0.0, prior_std=evidence.clock_bound / 3**0.5, source=clock, is_bounded=True))
    first = 0
    for index, take in enumerate(evidence.takes):
        if take.method == "impedance":
            source = f"scale of the impedance in {take.name}"
            ratio_std = CALIBRATED_RATIO_STD if is_calibrated(take) else CHANNEL_RATIO_STD
            parameters.append(Parameter(name=f"log_gain_{index}", start=0.0, prior_std=ratio_std, source=source))
        elif index == 0 or take.begins_placement:
            first = index
            parameters.append(Parameter(name=f"log_gain_{index}", start=0.0))
        else:
            source = f"gain of {take.name} against {evidence.takes[first].name}"
            parameters.append(Parameter(name=f"gain_step_{index}", start=0.0, prior_std=GAIN_STEP_STD, source=source))
    parameters.append(log_reference("log_input_resistance", evidence.input_resistance, "input resistance"))
    parameters.append(log_reference("log_input_capacitance", evidence.input_capacitance, "input capacitance"))
    parameters.append(_loss("log_input_capacitance", evidence.input_capacitance, "input_capacitance", "loss of cable and input"))
    if evidence.exciter_corner is not None and evidence.reference_kind != "current":
        parameters.append(log_reference("log_exciter_corner", evidence.exciter_corner, "exciter corner"))
    seen: set[str] = set()
    for take in evidence.takes:
        name = series_name(evidence, take)
        if name and name not in seen and take.series_resistor is not None:
            seen.add(name)
            parameters.append(log_reference(name, take.series_resistor, f"series resistor {take.series_resistor.text}"))
    shifts = shift_names(evidence).items()
    return parameters + [Parameter(name=name, start=0.0, prior_std=1.0, source=row) for row, name in shifts]


def _delay_std(evidence: Evidence) -> float:
    """Say how well the delay between the inputs is known beforehand, 1 σ in samples."""
    if evidence.reference_kind == "none":
        return DELAY_STD_WITHOUT_REFERENCE
    return DELAY_STD_CALIBRATED if all(is_calibrated(take) for take in evidence.takes) else DELAY_STD_SAMPLES


def shunt_name(pickup: str, pickups: Collection[str]) -> str:
    """Name the parameter of a capacitance that a job added across a pickup.

    Returns
    -------
    str
        ``"shunt"`` or ``"shunt@bridge"``; in units of `SHUNT_UNIT_F`.
    """
    return f"shunt{suffix_of(pickup, pickups)}"


def series_name(evidence: Evidence, take: TakeEvidence) -> str:
    """Name the parameter of the resistor that a take of method impedance was driven through.

    Returns
    -------
    str
        The same for the same value and bound; empty for other methods.
    """
    if take.method != "impedance" or take.series_resistor is None:
        return ""
    texts = [other.series_resistor.text for other in evidence.takes if other.series_resistor is not None]
    return f"log_series_{texts.index(take.series_resistor.text)}"


def added_parts(evidence: Evidence) -> tuple[tuple[tuple[tuple[str, bool], ...], ...], list[Parameter]]:
    """Parameters of the parts across the jack, one for each physical part.

    Parameters
    ----------
    evidence : Evidence
        Takes with their parts; the same value and bound in several takes is the same part.

    Returns
    -------
    tuple
        For each take the parameter of each part and whether it is a capacitor, and the parameters.
    """
    parameters: list[Parameter] = []
    names: dict[tuple[object, ...], str] = {}
    per_take = []
    for take in evidence.takes:
        used: dict[tuple[object, ...], int] = {}
        own = []
        for part in take.added:
            plain = (part.value, part.standard_uncertainty, part.unit, part.loss_tangent)
            used[plain] = used.get(plain, 0) + 1
            key = (*plain, used[plain])
            if key not in names:
                names[key] = f"log_added_{len(names)}"
                parameters.append(log_reference(names[key], part, f"added {part.text} in {take.name}"))
                if part.unit == "F":
                    parameters.append(_loss(names[key], part, "added", f"loss of the added {part.text}"))
            own.append((names[key], part.unit == "F"))
        per_take.append(tuple(own))
    return tuple(per_take), parameters


def suffix_of(pickup: str, pickups: Collection[str]) -> str:
    """Tell the parameters of one pickup from those of the others.

    Returns
    -------
    str
        Empty where there is one alone.
    """
    return f"@{pickup}" if len(pickups) > 1 else ""


def part_name(key: str) -> str:
    """Name the parameter of a part.

    Parameters
    ----------
    key : str
        For example ``"pot.volume"``, ``"input.resistance"``, or already the name of an added part's.

    Returns
    -------
    str
        ``"log_pot.volume"``, ``"log_input_resistance"``.
    """
    if key.startswith("log_"):
        return key
    return "log_" + (key.replace(".", "_") if key.startswith("input.") else key)


def fraction_name(key: str, settings: Settings) -> str:
    """Name the parameter of a pot's electrical fraction.

    Parameters
    ----------
    key : str
        For example ``"pot.volume"``.

    Returns
    -------
    str
        ``"logit_pot.volume@6"``.
    """
    return f"logit_{key}@{settings.pots[key.removeprefix('pot.')].label}"


def stop_name(key: str, fraction: float, *, is_hidden: bool = False) -> str:
    """Name the parameter of what is left of a pot's track at an end of its travel.

    Parameters
    ----------
    key : str
        For example ``"pot.tone"``.
    fraction : float
        0 or 1. [1]
    is_hidden : bool
        No take has a part between wiper and that lug: the ohms left there only lessen what is seen of the track.

    Returns
    -------
    str
        ``"stop.tone@0"``, the ohms between wiper and lug in units of `STOP_UNIT_OHM`; ``"reach.tone@10"``, where hidden, their
        share of the track.
    """
    end = 0 if fraction < 0.5 else 10
    return f"{'reach' if is_hidden else 'stop'}.{key.removeprefix('pot.')}@{end}"


def loss_name(parameter: str) -> str:
    """Name the parameter of a capacitor's loss tangent.

    Parameters
    ----------
    parameter : str
        Of its capacitance, ``"log_capacitor.tone"``.

    Returns
    -------
    str
        ``"loss_capacitor.tone"``.
    """
    return "loss_" + parameter.removeprefix("log_")


def across_name(key: str) -> str:
    """Name the parameter of the leak across a capacitor.

    Parameters
    ----------
    key : str
        ``"capacitor.tone"``.

    Returns
    -------
    str
        ``"across_capacitor.tone"``, in units of `ACROSS_UNIT_S`.
    """
    return f"across_{key}"


def leak_name(placement: int, pickup: str) -> str:
    """Name the parameter of the exciter's field at a pickup that it does not stand over.

    Parameters
    ----------
    placement : int
        While the coil stood still.

    Returns
    -------
    str
        ``"leak_3@neck"``.
    """
    return f"leak_{placement}@{pickup}"
