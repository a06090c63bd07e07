"""An answer as the JSON document that ``--json`` prints; SI units without prefix, 1 σ beside every value."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fit.answers.confirm.conformity import RULE, STANDARD, Decision
from fit.answers.figures import Estimate, NextTake
from measure.response import Finding

if TYPE_CHECKING:
    from fit.answers.pickup.answer import PickupAnswer, Released

Document = dict[str, Any]


def estimate_document(estimate: Estimate) -> Document:
    """Put a quantity as JSON states it.

    Parameters
    ----------
    estimate : Estimate
        What to state.

    Returns
    -------
    dict
        Value, unit, standard uncertainty, 95 % interval, and by which factor and distribution the one follows from the other.
    """
    return {
        "value": _number(estimate.value),
        "unit": estimate.unit,
        "standard_uncertainty": _number(estimate.standard_uncertainty),
        "interval_95": [_number(estimate.low), _number(estimate.high)],
        "coverage_factor": _number(estimate.coverage_factor),
        "distribution": estimate.distribution,
    }


def finding_document(finding: Finding) -> Document:
    """Put a check as JSON states it.

    Parameters
    ----------
    finding : Finding
        What was looked at.

    Returns
    -------
    dict
        Name, outcome, figure, unit, advice.
    """
    return {
        "name": finding.code,
        "outcome": finding.severity,
        "figure": None if finding.figure is None else _number(finding.figure),
        "unit": finding.unit,
        "advice": finding.text,
    }


def answer_document(answer: "PickupAnswer", *, warnings: tuple[str, ...], released: Sequence["Released"] = ()) -> Document:
    """Put the whole answer as ``fit --json`` states it.

    Parameters
    ----------
    answer : PickupAnswer
        What was found.
    warnings : tuple of str
        What was noticed outside the fit, one line each.
    released : sequence of Released
        Statements that were let go because the takes contradict them.

    Returns
    -------
    dict
        A coilsweep.fit/1 document.
    """
    floor = answer.floor
    noticed = [finding.text for finding in answer.findings if finding.severity != "pass"]
    return {
        "schema": "coilsweep.fit/1",
        "takes": list(answer.takes),
        "simulated": answer.simulated,
        "outcome": answer.outcome,
        "floor": {
            "value": _number(floor.value),
            "correlation_octaves": _number(floor.correlation_octaves),
            "common": floor.common,
            "worst_hz": _number(floor.worst_hz),
        },
        "model": {
            "name": answer.model_name,
            "eddy_loops": answer.eddy_loops,
            "candidates": [
                {"name": one.name, "bic": _number(one.bic), "reduced_chi_square": _number(one.reduced_chi_square)}
                for one in answer.candidates
            ],
        },
        "quantities": {key: estimate_document(estimate) for key, estimate in answer.quantities.items()},
        "released": [_released_document(one) for one in released],
        "taken_on_trust": [finding.text for finding in answer.findings if finding.code == "rests-on"],
        "not_identified": [
            {"quantity": one.quantity, "why": one.why, "next_take": next_take_document(one.next_take)}
            for one in answer.not_identified
        ],
        "next_takes": {key: [next_take_document(take) for take in takes] for key, takes in answer.next_takes.items()},
        "budget": {
            key: [{"source": part.source, "contribution": _number(part.contribution)} for part in parts]
            for key, parts in answer.budget.items()
        },
        "agreement": {
            curve.take: {
                "rms_db": _number(curve.rms_db),
                "max_db": _number(curve.max_db),
                "rms_degree": _number(curve.rms_degree),
            }
            for curve in answer.curves
        },
        "warnings": [*warnings, *noticed],
    }


def _released_document(released: "Released") -> Document:
    return {
        "parameter": released.parameter,
        "reference": released.is_reference,
        "stated": estimate_document(released.stated),
        "found": estimate_document(released.found),
        "instead": list(released.instead),
    }


def next_take_document(take: NextTake | None) -> Document | None:
    """Put a further take as JSON states it.

    Parameters
    ----------
    take : NextTake or None
        None where no take helps.

    Returns
    -------
    dict or None
        What to do, and how surely it would tell.
    """
    if take is None:
        return None
    predicted = _number(take.predicted_relative_std)
    return {"add": take.add, "set": list(take.controls), "text": take.text, "predicted_relative_std": predicted}


def decision_document(decision: Decision | None, *, unit: str) -> Document:
    """Put a decision on conformity as JSON states it.

    Parameters
    ----------
    decision : Decision or None
        None where there was nothing to decide upon: the rule stands all the same.
    unit : str
        Of the value.

    Returns
    -------
    dict
        The rule with what it came to, the probability that the value lies inside its limits, the risk of the verdict; null where
        there is none.
    """
    rule: Document = {"rule": RULE, "standard": STANDARD, "guard_band": None, "limits": None, "acceptance": None, "side": None}
    if decision is None:
        return {"decision_rule": rule, "conformance_probability": None, "specific_risk": None}
    scale = "logarithmic" if decision.is_logarithmic else "linear"
    rule |= {
        "guard_band": {"value": decision.guard_band, "unit": unit, "scale": scale},
        "limits": list(decision.limits),
        "acceptance": None if decision.acceptance is None else list(decision.acceptance),
        "side": decision.side,
    }
    return {
        "decision_rule": rule,
        "conformance_probability": decision.conforming,
        "specific_risk": decision.specific_risk,
    }


# JSON knows no infinity: what is not finite is null.
def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
