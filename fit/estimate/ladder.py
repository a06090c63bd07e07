"""Which model: from no eddy loss to several loops and a spread, then two coils, chosen by BIC under one floor."""

from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace
from functools import lru_cache

import numpy as np

from fit.circuit.coil import Profile
from fit.estimate.evidence import Evidence
from fit.estimate.floor import Floor, estimate_floor, floor_blocks
from fit.estimate.joint import Block, JointFit, covariance_of, fit_joint, independent_blocks, search_joint
from fit.estimate.model import Problem, build_problem, name_values, predict_residual, suffixes_of
from fit.estimate.parameters import PickupModel, released_std, widen_priors
from fit.estimate.release import is_possible, is_reference, penalty, release_gains
from fit.estimate.start import FIRST_FIELDS, FIRST_STEP, start_vector
from fit.estimate.threads import one_thread
from measure.response import FloatArray

FIRST_ERROR = 1e-3  # [1] independent error assumed beside the noise until the floor is estimated
FAR_ERROR = 3e-2  # [1] the same for the first steps from a start: what is known beforehand holds while the coil is sought
MISFIT = 5e-3  # [1] φ from which on the model is said to misfit
TWO_COILS_SUFFICE = 2e-4  # [1] φ below which two coils with a loop each are not enriched: wrong ones leave six times as much
MOVED_PULL = 3.0  # [1] of a gain step against its prior
MOST_RELEASED = 3  # priors let go at most, one reference among them
FIRST_ORDER = 2.0  # [1] that a gain may be larger than to first order
TRIED_RELEASES = 2  # of the most promising ones are tried at a time
HIGHPASS = "highpass"
BLAMES_MODEL = 2e-3  # [1] φ, sought with all references let go, from which on the model is at fault, not a reference
DOUBTED = 4.0  # [1] of χ²: a gain from which on the floor is sought with all references let go
AS_LIKELY = 4.0  # [1] of χ²: another reference that would gain nearly as much may be the wrong one
UNRESOLVED_HZ, UNRESOLVED = 90.0, 0.5  # a loss whose corner lies below, or below so much of R/(2πL), is a slip of something else
UNSEEN_LOSS = 1e4  # [1] of BIC, for a model with such a loss
LOG_TAU = float(np.log(1 / (2 * np.pi * 6000.0)))  # [ln s] a corner in the middle of the band
ROUGH_TOLERANCE, FINE_TOLERANCE = 1e-3, 1e-8  # [1] of χ²
SEARCH_STAGES = ((15, 2), (80, 1))  # evaluations a start, and how many go on
TWO_COIL_STAGES = ((20, 8), (80, 3), (400, 1))
ROUGH_EVALUATIONS, FEW_EVALUATIONS = 80, 10
SURE_EVALUATIONS = 1000  # of a search that has to reach its end
HOPELESS = 10.0  # [1] of the least χ²: a search that is above after some steps is not led to its end
FAR_BEHIND = 1e3  # [1] of the least χ²: a model so far behind is not fitted to the end
SEARCH_THIN, COMPARE_THIN = 3, 2  # every so many frequencies; 16 an octave are far more than a smooth curve needs
TWO_COIL_THIN = 5
STRAYED = 0.5  # [ln H] of one coil's fit from what the resonances say
PROMISING = 0.5  # [1] of one coil's χ² that short runs of two coils must come to, to be worth longer ones
N_DRAWN, N_DRAWN_RICHER = 40, 16  # starts; of 40, at least one led to the best minimum in 35 of 36 searches

SHAKES = 12
SHAKE_STAGE = (12, 3)  # evaluations of each, and how many go on
SHAKEN = {"share": 1.0, "log_tau": 0.5, "field": 0.5, "log_width": 0.5, "log_second": 0.3, "log_coupling": 0.3}  # 1 σ each
LOSS_NAMES = ("share", "log_tau", "field")

