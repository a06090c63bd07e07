"""Statements that the takes contradict: what was stated, what the takes say instead.

References that a person stated (added part, dcr, input), and what is usual of an interface or of a sound part.
"""

import numpy as np

from fit.answers.figures import Estimate
from fit.answers.parts.quantities import Derived
from fit.answers.pickup.answer import Released
from fit.answers.pickup.characterisation import estimate_of
from fit.answers.pickup.doubts import unit_of_prior
from fit.estimate.coverage import coverage_factor
from fit.estimate.ladder import Choice
from fit.estimate.model import build_problem
from fit.estimate.parameters import ACROSS_UNIT_S, Parameter
from fit.estimate.release import is_reference


def released_of(choice: Choice) -> tuple[Released, ...]:
    """List the statements that a fit let go.

    Returns
    -------
    tuple of Released
        Empty where the takes go with everything that was stated.
    """
    if not choice.problem.released:
        return ()
    held = {parameter.name: parameter for parameter in build_problem(choice.problem.evidence, choice.problem.model).parameters}
    index_of = {parameter.name: index for index, parameter in enumerate(choice.problem.parameters)}
    others = tuple(held[name].source for name in choice.alternatives)
    return tuple(
        Released(
            parameter=held[name].source,
            is_reference=is_reference(name),
            stated=_stated(held[name], unit_of_prior(choice, name)),
            found=_found(choice, index_of[name], unit_of_prior(choice, name)),
            instead=others if is_reference(name) else (),
        )
        for name in choice.problem.released
    )


def _stated(parameter: Parameter, unit: str) -> Estimate:
    factor = coverage_factor([1.0] if parameter.is_bounded else [])
    distribution = "rectangular" if parameter.is_bounded else "normal"
    mean, half = parameter.prior_mean, factor * parameter.prior_std
    scale = _scale(parameter.name)
    value, low, high = ((np.exp(each) if scale is None else scale * each) for each in (mean, mean - half, mean + half))
    return Estimate(
        value=float(value),
        unit=unit,
        standard_uncertainty=float(parameter.prior_std * (value if scale is None else scale)),
        low=float(low),
        high=float(high),
        coverage_factor=factor,
        distribution=distribution,
    )


def _found(choice: Choice, index: int, unit: str) -> Estimate:
    value, scale = float(choice.fit.vector[index]), _scale(choice.problem.parameters[index].name)
    gradient = np.zeros(len(choice.problem.parameters))
    gradient[index] = 1.0 if scale is None else scale
    found = float(np.exp(value)) if scale is None else scale * value
    return estimate_of(Derived(value=found, unit=unit, gradient=gradient, is_log=scale is None), choice)


# Unit of a parameter in SI; None for a logarithm.
def _scale(name: str) -> float | None:
    if name.startswith("log_"):
        return None
    return ACROSS_UNIT_S if name.startswith("across_") else 1.0
