"""What does the pickup see? Resistance and capacitance of input and cable, from takes through known resistors.

The output drives the input through a series resistor R, and both of its ends are recorded. At the input's end stands
T = 1 / (1 + Zs·Y) of the driven end's voltage, Y = 1/Rin + s·(Cin + C known), Zs = R in parallel with its own small capacitance.
Two resistors, or one and a loopback, tell Rin; a known capacitor across the input sets the scale once more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.answers.digits import rough_percent
from fit.answers.figures import Contribution, Estimate
from fit.answers.parts.quantities import Derived
from fit.answers.pickup.characterisation import estimate_of
from fit.answers.pickup.doubts import pulled_references
from fit.estimate.budget import split_uncertainty
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.fixed_model import settle_model
from fit.estimate.ladder import MISFIT, Choice
from fit.estimate.model import Problem, points_per_third, predict_residual, usable_points
from fit.estimate.parameters import (
    CALIBRATED_RATIO_STD,
    Parameter,
    PickupModel,
    added_parts,
    chain_parameters,
    series_name,
)
from fit.estimate.shifts import is_calibrated, shift_rows
from measure.quantity import Quantity, format_quantity
from measure.response import ComplexArray, Finding, FloatArray, relative_std

USUAL_RESISTANCE = (1e6, 2.3)  # [Ω], [ln 1] of inputs, line inputs too: common practice, no source
USUAL_CAPACITANCE = (150e-12, 1.5)  # [F], [ln 1] with a cable: common practice, no source
STRAY_F = 1e-12  # [F] unit of a series resistor's own capacitance
STRAY_MEAN, STRAY_STD = 0.3, 0.3  # [pF] of a film resistor with its clips: common practice, no source
STARTS_OHM = (1e4, 1e5, 1e6, 1e7)
LOWEST = 8  # points of a take that tell the gain at the start
TELLING = 0.2  # [1] relative standard uncertainty from which on nothing was told
LEAST_OHM = 300e3  # [Ω] below, a pickup is damped more than by any instrument input: common practice, no source


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InputAnswer:
    """What the pickup's input is, cable included.

    Attributes
    ----------
    resistance, capacitance : Estimate
        In parallel. [Ω], [F]
    gain : Estimate or None
        Pickup's input over reference input; None where a loopback told it. [1]
    budget : dict
        ``"resistance"`` and ``"capacitance"`` to their sources.
    floor : float
        Smooth difference of model and takes. [1]
    findings : tuple of Finding
        A "reject" among them: the values may not be used.
    simulated : bool
        It rests on the virtual bench.
    """

    resistance: Estimate
    capacitance: Estimate
    gain: Estimate | None
    budget: dict[str, tuple[Contribution, ...]]
    floor: float
    findings: tuple[Finding, ...]
    simulated: bool


def characterise_input(takes: Sequence[TakeEvidence]) -> InputAnswer:
    """Fit all takes together.

    Parameters
    ----------
    takes : sequence of TakeEvidence
        At least one, each through a series resistor, its response that of the input's end over the driven end. The same value
        and bound in several takes is the same part.

    Returns
    -------
    InputAnswer
        Values with their intervals; a poor fit never raises.

    Raises
    ------
    ValueError
        If there is no take, a resistor or part has no bound, or a take has too few usable frequencies.
    """
    if not takes:
        msg = "no take: drive the input through at least one known resistor"
        raise ValueError(msg)
    problem = _lay_out(takes)
    choice = settle_model(problem, [_start(problem, resistance_ohm) for resistance_ohm in STARTS_OHM])
    derived = {key: _derive(choice, name, unit) for key, (name, unit) in _asked(problem).items()}
    estimates = {key: estimate_of(one, choice) for key, one in derived.items()}
    return InputAnswer(
        resistance=estimates["resistance"],
        capacitance=estimates["capacitance"],
        gain=estimates.get("gain"),
        budget={key: _budget(derived[key], choice) for key in ("resistance", "capacitance")},
        floor=choice.floor.total,
        findings=(*_doubts(choice, estimates), *pulled_references(choice)),
        simulated=any(take.response.origin.simulated for take in takes),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Divider:
    """All takes at m points; for each part the points where it counts."""

    s: ComplexArray
    series: dict[str, FloatArray]
    added: dict[str, tuple[bool, FloatArray]]

    def evaluate(self, p: dict[str, float]) -> tuple[ComplexArray, dict[str, ComplexArray]]:
        s, ones = self.s, np.ones(len(self.s), dtype=complex)
        conductance = {"log_input_resistance": ones * np.exp(-p["log_input_resistance"])}
        susceptance = {"log_input_capacitance": s * np.exp(p["log_input_capacitance"])}
        for name, (is_capacitor, mask) in self.added.items():
            if is_capacitor:
                susceptance[name] = mask * s * np.exp(p[name])
            else:
                conductance[name] = mask * ones * np.exp(-p[name])
        admittance: ComplexArray = sum((conductance | susceptance).values(), 0 * s)
        by_log = {name: -term for name, term in conductance.items()} | susceptance
        source: ComplexArray = 0 * s
        by_source: dict[str, ComplexArray] = {}
        for name, mask in self.series.items():
            resistance_ohm, stray_f = np.exp(p[name]), STRAY_F * p[f"stray_{name}"]
            own = mask / (1 / resistance_ohm + s * stray_f)
            source = source + own
            by_source[name] = own**2 / resistance_ohm
            by_source[f"stray_{name}"] = -s * STRAY_F * own**2
        ratio: ComplexArray = 1 / (1 + source * admittance)
        rows: dict[str, ComplexArray] = {name: -source * ratio * term for name, term in by_log.items()}
        rows |= {name: -admittance * ratio * row for name, row in by_source.items()}
        if "log_channel_gain" in p:
            rows["log_channel_gain"] = ones
            ratio = ratio * np.exp(p["log_channel_gain"])
        return ratio, rows


def _lay_out(takes: Sequence[TakeEvidence]) -> Problem:
    rows = tuple(takes)
    evidence = Evidence(
        takes=rows,
        input_resistance=_wide(*USUAL_RESISTANCE, "Ω"),
        input_capacitance=_wide(*USUAL_CAPACITANCE, "F"),
    )
    kept = [usable_points(take) for take in rows]
    for take, mask in zip(rows, kept, strict=True):
        if np.count_nonzero(mask) < 2 * LOWEST:
            msg = (
                f"{take.name} has {np.count_nonzero(mask)} usable frequencies, at least {2 * LOWEST} are needed: raise the level"
            )
            raise ValueError(msg)
    take_of_point = np.repeat(np.arange(len(rows)), [int(mask.sum()) for mask in kept])
    frequencies = [take.response.frequency_hz[mask] for take, mask in zip(rows, kept, strict=True)]
    added, added_list = added_parts(evidence)
    series: dict[str, FloatArray] = {}
    parts: dict[str, tuple[bool, FloatArray]] = {}
    for index, (take, own) in enumerate(zip(rows, added, strict=True)):
        here = (take_of_point == index).astype(float)
        name = series_name(evidence, take)
        series[name] = series.get(name, 0.0) + here
        for part, is_capacitor in own:
            parts[part] = (is_capacitor, parts[part][1] + here if part in parts else here)
    return Problem(
        model=PickupModel(),
        evidence=evidence,
        parameters=(*_parameters(evidence, series), *added_list),
        frequency_hz=np.concatenate(frequencies),
        noise=np.concatenate([relative_std(take.response)[mask] for take, mask in zip(rows, kept, strict=True)]),
        data=np.concatenate([_upright(take, mask) for take, mask in zip(rows, kept, strict=True)]),
        take_of_point=take_of_point,
        rate_of_point_hz=np.array([take.response.origin.rate_hz or 48000.0 for take in rows])[take_of_point],
        points_per_third=points_per_third(frequencies),
        models={},
        circuit=_Divider(s=2j * np.pi * np.concatenate(frequencies), series=series, added=parts),
        shifts=shift_rows(evidence, kept),
    )


def _wide(value: float, log_std: float, unit: str) -> Quantity:
    return Quantity(value=value, standard_uncertainty=value * log_std, bound=None, unit=unit, text="what is usual")


def _parameters(evidence: Evidence, series: dict[str, FloatArray]) -> list[Parameter]:
    """Those of the chain; one ratio of the inputs for all takes, and each resistor's own capacitance."""
    out = []
    for parameter in chain_parameters(evidence):
        if parameter.name.startswith("log_gain_"):
            out.append(replace(parameter, prior_std=CALIBRATED_RATIO_STD, source="ratio of the inputs from take to take"))
        elif parameter.name.startswith("log_input_"):
            out.append(replace(parameter, source=""))
        else:
            out.append(parameter)
    for name in series:
        source = "capacitance of the series resistor itself"
        stray = Parameter(name=f"stray_{name}", start=STRAY_MEAN, prior_mean=STRAY_MEAN, prior_std=STRAY_STD, source=source)
        out.append(stray)
    if not all(is_calibrated(take) for take in evidence.takes):
        out.append(Parameter(name="log_channel_gain", start=0.0))
    return out


