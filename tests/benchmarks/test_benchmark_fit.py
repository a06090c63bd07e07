"""Fits beside the same work done the plain way; the ratio is what counts."""

import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
from lmfit import Minimizer, Parameters

from fit.answers.pickup.characterisation import characterise_pickup
from fit.estimate.joint import fit_joint, independent_blocks
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from tests import guitar_cases as cases
from tests.benches import draw_bench
from tests.guitar_evidence import evidence_of_guitar

ROUNDS = 15
FIRST = {"share_0_0": -1.5, "log_tau_0_0": np.log(1 / (2 * np.pi * 6000.0)), "field_0_0": 0.5}
RELATIVE_ERROR = 1e-3


def plain_residual(parameters, takes):
    """One frequency after the other, one take after the other, as it reads in a textbook."""
    p = parameters.valuesdict()
    rows = []
    share = 1 / (1 + np.exp(-p["share_0_0"]))
    for index, (take, added) in enumerate(takes):
        gain = np.exp(p["log_gain_0"] + (p["gain_step_1"] if index else 0.0))
        for frequency, measured, weight in take:
            s = 2j * np.pi * frequency
            profile = s * np.exp(p["log_tau_0_0"]) / (1 + s * np.exp(p["log_tau_0_0"]))
            impedance = np.exp(p["log_resistance"]) + s * np.exp(p["log_inductance"]) * (1 - share * profile)
            turn = -2 / np.pi * np.log(s / (2000 * np.pi))
            admittance = s * (
                np.exp(p["log_winding_capacitance"])
                + np.exp(p["log_input_capacitance"] + p["loss_input_capacitance"] * turn)
                + (np.exp(p["log_added_0"] + p["loss_added_0"] * turn) if added else 0.0)
            )
            admittance += np.exp(-p["log_input_resistance"])
            field = 1 - p["field_0_0"] * profile
            model = gain * s * field / (1 + impedance * admittance) * np.exp(-s * p["delay"] / 48000.0)
            residual = np.log(model / measured) * weight
            rows += [residual.real, residual.imag]
    return rows


def plain_fit(problem, start):
    parameters = Parameters()
    for parameter, value in zip(problem.parameters, start, strict=True):
        parameters.add(parameter.name, value=value)
    weights = np.sqrt(2 / (problem.noise**2 + RELATIVE_ERROR**2))
    takes = []
    for index in (0, 1):
        points = problem.take_of_point == index
        rows = zip(problem.frequency_hz[points].tolist(), problem.data[points].tolist(), weights[points].tolist(), strict=True)
        takes.append((list(rows), index == 1))
    priors = [p for p in problem.parameters if np.isfinite(p.prior_std)]

    def residual(current):
        values = current.valuesdict()
        extra = [(values[p.name] - p.prior_mean) / p.prior_std for p in priors]
        return np.array(plain_residual(current, takes) + extra)

    return Minimizer(residual, parameters, scale_covar=False, calc_covar=False).leastsq(ftol=1e-7)


def timed(call):
    start = time.perf_counter()
    result = call()
    return time.perf_counter() - start, result


def test_joint_fit_beside_a_plain_one(benchmark):
    """One model from one start, to the same minimum: exact Jacobian and whole arrays against differences and a loop."""
    evidence, _ = draw_bench(2, n_loops=1)
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)))
    start = start_vector(problem, FIRST)
    blocks = independent_blocks(problem, RELATIVE_ERROR)
    plain_s, plain = timed(lambda: plain_fit(problem, start))
    ours_s, ours = min((timed(lambda: fit_joint(problem, blocks, start)) for _ in range(ROUNDS)), key=lambda pair: pair[0])
    for parameter, value in zip(problem.parameters, ours.vector, strict=True):
        # differences leave the plain fit this near the minimum
        assert abs(plain.params[parameter.name].value - value) < 0.02 * max(1.0, abs(value)), parameter.name
    assert ours.chi_square <= plain.chisqr * (1 + 1e-6)
    benchmark.extra_info["ratio"] = plain_s / ours_s
    benchmark(lambda: fit_joint(problem, blocks, start))
    print(f"\njoint fit {1e3 * ours_s:.1f} ms, plain {1e3 * plain_s:.0f} ms, {plain_s / ours_s:.0f} times faster")


def test_time_of_a_fit_over_takes(benchmark):
    """The same fit over two takes and over four: the time grows no faster than the number of points."""
    evidence, _ = draw_bench(2, n_loops=1)
    again = tuple(replace(take, name=f"{take.name} again") for take in evidence.takes)
    times = {}
    for label, takes in (("two", evidence.takes), ("four", (*evidence.takes, *again))):
        problem = build_problem(replace(evidence, takes=takes), PickupModel(eddies=(("loop",),)))
        blocks, start = independent_blocks(problem, RELATIVE_ERROR), start_vector(problem, FIRST)
        runs = [timed(lambda p=problem, b=blocks, v=start: fit_joint(p, b, v)) for _ in range(ROUNDS)]
        times[label] = min(seconds / fit.n_evaluations for seconds, fit in runs)
    benchmark.extra_info["ratio"] = times["four"] / times["two"]
    benchmark.pedantic(lambda: fit_joint(problem, blocks, start), rounds=3)
    print(f"\nan evaluation over four takes takes {times['four'] / times['two']:.2f} of that over two")


def test_help_beside_the_import_of_numpy(benchmark):
    commands = {
        "help": [sys.executable, "-c", "from fit.desk.command.main import run; run()", "--help"],
        "numpy": [sys.executable, "-c", "import numpy"],
    }

    def run(name):
        return subprocess.run(commands[name], check=True, capture_output=True)

    assert b"Usage" in run("help").stdout
    pairs = [(timed(lambda: run("help"))[0], timed(lambda: run("numpy"))[0]) for _ in range(ROUNDS)]
    help_s, numpy_s = (float(np.median(times)) for times in zip(*pairs, strict=True))
    ratio = float(np.median([first / second for first, second in pairs]))
    benchmark.extra_info["ratio"] = ratio
    benchmark.pedantic(lambda: run("help"), rounds=3)
    print(f"\n--help {1e3 * help_s:.0f} ms, import numpy {1e3 * numpy_s:.0f} ms, ratio {ratio:.2f}")


def test_whole_answer_over_takes_of_one_placement(benchmark):
    """Three takes and thirty of one placement: the time grows no faster than the takes, and the values are the same."""
    times, values = {}, {}
    for repeats in (1, 10):
        evidence = evidence_of_guitar(cases.draw_bare(5, added=(cases.ADDED, "2n2 ± 1%"), repeats=repeats))
        pairs = [timed(lambda evidence=evidence: characterise_pickup(evidence)) for _ in range(3)]
        times[repeats] = min(time_s for time_s, _ in pairs)
        values[repeats] = pairs[0][1].quantities["inductance"]
    ratio = times[10] / times[1]
    benchmark.extra_info["ratio"] = ratio
    assert abs(values[10].value - values[1].value) < values[1].standard_uncertainty
    benchmark.pedantic(lambda: characterise_pickup(evidence), rounds=1)
    print(f"\nthirty takes over three: {ratio:.1f} times as long, for 10 times the takes")
