"""All takes as a function of one vector: the exact Jacobian of every model, and what is made of the takes."""

import numpy as np
import pytest

from fit.circuit.coil import Profile
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import (
    build_problem,
    every_point,
    name_values,
    points_per_third,
    predict_residual,
    smooth_noise,
    suffixes_of,
    usable_points,
)
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from measure.response import Origin, Response
from tests import laws
from tests.benches import GRID_HZ


# with a reference of the exciter's current, and without one: then the exciter's corner is a parameter
@pytest.mark.long
@pytest.mark.parametrize("reference_kind", ["current", "none"])
@pytest.mark.parametrize("eddies", laws.LADDER, ids=laws.ladder_name)
def test_jacobian_of_every_model_is_exact(eddies: tuple[tuple[Profile, ...], ...], reference_kind: str) -> None:
    problem = build_problem(laws.four_takes(reference_kind=reference_kind), PickupModel(eddies=eddies))
    names = [parameter.name for parameter in problem.parameters]
    assert ("log_exciter_corner" in names) == (reference_kind == "none")
    assert {"log_gain_0", "gain_step_1", "log_gain_2", "gain_step_3", "log_added_0", "log_added_1", "delay"} <= set(names)
    for seed in range(2):
        laws.require_exact_jacobian(problem, laws.vector_near_start(problem, seed), tolerance=1e-8)


def flat_take(name="open", *, frequency_hz=GRID_HZ, value=None, noise=1e-3, **more):
    value = 2j * np.pi * frequency_hz * 1e-4 if value is None else value
    covariance = (noise * np.abs(value))[:, None, None] ** 2 / 2 * np.eye(2)
    response = Response(frequency_hz=frequency_hz, value=value, covariance=covariance, origin=Origin(rate_hz=48000.0))
    return TakeEvidence(name=name, response=response, **more)


def evidence_of(*takes, **more):
    stated = {"input_resistance": parse_quantity("1M ± 1%", "Ω"), "input_capacitance": parse_quantity("185p ± 3p", "F")}
    return Evidence(takes=takes, **stated, **more)


def test_frequencies_of_the_band_count_its_limits_too():
    frequency_hz = np.array([29.9, 30.0, 100.0, 20000.0, 20000.1])
    assert usable_points(flat_take(frequency_hz=frequency_hz)).tolist() == [False, True, True, True, False]


def test_points_drowned_in_noise_are_left_out():
    frequency_hz = np.array([100.0, 1000.0, 10000.0])
    noise = np.array([0.29, 0.31, 0.001])
    take = flat_take(frequency_hz=frequency_hz, noise=noise)
    # the noise's own part is taken out of the magnitude: 0.29/√(1 - 0.29²) = 0.303
    assert usable_points(take).tolist() == [False, False, True]
    assert usable_points(flat_take(frequency_hz=frequency_hz, noise=noise / 1.1)).tolist() == [True, True, True]


def test_noise_of_quiet_points_is_their_own():
    np.testing.assert_allclose(smooth_noise(flat_take(noise=0.004).response), 0.004, rtol=1e-12)


# Of noisy points the magnitude is that of all within a sixth of an octave to either side, their noise's part taken out.
def test_noise_of_noisy_points_is_over_their_neighbours():
    frequency_hz = 1000.0 * 2.0 ** (np.array([-12, -2, 0, 2, 12]) / 16)
    value = frequency_hz * np.array([5.0, 1.0, 2.0, 3.0, 5.0]) * 1j
    std = np.array([0.0, 0.1, 0.4, 0.2, 0.0]) * frequency_hz
    covariance = std[:, None, None] ** 2 / 2 * np.eye(2)
    response = Response(frequency_hz=frequency_hz, value=value, covariance=covariance, origin=Origin(rate_hz=48000.0))
    found = smooth_noise(response)
    signal = (1 + 4 + 9 - 0.01 - 0.16 - 0.04) / 3
    assert found[2] == pytest.approx(0.4 / np.sqrt(signal), rel=1e-9)
    assert (found[0], found[4]) == (0.0, 0.0)
    drowned = Response(frequency_hz=frequency_hz, value=value / 100, covariance=covariance, origin=Origin(rate_hz=48000.0))
    # nothing but noise is left: the magnitude is at least what as many points of noise average to
    assert smooth_noise(drowned)[2] == pytest.approx(0.4 / np.sqrt((0.01 + 0.16 + 0.04) / 9), rel=1e-9)