def _upright(take: TakeEvidence, mask: np.ndarray) -> ComplexArray:
    """Undo a polarity that is reversed in one input: at low frequencies a divider's ratio is positive."""
    value = take.response.value[mask]
    return value if np.median(value[:LOWEST].real) > 0 else -value


def _start(problem: Problem, resistance_ohm: float) -> FloatArray:
    names = [parameter.name for parameter in problem.parameters]
    vector = np.array([parameter.start for parameter in problem.parameters])
    vector[names.index("log_input_resistance")] = np.log(resistance_ohm)
    if "log_channel_gain" in names:
        low = np.concatenate([np.flatnonzero(problem.take_of_point == i)[:LOWEST] for i in range(len(problem.evidence.takes))])
        ratio = predict_residual(problem, vector).residual[low].real
        vector[names.index("log_channel_gain")] = -np.median(ratio)
    return vector


def _asked(problem: Problem) -> dict[str, tuple[str, str]]:
    asked = {"resistance": ("log_input_resistance", "Ω"), "capacitance": ("log_input_capacitance", "F")}
    if any(parameter.name == "log_channel_gain" for parameter in problem.parameters):
        asked["gain"] = ("log_channel_gain", "1")
    return asked


def _derive(choice: Choice, name: str, unit: str) -> Derived:
    index = [parameter.name for parameter in choice.problem.parameters].index(name)
    gradient = np.zeros(len(choice.fit.vector))
    gradient[index] = 1.0
    return Derived(value=float(np.exp(choice.fit.vector[index])), unit=unit, gradient=gradient)


