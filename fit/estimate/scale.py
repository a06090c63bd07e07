"""Other scales of impedance that describe the takes as well: what one load alone leaves open.

With one load the product of inductance and capacitance is told, and little more: many pairs fit alike, along a valley too
curved for a linearised interval. Here the valley is walked, so that what is reported of such takes carries its width.
"""

from dataclasses import replace

import numpy as np

from fit.estimate.joint import fit_joint, prior_rows
from fit.estimate.ladder import FINE_TOLERANCE, Choice
from measure.response import FloatArray

STEPS = (-1.0, -0.5, 0.5, 1.0)  # [ln H] of the inductance, about what pickups differ by among each other
AS_GOOD = 4.0  # [1] of χ²: within 2 σ
HELD_STD = 1e-3  # [ln H] while the valley is walked


def equivalent_vectors(choice: Choice) -> tuple[FloatArray, ...]:
    """Find fits with another inductance that describe the takes about as well.

    Returns
    -------
    tuple of ndarray, shape (p,)
        At most one for each step away from the fit; none where the takes tell the inductance.
    """
    names = [parameter.name for parameter in choice.problem.parameters]
    held_at = [index for index, name in enumerate(names) if name.startswith("log_inductance")]
    opposite = [index for index, name in enumerate(names) if name.startswith(("log_winding_capacitance", "log_capacitor."))]
    best = choice.fit.chi_square
    found = []
    for step in STEPS:
        parameters = list(choice.problem.parameters)
        start = choice.fit.vector.copy()
        start[opposite] -= step
        for index in held_at:
            start[index] += step
            parameters[index] = replace(parameters[index], prior_mean=float(start[index]), prior_std=HELD_STD)
        held = replace(choice.problem, parameters=tuple(parameters))
        fit = fit_joint(held, choice.blocks, start, tolerance=FINE_TOLERANCE)
        means, root_precision = prior_rows(choice.problem)
        own_prior = ((fit.vector - means) * root_precision) ** 2
        held_means, held_root = prior_rows(held)
        held_prior = ((fit.vector - held_means) * held_root) ** 2
        if fit.chi_square - float(np.sum(held_prior)) + float(np.sum(own_prior)) < best + AS_GOOD:
            found.append(fit.vector)
    return tuple(found)
