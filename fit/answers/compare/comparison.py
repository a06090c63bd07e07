"""What did a job change? Takes from before and after it in one fit, so that what both sides share cancels.

Input, added parts, dcr and eddy losses are the same parameters on both sides; every pickup's inductance and resistance, every
pot, capacitor and resistor has a step of its own, and across every pickup lies a capacitance that the job may have added.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fit.answers.figures import COVERAGE, Curve, Estimate, FitOutcome, FloorAnswer
from fit.answers.parts.quantities import Derived, derive_quantities
from fit.answers.pickup.characterisation import curves_of, estimate_of, floor_answer_of
from fit.answers.pickup.doubts import doubt_answer
from fit.answers.pickup.identifiability import identify_quantities
from fit.circuit.controls import Settings
from fit.circuit.realparts import is_beside
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.ladder import Choice, choose_model, model_name
from fit.estimate.lay_out import models_of, wire_takes
from fit.estimate.model import Problem, name_values, suffixes_of, usable_points
from fit.estimate.parameters import CHANGE, SHUNT_UNIT_F, WARMER
from fit.estimate.threads import one_thread
from measure.response import ComplexArray, Finding, FloatArray

DB_PER_NEPER = 20 / np.log(10)
BAND_HZ = (80.0, 15000.0)  # [Hz] where responses are compared
FALSE_ALARMS = 0.05  # [1] over all verdicts of one comparison together
WIDEST = 0.1  # [1] relative standard uncertainty of a change beyond which not to have seen it says nothing
LOW_POINTS = 8  # frequencies at the low end of the band that set the gain of a measured change
NOT_TOLD = "the takes do not tell its change"
ADDED = "added_capacitance"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Change:
    """One quantity on both sides.

    Attributes
    ----------
    before, after : Estimate or None
        None where the takes do not tell it, though they may tell the change.
    change : Estimate
        After less before, with the uncertainty of the difference.
    verdict : {"changed", "not resolved"}
        Changed only where the change is beyond the interval for all verdicts together.
    """

    before: Estimate | None
    after: Estimate | None
    change: Estimate
    verdict: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ResponseChange:
    """How the response at the jack changed, for a pair of takes that differ in nothing else; n frequencies.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        [Hz]
    change_db, change_db_std : ndarray, shape (n,)
        Of the fitted responses for the same exciting field, the gain aside. [dB]
    measured_db : ndarray, shape (n,)
        Of the recorded responses, the gain at low frequencies taken out. [dB]
    largest : Estimate
        The largest change in the band. [dB]
    at_hz : float
        Where it is. [Hz]
    """

    before: str
    after: str
    frequency_hz: FloatArray
    change_db: FloatArray
    change_db_std: FloatArray
    measured_db: FloatArray
    largest: Estimate
    at_hz: float
    verdict: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Foil:
    """Where a foil was driven near the wiring: settings and frequencies at which the impedance at the jack is wanted.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        [Hz]
    """

    settings: Settings
    frequency_hz: FloatArray


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CompareAnswer:
    """Everything that `compare_takes` finds."""

    before: tuple[str, ...]
    after: tuple[str, ...]
    simulated: bool
    outcome: FitOutcome
    floor: FloorAnswer
    model_name: str
    quantities: dict[str, Change]
    not_identified: dict[str, str]
    responses: tuple[ResponseChange, ...]
    beyond: float  # standard uncertainties from which on a change counts
    curves: tuple[Curve, ...]
    findings: tuple[Finding, ...]
    jack_before: ComplexArray | None = None  # impedance at the jack where a foil was driven, shape (n,) [Ω]
    jack_after: ComplexArray | None = None


@one_thread()
def compare_takes(evidence: Evidence, *, foil: Foil | None = None) -> CompareAnswer:
    """Fit takes from before and after a job together, and say what changed.

    Parameters
    ----------
    evidence : Evidence
        Takes of both sides; those of after it marked so, the first of them as moved.
    foil : Foil or None
        Where the impedance at the jack is wanted too.

    Returns
    -------
    CompareAnswer
        Part by part and response by response.

    Raises
    ------
    ValueError
        If one side has no take, or a take too few usable frequencies.
    """
    sides = [take.is_after for take in evidence.takes]
    if all(sides) or not any(sides):
        msg = f"a comparison needs takes from before and after the job; all are from {'after' if all(sides) else 'before'} it"
        raise ValueError(msg)
    choice = choose_model(evidence)
    before, after = derive_quantities(choice), _derive_after(choice)
    reasons = identify_quantities(choice, before)
    changes = _changes(choice, before, after)
    beyond = _beyond(len(changes) + 1)
    told = {name: quantity for name, quantity in before.items() if name not in reasons}
    floor = floor_answer_of(choice)
    findings = doubt_answer(choice, told, worst_hz=floor.worst_hz)
    hidden = {name for name in reasons if name.startswith("capacitor.")}
    kept = {name: change for name, change in changes.items() if name not in hidden and _is_seen(choice, change, before.get(name))}
    return CompareAnswer(
        before=tuple(take.name for take in evidence.takes if not take.is_after),
        after=tuple(take.name for take in evidence.takes if take.is_after),
        simulated=any(take.response.origin.simulated for take in evidence.takes),
        outcome="misfit" if any(finding.severity == "reject" for finding in findings) else "good",
        floor=floor,
        model_name=model_name(choice.problem),
        quantities={
            name: Change(
                before=_side(choice, before, name, reasons),
                after=_side(choice, after, name, reasons),
                change=estimate_of(change, choice),
                verdict=_verdict(estimate_of(change, choice), beyond),
            )
            for name, change in kept.items()
        },
        not_identified={name: reasons.get(name, NOT_TOLD) for name in [*reasons, *changes] if name not in kept},
        responses=_response_changes(choice, beyond),
        beyond=beyond,
        curves=curves_of(choice),
        findings=(*_reversed_leads(choice), *findings),
        jack_before=None if foil is None else _jack_impedance(choice, foil, is_after=False),
        jack_after=None if foil is None else _jack_impedance(choice, foil, is_after=True),
    )


def _jack_impedance(choice: Choice, foil: Foil, *, is_after: bool) -> ComplexArray:
    """Impedance at the jack with cable and input: what a current of 1 A into it gives. [Ω]."""
    evidence = choice.problem.evidence
    response = evidence.takes[0].response
    take = TakeEvidence(name="jack", response=response, settings=foil.settings, method="plate", is_after=is_after)
    alone = replace(evidence, takes=(take,))
    models = models_of(alone, choice.problem.model)
    wired = wire_takes(alone, models, frequencies=[foil.frequency_hz], added=[()])
    voltage, _ = wired.evaluate(name_values(choice.problem, choice.fit.vector))
    impedance: ComplexArray = voltage / (2j * np.pi * foil.frequency_hz)
    return impedance


def _derive_after(choice: Choice) -> dict[str, Derived]:
    """Quantities after the job, with gradients by the whole parameter vector."""
    names = [parameter.name for parameter in choice.problem.parameters]
    index = {name: place for place, name in enumerate(names)}
    vector = choice.fit.vector.copy()
    by_original = np.eye(len(names))  # how each parameter after the job depends on those of the fit
    for name, place in index.items():
        step = index.get(CHANGE + name)
        if step is not None:
            vector[place] += choice.fit.vector[step]
            by_original[place, step] = 1.0
    out = _derive_at(choice, vector, by_original)
    for pickup, suffix in suffixes_of(choice.problem).items():
        shunt = index.get(f"shunt{suffix}")
        if shunt is None:
            continue
        # across one coil it adds to the winding's own capacitance; across two in series, to what the pickup sees at the input
        is_one_coil = len(choice.problem.models[pickup].eddies) == 1
        beside = index[f"log_winding_capacitance{suffix}" if is_one_coil else "log_input_capacitance"]
        own_f = float(np.exp(vector[beside]))
        total_f = own_f + SHUNT_UNIT_F * float(choice.fit.vector[shunt])
        if total_f > 0:
            with_shunt, by_shunt = vector.copy(), by_original.copy()
            with_shunt[beside] = np.log(total_f)
            by_shunt[beside, beside], by_shunt[beside, shunt] = own_f / total_f, SHUNT_UNIT_F / total_f
            of_it = _derive_at(choice, with_shunt, by_shunt)
            out |= {name: quantity for name, quantity in of_it.items() if not suffix or name.startswith(f"{pickup}.")}
    return out


def _derive_at(choice: Choice, vector: FloatArray, by_original: FloatArray) -> dict[str, Derived]:
    derived = derive_quantities(replace(choice, fit=replace(choice.fit, vector=vector)))
    return {name: replace(quantity, gradient=quantity.gradient @ by_original) for name, quantity in derived.items()}


def _changes(choice: Choice, before: Mapping[str, Derived], after: Mapping[str, Derived]) -> dict[str, Derived]:
    """After less before, as a plain difference with its gradient; the capacitance that the job added under its own name."""
    changes: dict[str, Derived] = {}
    for name, first in before.items():
        second = after.get(name)
        if second is None or "@" in name or ".eddy_" in f".{name}" or is_beside(name):
            continue
        scales = [quantity.value if quantity.is_log else 1.0 for quantity in (first, second)]
        gradient = scales[1] * second.gradient - scales[0] * first.gradient
        changes[name] = Derived(value=second.value - first.value, unit=first.unit, gradient=gradient, is_log=False)
    names = [parameter.name for parameter in choice.problem.parameters]
    for pickup, suffix in suffixes_of(choice.problem).items():
        if f"shunt{suffix}" in names:
            gradient = np.zeros(len(names))
            gradient[names.index(f"shunt{suffix}")] = SHUNT_UNIT_F
            value = SHUNT_UNIT_F * name_values(choice.problem, choice.fit.vector)[f"shunt{suffix}"]
            key = f"{pickup}.{ADDED}" if suffix else ADDED
            changes[key] = Derived(value=value, unit="F", gradient=gradient, is_log=False)
    return changes


def _beyond(n_verdicts: int) -> float:
    """Find how many standard uncertainties make one of so many verdicts err in `FALSE_ALARMS` of comparisons (Šidák 1967)."""
    from scipy.special import ndtri

    each = 1 - (1 - FALSE_ALARMS) ** (1 / n_verdicts)
    return float(max(-ndtri(each / 2), COVERAGE))


def _verdict(change: Estimate, beyond: float) -> str:
    return "changed" if abs(change.value) > beyond * change.standard_uncertainty else "not resolved"


def _is_seen(choice: Choice, change: Derived, before: Derived | None) -> bool:
    """Say whether the takes could have seen a change of this quantity."""
    if before is None or not before.is_log:
        return True
    return estimate_of(change, choice).standard_uncertainty < WIDEST * before.value


def _side(choice: Choice, side: Mapping[str, Derived], name: str, reasons: Mapping[str, str]) -> Estimate | None:
    return estimate_of(side[name], choice) if name in side and name not in reasons else None


def _response_changes(choice: Choice, beyond: float) -> tuple[ResponseChange, ...]:
    """Pair every take from after the job with the first from before it that differs in nothing else."""
    problem, takes = choice.problem, choice.problem.evidence.takes
    # the same exciter in the same place, the winding as warm: what these differ in is no change of the instrument
    held = {name: 0.0 if _is_of_the_bench(name) else value for name, value in name_values(problem, choice.fit.vector).items()}
    voltage, rows = problem.circuit.evaluate(held)
    zero = np.zeros(len(voltage), dtype=complex)
    by_parameter = np.array(
        [zero if _is_of_the_bench(each.name) else rows.get(each.name, zero) for each in problem.parameters]
    ).real
    out = []
    for second, later in enumerate(takes):
        alike = [
            first
            for first, earlier in enumerate(takes)
            if later.is_after and not earlier.is_after and _is_same_but_for_the_job(problem, first, second)
        ]
        if alike:
            out.append(_response_change(choice, (alike[0], second), voltage, by_parameter, beyond))
    return tuple(out)


def _is_of_the_bench(name: str) -> bool:
    return "#" in name or name == WARMER


def _reversed_leads(choice: Choice) -> list[Finding]:
    """Name the pickups whose response has the other sign after the job."""
    problem, takes = choice.problem, choice.problem.evidence.takes
    turned: dict[str, bool] = {}
    for second, later in enumerate(takes):
        for first, earlier in enumerate(takes):
            if (
                later.is_after
                and not earlier.is_after
                and later.method == "exciter"
                and _is_same_but_for_the_job(problem, first, second)
            ):
                turned[later.coil_over or "the pickup"] = _sign(earlier) != _sign(later)
    names = [name for name, is_turned in turned.items() if is_turned]
    if not names:
        return []
    whose, they = ("its", "it is") if len(names) == 1 else ("their", "they are")
    aside = "unless the exciter was turned over" if len(names) == len(turned) else f"beside the others {they} out of phase now"
    text = f"the polarity of {' and '.join(names)} is reversed after the job: {whose} two leads are exchanged; {aside}"
    return [Finding(code="polarity-reversed", severity="warn", text=text)]


def _sign(take: TakeEvidence) -> bool:
    """Whether the response of a take is a positive number times s where the sweep begins."""
    low = np.flatnonzero(usable_points(take))[:LOW_POINTS]
    return bool(np.median(take.response.value[low].imag) > 0)


def _response_change(
    choice: Choice, pair: tuple[int, int], voltage: ComplexArray, by_parameter: FloatArray, beyond: float
) -> ResponseChange:
    problem = choice.problem
    points = [np.flatnonzero(problem.take_of_point == index) for index in pair]
    rounded = [problem.frequency_hz[place].round(6) for place in points]
    _, at_first, at_second = np.intersect1d(rounded[0], rounded[1], return_indices=True)
    one, two = points[0][at_first], points[1][at_second]
    frequency = problem.frequency_hz[one]
    change = DB_PER_NEPER * np.log(np.abs(voltage[two] / voltage[one]))
    gradient = DB_PER_NEPER * (by_parameter[:, two] - by_parameter[:, one])
    std = np.sqrt(np.maximum(np.einsum("pm,pq,qm->m", gradient, choice.covariance, gradient), 0.0))
    measured = DB_PER_NEPER * np.log(np.abs(problem.data[two] / problem.data[one]))
    in_band = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
    top = int(np.argmax(np.where(in_band, np.abs(change), -1.0)))
    value, u = float(change[top]), float(std[top])
    largest = Estimate(value=value, unit="dB", standard_uncertainty=u, low=value - COVERAGE * u, high=value + COVERAGE * u)
    low = np.flatnonzero(in_band)[:LOW_POINTS]
    return ResponseChange(
        before=problem.evidence.takes[pair[0]].name,
        after=problem.evidence.takes[pair[1]].name,
        frequency_hz=frequency,
        change_db=change,
        change_db_std=std,
        measured_db=measured - np.mean(measured[low] - change[low]),
        largest=largest,
        at_hz=float(frequency[top]),
        verdict=_verdict(largest, beyond),
    )


def _is_same_but_for_the_job(problem: Problem, first: int, second: int) -> bool:
    one, two = (problem.evidence.takes[index] for index in (first, second))
    loads = [sorted((part.unit, part.value) for part in take.added) for take in (one, two)]
    return loads[0] == loads[1] and (one.settings, one.coil_over, one.method) == (two.settings, two.coil_over, two.method)
