import json

import numpy as np
import pytest

from measure.signal.mains import find_silences, fit_hum, hum_samples, line_levels, near_stimulus, noise_density
from measure.signal.recording import Recording
from measure.source.files import read_recording
from measure.transfer.response import estimate_response
from tests.places import RECORDINGS
from tests.takes_by_formula import HUM_ORDERS, coil_response, hum_wave, noise_samples, take


def fitted(recording):
    silences = find_silences(recording.samples[:, 1], recording.rate_hz)
    return fit_hum(recording, silences), silences


@pytest.mark.parametrize("mains_hz", [49.5, 49.987, 50.0, 50.45, 59.41, 60.0, 60.59])
@pytest.mark.parametrize("level", [3e-5, 1e-2])
def test_frequency_and_levels_are_found(mains_hz, level):
    hum, _ = fitted(take(np.random.default_rng(2), hum_level=level, mains_hz=mains_hz))
    strong = level / HUM_ORDERS > 2e-6
    assert set(HUM_ORDERS[strong]) <= set(hum.order)
    # Two silences of together 1.1 s, 3 s apart, at this noise: a thousandth of a hertz even for the weak lines.
    assert hum.frequency_hz == pytest.approx(mains_hz, abs=1e-3 if level < 1e-4 else 1e-5)
    at = np.isin(hum.order, HUM_ORDERS)
    expected = level / hum.order[at] / np.sqrt(2)
    np.testing.assert_allclose(line_levels(hum)[at, 0], expected, rtol=0, atol=3e-7)


