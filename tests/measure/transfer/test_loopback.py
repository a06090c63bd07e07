"""A loopback finds what the two inputs and the card do; what is no loopback is doubted or refused."""

import numpy as np
import pytest

from measure.errors import CalibrationError
from measure.signal.recording import Recording
from measure.source.virtual import Noise
from measure.transfer.loopback import solve_loopback
from tests.two_inputs import MADE, RATE_HZ, made_loopback, mismatch, output, pickup, played, recorded


def test_the_noise_of_the_ratio_is_what_it_claims():
    loopback = made_loopback()
    curve = loopback.calibration.channels
    error = np.abs(curve.value / mismatch(curve.frequency_hz) - 1)
    inside = (curve.frequency_hz > 200) & (curve.frequency_hz < 10e3)
    ratio = np.mean((error[inside] / curve.relative_std[inside]) ** 2)
    assert 0.5 < ratio < 2.0  # 90 frequencies; above, edges of the sweep add their part
    assert not any(finding.severity != "pass" for finding in loopback.findings)
    assert loopback.calibration.simulated


def test_stated_uncertainty_covers_a_noisy_loopback():
    loud = Noise(pickup_white=3e-3, reference_white=3e-3)
    found = solve_loopback([recorded(lambda f: output(f) * mismatch(f), seed=8, noise=loud)], time_utc=MADE)
    warned = {finding.code: finding for finding in found.findings if finding.severity == "warn"}
    curve = found.calibration.channels
    inside = (curve.frequency_hz > 50) & (curve.frequency_hz < 15e3)
    error = (curve.value / mismatch(curve.frequency_hz))[inside] - 1
    assert "play louder" in warned["loopback-noise"].text
    assert abs(np.mean(error.real)) < 2 * found.calibration.gain_std
    assert found.calibration.gain_std > 5e-4
    assert found.calibration.card is None
    assert found.calibration.latency_s is None


def test_two_points_are_no_loopback():
    found = solve_loopback([recorded(lambda f: pickup(f) * output(f), seed=5)], time_utc=MADE)
    rejected = [finding for finding in found.findings if finding.severity == "reject"]
    assert [finding.code for finding in rejected] == ["one-point"]
    assert "did not record one voltage" in rejected[0].text


def test_a_filter_in_one_input_is_doubted():
    found = solve_loopback([recorded(lambda f: output(f) / (1 + 1j * f / 20e3), seed=6)], time_utc=MADE)
    doubted = [finding.code for finding in found.findings if finding.severity == "warn"]
    assert doubted == ["one-point"]


def test_reversed_polarity_and_unequal_gains_are_a_loopback_all_the_same():
    found = solve_loopback([recorded(lambda f: -0.25 * output(f), seed=7)], time_utc=MADE)
    assert [finding.severity for finding in found.findings if finding.code == "one-point"] == ["pass"]
    assert found.calibration.channels.value[80].real == pytest.approx(-0.25, rel=1e-4)


def test_a_recording_of_one_input_is_refused():
    recording = recorded(output, seed=1)
    alone = Recording(samples=recording.samples, rate_hz=RATE_HZ, reference_channel=None)
    with pytest.raises(CalibrationError, match="needs a recording of both inputs"):
        solve_loopback([alone], stimulus=played(), time_utc=MADE)
    other = Recording(samples=recording.samples, rate_hz=44100)
    with pytest.raises(CalibrationError, match="different sample rates or channels"):
        solve_loopback([recording, other], time_utc=MADE)
