"""What a calibration does not know, in the fit: shared by the takes, covered by the intervals, named in the budget."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.pickup.characterisation import characterise_pickup
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.joint import covariance_of, fit_joint, independent_blocks
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import CALIBRATED_RATIO_STD, DELAY_STD_CALIBRATED, DELAY_STD_SAMPLES, PickupModel
from fit.estimate.shifts import is_calibrated, shift_names, shift_rows
from measure.response import CHANNEL_DELAY, CHANNEL_GAIN, Origin, Response
from tests.benches import GRID_HZ, RATE_HZ, draw_bench, quantity

NAMES = (f"{CHANNEL_GAIN}, loopback of today", f"{CHANNEL_DELAY}, loopback of today")
GAIN_STD, DELAY_STD_S = 0.01, 0.3 / RATE_HZ
S = 2j * np.pi * GRID_HZ
ONE_PERCENT = 0.01 / np.sqrt(3)


def calibrated(value, *, rng, noise=2e-5) -> Response:
    std = noise * np.abs(value)
    parts = rng.standard_normal((2, len(GRID_HZ)))
    value = value + std / np.sqrt(2) * (parts[0] + 1j * parts[1])
    return Response(
        frequency_hz=GRID_HZ,
        value=value,
        covariance=std[:, None, None] ** 2 / 2 * np.eye(2),
        shifts=np.stack([GAIN_STD * value, -S * DELAY_STD_S * value]),
        shift_names=NAMES,
        origin=Origin(rate_hz=RATE_HZ, simulated=True),
    )


def impedance_bench(seed: int, *, mismatch: float = 1.0) -> tuple[Evidence, dict[str, float]]:
    """Two takes through a series resistor, bare and with 1 nF; one drawn error of the calibration in both, times `mismatch`."""
    rng = np.random.default_rng(seed)
    inductance_h, winding_f, dcr_ohm = rng.uniform(2, 5), rng.uniform(70e-12, 150e-12), rng.uniform(5e3, 9e3)
    series_ohm, added_f = 100e3 * (1 + ONE_PERCENT * rng.standard_normal()), 1e-9 * (1 + ONE_PERCENT * rng.standard_normal())
    input_ohm, input_f = 1e6 * (1 + ONE_PERCENT * rng.standard_normal()), 185e-12 * (1 + 0.0094 * rng.standard_normal())
    wrong = np.exp(mismatch * (GAIN_STD * rng.standard_normal() - S * DELAY_STD_S * rng.standard_normal()))
    wrong = wrong * np.exp(-S * DELAY_STD_CALIBRATED / RATE_HZ * rng.standard_normal())
    takes = []
    for name, farad in (("open", 0.0), ("plus-1n", added_f)):
        admittance = S * (winding_f + input_f + farad) + 1 / input_ohm + 1 / (dcr_ohm + S * inductance_h)
        value = wrong * np.exp(CALIBRATED_RATIO_STD * rng.standard_normal()) / (1 + series_ohm * admittance)
        added = (quantity(1e-9, ONE_PERCENT, "F"),) if farad else ()
        series = quantity(100e3, ONE_PERCENT, "Ω")
        response = calibrated(value, rng=rng)
        takes.append(TakeEvidence(name=name, response=response, added=added, method="impedance", series_resistor=series))
    evidence = Evidence(
        takes=tuple(takes), input_resistance=quantity(1e6, ONE_PERCENT, "Ω"), input_capacitance=quantity(185e-12, 0.0094, "F")
    )
    truth = {"log_inductance": inductance_h, "log_winding_capacitance": winding_f, "log_resistance": dcr_ohm}
    return evidence, truth


def pulls(n: int, *, mismatch: float) -> np.ndarray:
    """Errors over their standard uncertainties, shape (n, 3)."""
    rows = []
    for seed in range(n):
        evidence, truth = impedance_bench(seed, mismatch=mismatch)
        problem = build_problem(evidence, PickupModel())
        blocks = independent_blocks(problem, 0.0)
        names = [parameter.name for parameter in problem.parameters]
        start = np.array([np.log(truth[one.name]) if one.name in truth else one.start for one in problem.parameters])
        fit = fit_joint(problem, blocks, start)
        std = np.sqrt(np.diag(covariance_of(problem, blocks, fit.prediction)))
        at = [names.index(name) for name in truth]
        rows.append((fit.vector[at] - np.log(list(truth.values()))) / std[at])
    return np.array(rows)


@pytest.mark.long
def test_intervals_cover_a_drawn_mismatch_of_the_inputs():
    found = pulls(200, mismatch=1.0)
    assert np.all(np.abs(found.mean(axis=0)) < 0.25)
    assert np.all((found.std(axis=0) > 0.85) & (found.std(axis=0) < 1.15))
    inside = np.mean(np.abs(found) < 1.96, axis=0)
    assert np.all((inside > 0.9) & (inside < 0.99))


@pytest.mark.long
def test_a_mismatch_beyond_what_is_stated_shows():
    found = pulls(40, mismatch=5.0)
    assert np.all(found.std(axis=0)[[0, 2]] > 1.5)


def test_takes_that_share_a_calibration_share_its_error():
    evidence, _ = impedance_bench(1)
    problem = build_problem(evidence, PickupModel())
    assert [one.source for one in problem.parameters if one.name.startswith("shift_")] == list(NAMES)
    assert {one.prior_std for one in problem.parameters if one.name.startswith("log_gain_")} == {CALIBRATED_RATIO_STD}
    other = replace(evidence.takes[1], response=replace(evidence.takes[1].response, shift_names=("another", "error")))
    apart = build_problem(replace(evidence, takes=(evidence.takes[0], other)), PickupModel())
    assert [one.source for one in apart.parameters if one.name.startswith("shift_")] == [*NAMES, "another", "error"]
    row = apart.shifts["shift_0"]
    np.testing.assert_array_equal(row[apart.take_of_point == 1], 0.0)
    np.testing.assert_allclose(row[apart.take_of_point == 0], GAIN_STD, rtol=1e-12)


def test_derivatives_by_the_shifts_are_those_of_the_residual():
    evidence, _ = impedance_bench(2)
    problem = build_problem(evidence, PickupModel())
    vector = np.array([one.start for one in problem.parameters])
    vector[-2:] = 0.7, -1.3
    jacobian = predict_residual(problem, vector).jacobian
    for index in (-2, -1):
        step = np.zeros(len(vector))
        step[index] = 1e-5
        numeric = (predict_residual(problem, vector + step).residual - predict_residual(problem, vector - step).residual) / 2e-5
        # central difference: third order in 1e-5 times a phase of up to 0.8
        np.testing.assert_allclose(jacobian[index], numeric, rtol=1e-6, atol=1e-9)


@pytest.mark.long
def test_the_budget_names_the_calibration():
    evidence, truth = impedance_bench(3)
    answer = characterise_pickup(evidence)
    sources = {one.source: one.contribution for one in answer.budget["inductance"]}
    # an exact model tells most of the gain from the takes themselves; what is left counts more than their noise
    assert sources[NAMES[0]] > 0.02 * answer.quantities["inductance"].standard_uncertainty
    assert sources[NAMES[0]] > 10 * sources["noise"]
    assert NAMES[1] in sources
    assert answer.outcome == "good"
    estimate = answer.quantities["inductance"]
    assert abs(estimate.value - truth["log_inductance"]) < 3 * estimate.standard_uncertainty


def test_without_a_calibration_nothing_is_added():
    evidence, _ = draw_bench(1)
    problem = build_problem(evidence, PickupModel())
    assert problem.shifts == {}
    assert not any(one.name.startswith("shift_") for one in problem.parameters)
    assert next(one for one in problem.parameters if one.name == "delay").prior_std == pytest.approx(DELAY_STD_SAMPLES)


def shifted_take(name, rows):
    """Three frequencies, with the value 2j at all of them and the named rows of shifts."""
    return TakeEvidence(
        name=name,
        response=Response(
            frequency_hz=np.array([100.0, 200.0, 300.0]),
            value=np.full(3, 2j),
            covariance=np.zeros((3, 2, 2)),
            shifts=np.array(list(rows.values()), dtype=complex) if rows else np.zeros((0, 3), dtype=complex),
            shift_names=tuple(rows),
            origin=Origin(rate_hz=RATE_HZ),
        ),
    )


def evidence_with(*takes):
    evidence, _ = draw_bench(1)
    return replace(evidence, takes=takes)


TODAY = {NAMES[0]: [0.2, 0.4, 0.6], NAMES[1]: [2j, 4j, 6j]}


def test_every_row_has_one_parameter_in_the_order_of_the_takes():
    evidence = evidence_with(shifted_take("a", TODAY), shifted_take("b", {"other": [1, 1, 1], NAMES[1]: [2, 2, 2]}))
    assert shift_names(evidence) == {NAMES[0]: "shift_0", NAMES[1]: "shift_1", "other": "shift_2"}
    assert shift_names(evidence_with(shifted_take("a", {}))) == {}


def test_rows_are_relative_to_the_response_and_nothing_elsewhere():
    evidence = evidence_with(shifted_take("a", TODAY), shifted_take("b", {NAMES[1]: [2, 4, 6]}))
    kept = [np.array([True, False, True]), np.array([False, True, True])]
    rows = shift_rows(evidence, kept)
    np.testing.assert_allclose(rows["shift_0"], [-0.1j, -0.3j, 0, 0], rtol=1e-14)
    np.testing.assert_allclose(rows["shift_1"], [1, 3, -2j, -3j], rtol=1e-14)


def test_calibrated_is_what_a_loopback_compared():
    assert is_calibrated(shifted_take("a", TODAY))
    assert not is_calibrated(shifted_take("a", {NAMES[1]: [1, 1, 1]}))
    assert not is_calibrated(shifted_take("a", {}))