def test_the_same_frequencies_are_kept_in_all_takes():
    frequency_hz = 1000.0 * 2.0 ** (np.arange(-4, 5) / 16)
    assert every_point(frequency_hz, 1).all()
    assert every_point(frequency_hz, 2).tolist() == [True, False] * 4 + [True]
    assert every_point(frequency_hz[1:], 2).tolist() == [False, True] * 4
    assert every_point(frequency_hz * 1.01, 3).tolist() == [True, False, False] * 3  # off the usual grid: from the first on


def test_points_of_a_third_of_an_octave():
    assert points_per_third([GRID_HZ]) == pytest.approx(16 / 3, rel=1e-9)
    assert points_per_third([100.0 * 2.0 ** (np.arange(5) / 6)]) == pytest.approx(2.0, rel=1e-12)


def test_too_few_usable_frequencies_are_refused():
    few = flat_take("few", frequency_hz=GRID_HZ[40:49])
    with pytest.raises(ValueError, match="take few has 9 usable frequencies between 30 Hz and 20000 Hz, at least 10 are needed"):
        build_problem(evidence_of(few), PickupModel())
    assert len(build_problem(evidence_of(flat_take(frequency_hz=GRID_HZ[40:50])), PickupModel()).data) == 10
    with pytest.raises(ValueError, match="take few has 2 usable"):
        build_problem(evidence_of(flat_take("few", frequency_hz=GRID_HZ[40:48])), PickupModel(), thin=4)
    assert len(build_problem(evidence_of(flat_take(frequency_hz=GRID_HZ[40:50])), PickupModel(), thin=2).data) == 5


def test_takes_are_laid_out_one_behind_the_other():
    takes = flat_take(frequency_hz=GRID_HZ[::2]), flat_take("plus", added=(parse_quantity("1n ± 1%"),))
    problem = build_problem(evidence_of(*takes), PickupModel())
    usable = [int(((f >= 30) & (f <= 20000)).sum()) for f in (GRID_HZ[::2], GRID_HZ)]
    assert np.bincount(problem.take_of_point).tolist() == usable
    assert np.all(np.diff(problem.take_of_point) >= 0)
    assert set(problem.rate_of_point_hz) == {48000.0}
    foreseen = build_problem(evidence_of(*takes), PickupModel(), thin=4, is_foreseen=True)
    np.testing.assert_allclose(foreseen.noise, 1e-3 / 2, rtol=1e-9)
    np.testing.assert_allclose(build_problem(evidence_of(*takes), PickupModel(), thin=4).noise, 1e-3, rtol=1e-9)


@pytest.mark.parametrize("sign", [1, -1])
def test_an_inverted_take_is_turned_back(sign):
    problem = build_problem(evidence_of(flat_take(value=sign * 2j * np.pi * GRID_HZ * 1e-4)), PickupModel())
    assert np.all(problem.data.imag > 0)


def plain(**more):
    """A pickup without losses, with everything at the jack known, and what its response should be."""
    problem = build_problem(
        evidence_of(flat_take(), flat_take("plus", added=(parse_quantity("1n ± 1%"),)), **more), PickupModel()
    )
    vector = np.array([parameter.start for parameter in problem.parameters])
    return problem, {parameter.name: index for index, parameter in enumerate(problem.parameters)}, vector


def ratio_of(problem, at, vector, **values):
    changed = vector.copy()
    for name, value in values.items():
        changed[at[name]] = value
    return np.exp(predict_residual(problem, changed).residual - predict_residual(problem, vector).residual)


