"""Levels while a quiet tone plays: what is heard, and what it means."""

import numpy as np
import pytest

from measure.signal.levels import TONE_HZ, TONE_LEVEL, judge_levels, read_levels

RATE_HZ = 48000


def heard(*, tone=0.01, hum=0.0, noise=1e-5, hum_hz=50.0, n=RATE_HZ // 2, seed=0):
    time_s = np.arange(n) / RATE_HZ
    rng = np.random.default_rng(seed)
    wave = tone * np.sin(2 * np.pi * TONE_HZ * time_s + 0.3) + hum * np.sin(2 * np.pi * hum_hz * time_s + 1.0)
    return wave + noise * rng.standard_normal(n)


def judged(pickup, reference):
    levels = read_levels(np.stack([pickup, reference], axis=1), RATE_HZ)
    found = judge_levels(levels, tone_level=TONE_LEVEL, sweep_level=0.5)
    return {
        finding.code + finding.text.split()[0] if finding.code in ("clipped", "dead-channel") else finding.code: finding
        for finding in found
    }


def test_parts_are_told_apart():
    level = read_levels(heard(tone=0.1, hum=0.01, noise=1e-3)[:, None], RATE_HZ)[0]
    assert level.tone_dbfs == pytest.approx(-20.0, abs=0.05)
    assert level.hum_dbfs == pytest.approx(-40.0, abs=0.3)
    assert level.noise_dbfs == pytest.approx(20 * np.log10(1e-3) + 3.01, abs=0.3)


def test_full_scale_sine_reads_zero():
    """AES17: full scale is the rms of a sine whose peak just reaches it."""
    assert read_levels(heard(tone=1.0, noise=0.0)[:, None], RATE_HZ)[0].tone_dbfs == pytest.approx(0.0, abs=1e-3)


def test_exciter_found_far_near_or_missing():
    reference = heard(tone=0.02)
    assert judged(heard(tone=1e-3, noise=1e-6), reference)["exciter"].severity == "pass"
    far = judged(heard(tone=1e-3, noise=3e-4), reference)["exciter"]
    assert (far.severity, "far" in far.text) == ("warn", True)
    near = judged(heard(tone=0.02, noise=1e-6), reference)["exciter"]
    assert (near.severity, "too near" in near.text) == ("warn", True)
    missing = judged(heard(tone=0.0, noise=1e-4), reference)["exciter"]
    assert (missing.severity, "not heard" in missing.text) == ("warn", True)


def test_dead_and_clipping_inputs_are_named():
    found = judged(np.clip(heard(tone=1.2), -1, 1), np.zeros(RATE_HZ // 2))
    texts = " ".join(finding.text for finding in found.values() if finding.severity == "reject")
    assert "pickup clips" in texts
    assert "reference is dead" in texts


def test_direct_monitoring_shows_in_the_reference():
    pickup = heard(tone=1e-3, hum=0.01, noise=1e-6)
    assert judged(pickup, heard(tone=0.02, hum=0.002, noise=1e-6, seed=1))["feedback"].severity == "warn"
    assert judged(pickup, heard(tone=0.02, hum=0.0, noise=1e-6, seed=1))["feedback"].severity == "pass"


def test_output_that_is_not_heard():
    missing = judged(heard(tone=0.0, noise=1e-4), heard(tone=0.0, noise=1e-4, seed=1))
    assert missing["output"].severity == "warn"
    assert "sense resistor" in missing["output"].text
    assert judged(heard(), heard(tone=0.02))["output"].severity == "pass"


def test_buzz_counts_as_hum():
    """Both mains frequencies and their harmonics; powers of lines add up."""
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    buzz = sum(1e-3 * np.sin(2 * np.pi * 60 * order * time_s + order) for order in (1, 3, 5))
    level = read_levels((heard(tone=1e-3, noise=1e-6) + buzz)[:, None], RATE_HZ)[0]
    assert level.hum_dbfs == pytest.approx(20 * np.log10(1e-3) + 10 * np.log10(3), abs=0.05)
    assert level.noise_dbfs < -110


def test_pickup_alone():
    found = judge_levels(read_levels(heard()[:, None], RATE_HZ), tone_level=TONE_LEVEL, sweep_level=0.5)
    assert [finding.code for finding in found] == ["clipped", "dead-channel", "exciter"]


def test_too_short_is_refused():
    with pytest.raises(ValueError, match="less than a fifth of a second"):
        read_levels(np.zeros((1000, 2)), RATE_HZ)
