"""Which model: from no eddy loss to several loops and a spread, then two coils, chosen by BIC under one floor."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fit.circuit.coil import Profile
from fit.estimate.evidence import Evidence
from fit.estimate.floor import Floor, estimate_floor, floor_blocks
from fit.estimate.joint import Block, JointFit, covariance_of, fit_joint, independent_blocks
from fit.estimate.model import Problem, build_problem, name_values
from fit.estimate.parameters import PickupModel
from fit.estimate.start import FIRST_FIELDS, FIRST_STEP, start_vector
from measure.response import FloatArray

FIRST_ERROR = 1e-3  # [1] independent error assumed beside the noise until the floor is estimated
MISFIT = 5e-3  # [1] φ from which on the model is said to misfit
MOVED_PULL = 3.0  # [1] of a gain step against its prior
LOG_TAU = float(np.log(1 / (2 * np.pi * 6000.0)))  # [ln s] a corner in the middle of the band
ROUGH_TOLERANCE, FINE_TOLERANCE = 1e-3, 1e-8  # [1] of χ²
ROUGH_EVALUATIONS = 60

Eddies = tuple[tuple[Profile, ...], ...]
ONE_COIL: tuple[Eddies, ...] = (
    ((),),
    (("loop",),),
    (("spread",),),
    (("loop", "loop"),),
    (("spread", "loop"),),
    (("loop", "loop", "loop"),),
)
TWO_COILS: tuple[Eddies, ...] = (((), ()), (("loop",), ("loop",)), (("spread",), ("spread",)))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rung:
    """One model of the ladder, fitted.

    Attributes
    ----------
    problem : Problem
        Takes and model.
    fit : JointFit
        The best of its starts.
    bic : float
        Bayesian information criterion under the ladder's floor.
    reduced_chi_square : float
        χ² per degree of freedom under the ladder's floor.
    """

    problem: Problem
    fit: JointFit
    bic: float
    reduced_chi_square: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Choice:
    """The model that was chosen, fitted under its own floor.

    Attributes
    ----------
    problem : Problem
        Takes and model; a take before which the coil was found to have moved is marked so.
    fit : JointFit
        At the minimum.
    blocks : tuple of Block
        How errors were whitened.
    covariance : ndarray, shape (p, p)
        Of the parameter vector.
    floor : Floor
        Of this model.
    rungs : tuple of Rung
        Every model that was tried.
    moved : tuple of str
        Takes before which the coil seems to have moved, though none was said to.
    """

    problem: Problem
    fit: JointFit
    blocks: tuple[Block, ...]
    covariance: FloatArray
    floor: Floor
    rungs: tuple[Rung, ...]
    moved: tuple[str, ...]


def model_name(model: PickupModel) -> str:
    """Name a model for people.

    Parameters
    ----------
    model : PickupModel
        The circuit.

    Returns
    -------
    str
        For example "one coil, two eddy loops".
    """
    parts = ["one coil" if len(model.eddies) == 1 else "two coils"]
    profiles = model.eddies[0]
    each = " each" if len(model.eddies) == 2 else ""
    n_loops = profiles.count("loop")
    if "spread" in profiles:
        parts.append(f"a spread of eddy loops{each}")
    if n_loops:
        parts.append(f"{('one', 'two', 'three')[n_loops - 1]} eddy loop{'s' if n_loops > 1 else ''}{each}")
    return ", ".join(parts) if profiles else f"{parts[0]}, no eddy loss"


def choose_model(evidence: Evidence, *, fixed_floor: Floor | None = None) -> Choice:
    """Climb the ladder and keep the model that the takes call for.

    Parameters
    ----------
    evidence : Evidence
        Takes and references.
    fixed_floor : Floor, optional
        Asked for instead of the estimated one.

    Returns
    -------
    Choice
        With `floor.total` at `MISFIT` or above where no model of the ladder describes the takes.
    """
    moved: list[str] = []
    while True:
        choice = _climb(evidence, fixed_floor)
        suspect = _moved_take(choice)
        if suspect is None:
            return replace(choice, moved=tuple(moved))
        moved.append(evidence.takes[suspect].name)
        takes = [replace(take, coil_moved=take.coil_moved or index == suspect) for index, take in enumerate(evidence.takes)]
        evidence = replace(evidence, takes=tuple(takes))


def _climb(evidence: Evidence, fixed_floor: Floor | None) -> Choice:
    choice = _choose(_fit_one_coil(evidence), fixed_floor)
    if choice.floor.total < MISFIT:
        return choice
    two = _choose(_fit_two_coils(evidence, choice), fixed_floor)
    better = two if two.floor.total < 0.5 * choice.floor.total else choice
    return replace(better, rungs=(*choice.rungs, *two.rungs))


def _choose(candidates: Sequence[tuple[Problem, JointFit]], fixed_floor: Floor | None) -> Choice:
    """Compare the candidates under the floor of the best fitting one, and refit the winner under its own."""
    richest = min(candidates, key=lambda pair: pair[1].chi_square)
    floor = fixed_floor or estimate_floor(richest[0], richest[1].prediction, richest[1].vector)
    blocks, log_determinant = floor_blocks(richest[0], floor)
    rungs = []
    for problem, first in candidates:
        fit = fit_joint(problem, blocks, first.vector, tolerance=ROUGH_TOLERANCE / 10, most_evaluations=ROUGH_EVALUATIONS)
        n_points = 2 * len(problem.data)
        bic = fit.chi_square + log_determinant + (len(fit.vector) + 2) * np.log(n_points)
        rungs.append(Rung(problem=problem, fit=fit, bic=float(bic), reduced_chi_square=fit.chi_square / n_points))
    best = min(rungs, key=lambda rung: rung.bic)
    own = fixed_floor or estimate_floor(best.problem, best.fit.prediction, best.fit.vector, near=floor)
    blocks, _ = floor_blocks(best.problem, own)
    fit = fit_joint(best.problem, blocks, best.fit.vector, tolerance=FINE_TOLERANCE)
    return Choice(
        problem=best.problem,
        fit=fit,
        blocks=blocks,
        covariance=covariance_of(best.problem, blocks, fit.prediction),
        floor=own,
        rungs=tuple(rungs),
        moved=(),
    )


def _search(problem: Problem, starts: Sequence[FloatArray]) -> JointFit:
    """Best of several starts under independent errors."""
    blocks = independent_blocks(problem, FIRST_ERROR)
    fits = [fit_joint(problem, blocks, start, tolerance=ROUGH_TOLERANCE, most_evaluations=ROUGH_EVALUATIONS) for start in starts]
    return min(fits, key=lambda fit: fit.chi_square if np.isfinite(fit.chi_square) else np.inf)


def _fit_one_coil(evidence: Evidence) -> list[tuple[Problem, JointFit]]:
    """Each model of one coil, begun at the fit of the next simpler one."""
    fits: dict[Eddies, tuple[Problem, dict[str, float]]] = {}
    candidates = []
    for eddies in ONE_COIL:
        problem = build_problem(evidence, PickupModel(eddies=eddies))
        profiles = eddies[0]
        if not profiles:
            starts = [start_vector(problem, {})]
        elif len(profiles) == 1:
            first = {"share_0_0": FIRST_STEP["share"], "log_tau_0_0": LOG_TAU, "log_width_0_0": FIRST_STEP["log_width"]}
            starts = [start_vector(problem, {**first, "field_0_0": field}) for field in FIRST_FIELDS]
        else:
            _, known = fits[(profiles[:-1],)]
            key = f"0_{len(profiles) - 1}"
            around = known["log_tau_0_0"]
            new = {f"share_{key}": -3.0, f"field_{key}": 0.05}
            starts = [start_vector(problem, {**known, **new, f"log_tau_{key}": around + step}) for step in (-1.5, 1.5)]
        fit = _search(problem, starts)
        fits[eddies] = (problem, name_values(problem, fit.vector))
        candidates.append((problem, fit))
    return candidates


def _fit_two_coils(evidence: Evidence, one_coil: Choice) -> list[tuple[Problem, JointFit]]:
    """Two coils in series, begun at the halves of the single coil."""
    loop = next(rung for rung in one_coil.rungs if rung.problem.model.eddies == (("loop",),))
    known = name_values(loop.problem, loop.fit.vector)
    halved = {
        "log_inductance": known["log_inductance"] - np.log(2.3),
        "log_winding_capacitance": known["log_winding_capacitance"] + np.log(2.0),
        "delay": 0.0,
    }
    for name in ("share", "log_tau", "field"):
        halved |= {f"{name}_0_0": known[f"{name}_0_0"], f"{name}_1_0": known[f"{name}_0_0"]}
    changes = (
        {"log_second_excitation": -0.5},
        {"log_second_excitation": -2.0},
        {"log_second_excitation": 0.0},
        {"log_second_excitation": -1.0, "log_second_inductance": 0.4},
        {"log_second_excitation": -1.0, "log_second_winding_capacitance": 0.6},
    )
    candidates = []
    for eddies in TWO_COILS:
        problem = build_problem(evidence, PickupModel(eddies=eddies))
        starts = [start_vector(problem, {**known, **halved, **change}) for change in changes]
        blocks = independent_blocks(problem, FIRST_ERROR)
        fits = [fit_joint(problem, blocks, start, tolerance=1e-5, most_evaluations=400) for start in starts]
        candidates.append((problem, min(fits, key=lambda fit: fit.chi_square)))
    return candidates


def _moved_take(choice: Choice) -> int | None:
    """Take whose gain step lies farthest beyond what its prior allows, or None."""
    worst, worst_pull = None, MOVED_PULL
    for index, parameter in enumerate(choice.problem.parameters):
        if not parameter.name.startswith("gain_step_"):
            continue
        told = parameter.prior_std**2 - choice.covariance[index, index]
        pull = abs(choice.fit.vector[index]) / np.sqrt(told) if told > 0 else 0.0
        if pull > worst_pull:
            worst, worst_pull = int(parameter.name.rsplit("_", 1)[1]), float(pull)
    return worst
