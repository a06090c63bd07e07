"""Calibration: what a card does is undone exactly, a loopback undoes what two inputs do, and what does not fit is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from measure.errors import CalibrationError
from measure.response import Response
from measure.signal.recording import Recording
from measure.source.virtual import Noise
from measure.transfer.calibration import (
    Calibration,
    Curve,
    apply_calibration,
    curve_at,
    judge_age,
    require_match,
)
from measure.transfer.loopback import Loopback, solve_loopback
from measure.transfer.response import estimate_response
from tests.two_inputs import MADE, RATE_HZ, made_loopback, mismatch, output, pickup, played, recorded

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-80, 71) / 16)
LIMIT_DB, LIMIT_DEGREE = 0.002, 0.02


@pytest.fixture
def loopback() -> Loopback:
    return made_loopback()


def drawn_response(rng: np.random.Generator, n_shifts: int) -> Response:
    n = len(GRID_HZ)
    root = rng.standard_normal((n, 2, 2)) * 1e-3
    value = np.exp(rng.standard_normal(n) + 1j * rng.uniform(-3, 3, n))
    shifts = 1e-3 * (rng.standard_normal((n_shifts, n)) + 1j * rng.standard_normal((n_shifts, n)))
    names = tuple(f"row {index}" for index in range(n_shifts))
    covariance = root @ root.transpose(0, 2, 1)
    return Response(frequency_hz=GRID_HZ, value=value, covariance=covariance, shifts=shifts, shift_names=names)


def drawn_calibration(rng: np.random.Generator) -> Calibration:
    slopes = rng.uniform(-0.05, 0.05, 4)
    octaves = np.log2(GRID_HZ / 1000)
    log_ratio = slopes[0] + slopes[1] * octaves + 1j * (slopes[2] * octaves + slopes[3]) - 2e-5j * GRID_HZ
    curve = Curve(frequency_hz=GRID_HZ, value=np.exp(log_ratio), relative_std=np.full(len(GRID_HZ), 1e-6))
    return Calibration(channels=curve, card=curve, gain_std=1e-3, delay_std_s=1e-7, rate_hz=RATE_HZ, time_utc=MADE)


def embedded(response: Response, calibration: Calibration, *, is_referred: bool) -> Response:
    """Through the card: as real pairs (re, im) turns by [[a, −b], [b, a]] of the ratio a + jb."""
    curve = calibration.channels if is_referred else calibration.card
    a, b = curve.value.real, curve.value.imag
    turn = np.moveaxis(np.array([[a, -b], [b, a]]), -1, 0)
    n_kept = len(response.shift_names) - 2 * any("loopback" in name for name in response.shift_names)
    return Response(
        frequency_hz=response.frequency_hz,
        value=response.value * curve.value,
        covariance=np.einsum("nij,njk,nlk->nil", turn, response.covariance, turn),
        shifts=response.shifts[:n_kept] * curve.value,
        shift_names=response.shift_names[:n_kept],
    )


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), n_shifts=st.integers(0, 3), is_referred=st.booleans())
def test_what_the_card_did_is_undone_exactly(seed, n_shifts, is_referred):
    rng = np.random.default_rng(seed)
    response, calibration = drawn_response(rng, n_shifts), drawn_calibration(rng)
    applied = apply_calibration(response, calibration, is_referred=is_referred)
    back = embedded(applied, calibration, is_referred=is_referred)
    again = apply_calibration(embedded(response, calibration, is_referred=is_referred), calibration, is_referred=is_referred)
    np.testing.assert_allclose(back.value, response.value, rtol=1e-12)
    np.testing.assert_allclose(again.value, response.value, rtol=1e-12)
    scale = np.abs(response.covariance).max(axis=(1, 2), keepdims=True)
    np.testing.assert_allclose(back.covariance / scale, response.covariance / scale, atol=1e-12)
    np.testing.assert_allclose(back.shifts, response.shifts, rtol=1e-12)
    assert back.shift_names == response.shift_names
    assert len(applied.shift_names) == n_shifts + 2
    assert not np.allclose(applied.value, response.value, rtol=1e-6)


def test_rows_of_the_shifts_are_what_a_wrong_gain_and_delay_would_do():
    rng = np.random.default_rng(3)
    response, calibration = drawn_response(rng, 0), drawn_calibration(rng)
    gain, delay = apply_calibration(response, calibration).shifts
    wrong = {
        "gain": calibration.channels.value * (1 - calibration.gain_std),
        "delay": calibration.channels.value * np.exp(2j * np.pi * GRID_HZ * calibration.delay_std_s),
    }
    true = apply_calibration(response, calibration).value
    for row, value in ((gain, wrong["gain"]), (delay, wrong["delay"])):
        # second order in 1e-3 of gain, and in a phase of 0.01 at the top
        np.testing.assert_allclose(response.value / value - true, row, rtol=1e-2)


def test_a_curve_between_its_points_is_a_delay_and_a_slope():
    def ratio(frequency_hz):
        return mismatch(frequency_hz) * np.exp(-2j * np.pi * frequency_hz * 30e-6)  # turns by half a turn and more

    curve = Curve(frequency_hz=GRID_HZ, value=ratio(GRID_HZ), relative_std=np.zeros(len(GRID_HZ)))
    between_hz = np.geomspace(GRID_HZ[0], GRID_HZ[-1], 777)
    # cubic spline over 1/16 octave: the fourth difference of ln(1 + jf/114 kHz) is below 1e-7
    np.testing.assert_allclose(curve_at(curve, between_hz), ratio(between_hz), rtol=1e-6)
    np.testing.assert_allclose(curve_at(curve, GRID_HZ), ratio(GRID_HZ), rtol=1e-12)


def test_a_loopback_undoes_half_a_decibel_and_five_degrees(loopback):
    response = estimate_response([recorded(lambda f: pickup(f) * mismatch(f), seed=2)])
    inside = (response.frequency_hz > 50) & (response.frequency_hz < 15e3)
    true = pickup(response.frequency_hz) / output(response.frequency_hz)
    before = response.value / true
    error = apply_calibration(response, loopback.calibration).value / true
    at = int(np.argmin(np.abs(response.frequency_hz - 10e3)))
    assert 20 * np.log10(abs(before[at])) == pytest.approx(0.467, abs=0.02)  # the low-pass takes 0.033 dB of the 0.5
    assert np.degrees(np.angle(before[at])) == pytest.approx(-5.0, abs=0.2)
    assert np.max(np.abs(20 * np.log10(np.abs(error[inside])))) < LIMIT_DB
    assert np.max(np.abs(np.degrees(np.angle(error[inside])))) < LIMIT_DEGREE


def test_a_loopback_with_noise_leaves_nothing_but_the_noise(loopback):
    noisy = Noise(pickup_white=1e-4, reference_white=1e-4, pickup_hum=(1e-3, 3e-4), reference_hum=(3e-4,))  # -77 dBFS
    response = estimate_response([recorded(lambda f: pickup(f) * mismatch(f), seed=12, noise=noisy)])
    applied = apply_calibration(response, loopback.calibration)
    inside = (response.frequency_hz > 50) & (response.frequency_hz < 15e3)
    true = pickup(response.frequency_hz) / output(response.frequency_hz)
    left = (applied.value / true - 1)[inside]
    std = np.sqrt(np.trace(applied.covariance, axis1=1, axis2=2))[inside] / np.abs(applied.value[inside])
    assert 0.7 < np.mean(np.abs(left) ** 2 / std**2) < 1.4  # 130 frequencies, two parts each
    assert 8.7 * np.mean(left.real) == pytest.approx(0.0, abs=LIMIT_DB)


def test_the_card_itself_is_found_for_takes_without_a_reference(loopback):
    calibration = loopback.calibration
    recording = recorded(lambda f: pickup(f) * output(f) * mismatch(f), seed=4)
    alone = Recording(samples=recording.samples, rate_hz=RATE_HZ, reference_channel=None, n_bits=24)
    response = estimate_response([alone], stimulus=played())
    inside = (response.frequency_hz > 50) & (response.frequency_hz < 15e3)
    error = (apply_calibration(response, calibration, is_referred=False).value / pickup(response.frequency_hz))[inside]
    # the arrival is found to a whole sample, and a filter's peak comes late: a fit allows a delay of 0 ± 2 samples (1 σ)
    slope = np.polyfit(response.frequency_hz[inside], np.unwrap(np.angle(error)), 1)[0]
    error = error * np.exp(-1j * slope * response.frequency_hz[inside])
    assert abs(slope) / (2 * np.pi) < 4 / RATE_HZ
    # the gate around the arrival cuts off a little of the lowest frequencies' ringing
    assert np.max(np.abs(20 * np.log10(np.abs(error)))) < 0.02
    assert calibration.latency_s == pytest.approx(0.02, abs=1.01 / RATE_HZ)
    assert calibration.floor_dbfs == (pytest.approx(-97.0, abs=0.3), pytest.approx(-97.0, abs=0.3))  # rms 1e-5: -100 + 3 dB


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"rate_hz": 96000}, "recorded at 48000 Hz, the take at 96000 Hz: run coilsweep calibrate loopback again"),
        ({"device": "other card"}, 'with "card", the take with "other card"'),
        ({"device": ""}, 'with "card", the take with a card without a name'),
        ({"pickup_channel": 2, "reference_channel": 1}, "by inputs 1 and 2, the take by 2 and 1"),
        ({"pickup_channel": 3, "reference_channel": None}, "by inputs 1 and 2, the take by 3 and 2"),
    ],
)
def test_another_rate_card_or_input_is_refused(loopback, changed, message):
    stated = {"rate_hz": RATE_HZ, "device": "card", "pickup_channel": 1, "reference_channel": 2}
    require_match(loopback.calibration, **stated)
    require_match(loopback.calibration, **(stated | {"reference_channel": None}))
    with pytest.raises(CalibrationError, match=message):
        require_match(loopback.calibration, **(stated | changed))


def test_a_response_beyond_the_loopback_is_refused(loopback):
    low_hz = np.array([5.0, 100.0, 1000.0])
    wide = Response(frequency_hz=low_hz, value=np.ones(3), covariance=np.zeros((3, 2, 2)))
    with pytest.raises(CalibrationError, match=r"reaches from 5 to 1000 Hz, the loopback only from 2\d to"):
        apply_calibration(wide, loopback.calibration)
    narrow = solve_loopback([recorded(output, seed=1)], time_utc=MADE).calibration
    with pytest.raises(CalibrationError, match="again with --stimulus FILE"):
        apply_calibration(Response(frequency_hz=[100.0], value=[1.0], covariance=np.zeros((1, 2, 2))), narrow, is_referred=False)


def test_an_old_calibration_is_said_to_be_old(loopback):
    young = judge_age(loopback.calibration, at_utc="2026-03-20T12:00:00.000Z")
    old = judge_age(loopback.calibration, at_utc="2026-04-30T12:00:00+00:00")
    assert (young.severity, young.figure) == ("pass", pytest.approx(19.0))
    assert (old.severity, old.figure) == ("warn", pytest.approx(60.0))
    assert "60 days" in old.text


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"frequency_hz": GRID_HZ[::-1]}, "rising and above 0"),
        ({"value": np.zeros(len(GRID_HZ))}, "a ratio of 0"),
        ({"value": np.full(len(GRID_HZ), np.nan)}, "value of a calibration"),
        ({"relative_std": np.zeros(3)}, "relative_std of a calibration"),
    ],
)
def test_a_damaged_curve_is_refused(changed, message):
    good = {"frequency_hz": GRID_HZ, "value": np.ones(len(GRID_HZ)), "relative_std": np.zeros(len(GRID_HZ))}
    assert len(Curve(**good).value) == len(GRID_HZ)
    with pytest.raises(ValueError, match=message):
        Curve(**(good | changed))
