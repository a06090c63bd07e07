"""Two clocks: their drift is measured and taken out, against a sweep that is known at every time."""

import numpy as np
import pytest

from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.clocks import NAME, align_clocks, judge_clocks, measure_drift, stretch_samples
from tests.takes_by_formula import apply_response, coil_response

RATE_HZ = 48000


@pytest.mark.parametrize("stretch", [-3e-4, 1e-6, 8e-5, 1.9e-3])
@pytest.mark.parametrize("frequency_hz", [100.0, 9000.0, 0.45 * RATE_HZ])
def test_stretching_a_sine(stretch, frequency_hz):
    n = 30000
    samples = np.sin(2 * np.pi * frequency_hz / RATE_HZ * np.arange(n) + 0.3)[:, None].astype(np.float32)
    expected = np.sin(2 * np.pi * frequency_hz / RATE_HZ * np.arange(n) * (1 + stretch) + 0.3)
    out = stretch_samples(samples, stretch)
    inside = slice(200, len(out) - 200)
    # The window's stop band: 90 dB.
    np.testing.assert_allclose(out[inside, 0], expected[: len(out)][inside], atol=6e-5)


def test_no_stretch_changes_nothing():
    samples = np.random.default_rng(1).normal(size=(40000, 2)).astype(np.float32)
    np.testing.assert_allclose(stretch_samples(samples, 0.0), samples, atol=1e-6)


def drifting_take(drift_ppm, seed=1):
    """What a recorder with a clock of its own makes of a sweep: made at its own rate, by formula."""
    stimulus = sweep_samples(Sweep(rate_hz=RATE_HZ))
    reference = np.concatenate([np.zeros(900), stimulus, np.zeros(12000)])
    pickup = apply_response(reference, RATE_HZ, coil_response)
    both = stretch_samples(np.stack([pickup, reference], axis=1).astype(np.float32), 1 / (1 + 1e-6 * drift_ppm) - 1)
    noise = 1e-5 * np.random.default_rng(seed).normal(size=both.shape)
    return stimulus.astype(np.float32), (both + noise).astype(np.float32)


@pytest.mark.long
@pytest.mark.parametrize("drift_ppm", [-150.0, 0.0, 80.0, 600.0])
def test_drift_is_measured_and_taken_out(drift_ppm):
    played, samples = drifting_take(drift_ppm)
    aligned, measured_ppm = align_clocks(samples, played, rate_hz=RATE_HZ)
    assert measured_ppm == pytest.approx(drift_ppm, abs=1.0)
    assert 1e6 * measure_drift(aligned, played, rate_hz=RATE_HZ) == pytest.approx(0.0, abs=1.0)
    assert len(aligned) >= len(played)


@pytest.mark.parametrize(
    ("played", "samples"),
    [
        (np.zeros(48000), np.ones((50000, 2))),
        (np.full(600, 0.2), np.ones((50000, 2))),
        (np.random.default_rng(1).normal(size=96000) / 10, np.random.default_rng(2).normal(size=(99000, 2)) / 10),
        (sweep_samples(Sweep(rate_hz=RATE_HZ)), np.random.default_rng(2).normal(size=(230000, 2)) / 10),
        (sweep_samples(Sweep(rate_hz=RATE_HZ)), np.zeros((230000, 1))),
    ],
    ids=["silent", "short", "noise", "not-heard", "no-reference"],
)
def test_what_cannot_be_measured_is_left_as_it_is(played, samples):
    samples = samples.astype(np.float32)
    aligned, drift_ppm = align_clocks(samples, played.astype(np.float32), rate_hz=RATE_HZ)
    assert drift_ppm is None
    np.testing.assert_array_equal(aligned, samples)
    finding = judge_clocks(drift_ppm)
    assert (finding.code, finding.severity) == (NAME, "warn")
    assert "could not be measured" in finding.text
