"""Spectra of both channels: no energy is lost whole or in segments, arrivals are exact, harmonics stay outside of the gate."""

import numpy as np
import pytest

from measure.signal.bands import grid_frequencies, sum_bands
from measure.signal.mains import Hum
from measure.signal.recording import Recording
from measure.signal.spectra import (
    OVERLAP,
    SEGMENT_SAMPLES,
    WHOLE_SAMPLES,
    channel_reader,
    delay_gate,
    energy_cells,
    find_arrival,
    plan_segments,
    stimulus_reader,
)
from measure.signal.stimulus import Sweep, sweep_samples

RATE_HZ = 48000
SWEEP = Sweep(rate_hz=RATE_HZ, start_hz=20.0, stop_hz=20000.0, duration_s=1.5, before_s=0.2, after_s=0.2)
STIMULUS = sweep_samples(SWEEP)
GROWTH_S = SWEEP.duration_s / np.log(SWEEP.stop_hz / SWEEP.start_hz)


def test_a_channel_is_read_piece_by_piece_without_its_mains_lines():
    time_s = np.arange(1000) / RATE_HZ
    lines = np.stack([0.1 * np.cos(2 * np.pi * 50 * time_s + 0.3), 0.2 * np.cos(2 * np.pi * 150 * time_s)], axis=1)
    samples = np.random.default_rng(1).normal(size=(1000, 2))
    amplitude = np.array([[0.1 * np.exp(0.3j), 0.0], [0.0, 0.2]])
    hum = Hum(
        frequency_hz=50.0,
        order=np.array([1, 3]),
        amplitude=amplitude,
        drift_per_s=np.zeros((2, 2), dtype=complex),
        rate_hz=float(RATE_HZ),
        silence_s=1.0,
    )
    for column in (0, 1):
        fetch = channel_reader(samples + lines, column, hum=hum, hum_column=column)
        np.testing.assert_allclose(fetch(300, 700), samples[300:700, column], rtol=0, atol=1e-12)
    kept = channel_reader((samples + lines).astype(np.float32), 1, hum=None, hum_column=1)(0, 10)
    assert kept.dtype == np.float64
    np.testing.assert_allclose(kept, (samples + lines)[:10, 1], rtol=1e-6)


@pytest.mark.parametrize("arrival", [-3, 0, 4])
def test_a_known_stimulus_is_read_where_it_arrives_and_zeros_elsewhere(arrival):
    stimulus = np.arange(1.0, 6.0)
    placed = np.zeros(30)
    placed[10 + arrival : 15 + arrival] = stimulus
    fetch = stimulus_reader(stimulus, arrival)
    for start, stop in ((-10, 20), (0, 6), (2, 3), (12, 20)):
        np.testing.assert_array_equal(fetch(start, stop), placed[10 + start : 10 + stop])


def test_a_recording_between_silences_is_kept_whole_up_to_a_million_samples():
    assert plan_segments(WHOLE_SAMPLES, rate_hz=48000.0, is_between_silences=True) == (WHOLE_SAMPLES, [0])
    assert len(plan_segments(WHOLE_SAMPLES + 1, rate_hz=48000.0, is_between_silences=True)[1]) > 1
    assert len(plan_segments(96000, rate_hz=48000.0, is_between_silences=False)[1]) > 1


@pytest.mark.parametrize("n", [WHOLE_SAMPLES + 1, 5_000_000, 40_000_000])
@pytest.mark.parametrize("is_between_silences", [True, False])
def test_segments_lie_over_each_sample_as_often(n, is_between_silences):
    length, starts = plan_segments(n, rate_hz=48000.0, is_between_silences=is_between_silences)
    hop = length // OVERLAP
    assert length == hop * OVERLAP <= SEGMENT_SAMPLES
    assert set(np.diff(starts)) == {hop}
    if is_between_silences:
        assert starts[0] + hop * (OVERLAP - 1) == 0  # so many lie over the first sample
        assert starts[-1] < n <= starts[-1] + hop  # and over the last
    else:
        assert starts[0] == 0
        assert n - hop < starts[-1] + length <= n


GRID_HZ = grid_frequencies(200.0, 8000.0)