Eddies = tuple[tuple[Profile, ...], ...]
ONE_COIL: tuple[Eddies, ...] = (
    ((),),
    (("loop",),),
    (("spread",),),
    (("loop", "loop"),),
    (("spread", "loop"),),
)
THREE_LOOPS: Eddies = (("loop", "loop", "loop"),)
TWO_COILS: tuple[Eddies, ...] = ((("loop",), ("loop",)), (("spread",), ("spread",)), (("loop", "loop"), ("loop", "loop")))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Candidate:
    """A model with the vector that a search under independent errors found for it, and the priors let go in it."""

    model: PickupModel
    fit: JointFit
    released: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rung:
    """One model of the ladder, fitted.

    Attributes
    ----------
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
    blocks : tuple of Block
        How errors were whitened.
    covariance : ndarray, shape (p, p)
        Of the parameter vector.
    rungs : tuple of Rung
        Every model that was tried.
    moved : tuple of str
        Takes before which the coil seems to have moved, though none was said to.
    alternatives : tuple of str
        References that may be wrong instead of the one that was let go.
    """

    problem: Problem
    fit: JointFit
    blocks: tuple[Block, ...]
    covariance: FloatArray
    floor: Floor
    rungs: tuple[Rung, ...]
    moved: tuple[str, ...]
    alternatives: tuple[str, ...] = ()


def model_name(problem: Problem) -> str:
    """Name a model for people.

    Parameters
    ----------
    problem : Problem
        With the circuit of each pickup.

    Returns
    -------
    str
        For example "one coil, two eddy loops"; of several pickups that with most coils.
    """
    model = max(problem.models.values(), key=lambda each: len(each.eddies))
    parts = ["one coil" if len(model.eddies) == 1 else "two coils"]
    profiles = model.eddies[0]
    each = " each" if len(model.eddies) == 2 else ""
    n_loops = profiles.count("loop")
    if "spread" in profiles:
        parts.append(f"a spread of eddy loops{each}")
    if n_loops:
        parts.append(f"{('one', 'two', 'three')[n_loops - 1]} eddy loop{'s' if n_loops > 1 else ''}{each}")
    return ", ".join(parts) if profiles else f"{parts[0]}, no eddy loss"


@one_thread()
def choose_model(evidence: Evidence, *, fixed_floor: Floor | None = None, only: Sequence[PickupModel] | None = None) -> Choice:
    """Climb the ladder and keep the model that the takes call for.

    Parameters
    ----------
    fixed_floor : Floor, optional
        Asked for instead of the estimated one.
    only : sequence of PickupModel, optional
        Models of one coil to choose among, instead of the whole ladder.

    Returns
    -------
    Choice
        With `floor.total` at `MISFIT` or above where no model of the ladder describes the takes.
    """
    choice = _free_gains(_climb(evidence, fixed_floor, only), fixed_floor, only)
    if choice.floor.total < MISFIT or only is not None or not _is_one_coil(choice):
        return choice
    two = _climb_two_coils(evidence, choice, fixed_floor)
    if two is None or two.floor.total >= 0.5 * choice.floor.total:
        return choice
    blocks, log_determinant = floor_blocks(two.rungs[0].problem, two.floor)
    one_coil = choice.rungs if not choice.moved else ()  # under other floors, or of other takes, BIC says nothing
    tried = [_fit_rung(rung.problem, rung.fit.vector, blocks, log_determinant) for rung in (*one_coil, *two.rungs)]
    return _free_gains(replace(two, rungs=tuple(tried)), fixed_floor, [two.problem.model])


def _free_gains(choice: Choice, fixed_floor: Floor | None, only: Sequence[PickupModel] | None) -> Choice:
    """Let the gains of the takes go before which the coil seems to have moved; of a misfit all of them at once."""
    moved: list[str] = []
    while suspects := _moved_takes(choice):
        if choice.floor.total < MISFIT:
            suspects = suspects[:1]
        elif _floor_with_gains_free(choice).total >= MISFIT:
            return choice  # no coil that moved explains it
        evidence = choice.problem.evidence
        moved += [evidence.takes[suspect].name for suspect in suspects]
        takes = [replace(take, coil_moved=take.coil_moved or index in suspects) for index, take in enumerate(evidence.takes)]
        again = _climb(replace(evidence, takes=tuple(takes)), fixed_floor, only)
        if choice.floor.total >= MISFIT and again.floor.total >= MISFIT:
            return choice
        choice = again
    return replace(choice, moved=tuple(moved))


