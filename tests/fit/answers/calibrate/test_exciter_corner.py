"""The exciter's corner, from the current's own response and from two takes of one pickup."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.calibrate import exciter_corner
from fit.answers.calibrate.exciter_corner import COPPER_STD, current_response, find_corner
from measure.response import CHANNEL_DELAY, CHANNEL_GAIN, Origin, Response
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Noise, VirtualBench
from measure.transfer.response import estimate_response
from tests.benches import GRID_HZ, RATE_HZ, smooth_error

NOISE = 3e-5
CARD_HZ = 48000


def current(frequency_hz, corner_hz):
    """100 Ω of 130 Ω in all."""
    return 100 / 130 / (1 + 1j * frequency_hz / corner_hz)


def noisy(value, rng, noise=NOISE) -> Response:
    std = noise * np.abs(value)
    parts = rng.standard_normal((2, len(GRID_HZ)))
    value = value + std / np.sqrt(2) * (parts[0] + 1j * parts[1])
    return Response(
        frequency_hz=GRID_HZ,
        value=value,
        covariance=std[:, None, None] ** 2 / 2 * np.eye(2),
        origin=Origin(rate_hz=RATE_HZ, simulated=True),
    )


def delayed(rng):
    return np.exp(-2j * np.pi * GRID_HZ * 0.05 * rng.standard_normal() / RATE_HZ)


@pytest.mark.long
@pytest.mark.parametrize(("noise", "misfit"), [(5e-4, 0.0), (3e-5, 1e-3)])
def test_intervals_hold_the_corner_as_often_as_they_say(noise, misfit):
    pulls = []
    for seed in range(120):
        rng = np.random.default_rng(seed)
        corner_hz = 10 ** rng.uniform(3.3, 4.5)
        gain = rng.choice([-1.0, 1.0]) * np.exp(0.1 * rng.standard_normal())
        value = gain * current(GRID_HZ, corner_hz) * delayed(rng) * (1 + smooth_error(rng, misfit))
        corner_hz *= np.exp(COPPER_STD * rng.standard_normal())  # it is as warm as it is when the takes follow
        corner = find_corner(noisy(value, rng, noise)).corner
        pulls.append(np.log(corner.value / corner_hz) / (corner.standard_uncertainty / corner.value))
    assert abs(np.mean(pulls)) < 0.3
    assert 0.8 < np.std(pulls) < 1.2
    assert 0.89 < np.mean(np.abs(pulls) < 1.96) < 0.995


def test_the_corner_comes_out_of_a_recording():
    bench = VirtualBench(
        pickup=lambda f: 0.4 * current(f, 9000.0) / (1 - 2j / np.maximum(f, 1e-9)),
        reference=lambda f: 0.4 / (1 - 2j / np.maximum(f, 1e-9)),
        noise=Noise(pickup_white=1e-5, reference_white=1e-5, pickup_hum=(1e-3,)),
        seed=2,
    )
    samples = bench.record(sweep_samples(Sweep(rate_hz=CARD_HZ, duration_s=2.0)), rate_hz=CARD_HZ)
    response = estimate_response([Recording(samples=samples, rate_hz=CARD_HZ, n_bits=24, simulated=True)])
    answer = find_corner(response)
    assert answer.corner.value == pytest.approx(9000.0, rel=2e-3)
    assert answer.corner.standard_uncertainty == pytest.approx(COPPER_STD * 9000, rel=0.05)
    assert answer.budget[0].source == "temperature of the exciter's copper"
    # a third of the resistance is copper, of 0.393 % a kelvin (IEC 60028), and ± 3 K are a rectangular distribution
    by_hand = 0.00393 * 3 / 3 / np.sqrt(3)
    assert answer.budget[0].contribution / answer.corner.value == pytest.approx(by_hand, rel=0.15)
    assert answer.findings == ()
    assert answer.simulated


def test_two_takes_of_one_pickup_tell_it_too():
    rng = np.random.default_rng(4)
    s = 1j * GRID_HZ / 6e3
    pickup = 1e-2 * s / (1 + s / 4 + s**2)
    by_current, by_output = noisy(pickup, rng), noisy(pickup * current(GRID_HZ, 9000.0), rng)
    ratio = current_response(by_output, by_current)
    std = np.sqrt(np.trace(ratio.covariance, axis1=1, axis2=2)) / np.abs(ratio.value)
    np.testing.assert_allclose(std, np.sqrt(2) * NOISE, rtol=1e-3)  # the noise itself is in the value
    chi_square = np.mean(np.abs(ratio.value / current(GRID_HZ, 9000.0) - 1) ** 2 / std**2)
    assert 0.8 < chi_square < 1.25  # 151 points of two parts
    answer = find_corner(ratio)
    assert abs(answer.corner.value - 9000) < 3 * answer.corner.standard_uncertainty
    assert answer.corner.standard_uncertainty < 50


def test_a_shared_calibration_cancels_in_the_ratio():
    rng = np.random.default_rng(5)
    names = (f"{CHANNEL_GAIN}, x", f"{CHANNEL_DELAY}, x")
    rows = np.array([np.full(len(GRID_HZ), 0.01), -2j * np.pi * GRID_HZ * 1e-6])
    takes = []
    for factor in (current(GRID_HZ, 9000.0), np.ones(len(GRID_HZ))):
        bare = noisy(factor, rng)
        takes.append(replace(bare, shifts=rows * bare.value, shift_names=names))
    ratio = current_response(*takes)
    assert ratio.shift_names == names
    np.testing.assert_allclose(ratio.shifts, 0.0, atol=1e-15)
    alone = current_response(takes[0], noisy(np.ones(len(GRID_HZ)), rng))
    np.testing.assert_allclose(alone.shifts / alone.value, rows, rtol=1e-9)


def test_exchanged_inputs_and_a_pickup_in_between_are_refused():
    rng = np.random.default_rng(6)
    exchanged = find_corner(noisy(1 / current(GRID_HZ, 9000.0), rng))
    assert {one.severity for one in exchanged.findings} == {"reject"}
    s = 1j * GRID_HZ / 6e3
    pickup = find_corner(noisy(s / (1 + s / 4 + s**2), rng))
    assert next(one.code for one in pickup.findings if one.severity == "reject") == "corner-misfit"


def test_a_corner_far_above_the_band_is_said_to_be_there():
    rng = np.random.default_rng(7)
    high = find_corner(noisy(current(GRID_HZ, 80e3), rng))
    assert high.corner.value == pytest.approx(80e3, rel=0.2)
    assert {one.code for one in high.findings} <= {"corner-high", "corner-not-told"}
    assert high.findings


def test_what_cannot_be_fitted_is_refused():
    rng = np.random.default_rng(8)
    good = noisy(current(GRID_HZ, 9e3), rng)
    with pytest.raises(ValueError, match="0 usable frequencies, at least 16 are needed"):
        find_corner(replace(good, covariance=good.covariance * 1e12))
    elsewhere = replace(good, frequency_hz=GRID_HZ * 1.01)
    with pytest.raises(ValueError, match="no frequencies in common"):
        current_response(good, elsewhere)


@pytest.mark.parametrize(
    ("factor", "by_hand"),
    [
        (1.0, [[4.0, 1.0], [1.0, 9.0]]),
        (2.0, [[16.0, 4.0], [4.0, 36.0]]),
        (1j, [[9.0, -1.0], [-1.0, 4.0]]),  # i(x + iy) = −y + ix
        (1 + 1j, [[11.0, -5.0], [-5.0, 15.0]]),  # (x − y) + i(x + y)
    ],
)
def test_covariance_of_a_complex_number_times_another(factor, by_hand):
    scaled = exciter_corner._scaled(np.array([[[4.0, 1.0], [1.0, 9.0]]]), np.array([factor], dtype=complex))
    np.testing.assert_allclose(scaled, [by_hand], rtol=1e-14)
