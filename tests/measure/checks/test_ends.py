"""Recordings that break off while something sounds, without a stimulus to compare them with."""

from dataclasses import replace

import numpy as np
import pytest

from measure.checks.ends import judge_ends
from measure.checks.recording import check_recording
from measure.response import outcome
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from tests import simulated_cases as simulated

RATE_HZ = 48000


def channel(*, duration_s=2.0, stop_hz=20000.0, before_s=0.3, after_s=0.3, noise=1e-5):
    sweep = Sweep(rate_hz=RATE_HZ, start_hz=20.0, stop_hz=stop_hz, duration_s=duration_s, before_s=before_s, after_s=after_s)
    samples = sweep_samples(sweep)
    return samples + noise * np.random.default_rng(2).normal(size=len(samples))


@pytest.mark.parametrize("stop_s", [0.4, 0.7, 1.0, 1.5, 2.0, 2.25])
def test_a_sweep_that_breaks_off_is_rejected(stop_s):
    finding = judge_ends(channel()[: round(stop_s * RATE_HZ)], RATE_HZ)
    assert finding is not None
    assert (finding.code, finding.severity) == ("truncated", "reject")
    assert "ends while the sweep sounds" in finding.text


@pytest.mark.parametrize("start_s", [0.51, 1.0, 2.0])
def test_a_sweep_that_is_under_way_is_rejected(start_s):
    finding = judge_ends(channel()[round(start_s * RATE_HZ) :], RATE_HZ)
    assert finding is not None
    assert (finding.severity, "begins while" in finding.text) == ("reject", True)


@pytest.mark.parametrize(
    "samples",
    [
        channel(),
        channel(before_s=0.0),
        channel(after_s=0.0),
        channel(before_s=0.0, after_s=0.0),
        channel(noise=0.03),
        channel() + 0.2,
        np.random.default_rng(1).normal(size=RATE_HZ) * 0.1,
        np.zeros(RATE_HZ),
        np.zeros(3),
    ],
    ids=["whole", "no silence before", "none after", "none at all", "noisy", "offset", "noise", "nothing", "too short"],
)
def test_what_is_whole_is_not_judged(samples):
    assert judge_ends(samples, RATE_HZ) is None


def test_noise_that_breaks_off_is_a_warning():
    noise = np.concatenate([np.zeros(20000), np.random.default_rng(1).normal(size=40000) * 0.1])
    finding = judge_ends(noise, RATE_HZ)
    assert finding is not None
    assert finding.severity == "warn"


@pytest.mark.long
def test_a_take_cut_short_is_rejected_without_its_stimulus():
    case = simulated.draw_case(5001, peak=0.2, hum_dbfs=-60.0, rate_hz=RATE_HZ)
    whole = Recording(samples=case.takes["open"].astype(np.float32), rate_hz=RATE_HZ, n_bits=24)
    assert outcome(check_recording(whole)) == "good"
    for share in (0.4, 0.5, 0.7):
        cut = replace(whole, samples=whole.samples[: round(share * len(whole.samples))].copy())
        findings = check_recording(cut)
        assert outcome(findings) == "rejected", share
        assert [finding.code for finding in findings if finding.severity == "reject"] == ["truncated"], share
