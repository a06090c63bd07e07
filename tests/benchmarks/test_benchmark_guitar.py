"""The fit of a whole guitar beside the FFTs of a take, and how its time grows with takes and with points."""

import time
from dataclasses import replace

import numpy as np
import pytest
import scipy.fft

from fit.answers.pickup.characterisation import characterise_pickup
from fit.estimate.floor import Floor, floor_blocks
from fit.estimate.joint import whiten
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from tests import guitar_cases as cases
from tests.guitar_evidence import evidence_of_guitar
from tests.recorded_guitars import recorded_guitar

ROUNDS = 9
LOOP = PickupModel(eddies=(("loop",),))


def timed(call):
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


@pytest.mark.parametrize("kind", ["one loop", "recorded, two loops"])
def test_whole_answer_beside_the_ffts_of_a_take(benchmark, kind):
    """Ladder, floor, budget and further takes for three takes of a guitar, beside the two FFTs of 10 s at 96 kHz."""
    if kind == "one loop":
        evidence = evidence_of_guitar(cases.draw_one_pickup(3, kind="one loop"))
    else:
        evidence, _ = recorded_guitar("tone-capacitor", ["tone-up", "tone-up-plus-1n", "tone-down"])
    channels = np.random.default_rng(0).standard_normal((2, 960000))
    assert characterise_pickup(evidence).outcome == "good"
    pairs = [
        (timed(lambda: [scipy.fft.rfft(channel) for channel in channels]), timed(lambda: characterise_pickup(evidence)))
        for _ in range(ROUNDS)
    ]
    bare_s, answer_s = (float(np.median(times)) for times in zip(*pairs, strict=True))
    ratio = float(np.median([answer / bare for bare, answer in pairs]))
    benchmark.extra_info["ratio"] = ratio
    benchmark.pedantic(lambda: characterise_pickup(evidence), rounds=2)
    print(f"\n{kind}: whole answer {1e3 * answer_s:.0f} ms, bare FFTs {1e3 * bare_s:.1f} ms, ratio {ratio:.1f}")


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
