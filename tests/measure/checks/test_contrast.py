"""A signal against its silences: densities of white noise, which are known, and bands written by hand."""

from dataclasses import replace

import numpy as np
import pytest

from measure.checks.contrast import (
    FRAME_S,
    Contrast,
    is_exchanged,
    judge_level,
    judge_slope,
    measure_contrast,
    signal_rms,
)
from tests.faulty_takes import NO_NOISE, RATE_HZ, ROOM, coil, noise_take

BAND_HZ = 40.0 * 2.0 ** ((np.arange(26) + 0.5) / 3)  # third octaves from 40 Hz on
QUIET, LOUD = 1e-3, 0.1  # rms of silence and of what sounds


def contrast(signal, *, silence=1.0):
    signal = np.broadcast_to(signal, BAND_HZ.shape).astype(float)
    width_hz = BAND_HZ * (2 ** (1 / 6) - 2 ** (-1 / 6))
    return Contrast(frequency_hz=BAND_HZ, width_hz=width_hz, signal=signal, silence=np.full(len(BAND_HZ), silence))


def white(seed=1, *, line=0.0):
    rng = np.random.default_rng(seed)
    samples = QUIET * rng.normal(size=4 * RATE_HZ) + line * np.sin(2 * np.pi * 1150 * np.arange(4 * RATE_HZ) / RATE_HZ)
    samples[RATE_HZ : 3 * RATE_HZ] += LOUD * rng.normal(size=2 * RATE_HZ)
    return samples


SILENCES = (slice(0, RATE_HZ), slice(3 * RATE_HZ, 4 * RATE_HZ))


def test_densities_of_white_noise_are_its_power_over_the_rate():
    found = measure_contrast(white(), SILENCES, RATE_HZ)
    np.testing.assert_allclose(found.frequency_hz, BAND_HZ, rtol=1e-12)
    np.testing.assert_allclose(np.sum(found.width_hz), 40 * 2 ** (26 / 3) - 40, rtol=1e-12)
    wide = BAND_HZ > 300  # the median of a few bins scatters
    np.testing.assert_allclose(found.signal[wide], LOUD**2 / RATE_HZ, rtol=0.3)
    np.testing.assert_allclose(found.silence[wide], QUIET**2 / RATE_HZ, rtol=0.3)
    # both halves of the spectrum, from 40 Hz to the last band's end at 16.3 kHz
    assert signal_rms(found) == pytest.approx(LOUD * np.sqrt(2 * (40 * 2 ** (26 / 3) - 40) / RATE_HZ), rel=0.03)


def test_a_line_is_left_out_and_of_two_silences_the_quieter_counts():
    without, with_line = (measure_contrast(white(line=line), SILENCES, RATE_HZ) for line in (0.0, 0.3))
    band = int(np.argmin(np.abs(BAND_HZ - 1150)))
    assert with_line.silence[band] == pytest.approx(without.silence[band], rel=0.15)
    assert with_line.signal[band] == pytest.approx(without.signal[band], rel=0.15)
    disturbed = white()
    disturbed[:RATE_HZ] *= 100
    np.testing.assert_allclose(measure_contrast(disturbed, SILENCES, RATE_HZ).silence, without.silence, rtol=1.0)


def test_less_than_a_frame_of_silence_or_sound_tells_nothing():
    n = round(FRAME_S * RATE_HZ)
    whole = white()
    assert measure_contrast(whole, (slice(0, n), slice(len(whole), len(whole))), RATE_HZ) is not None
    assert measure_contrast(whole, (slice(0, n - 1), slice(len(whole) - n + 1, len(whole))), RATE_HZ) is None
    assert measure_contrast(whole, (slice(0, n), slice(2 * n - 1, len(whole))), RATE_HZ) is None


def test_fewer_than_three_bands_seen_are_no_signal():
    for n_seen, is_known in ((2, False), (3, True)):
        signal = np.where(np.arange(len(BAND_HZ)) < n_seen, 11.0, 9.0)  # seen is ten times the silence
        rms = signal_rms(contrast(signal))
        assert (rms is not None) == is_known
    assert rms == pytest.approx(np.sqrt(2 * 11.0 * (80 - 40)))  # three thirds make an octave


@pytest.mark.parametrize(("ratio", "severity"), [(4.0, "pass"), (3.9, "warn"), (0.0, "warn")])
def test_limit_of_level(ratio, severity):
    found = judge_level(contrast(ratio * 1e-12, silence=1e-12))
    assert (found.code, found.severity, found.unit) == ("low-level", severity, "dB")
    assert found.figure == pytest.approx(10 * np.log10(max(ratio, 1e-10)), abs=1e-9)


def test_the_best_sixth_of_the_bands_counts():
    signal = np.where(np.arange(len(BAND_HZ)) < 6, 100.0, 0.0)  # of 26, two on each side of a sixth
    assert judge_level(contrast(signal)).figure == pytest.approx(20.0)
    assert judge_level(contrast(np.where(np.arange(len(BAND_HZ)) < 4, 100.0, 0.0))).severity == "warn"


@pytest.mark.parametrize(
    ("slope_db", "expected"), [(6.0, False), (0.0, False), (-3.9, False), (-4.1, True), (-6.0, True), (-8.4, True), (-8.6, False)]
)
def test_channels_are_exchanged_where_the_low_notes_fall_by_six_decibels(slope_db, expected):
    pickup = contrast(1e6 * 10 ** (slope_db / 10 * np.log2(BAND_HZ / 1000)))
    reference = contrast(1e6)
    assert is_exchanged(pickup, reference) is expected
    found = judge_slope(pickup, reference)
    assert (found.code, found.severity, found.figure) == ("swapped", "reject" if expected else "pass", float(expected))


def test_what_falls_but_on_no_line_or_too_little_of_it_is_not_exchanged():
    falling = 1e6 * (BAND_HZ / 1000) ** -2.0
    bent = falling * np.where(np.abs(np.log2(BAND_HZ / 120)) < 0.2, 10**0.3, 1.0)  # 3 dB in one band
    assert is_exchanged(contrast(bent), contrast(1e6)) is False
    low = np.flatnonzero((BAND_HZ > 50) & (BAND_HZ < 300))
    assert len(low) == 8
    for n_seen, expected in ((5, True), (4, None)):
        hidden = falling.copy()
        hidden[low[n_seen:]] = 9.0
        assert is_exchanged(contrast(hidden), contrast(1e6)) is expected
    assert judge_slope(contrast(hidden), contrast(1e6)).text.startswith("not judged")
    assert judge_slope(contrast(falling), None).text.startswith("not judged")


def test_a_pickup_below_its_noise_is_a_warning_and_no_exchange():
    weak = noise_take(pickup=lambda f: coil()(f) * 3e-4, noise=replace(NO_NOISE, pickup_white=1e-4, reference_white=1e-5))
    found = measure_contrast(weak.samples[:, 0], (slice(0, 20000), slice(130000, 140000)), RATE_HZ)
    assert judge_level(found).severity == "warn"
    assert judge_slope(None, found).text.startswith("not judged")
    loud = noise_take(noise=ROOM)
    assert judge_level(measure_contrast(loud.samples[:, 0], (slice(0, 20000), slice(130000, 140000)), RATE_HZ)).severity == "pass"