def _budget(derived: Derived, choice: Choice) -> tuple[Contribution, ...]:
    shares = split_uncertainty(choice, derived.gradient)
    return tuple(Contribution(source=one.source, contribution=derived.value * one.contribution) for one in shares)


def _doubts(choice: Choice, estimates: dict[str, Estimate]) -> list[Finding]:
    findings = []
    if choice.floor.total >= MISFIT:
        text = (
            f"a resistor and a capacitor do not describe the input (they differ by {100 * choice.floor.total:.2g} %, values "
            f"are good below {100 * MISFIT:.1f} %): see that driven end and input end are recorded by the channels stated, "
            "nothing else is connected, and each resistor stands in the take that it is named for"
        )
        findings.append(Finding(code="input-misfit", severity="reject", text=text, figure=choice.floor.total))
    for key in ("resistance", "capacitance"):
        relative = estimates[key].standard_uncertainty / estimates[key].value
        if relative > TELLING:
            text = (
                f"the takes leave the input's {key} uncertain by {rough_percent(relative)}: record one more, "
                "through another resistor, or run coilsweep calibrate loopback first"
            )
            findings.append(Finding(code="input-not-told", severity="reject", text=text, figure=relative))
    low = doubt_input(estimates["resistance"].value)
    return findings if low is None else [*findings, low]


def doubt_input(resistance_ohm: float) -> Finding | None:
    """Doubt an input that no pickup is meant for.

    Parameters
    ----------
    resistance_ohm : float
        Of the input, as measured or stated. [Ω]

    Returns
    -------
    Finding or None
        ``"input-low"``; None where it is high enough.
    """
    if resistance_ohm >= LEAST_OHM:
        return None
    text = (
        f"the input has {format_quantity(resistance_ohm, 'Ω')} (usual for an instrument input: 1 MΩ, least "
        f"{LEAST_OHM / 1e3:.0f} kΩ): it damps a pickup's resonance; use an input made for instruments, and look whether its "
        "resistance is stated right"
    )
    return Finding(code="input-low", severity="warn", text=text, figure=resistance_ohm, unit="Ω")
