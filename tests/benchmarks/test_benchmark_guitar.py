"""How the time of an evaluation of a whole guitar grows with takes and with points."""

import time
from dataclasses import replace

import numpy as np

from fit.estimate.floor import Floor, floor_blocks
from fit.estimate.joint import whiten
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from tests import guitar_cases as cases
from tests.guitar_evidence import evidence_of_guitar

ROUNDS = 9
LOOP = PickupModel(eddies=(("loop",),))


def timed(call):
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def evaluation_s(evidence, *, thin):
    """Residual, Jacobian and whitening under a floor that the takes of a placement share."""
    problem = build_problem(evidence, LOOP, thin=thin)
    vector = start_vector(problem, {})
    blocks, _ = floor_blocks(problem, Floor(smooth=1e-3, rough=3e-4, length_octaves=1.0, is_common=True))

    def evaluate():
        prediction = predict_residual(problem, vector)
        whiten(blocks, np.concatenate([prediction.residual[None, :], prediction.jacobian]))

    evaluate()
    return len(problem.data), min(timed(evaluate) for _ in range(40))


def test_time_of_an_evaluation_over_takes_and_points(benchmark):
    """Three takes of a guitar, six, twelve; every frequency and every third one: the time grows no faster than the points."""
    evidence = evidence_of_guitar(cases.draw_one_pickup(3, kind="one loop"))
    found = {}
    for n_sets in (1, 2, 4):
        takes = [replace(take, name=f"{take.name} {number}") for number in range(n_sets) for take in evidence.takes]
        found[3 * n_sets] = evaluation_s(replace(evidence, takes=tuple(takes)), thin=1)
    thinned = evaluation_s(evidence, thin=3)
    over_takes = found[12][1] / found[3][1]
    over_points = found[3][1] / thinned[1]
    benchmark.extra_info["ratio"] = over_takes
    benchmark.pedantic(lambda: evaluation_s(evidence, thin=3), rounds=1)
    print(
        f"\nan evaluation over twelve takes takes {over_takes:.1f} of that over three; over {found[3][0] / thinned[0]:.1f} times "
        f"the frequencies {over_points:.1f} of that over fewer"
    )