@lru_cache(maxsize=16)
def _problem_of(evidence: Evidence, model: PickupModel, thin: int, released: tuple[str, ...]) -> Problem:
    """Lay out once what several searches begin at."""
    return build_problem(evidence, model, thin=thin, released=released)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Comparison:
    """Models under one floor, and what was found below winners by where it began."""

    floor: Floor
    blocks: tuple[Block, ...]
    log_determinant: float
    rungs: tuple[Rung, ...]
    below: dict[tuple[object, ...], Rung] = field(default_factory=dict)

    @property
    def best(self) -> Rung:
        return min(self.rungs, key=lambda rung: rung.bic)


def _climb(evidence: Evidence, fixed_floor: Floor | None, only: Sequence[PickupModel] | None) -> Choice:
    if only is not None:
        return _choose(evidence, _fit_one_coil(evidence, [model.eddies for model in only]), fixed_floor)
    compared = _compare(evidence, _fit_one_coil(evidence, ONE_COIL), fixed_floor)
    if compared.floor.total >= BLAMES_MODEL and _is_steep(compared):
        again = _compare(evidence, _fit_one_coil(evidence, ONE_COIL, released=(HIGHPASS,)), fixed_floor)
        compared = again if again.floor.total < 0.5 * compared.floor.total else compared
    if len(compared.best.problem.model.eddies[0]) > 1:  # a third loop has a chance only where a second one helps
        candidates = _from_rungs(compared.rungs)
        candidates.append(_fit_three_loops(evidence, candidates))
        compared = _compare(evidence, candidates, fixed_floor, before=compared)
    return _settle(evidence, compared, fixed_floor)


def _floor_with_gains_free(choice: Choice) -> Floor:
    """Floor that would be left, to first order, were every take's gain its own."""
    parameters = [
        replace(each, prior_std=np.inf) if each.name.startswith("gain_step_") else each for each in choice.problem.parameters
    ]
    free = replace(choice.problem, parameters=tuple(parameters))
    return estimate_floor(free, choice.fit.prediction, choice.fit.vector, near=choice.floor)


def _is_one_coil(choice: Choice) -> bool:
    """See whether there is one pickup, taken for one coil so far."""
    return [len(model.eddies) for model in choice.problem.models.values()] == [1]


def _choose(evidence: Evidence, candidates: Sequence[Candidate], fixed_floor: Floor | None) -> Choice:
    """Compare the candidates, and refit the winner under its own floor."""
    return _settle(evidence, _compare(evidence, candidates, fixed_floor), fixed_floor)


def _compare(
    evidence: Evidence, candidates: Sequence[Candidate], fixed_floor: Floor | None, *, before: _Comparison | None = None
) -> _Comparison:
    """Fit the candidates under the floor of the best fitting one; `before` compared a similar set of models."""
    problems = [_problem_of(evidence, each.model, COMPARE_THIN, each.released) for each in candidates]
    richest = int(np.argmin([candidate.fit.chi_square for candidate in candidates]))
    floor = fixed_floor or _floor_without_references(
        problems[richest], candidates[richest].fit.vector, before.floor if before is not None else None
    )
    blocks, log_determinant = floor_blocks(problems[richest], floor)
    below = before.below if before is not None and astuple(floor) == astuple(before.floor) else {}
    least = candidates[richest].fit.chi_square
    best = _fit_rung(problems[richest], candidates[richest].fit.vector, blocks, log_determinant)
    hopeless = HOPELESS * best.fit.chi_square
    rungs = []
    for problem, candidate in zip(problems, candidates, strict=True):
        if problem is problems[richest]:
            rungs.append(best)
            continue
        most = ROUGH_EVALUATIONS if candidate.fit.chi_square < FAR_BEHIND * least else FEW_EVALUATIONS
        start = candidate.fit.vector
        rungs.append(_fit_rung(problem, start, blocks, log_determinant, most_evaluations=most, hopeless=hopeless))
    # of two coils the minima are many: a search that ended in a wrong one would blame a reference
    if floor.total < BLAMES_MODEL and len(problems[richest].model.eddies) == 1:
        best = min(rungs, key=lambda rung: rung.bic)
        rungs = [_let_go(rung, blocks, log_determinant, best) for rung in rungs]
    if floor.total < MISFIT:  # of what misfits, it does not matter which
        rungs = _step_down(rungs, blocks, log_determinant, below)
    return _Comparison(floor=floor, blocks=blocks, log_determinant=log_determinant, rungs=tuple(rungs), below=below)


