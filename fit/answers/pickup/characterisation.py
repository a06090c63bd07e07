"""What is this pickup? Its values with intervals, what limits them, and which further take would help."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fit.answers.figures import Candidate, Contribution, Curve, Estimate, FitOutcome, FloorAnswer, NextTake, NotIdentified
from fit.answers.parts.from_fit import measured_parts
from fit.answers.parts.quantities import Derived, derive_quantities
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.pickup.doubts import doubt_answer
from fit.answers.pickup.identifiability import (
    TELLING,
    Further,
    has_two_loads,
    identify_quantities,
    relative_uncertainty,
    suggest_takes,
    would_tell,
)
from fit.circuit.realparts import is_beside
from fit.estimate.budget import coverage_of, split_uncertainty
from fit.estimate.evidence import Evidence
from fit.estimate.floor import Floor, smooth_difference
from fit.estimate.ladder import Choice, choose_model, model_name
from fit.estimate.profile import profile_halves
from fit.estimate.resonance import loaded_gain
from fit.estimate.scale import equivalent_vectors
from fit.estimate.threads import one_thread

AGREEMENT_HZ = (80.0, 15000.0)  # [Hz] where model and measurement are compared
CURVE_HZ = (50.0, 20000.0)  # [Hz] of the loaded gain's plot
CURVE_POINTS = 400
WALKED = 0.05  # [1] relative standard uncertainty from which on a linearised interval is not trusted
HELPFUL = 0.9  # [1] a further take is named where it leaves less than this of the uncertainty


def characterise_pickup(evidence: Evidence, *, fixed_floor: float | None = None) -> PickupAnswer:
    """Fit the takes of one pickup and say what it is.

    Parameters
    ----------
    evidence : Evidence
        Takes and references; every quantity with its uncertainty.
    fixed_floor : float, optional
        Relative model error to assume, smooth over an octave, instead of the estimated one. [1]

    Returns
    -------
    PickupAnswer
        Values, budget, what is not identified, curves. A poor fit does not raise: `outcome` is "misfit".

    Raises
    ------
    ValueError
        If a take has too few usable frequencies, or a reference has no uncertainty.
    """
    floor = None
    if fixed_floor is not None:
        floor = Floor(smooth=fixed_floor, rough=fixed_floor / 10, length_octaves=1.0, is_common=False)
    return answer_of(choose_model(evidence, fixed_floor=floor))


@one_thread()
def answer_of(choice: Choice) -> PickupAnswer:
    """Say what a fit found.

    Returns
    -------
    PickupAnswer
        Values, budget, what is not identified, curves.
    """
    evidence = choice.problem.evidence
    derived = derive_quantities(choice)
    reasons = identify_quantities(choice, derived)
    told = {name: quantity for name, quantity in derived.items() if name not in reasons}
    further = suggest_takes(choice, evidence.parts_at_hand)
    open_scale = {} if has_two_loads(evidence) else _spread_over_scales(choice, told)
    floor_answer = floor_answer_of(choice)
    findings = doubt_answer(choice, told, worst_hz=floor_answer.worst_hz)
    loaded_hz = np.geomspace(*CURVE_HZ, CURVE_POINTS)
    outcome: FitOutcome = "misfit" if any(finding.severity == "reject" for finding in findings) else "good"
    return PickupAnswer(
        takes=tuple(take.name for take in evidence.takes),
        simulated=any(take.response.origin.simulated for take in evidence.takes),
        outcome=outcome,
        floor=floor_answer,
        model_name=model_name(choice.problem),
        eddy_loops=sum(profiles.count("loop") for profiles in choice.problem.model.eddies),
        candidates=tuple(
            Candidate(name=model_name(rung.problem), bic=rung.bic, reduced_chi_square=rung.reduced_chi_square)
            for rung in choice.rungs
        ),
        quantities={
            name: _walked(name, quantity, choice, estimate_of(quantity, choice, open_scale.get(name, 0.0)))
            for name, quantity in told.items()
        },
        not_identified=_not_identified(reasons, derived, further),
        budget={name: _budget(quantity, choice, open_scale.get(name, 0.0)) for name, quantity in told.items()},
        next_takes={name: _helpful_takes(quantity, choice, further) for name, quantity in told.items()},
        curves=curves_of(choice),
        loaded_frequency_hz=loaded_hz,
        loaded_gain=loaded_gain(choice.problem, choice.fit.vector, loaded_hz).value,
        findings=findings,
        parts=measured_parts(choice, leave_out=reasons, outcome=outcome),
        tapers={} if evidence.instrument is None else {name: pot.taper for name, pot in evidence.instrument.pot.items()},
    )


def _spread_over_scales(choice: Choice, told: dict[str, Derived]) -> dict[str, float]:
    """Find the standard uncertainty that an unknown scale of impedance adds, relative where the quantity's gradient is.

    Half the range over the fits that are as good, as a rectangular distribution (JCGM 100:2008, 4.3.7).
    """
    spread = dict.fromkeys(told, 0.0)
    for vector in equivalent_vectors(choice):
        other = derive_quantities(replace(choice, fit=replace(choice.fit, vector=vector)))
        for name, quantity in told.items():
            if name in other:
                away = other[name].value - quantity.value
                away = np.log(other[name].value / quantity.value) if quantity.is_log else away
                spread[name] = max(spread[name], float(abs(away)) / np.sqrt(3))
    return spread


def estimate_of(derived: Derived, choice: Choice, extra_std: float = 0.0) -> Estimate:
    """Put a quantity with its uncertainty.

    Parameters
    ----------
    extra_std : float
        Beside it, relative where the gradient is. [1]

    Returns
    -------
    Estimate
        With its 95 % interval.
    """
    coverage = coverage_of(choice, derived.gradient, extra_std)
    std, half = coverage.standard_uncertainty, coverage.factor * coverage.standard_uncertainty
    if derived.is_log:
        low, high = derived.value * float(np.exp(-half)), derived.value * float(np.exp(half))
        std *= derived.value
    else:
        low, high = derived.value - half, derived.value + half
    return Estimate(
        value=derived.value,
        unit=derived.unit,
        standard_uncertainty=std,
        low=low,
        high=high,
        coverage_factor=coverage.factor,
        distribution=coverage.distribution,
    )


def _walked(name: str, derived: Derived, choice: Choice, estimate: Estimate) -> Estimate:
    """Walk the interval of an eddy corner, and of what is uncertain by more than `WALKED`, along the likelihood."""
    at = np.flatnonzero(derived.gradient)
    is_wide = name.endswith(".corner") or estimate.standard_uncertainty > WALKED * abs(estimate.value)
    if len(at) != 1 or not derived.is_log or not is_wide or estimate.distribution != "normal":
        return estimate
    slope = float(derived.gradient[at[0]])
    below, above = profile_halves(choice, int(at[0]), estimate.coverage_factor)
    below, above = (below, above) if slope > 0 else (above, below)
    half = abs(slope) * (below + above) / 2
    return replace(
        estimate,
        low=estimate.value * float(np.exp(-abs(slope) * below)),
        high=estimate.value * float(np.exp(abs(slope) * above)),
        coverage_factor=half / (estimate.standard_uncertainty / estimate.value),
        distribution="profile",
    )


def _budget(derived: Derived, choice: Choice, extra_std: float) -> tuple[Contribution, ...]:
    scale = derived.value if derived.is_log else 1.0
    shares = [(share.source, share.contribution) for share in split_uncertainty(choice, derived.gradient)]
    if extra_std > 0:
        shares = sorted([*shares, ("scale of impedance not known", extra_std)], key=lambda share: -share[1])
    return tuple(Contribution(source=source, contribution=scale * contribution) for source, contribution in shares)


def _not_identified(
    reasons: dict[str, str], derived: dict[str, Derived], further: Sequence[Further]
) -> tuple[NotIdentified, ...]:
    out = []
    for name, why in reasons.items():
        if is_beside(name):
            continue
        options = []
        if name in derived:
            options = [_next_take(derived[name], take) for take in further if would_tell(name, take)]
        else:
            options = [
                _described(take, take.new_parts[name]) for take in further if name in take.new_parts and would_tell(name, take)
            ]
        telling = [take for take in options if take.predicted_relative_std < TELLING / 2]
        following = telling[0] if telling else None
        out.append(NotIdentified(quantity=name, why=why, next_take=following))
    return tuple(out)


def _next_take(derived: Derived, take: Further) -> NextTake:
    return _described(take, relative_uncertainty(derived, take.covariance))


def _described(take: Further, relative: float) -> NextTake:
    what = f"{take.add} clipped across the jack" if take.add else f"the controls set to {', '.join(take.controls)}"
    text = f"one more take with {what}, the exciter left where it is"
    return NextTake(add=take.add, text=text, predicted_relative_std=relative, controls=take.controls)


def _helpful_takes(derived: Derived, choice: Choice, further: Sequence[Further]) -> tuple[NextTake, ...]:
    now = relative_uncertainty(derived, choice.covariance)
    options = [_next_take(derived, take) for take in further]
    helpful = [take for take in options if take.predicted_relative_std < HELPFUL * now]
    return tuple(sorted(helpful, key=lambda take: take.predicted_relative_std))


def floor_answer_of(choice: Choice) -> FloorAnswer:
    """Tell how far model and takes differ smoothly, and where most."""
    difference = smooth_difference(choice.problem, choice.floor, choice.fit.prediction.residual)
    in_band = (choice.problem.frequency_hz >= AGREEMENT_HZ[0]) & (choice.problem.frequency_hz <= AGREEMENT_HZ[1])
    worst = np.argmax(np.where(in_band, np.abs(difference), -1.0))
    return FloorAnswer(
        value=choice.floor.total,
        correlation_octaves=choice.floor.length_octaves,
        common=choice.floor.is_common,
        worst_hz=float(choice.problem.frequency_hz[worst]),
    )


def curves_of(choice: Choice) -> tuple[Curve, ...]:
    """Measured and modelled response of each take, and how they agree."""
    problem, curves = choice.problem, []
    for index, take in enumerate(problem.evidence.takes):
        points = problem.take_of_point == index
        frequency, measured = problem.frequency_hz[points], problem.data[points]
        ratio = np.exp(choice.fit.prediction.residual[points])
        in_band = (frequency >= AGREEMENT_HZ[0]) & (frequency <= AGREEMENT_HZ[1])
        decibel, degree = 20 * np.log10(np.abs(ratio[in_band])), np.degrees(np.angle(ratio[in_band]))
        curves.append(
            Curve(
                take=take.name,
                frequency_hz=frequency,
                measured=measured,
                measured_std=problem.noise[points] * np.abs(measured),
                model=measured * ratio,
                rms_db=float(np.sqrt(np.mean(decibel**2))),
                max_db=float(np.max(np.abs(decibel))),
                rms_degree=float(np.sqrt(np.mean(degree**2))),
            )
        )
    return tuple(curves)
