import numpy as np
import pytest

from measure.signal.stimulus import FADE_S, Sweep, sweep_samples


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
def test_lengths_silences_and_level(rate_hz):
    sweep = Sweep(rate_hz=rate_hz, duration_s=2.0, before_s=0.25, after_s=0.5, level=0.8)
    samples = sweep_samples(sweep)
    assert len(samples) == round(0.25 * rate_hz) + 2 * rate_hz + round(0.5 * rate_hz)
    assert not np.any(samples[: round(0.25 * rate_hz)])
    assert not np.any(samples[-round(0.5 * rate_hz) :])
    assert 0.79 < np.max(np.abs(samples)) <= 0.8


def test_upper_end_follows_the_rate():
    assert Sweep(rate_hz=96000).stop_hz == pytest.approx(44160.0)
    assert Sweep(rate_hz=96000, stop_hz=20000.0).stop_hz == 20000.0


def test_ends_are_faded():
    sweep = Sweep(rate_hz=48000, before_s=0.0, after_s=0.0)
    samples = sweep_samples(sweep)
    n_fade = round(FADE_S * 48000)
    assert abs(samples[0]) < 1e-4
    assert abs(samples[-1]) < 1e-4
    assert np.max(np.abs(samples[-n_fade // 4 :])) < 0.2 * sweep.level


def test_energy_falls_as_one_over_frequency():
    # Equal time in each octave: 3 dB an octave, within the ripple of the ends.
    samples = sweep_samples(Sweep(rate_hz=48000))
    energy = np.abs(np.fft.rfft(samples)) ** 2
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / 48000)
    octave = [np.sum(energy[(frequency_hz >= low) & (frequency_hz < 2 * low)]) for low in (100, 200, 400, 800, 1600, 3200, 6400)]
    np.testing.assert_allclose(octave, np.mean(octave), rtol=0.02)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"rate_hz": 4000}, "rate_hz"),
        ({"start_hz": 0.0}, "start_hz"),
        ({"start_hz": 30000.0}, "start_hz"),
        ({"stop_hz": 24000.0}, "stop_hz"),
        ({"duration_s": 0.0}, "duration_s"),
        ({"duration_s": 601.0}, "duration_s"),
        ({"before_s": -0.1}, "before_s"),
        ({"after_s": -0.1}, "after_s"),
        ({"level": 0.0}, "level"),
        ({"level": 1.1}, "level"),
        ({"duration_s": float("nan")}, "duration_s"),
    ],
)
def test_numbers_out_of_range(change, name):
    with pytest.raises(ValueError, match=name):
        Sweep(**({"rate_hz": 48000} | change))