def _is_steep(compared: _Comparison) -> bool:
    """See whether unequal high-passes may be behind a misfit: far from them, a search finds no way there by itself."""
    rung = min(compared.rungs, key=lambda each: each.fit.chi_square)
    if HIGHPASS in rung.problem.released:
        return False
    gain = release_gains(rung.problem, compared.blocks, rung.fit).get(HIGHPASS, 0.0)
    return gain > penalty(rung.problem)


def _floor_without_references(problem: Problem, vector: FloatArray, near: Floor | None) -> Floor:
    """Floor of the takes themselves: a reference that is wrong must not pass for a model that misfits."""
    free = _release(problem, [parameter.name for parameter in problem.parameters])
    blocks = independent_blocks(problem, FIRST_ERROR)
    prediction = predict_residual(problem, vector)
    fit = JointFit(vector=vector, chi_square=0.0, prediction=prediction, n_evaluations=1)
    if max(release_gains(problem, blocks, fit).values(), default=0.0) > DOUBTED:
        fit = search_joint(free, blocks, vector, tolerance=ROUGH_TOLERANCE, most_evaluations=ROUGH_EVALUATIONS)
    return estimate_floor(free, fit.prediction, fit.vector, near=near)


def _release(problem: Problem, names: Sequence[str]) -> Problem:
    released = tuple(
        parameter.name for parameter in problem.parameters if parameter.name in names and released_std(parameter) is not None
    )
    return replace(problem, parameters=tuple(widen_priors(problem.parameters, released)), released=released)


def _let_go(rung: Rung, blocks: Sequence[Block], log_determinant: float, leader: Rung) -> Rung:
    """Let tight priors go that the takes contradict, one after the other, as long as BIC falls and may come to the leader's."""
    hopeless = HOPELESS * leader.fit.chi_square
    tight = _hold(rung.problem).parameters
    while len(rung.problem.released) < MOST_RELEASED:
        gains = release_gains(rung.problem, blocks, rung.fit)
        in_reach = FIRST_ORDER * sum(sorted(gains.values())[-MOST_RELEASED:])
        if rung.bic - in_reach > leader.bic:
            return rung
        if any(is_reference(name) for name in rung.problem.released):
            gains = {name: gain for name, gain in gains.items() if not is_reference(name)}
        promising = sorted((name for name, gain in gains.items() if gain > penalty(rung.problem)), key=lambda name: -gains[name])
        tried = [
            _fit_rung(
                _release(rung.problem, [*rung.problem.released, name]),
                rung.fit.vector,
                blocks,
                log_determinant,
                hopeless=hopeless,
            )
            for name in promising[:TRIED_RELEASES]
        ]
        best = min(tried, key=lambda each: each.bic, default=rung)
        if best.bic >= rung.bic:
            return rung
        if not is_possible(best.problem, best.fit.vector, tight):
            again = _fit_rung(rung.problem, best.fit.vector, blocks, log_determinant, hopeless=hopeless)
            return again if again.bic < rung.bic else rung
        rung = best
        if rung.fit.chi_square > hopeless:
            return rung
    return rung


def _which_reference(rung: Rung, blocks: Sequence[Block], log_determinant: float) -> tuple[Rung, tuple[str, ...]]:
    """Let each reference go in place of the one that was, and find those that explain the takes nearly as well.

    Each search runs to its end: a short one stops in the narrow valley between a reference and the losses, and blames whichever
    reference was let go first.

    Returns
    -------
    rung : Rung
        As it was, unless another reference explains the takes better.
    alternatives : tuple of str
        The other references that may be the wrong one.
    """
    gone = [name for name in rung.problem.released if is_reference(name)]
    if not gone:
        return rung, ()
    base = build_problem(
        rung.problem.evidence,
        rung.problem.model,
        thin=COMPARE_THIN,
        released=[name for name in rung.problem.released if name not in gone],
    )
    start = rung.fit.vector.copy()
    for index, parameter in enumerate(base.parameters):
        start[index] = parameter.prior_mean if parameter.name in gone else start[index]
    held = _fit_rung(base, start, blocks, log_determinant)
    others = [name for name in release_gains(base, blocks, held.fit) if is_reference(name) and name not in gone]
    tried = {gone[0]: rung}
    for name in others:
        free = _release(base, [*base.released, name])
        tried[name] = _fit_rung(free, held.fit.vector, blocks, log_determinant, most_evaluations=SURE_EVALUATIONS)
    best = min(tried.values(), key=lambda each: each.bic)
    if rung.bic < best.bic + AS_LIKELY:
        best = rung
    return best, tuple(name for name, each in tried.items() if each is not best and each.bic < best.bic + AS_LIKELY)


