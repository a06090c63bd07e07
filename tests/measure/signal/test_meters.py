"""What meters show: levels of known sines, lines where they were put, mains lines that are told from others."""

import numpy as np
import pytest

from measure.signal.levels import judge_levels, read_levels
from measure.signal.meters import BANDS, band_spectrum, read_meters

RATE_HZ = 48000


def sines(*parts, seconds=0.5, rate_hz=RATE_HZ):
    """Sum of sines of (frequency, peak) as one column."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return sum(level * np.sin(2 * np.pi * frequency * time_s + 0.3) for frequency, level in parts)[:, np.newaxis]


def test_a_full_sine_is_0_dbfs_by_peak_and_rms():
    (reading,) = read_meters(sines((1000.0, 1.0)))
    assert reading.rms_dbfs == pytest.approx(0.0, abs=1e-9)
    assert reading.peak_dbfs == pytest.approx(0.0, abs=0.01)
    assert reading.is_clipped


def test_half_of_it_is_6_db_less_and_not_clipped():
    (reading,) = read_meters(sines((1000.0, 0.5)))
    assert reading.rms_dbfs == pytest.approx(20 * np.log10(0.5), abs=1e-9)
    assert not reading.is_clipped


@pytest.mark.parametrize("peak", [0.979, 0.981, 0.995])
def test_what_the_light_calls_clipped_the_sentence_does_too(peak):
    tone = sines((1000.0, peak))
    finding = judge_levels(read_levels(tone, RATE_HZ), tone_level=0.03, sweep_level=0.5)[0]
    assert finding.code == "clipped"
    assert read_meters(tone)[0].is_clipped is (finding.severity == "reject")


def test_each_input_is_read_by_itself_and_silence_is_finite():
    loud, still = read_meters(np.hstack([sines((440.0, 0.1)), np.zeros((24000, 1))]))
    assert loud.rms_dbfs == pytest.approx(-20.0, abs=1e-6)
    assert still.peak_dbfs == still.rms_dbfs == -200.0


@pytest.mark.parametrize("frequency_hz", [30.0, 110.0, 1000.0, 9000.0])
def test_a_line_stands_in_its_band_at_its_level(frequency_hz):
    found = band_spectrum(sines((frequency_hz, 0.1)), RATE_HZ)
    peak = int(np.argmax(found.level_dbfs[0]))
    assert abs(np.log2(found.frequency_hz[peak] / frequency_hz)) <= 1.0 / BANDS
    assert found.level_dbfs[0, peak] == pytest.approx(-20.0, abs=1.5)  # [dB] a Hann window between two bins
    far = np.abs(np.log2(found.frequency_hz / frequency_hz)) > 1.0
    assert np.max(found.level_dbfs[0, far & (found.frequency_hz > 40)]) < -60


def test_the_bands_go_from_20_hz_to_20_khz():
    found = band_spectrum(sines((1000.0, 0.1)), RATE_HZ)
    assert found.frequency_hz[0] == 20.0
    assert found.frequency_hz[-1] == pytest.approx(20e3, rel=0.06)
    np.testing.assert_allclose(np.diff(np.log2(found.frequency_hz)), 1 / BANDS, rtol=1e-9)
    assert band_spectrum(sines((1000.0, 0.1), rate_hz=22050), 22050).frequency_hz[-1] <= 11025


@pytest.mark.parametrize(("mains_hz", "other_hz"), [(50.0, 60.0), (60.0, 50.0)])
def test_mains_lines_are_told_from_a_tone_and_from_noise(mains_hz, other_hz):
    noise = 1e-4 * np.random.default_rng(1).standard_normal((RATE_HZ // 2, 1))
    hum = sines((1000.0, 0.03), *((mains_hz * order, 0.01 / order) for order in (1, 2, 3, 5)))
    lines = band_spectrum(hum + noise, RATE_HZ).mains_hz
    assert {mains_hz * order for order in (1, 2, 3, 5)} <= set(lines)
    assert not set(lines) & {other_hz, 1000.0}


def test_a_single_line_is_of_the_mains_where_it_is_the_lowest():
    noise = 1e-4 * np.random.default_rng(4).standard_normal((RATE_HZ // 2, 1))
    assert band_spectrum(sines((50.0, 0.01)) + noise, RATE_HZ).mains_hz == (50.0,)
    assert band_spectrum(sines((200.0, 0.01)) + noise, RATE_HZ).mains_hz == ()


def test_a_tone_or_noise_alone_has_no_mains_lines():
    noise = 1e-3 * np.random.default_rng(2).standard_normal((RATE_HZ // 2, 2))
    assert band_spectrum(noise, RATE_HZ).mains_hz == ()
    assert band_spectrum(noise + sines((1000.0, 0.1)), RATE_HZ).mains_hz == ()


def test_too_short_a_piece_is_refused():
    with pytest.raises(ValueError, match="less than a quarter of a second"):
        band_spectrum(np.zeros((100, 1)), RATE_HZ)