@pytest.mark.parametrize("rate_hz", [44100, 96000, 192000])
def test_what_is_left_is_the_noise(rate_hz):
    rng = np.random.default_rng(5)
    recording = take(np.random.default_rng(5), rate_hz=rate_hz, hum_level=0.1, mains_hz=50.1)
    hum, silences = fitted(recording)
    left = recording.samples[silences[0], 0] - hum_samples(hum, 0, silences[0].stop)
    assert np.std(left) == pytest.approx(1e-5, rel=0.03)
    # And in the middle, where nothing was fitted: against the wave that was put in.
    n = len(recording.samples)
    quiet = take(rng, rate_hz=rate_hz)
    wave = recording.samples[:, 0] - quiet.samples[:, 0]
    middle = slice(n // 2, n // 2 + 20000)
    assert np.std(hum_samples(hum, middle.start, middle.stop) - wave[middle]) < 3e-6


def test_hum_samples_are_the_cosines_they_stand_for():
    hum, _ = fitted(take(np.random.default_rng(0), hum_level=1e-2))
    time_s = np.arange(5000, 8000) / 48000
    phase = np.exp(2j * np.pi * hum.frequency_hz * np.outer(time_s, hum.order))
    np.testing.assert_allclose(hum_samples(hum, 5000, 8000), (phase @ hum.amplitude[:, 0]).real, rtol=0, atol=1e-12)


@pytest.mark.long
def test_no_lines_in_noise_alone():
    found = [fitted(take(np.random.default_rng(seed), corner_hz=200.0))[0] for seed in range(15)]
    n_lines = sum(0 if hum is None else len(hum.order) for hum in found)
    assert n_lines <= 2


def test_no_silence_no_hum():
    recording = take(np.random.default_rng(0), hum_level=1e-2)
    assert fit_hum(recording, (slice(0, 100), slice(0, 0))) is None


def test_one_silence_is_enough_to_try():
    recording = take(np.random.default_rng(0), hum_level=1e-2, mains_hz=50.2)
    hum = fit_hum(recording, (slice(0, 33000), slice(0, 0)))
    assert hum.frequency_hz == pytest.approx(50.2, abs=1e-3)


@pytest.mark.parametrize("level", [1e-3, 0.1])
def test_response_under_hum_is_the_one_without(level):
    # -20 dBFS of hum is 60 dB above the noise of this take and stronger than the pickup's signal below 2 kHz.
    recording = take(np.random.default_rng(7), hum_level=level, mains_hz=49.9)
    response = estimate_response([recording])
    residual = response.value - coil_response(response.frequency_hz, delay_s=0.3 / 48000)
    assert 0.8 < np.mean(np.abs(residual) ** 2 / np.trace(response.covariance, axis1=1, axis2=2)) < 1.3
    kept = estimate_response([recording], remove_hum=False)
    worse = np.abs(kept.value / coil_response(kept.frequency_hz, delay_s=0.3 / 48000) - 1)
    assert worse.max() > 10 * np.max(np.abs(residual / response.value))


def test_amplitude_that_drifts_is_followed():
    recording = take(np.random.default_rng(3))
    n = len(recording.samples)
    samples = recording.samples.copy()
    samples[:, 0] += hum_wave(np.random.default_rng(4), n, 48000, mains_hz=50.1, level=1e-3) * (1 + 0.1 * np.arange(n) / n)
    drifting = Recording(samples=samples, rate_hz=48000)
    response = estimate_response([drifting])
    residual = response.value - coil_response(response.frequency_hz, delay_s=0.3 / 48000)
    assert 0.8 < np.mean(np.abs(residual) ** 2 / np.trace(response.covariance, axis1=1, axis2=2)) < 1.3


def test_independent_recordings_hum_at_sixty_or_fifty():
    # Rendered elsewhere; this take's own description says 40 dB above the signal.
    assert "hum" in json.loads((RECORDINGS / "faulty" / "case.json").read_text())["takes"]["buried-in-hum"]["fault"]
    hum, _ = fitted(read_recording(RECORDINGS / "faulty" / "buried-in-hum.flac"))
    assert hum.frequency_hz == pytest.approx(60.0, rel=0.01)
    assert line_levels(hum)[0, 0] > 0.1
    hum, _ = fitted(read_recording(RECORDINGS / "bare-single-coil" / "open.flac"))
    assert hum.frequency_hz == pytest.approx(50.0, rel=0.01)


@pytest.mark.parametrize("corner_hz", [0.0, 500.0])
def test_density_of_noise(corner_hz):
    rate_hz, std = 48000, 1e-4
    grid_hz = np.geomspace(20, 20000, 60)
    seen = []
    for seed in range(30):
        noise = noise_samples(np.random.default_rng(seed), 2 * rate_hz, rate_hz, std=std, corner_hz=corner_hz)
        seen.append(noise_density(noise[None, 5000:38000], grid_hz, rate_hz=rate_hz)[0][0])
    expected = std**2 / rate_hz * (1 + corner_hz / grid_hz)
    ratio = np.mean(seen, axis=0) / expected
    assert np.all(np.abs(ratio - 1) < 0.15)
    assert np.std(np.array(seen) / expected, axis=0).max() < 0.35


def test_density_of_correlated_channels():
    rng = np.random.default_rng(0)
    common = rng.standard_normal(48000)
    noise = np.stack([common + rng.standard_normal(48000), 0.5 * common])
    density, cross = noise_density(noise, np.array([300.0, 5000.0]), rate_hz=1.0 * 48000)
    np.testing.assert_allclose(density * 48000, [[2, 2], [0.25, 0.25]], rtol=0.2)
    np.testing.assert_allclose(cross * 48000, [0.5, 0.5], rtol=0.3)


def test_silences_of_a_take():
    recording = take(np.random.default_rng(0), latency_s=0.1)
    before, after = find_silences(recording.samples[:, 1], 48000)
    assert before.start == 0
    assert before.stop / 48000 == pytest.approx(0.8, abs=0.03)
    assert after.stop == len(recording.samples)
    assert after.start / 48000 == pytest.approx(3.8, abs=0.1)


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_silences_end_and_begin_at_their_guards(rate_hz):
    """10 ms before what is heard, 60 ms after it, for the pickup to ring down; found in steps of 5 ms."""
    time_s = np.arange(4 * rate_hz) / rate_hz
    samples = np.where((time_s >= 1.0) & (time_s < 2.5), 0.5 * np.sin(2 * np.pi * 440 * time_s), 0.0)
    before, after = find_silences(samples, rate_hz)
    assert (before.start, after.stop) == (0, len(samples))
    assert 0.985 - 1e-9 <= before.stop / rate_hz <= 0.99 + 1e-9
    assert 2.56 - 1e-9 <= after.start / rate_hz <= 2.565 + 1e-9


def test_of_long_silences_what_lies_beside_the_stimulus_is_kept():
    assert near_stimulus((slice(0, 500), slice(900, 1000)), 100.0) == (slice(0, 500), slice(900, 1000))
    assert near_stimulus((slice(0, 5000), slice(9000, 60000)), 100.0) == (slice(2000, 5000), slice(9000, 12000))
    assert near_stimulus((slice(0, 0), slice(7000, 7000)), 100.0) == (slice(0, 0), slice(7000, 7000))