def _settle(evidence: Evidence, compared: _Comparison, fixed_floor: Floor | None) -> Choice:
    """Search on around the winner, and refit it under its own floor on all points."""
    is_misfit = compared.floor.total >= MISFIT
    best = compared.best if is_misfit else _shake(compared.best, compared.blocks, compared.log_determinant)
    best, alternatives = _which_reference(best, compared.blocks, compared.log_determinant)
    rungs = [best if rung.problem.model == best.problem.model else rung for rung in compared.rungs]
    own = fixed_floor or estimate_floor(best.problem, best.fit.prediction, best.fit.vector, near=compared.floor)
    problem = build_problem(evidence, best.problem.model, released=best.problem.released)
    blocks, _ = floor_blocks(problem, own)
    fit = fit_joint(problem, blocks, best.fit.vector, tolerance=ROUGH_TOLERANCE if is_misfit else FINE_TOLERANCE)
    return Choice(
        problem=problem,
        fit=fit,
        blocks=blocks,
        covariance=covariance_of(problem, blocks, fit.prediction),
        floor=own,
        rungs=tuple(rungs),
        moved=(),
        alternatives=alternatives,
    )


def _from_rungs(rungs: Sequence[Rung]) -> list[Candidate]:
    return [Candidate(model=rung.problem.model, fit=rung.fit, released=rung.problem.released) for rung in rungs]


def _fit_rung(
    problem: Problem,
    start: FloatArray,
    blocks: Sequence[Block],
    log_determinant: float,
    *,
    most_evaluations: int = ROUGH_EVALUATIONS,
    hopeless: float = np.inf,
) -> Rung:
    fit = search_joint(
        problem, blocks, start, tolerance=ROUGH_TOLERANCE / 10, most_evaluations=most_evaluations, hopeless=hopeless
    )
    n_points = 2 * len(problem.data)
    bic = fit.chi_square + log_determinant + (len(fit.vector) + 2) * np.log(n_points)
    bic += len(problem.released) * penalty(problem)
    if has_unseen_loss(problem, fit.vector):
        bic += UNSEEN_LOSS
    return Rung(problem=problem, fit=fit, bic=float(bic), reduced_chi_square=fit.chi_square / n_points)


def has_unseen_loss(problem: Problem, vector: FloatArray) -> bool:
    """See whether a loss has its corner where the takes resolve none: below, a coil's resistance rules, and nothing turns."""
    p = name_values(problem, vector)
    for suffix in suffixes_of(problem).values():
        turn_hz = float(np.exp(p[f"log_resistance{suffix}"] - p[f"log_inductance{suffix}"])) / (2 * np.pi)
        lowest_hz = max(UNRESOLVED_HZ, UNRESOLVED * turn_hz)
        taus = [value for name, value in p.items() if name.startswith("log_tau_") and name.endswith(suffix)]
        if any(1 / (2 * np.pi * np.exp(tau)) < lowest_hz for tau in taus):
            return True
    return False


def _shake(rung: Rung, blocks: Sequence[Block], log_determinant: float) -> Rung:
    """Search on from around a winner with several losses: under the floor's tight errors its minima are many and narrow."""
    if sum(len(profiles) for profiles in rung.problem.model.eddies) < 2:
        return rung
    rng = np.random.default_rng(0)
    spread = np.array([_shaken_by(parameter.name) for parameter in rung.problem.parameters])
    starts = [rung.fit.vector + spread * rng.standard_normal(len(spread)) for _ in range(SHAKES)]
    short, n_kept = SHAKE_STAGE
    tried = [
        search_joint(rung.problem, blocks, start, tolerance=ROUGH_TOLERANCE / 10, most_evaluations=short) for start in starts
    ]
    tried.sort(key=lambda fit: fit.chi_square)
    for fit in tried[:n_kept]:
        again = _fit_rung(rung.problem, fit.vector, blocks, log_determinant, hopeless=HOPELESS * rung.fit.chi_square)
        rung = again if again.bic < rung.bic else rung
    return rung