def test_gain_step_delay_and_highpass_by_hand():
    problem, at, vector = plain()
    f, second = problem.frequency_hz, problem.take_of_point == 1
    np.testing.assert_allclose(ratio_of(problem, at, vector, log_gain_0=0.3), np.exp(0.3), rtol=1e-9)
    found = ratio_of(problem, at, vector, gain_step_1=0.1)
    np.testing.assert_allclose(found, np.where(second, np.exp(0.1), 1.0), rtol=1e-9)
    np.testing.assert_allclose(ratio_of(problem, at, vector, delay=0.1), np.exp(-2j * np.pi * f * 0.1 / 48000), rtol=1e-9)
    # the pickup's high-pass lies at 7 Hz, the reference's at 5 Hz: f/(f - 7j) over f/(f - 5j)
    found = ratio_of(problem, at, vector, highpass=2.0)
    np.testing.assert_allclose(found, (1j * f + 5) / (1j * f + 7), rtol=1e-9)


def test_response_of_a_plain_pickup_by_hand():
    problem, at, vector = plain()
    for name, value in (("log_inductance", 3.0), ("log_winding_capacitance", 1e-10), ("log_resistance", 7e3)):
        vector[at[name]] = np.log(value)
    vector[[at["loss_input_capacitance"], at["loss_added_0"]]] = 0.0
    s = 2j * np.pi * problem.frequency_hz
    farad = 1e-10 + 185e-12 + 1e-9 * (problem.take_of_point == 1)
    expected = s / (1 + (7e3 + 3 * s) * (s * farad + 1e-6)) / problem.data
    np.testing.assert_allclose(np.exp(predict_residual(problem, vector).residual), expected, rtol=1e-9)


# A card whose clock is fast by c shows every frequency lower by c: all L, C, τ and the delay look larger.
def test_a_fast_clock_enlarges_what_stores_energy():
    problem, at, vector = plain()
    vector[[at["loss_input_capacitance"], at["loss_added_0"]]] = 0.0
    step = 0.01
    names = ("log_inductance", "log_winding_capacitance", "log_input_capacitance", "log_added_0")
    by_hand = ratio_of(problem, at, vector, **{name: vector[at[name]] + step for name in names})
    np.testing.assert_allclose(ratio_of(problem, at, vector, clock=step), by_hand, rtol=1e-9)
    assert set(names) | {"delay"} == set(problem.clocked)
    delayed = ratio_of(problem, at, vector, clock=step, delay=0.2) / by_hand
    expected = np.exp(-2j * np.pi * problem.frequency_hz * 0.2 * np.exp(step) / 48000)
    np.testing.assert_allclose(delayed, expected, rtol=1e-9)


def test_clock_row_is_exact_with_a_delay():
    problem, at, vector = plain()
    vector[[at["delay"], at["clock"], at["highpass"]]] = 0.3, 0.02, 0.5
    laws.require_exact_jacobian(problem, vector, tolerance=1e-8)


def test_the_corner_of_an_exciter_without_reference():
    problem, at, vector = plain(reference_kind="loopback", exciter_corner=parse_quantity("2k ± 1%", "Hz"))
    f = problem.frequency_hz
    found = ratio_of(problem, at, vector, log_exciter_corner=np.log(4000.0))
    np.testing.assert_allclose(found, (1 + 1j * f / 2000) / (1 + 1j * f / 4000), rtol=1e-9)


def test_names_and_suffixes():
    problem, at, vector = plain()
    assert name_values(problem, vector)["highpass_both"] == 5.0
    assert list(name_values(problem, vector)) == list(at)
    assert suffixes_of(problem) == {"": ""}


def test_released_priors_are_wide():
    problem = build_problem(evidence_of(flat_take()), PickupModel(), released=["delay"])
    assert problem.released == ("delay",)
    assert next(one for one in problem.parameters if one.name == "delay").prior_std == 2.0