def tone_burst(n, *, hz=1000.0, level=0.5):
    samples = np.zeros((n, 2))
    samples[n // 4 : 3 * n // 4] = level * np.sin(2 * np.pi * hz * np.arange(3 * n // 4 - n // 4) / RATE_HZ)[:, None]
    return samples * [0.5, 1.0]


def cells_of(samples, *, is_between_silences=True, gate=None, plan=None):
    n = len(samples)
    plan = plan or plan_segments(n, rate_hz=float(RATE_HZ), is_between_silences=is_between_silences)
    readers = (channel_reader(samples, column, hum=None, hum_column=column) for column in (0, 1))
    return energy_cells(GRID_HZ, *readers, n=n, rate_hz=float(RATE_HZ), plan=plan, gate=gate)


def test_energy_is_that_of_the_samples_whole_and_in_segments():
    """Of a tone of peak A over T seconds the positive frequencies hold A²·T/4 (Parseval)."""
    samples = tone_burst(96000)
    segments = (16384, list(range(4096 - 16384, 96000, 4096)))
    for plan in (None, segments):
        cells, length_s = cells_of(samples, plan=plan)
        assert length_s == 2.0
        assert np.sum(cells.auto) == pytest.approx(0.5**2 * 1.0 / 4, rel=2e-3)
        assert np.sum(cells.power) == pytest.approx(0.25**2 * 1.0 / 4, rel=2e-3)
        assert np.sum(cells.cross) == pytest.approx(0.5 * 0.5**2 * 1.0 / 4, rel=2e-3)
        assert np.sum(cells.moment) * cells.bin_hz / np.sum(cells.auto) == pytest.approx(1000.0, abs=1.0)


@pytest.mark.parametrize("is_between_silences", [True, False])
def test_noise_has_its_density_over_the_length_that_is_told(is_between_silences):
    std, n = 1e-3, 200_000
    samples = std * np.random.default_rng(2).normal(size=(n, 2))
    plan = (16384, list(range(4096 - 16384, n, 4096)) if is_between_silences else list(range(0, n - 16384 + 1, 4096)))
    cells, length_s = cells_of(samples, plan=plan)
    width_hz = cells.count * cells.bin_hz
    assert np.sum(cells.power) / np.sum(width_hz) / length_s == pytest.approx(std**2 / RATE_HZ, rel=0.01)
    assert length_s == (n / RATE_HZ if is_between_silences else pytest.approx(len(plan[1]) * 4096 / RATE_HZ))


@pytest.mark.parametrize("n", [0, 1, 960, 30000, -2000])
def test_the_arrival_is_exact(n):
    heard = np.concatenate([np.zeros(max(n, 0)), -0.1 * STIMULUS[max(-n, 0) :], np.zeros(9000)])
    heard += 1e-4 * np.random.default_rng(3).normal(size=len(heard))
    recording = Recording(samples=heard[:, None], rate_hz=RATE_HZ, reference_channel=None)
    assert find_arrival(recording, STIMULUS) == n
    assert find_arrival(recording, np.zeros(100)) == find_arrival(recording, np.zeros(0)) == 0


def test_a_sweep_has_a_gate_half_way_to_its_second_harmonic_and_other_stimuli_have_none():
    gate = delay_gate(STIMULUS, 20.0, 20000.0, rate_hz=RATE_HZ)
    assert (gate.low_hz, gate.high_hz, gate.after_s) == (20.0, 20000.0, 0.4)
    assert gate.before_s == pytest.approx(0.5 * GROWTH_S * np.log(2), rel=0.01)  # its faded ends do not count as sound
    noise = np.random.default_rng(4).normal(size=RATE_HZ)
    for other in (noise, np.zeros(1000), np.zeros(0)):
        assert delay_gate(other, 20.0, 20000.0, rate_hz=RATE_HZ) is None


def test_what_arrives_before_the_gate_is_taken_out_and_nothing_else():
    """An echo that comes as early as the second harmonic; the linear part rises with frequency as induction does."""
    n_fft = len(STIMULUS) + RATE_HZ
    spectrum, frequency_hz = np.fft.rfft(STIMULUS, n_fft), np.fft.rfftfreq(n_fft, 1 / RATE_HZ)
    linear = np.fft.irfft(spectrum * 1j * frequency_hz / 3000 / (1 + 1j * frequency_hz / 3000), n_fft)
    early = np.roll(0.05 * np.fft.irfft(spectrum, n_fft), -round(GROWTH_S * np.log(2) * RATE_HZ))
    samples = np.stack([linear + early, np.fft.irfft(spectrum, n_fft)], axis=1)
    gate = delay_gate(STIMULUS, 20.0, 20000.0, rate_hz=RATE_HZ)
    n = len(GRID_HZ)
    clean, _ = cells_of(np.stack([linear, samples[:, 1]], axis=1))
    gated, _ = cells_of(samples, gate=gate)
    plain, _ = cells_of(samples)
    worst = [np.max(np.abs(cells.power / clean.power - 1)) for cells in (gated, plain)]
    assert worst[0] < 0.01
    assert worst[1] > 0.3
    ratio = sum_bands(gated, gated.cross, n) / sum_bands(clean, clean.cross, n)
    np.testing.assert_allclose(ratio, 1.0, atol=2e-3)