def _shaken_by(name: str) -> float:
    return next((size for part, size in SHAKEN.items() if name.startswith(part)), 0.0)


def _step_down(
    rungs: Sequence[Rung], blocks: Sequence[Block], log_determinant: float, below: dict[tuple[object, ...], Rung]
) -> list[Rung]:
    """Try the winner less one loss: a simpler model may only have missed its minimum; what stands in `below` was tried."""
    by_eddies = {rung.problem.model.eddies: rung for rung in rungs}
    while True:
        best = min(by_eddies.values(), key=lambda rung: rung.bic)
        improved = False
        for eddies, known in _simpler(best):
            if eddies not in by_eddies:
                continue
            rung = by_eddies[eddies]
            problem = _release(_hold(rung.problem), best.problem.released)
            start = start_vector(problem, known)
            key = (eddies, problem.released, start.tobytes(), best.bic)
            if key not in below:
                begun = _fit_rung(problem, start, blocks, log_determinant, hopeless=HOPELESS * best.fit.chi_square)
                below[key] = _let_go(begun, blocks, log_determinant, best)
            again = below[key]
            if again.bic < rung.bic:
                by_eddies[eddies] = again
                improved = improved or again.bic < best.bic
        if not improved:
            return list(by_eddies.values())


def _hold(problem: Problem) -> Problem:
    """Take back what was let go."""
    return _problem_of(problem.evidence, problem.model, COMPARE_THIN, ()) if problem.released else problem


def _simpler(rung: Rung) -> list[tuple[Eddies, dict[str, float]]]:
    """Models with one loss less, or a loop for a spread, that begin where a richer one ended."""
    profiles = rung.problem.model.eddies[0]
    if len(rung.problem.model.eddies) > 1 or len(profiles) < 2:
        return []
    known = name_values(rung.problem, rung.fit.vector)
    if profiles[0] == "spread":
        return [((("loop", "loop"),), known)]
    out: list[tuple[Eddies, dict[str, float]]] = []
    for dropped in range(len(profiles)):
        kept = [index for index in range(len(profiles)) if index != dropped]
        moved = _losses_kept(known, kept)
        fewer = tuple(profiles[index] for index in kept)
        out.append(((fewer,), known | moved))
    return out


def _losses_kept(known: dict[str, float], kept: Sequence[int]) -> dict[str, float]:
    """Values of the losses that stay, of every pickup and coil, under their new numbers."""
    out = {}
    for new, old in enumerate(kept):
        for name, value in known.items():
            kind, _, rest = name.partition("_0_") if "_0_" in name else ("", "", "")
            number, mark, pickup = rest.partition("@")
            if kind in LOSS_NAMES and number == str(old):
                out[f"{kind}_0_{new}{mark}{pickup}"] = value
    return out


def _search(
    problem: Problem,
    starts: Sequence[FloatArray],
    *,
    stages: tuple[tuple[int, int], ...] = SEARCH_STAGES,
    tolerance: float = ROUGH_TOLERANCE,
    hopeless: float = np.inf,
) -> JointFit:
    """Best of several starts under independent errors: a short run from each, a longer one from the best few.

    It ends early where the runs before the last leave a χ² above `hopeless`.
    """
    vectors = list(starts)
    for most_evaluations, n_kept in stages:
        is_first = most_evaluations == stages[0][0] and len(stages) > 1
        blocks = independent_blocks(problem, FAR_ERROR if is_first else FIRST_ERROR)
        fits = [
            search_joint(problem, blocks, vector, tolerance=tolerance, most_evaluations=most_evaluations) for vector in vectors
        ]
        fits.sort(key=lambda fit: fit.chi_square)
        if not is_first and fits[0].chi_square > hopeless:
            break
        vectors = [fit.vector for fit in fits[:n_kept]]
    return fits[0]


def _fit_one_coil(evidence: Evidence, ladder: Sequence[Eddies], *, released: tuple[str, ...] = ()) -> list[Candidate]:
    """Each model of one coil with up to two losses, from fresh starts and from the fits of simpler ones."""
    fits: dict[Eddies, dict[str, float]] = {}
    candidates = []
    for eddies in ladder:
        model = PickupModel(eddies=eddies)
        problem = _problem_of(evidence, model, SEARCH_THIN, released)
        fit = _search(problem, [start_vector(problem, known) for known in _first_values(eddies[0], fits)])
        fits[eddies] = name_values(problem, fit.vector)
        candidates.append(Candidate(model=model, fit=fit, released=released))
    return candidates


