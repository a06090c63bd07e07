"""What the takes can tell and what they cannot, and which further take would tell it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fit.answers.quantities import Derived
from fit.estimate.budget import predict_covariance
from fit.estimate.evidence import Evidence
from fit.estimate.ladder import Choice
from measure.quantity import Quantity, parse_parts
from measure.response import FloatArray

TELLING = 0.2  # [1] relative standard uncertainty above which a quantity counts as not identified
SCALED = ("inductance", "winding_capacitance", "dc_resistance", "resonance_unloaded", "q_unloaded")
# What a further take could use when the person has not said what is at hand: common practice, no source.
USUAL_PARTS = ("1n ± 5%", "1n ± 1%", "470p ± 1%", "2n2 ± 1%", "100k ± 1%", "2n2 ± 1%, 100k ± 1%")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Further:
    """A further take and what it would do.

    Attributes
    ----------
    add : str
        Parts across the jack.
    covariance : ndarray, shape (p, p)
        Predicted, after it.
    """

    add: str
    covariance: FloatArray


def has_two_loads(evidence: Evidence) -> bool:
    """Say whether the takes differ in what lies across the jack.

    Parameters
    ----------
    evidence : Evidence
        The takes.

    Returns
    -------
    bool
        With one load alone, resonance and damping are all that a response tells.
    """
    loads = {tuple(sorted((part.unit, part.value) for part in take.added)) for take in evidence.takes}
    return len(loads) > 1


def relative_uncertainty(derived: Derived, covariance: FloatArray) -> float:
    """Relative standard uncertainty of a quantity; in dB divided by 8.7.

    Parameters
    ----------
    derived : Derived
        With its gradient.
    covariance : ndarray, shape (p, p)
        Of the parameters.

    Returns
    -------
    float
        Standard uncertainty of ln(value). [1]
    """
    std = float(np.sqrt(max(float(derived.gradient @ covariance @ derived.gradient), 0.0)))
    return std if derived.is_log else float(std / (20 / np.log(10)))


def identify_quantities(choice: Choice, derived: dict[str, Derived]) -> dict[str, str]:
    """Name the quantities that the takes cannot tell, with the reason.

    Parameters
    ----------
    choice : Choice
        The fit.
    derived : dict
        Every quantity of the model.

    Returns
    -------
    dict
        Name to reason, in plain words.
    """
    evidence = choice.problem.evidence
    reasons: dict[str, str] = {}
    for name, quantity in derived.items():
        relative = relative_uncertainty(quantity, choice.covariance)
        if not has_two_loads(evidence) and _needs_scale(name, evidence):
            reasons[name] = (
                "takes with one load alone tell resonance and damping, not inductance and capacitance apart: "
                "a known part across the jack sets the scale"
            )
        elif not relative < TELLING:
            reasons[name] = f"the takes leave it uncertain by {100 * min(relative, 9.99):.0f} % (1 σ)"
    if len(choice.problem.model.eddies) == 2:
        told = "only the sum of two coils in series shows at the jack"
        reasons |= dict.fromkeys(("winding_capacitance", "resonance_unloaded", "q_unloaded", "q_loaded"), told)
        reasons["sharing of the inductance between the coils"] = told
    return reasons


def _needs_scale(name: str, evidence: Evidence) -> bool:
    if name == "dc_resistance":
        return evidence.dcr is None
    return name in SCALED or name.startswith("eddy_")


def suggest_takes(choice: Choice, at_hand: Sequence[Quantity]) -> list[Further]:
    """Predict the covariance after each further take that the person could make.

    Parameters
    ----------
    choice : Choice
        The fit so far.
    at_hand : sequence of Quantity
        Parts the person has; the usual ones where none are named.

    Returns
    -------
    list of Further
        The cheapest first: one part before two, a loose tolerance before a tight one.
    """
    candidates: list[tuple[Quantity, ...]] = [(part,) for part in at_hand] or [parse_parts(text) for text in USUAL_PARTS]
    if len(at_hand) > 1:
        candidates.append(tuple(at_hand[:2]))
    used = {_plain(take.added) for take in choice.problem.evidence.takes}
    further = []
    for parts in sorted(candidates, key=_cost):
        if _plain(parts) not in used:
            text = ", ".join(part.text for part in parts)
            further.append(Further(add=text, covariance=predict_covariance(choice, parts)))
    return further


def _plain(parts: Sequence[Quantity]) -> tuple[tuple[str, float], ...]:
    return tuple(sorted((part.unit, part.value) for part in parts))


def _cost(parts: Sequence[Quantity]) -> tuple[int, float]:
    loosest = max((part.standard_uncertainty or 0.0) / part.value for part in parts)
    return len(parts), -loosest