def _fit_three_loops(evidence: Evidence, candidates: Sequence[Candidate]) -> Candidate:
    """Three loops, begun at the best two losses with a third one faster or slower."""
    two = min((c for c in candidates if len(c.model.eddies[0]) == 2), key=lambda candidate: candidate.fit.chi_square)
    known = name_values(_problem_of(evidence, two.model, SEARCH_THIN, ()), two.fit.vector)
    model = PickupModel(eddies=THREE_LOOPS)
    problem = build_problem(evidence, model, thin=SEARCH_THIN, released=two.released)
    fit = _search(problem, [start_vector(problem, known | _weak_loops(2, known, step)) for step in (-1.5, 1.5)])
    return Candidate(model=model, fit=fit, released=two.released)


def _first_values(profiles: tuple[Profile, ...], fits: dict[Eddies, dict[str, float]]) -> list[dict[str, float]]:
    """First values of the losses; loops that begin apart in τ find their places, ones begun at a simpler fit often do not."""
    width = {"log_width_0_0": FIRST_STEP["log_width"]}
    if not profiles:
        return [{}]
    if len(profiles) == 1:
        return [width | _loop(0, FIRST_STEP["share"], LOG_TAU, field) for field in FIRST_FIELDS]
    fresh = [
        width | _loop(0, -1.5, LOG_TAU + first, 0.5) | _loop(1, -1.5, LOG_TAU + second, field)
        for first, second in ((-1.0, 1.0), (0.0, -1.5))
        for field in FIRST_FIELDS[:2]
    ]
    if profiles[0] == "spread" and (("loop", "loop"),) in fits:
        fresh.append(fits[(("loop", "loop"),)] | {"log_width_0_0": -1.5})
    if profiles[0] == "loop" and (("loop",),) in fits:
        known = fits[(("loop",),)]
        fresh.append(known | _weak_loops(1, known, 1.5))
    return fresh


def _weak_loops(index: int, known: dict[str, float], step: float) -> dict[str, float]:
    """Begin a further loop of every pickup weak, slower than its first one by `step` in ln τ."""
    first = "log_tau_0_0"
    suffixes = [name.removeprefix(first) for name in known if name.startswith(first)]
    out = {}
    for suffix in suffixes:
        for name, value in _loop(index, -3.0, known[f"{first}{suffix}"] + step, 0.05).items():
            out[f"{name}{suffix}"] = value
    return out


def _loop(index: int, share: float, log_tau: float, field: float) -> dict[str, float]:
    return {f"share_0_{index}": share, f"log_tau_0_{index}": log_tau, f"field_0_{index}": field}


def _climb_two_coils(evidence: Evidence, one_coil: Choice, fixed_floor: Floor | None) -> Choice | None:
    """Two coils with a loop each; with more losses only where these leave a difference; None where they are no better."""
    loop = next(rung for rung in one_coil.rungs if rung.problem.model.eddies == (("loop",),))
    base = _plausible(loop)
    first = _fit_two_coils(evidence, base, TWO_COILS[0], {}, one_coil=one_coil)
    if first is None:
        return None
    choice = _choose(evidence, [first], fixed_floor)
    if choice.floor.total < TWO_COILS_SUFFICE or choice.floor.total >= one_coil.floor.total:
        return choice
    simplest = name_values(choice.problem, choice.fit.vector)
    richer = [_fit_two_coils(evidence, base, eddies, simplest) for eddies in TWO_COILS[1:]]
    return _choose(evidence, [*_from_rungs(choice.rungs), *(each for each in richer if each is not None)], fixed_floor)


def _fit_two_coils(
    evidence: Evidence, base: dict[str, float], eddies: Eddies, simplest: dict[str, float], *, one_coil: Choice | None = None
) -> Candidate | None:
    """Two coils in series, from many drawn starts: their minima are many, and one coil's fit lies near none of them.

    None where no start comes near enough to halving the difference that one coil leaves.
    """
    model = PickupModel(eddies=eddies)
    coarse = build_problem(evidence, model, thin=TWO_COIL_THIN)
    rng = np.random.default_rng(0)
    known = [_draw_two_coils(rng, base, eddies) for _ in range(N_DRAWN_RICHER if simplest else N_DRAWN)]
    known += [simplest | _further_losses(simplest, step) for step in (-1.2, 1.2)] if simplest else []
    hopeless = np.inf if one_coil is None else PROMISING * _chi_square_of(one_coil, coarse)
    starts = [start_vector(coarse, values) for values in known]
    found = _search(coarse, starts, stages=TWO_COIL_STAGES, tolerance=1e-5, hopeless=hopeless)
    if found.chi_square > hopeless:
        return None
    problem = build_problem(evidence, model, thin=SEARCH_THIN)
    return Candidate(model=model, fit=_search(problem, [found.vector], stages=((200, 1),), tolerance=1e-6))


def _plausible(rung: Rung) -> dict[str, float]:
    """Values of a fit to begin at, or what the resonances say where the misfit drove it away from all that a pickup is."""
    fitted = name_values(rung.problem, rung.fit.vector)
    guess = name_values(rung.problem, start_vector(rung.problem, {}))
    is_near = abs(fitted["log_inductance"] - guess["log_inductance"]) < STRAYED
    return fitted if is_near else guess


def _chi_square_of(choice: Choice, coarse: Problem) -> float:
    """χ² that the fit of another model leaves at the points of a thinned problem, under independent errors."""
    problem = build_problem(choice.problem.evidence, choice.problem.model, thin=TWO_COIL_THIN, released=choice.problem.released)
    blocks = independent_blocks(coarse, FIRST_ERROR)
    return search_joint(problem, blocks, choice.fit.vector, tolerance=ROUGH_TOLERANCE, most_evaluations=1).chi_square


def _further_losses(known: dict[str, float], step: float) -> dict[str, float]:
    """Begin a spread narrow, or a second loop weak, slower or faster than the first by `step` in ln τ."""
    further: dict[str, float] = {}
    for coil in (0, 1):
        further |= {f"log_width_{coil}_0": -1.5, f"share_{coil}_1": -4.0, f"field_{coil}_1": 0.05}
        further[f"log_tau_{coil}_1"] = known[f"log_tau_{coil}_0"] + step
    return further


def _draw_two_coils(rng: np.random.Generator, base: dict[str, float], eddies: Eddies) -> dict[str, float]:
    """First values within what two coils of a pickup usually are (common practice, no source), of the total inductance known."""
    ratio, log_coupling = rng.uniform(-0.26, 0.26), rng.uniform(-2.9, -0.6)
    k = 1 / (1 + np.exp(-log_coupling))
    known = {
        "log_inductance": base["log_inductance"] - np.log(1 + np.exp(ratio) + 2 * k * np.exp(ratio / 2)),
        "log_winding_capacitance": base["log_winding_capacitance"] + np.log(2.0) + rng.uniform(-0.5, 0.5),
        "log_resistance": base["log_resistance"],
        "log_second_inductance": ratio,
        "log_second_resistance": ratio,
        "log_second_winding_capacitance": rng.uniform(-1.0, 1.0),
        "log_second_excitation": rng.uniform(-3.0, 0.3),
        "log_coupling": log_coupling,
    }
    for coil, profiles in enumerate(eddies):
        for index in range(len(profiles)):
            share, corner_hz = rng.uniform(0.15, 0.5) ** 2, np.exp(rng.uniform(np.log(2e3), np.log(18e3)))
            loop = (np.log(share / (1 - share)), -np.log(2 * np.pi * corner_hz), rng.uniform(0.0, 1.4))
            known |= {f"{name}_{coil}_{index}": float(value) for name, value in zip(LOSS_NAMES, loop, strict=True)}
    return known


def _moved_takes(choice: Choice) -> list[int]:
    """List the takes whose gain steps lie beyond what their priors allow, the farthest first."""
    pulls: dict[int, float] = {}
    for index, parameter in enumerate(choice.problem.parameters):
        if not parameter.name.startswith("gain_step_"):
            continue
        told = parameter.prior_std**2 - choice.covariance[index, index]
        pull = abs(choice.fit.vector[index]) / np.sqrt(told) if told > 0 else 0.0
        if pull > MOVED_PULL:
            pulls[int(parameter.name.rsplit("_", 1)[1])] = float(pull)
    return sorted(pulls, key=lambda take: -pulls[take])
