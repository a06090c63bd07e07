"""The virtual bench against the responses that it was given, and its faults against what they are meant to do."""

import numpy as np
import pytest
from scipy.fft import next_fast_len, rfft, rfftfreq

from measure.response import ComplexArray, FloatArray
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.interface import Source
from measure.source.virtual import Faults, Gap, Noise, VirtualBench

RATE_HZ = 48000
SWEEP = Sweep(rate_hz=RATE_HZ, duration_s=1.0, before_s=0.3, after_s=0.1)


def pickup(frequency_hz: FloatArray) -> ComplexArray:
    s = 2j * np.pi * frequency_hz
    return 1e-6 * s / (1 + (7e3 + 3.0 * s) * (1e-6 + 300e-12 * s))


def reference(frequency_hz: FloatArray) -> ComplexArray:
    return 1.1 / (1 + 1j * frequency_hz / 15e3)


NO_FAULTS, NO_NOISE = Faults(), Noise()


def record(n_bits: int | None = None, *, faults: Faults = NO_FAULTS, noise: Noise = NO_NOISE, seed: int = 0) -> FloatArray:
    bench = VirtualBench(pickup=pickup, reference=reference, n_bits=n_bits, faults=faults, noise=noise, seed=seed)
    return bench.record(sweep_samples(SWEEP), rate_hz=RATE_HZ)


def test_closed_loop_returns_the_given_responses() -> None:
    stimulus, samples = sweep_samples(SWEEP), record()
    n_fft = next_fast_len(2 * len(samples), real=True)
    frequency_hz = rfftfreq(n_fft, 1 / RATE_HZ)
    band = (frequency_hz > 40) & (frequency_hz < 18e3)
    late = np.exp(-2j * np.pi * frequency_hz * round(0.02 * RATE_HZ) / RATE_HZ)
    for column, response in enumerate((pickup, reference)):
        found = rfft(samples[:, column], n_fft) / (rfft(stimulus, n_fft) * late)
        # The recording ends 0.5 s after the stimulus: what a band-limited response rings beyond that is cut off.
        np.testing.assert_allclose(found[band], response(frequency_hz[band]), rtol=1e-8, atol=1e-9)


def test_fractional_delay_turns_the_phase() -> None:
    bench = VirtualBench(pickup=reference, reference=reference, n_bits=None, reference_delay_samples=0.4)
    samples = bench.record(sweep_samples(SWEEP), rate_hz=RATE_HZ)
    n_fft = next_fast_len(2 * len(samples), real=True)
    frequency_hz = rfftfreq(n_fft, 1 / RATE_HZ)
    band = (frequency_hz > 100) & (frequency_hz < 15e3)
    ratio = rfft(samples[:, 1], n_fft)[band] / rfft(samples[:, 0], n_fft)[band]
    expected = np.exp(-2j * np.pi * frequency_hz[band] * 0.4 / RATE_HZ)
    np.testing.assert_allclose(ratio, expected, atol=1e-4)  # a fraction of a sample rings on, and the end cuts that off


def test_same_seed_same_samples() -> None:
    noise = Noise(pickup_hum=(1e-3, 2e-4), pickup_white=1e-4, reference_white=1e-5, pickup_pink=1e-4)
    first, again, other = (record(24, noise=noise, seed=seed) for seed in (3, 3, 4))
    np.testing.assert_array_equal(first, again)
    assert np.max(np.abs(first - other)) > 1e-5


def test_it_is_a_source_and_says_that_it_is_simulated() -> None:
    source: Source = VirtualBench(pickup=pickup, reference=reference)
    assert "simulated" in source.describe()
    assert source.record(sweep_samples(SWEEP), rate_hz=RATE_HZ, n_channels=1).shape[1] == 1
    with pytest.raises(ValueError, match="2 inputs, 3 asked for"):
        source.record(sweep_samples(SWEEP), rate_hz=RATE_HZ, n_channels=3)


def test_noise_has_the_levels_asked_for() -> None:
    noise = Noise(hum_hz=50.0, pickup_hum=(0.01,), pickup_white=1e-3, reference_white=2e-4, pickup_pink=5e-4)
    samples = record(faults=Faults(is_muted=True), noise=noise)
    time_s = np.arange(len(samples)) / RATE_HZ
    basis = np.stack([np.sin(2 * np.pi * 50 * time_s), np.cos(2 * np.pi * 50 * time_s)], axis=1)
    hum = np.linalg.lstsq(basis, samples[:, 0], rcond=None)[0]
    assert np.hypot(*hum) == pytest.approx(0.01, rel=0.02)
    assert np.std(samples[:, 0] - basis @ hum) == pytest.approx(np.hypot(1e-3, 5e-4), rel=0.03)
    assert np.std(samples[:, 1]) == pytest.approx(2e-4, rel=0.02)


@pytest.mark.parametrize("n_bits", [16, 24])
def test_codes_are_whole_numbers_and_quantisation_noise_is_that_of_the_bits(n_bits: int) -> None:
    coded, exact = record(n_bits), record()
    codes = coded * 2.0 ** (n_bits - 1)
    np.testing.assert_array_equal(codes, np.round(codes))
    loud = np.abs(exact[:, 1]) > 0.01
    # Rectangular error of one code: variance 1/12.
    assert np.std((coded - exact)[loud, 1]) * 2.0 ** (n_bits - 1) == pytest.approx(12**-0.5, rel=0.02)


@pytest.mark.parametrize(
    ("kind", "change"), [("lost", -64), ("repeated", 64), ("inserted-zeros", 64), ("zeroed", 0), ("stuck", 0)]
)
def test_a_gap_does_what_its_kind_says(kind: str, change: int) -> None:
    whole = record()
    at = round(0.9 * RATE_HZ)
    broken = record(faults=Faults(gaps=(Gap(kind=kind, at_s=0.9, n_samples=64),)))
    assert len(broken) == len(whole) + change
    np.testing.assert_array_equal(broken[:at], whole[:at])
    tail = whole[at + 64 :] if kind in ("lost", "zeroed", "stuck") else whole[at:]
    np.testing.assert_array_equal(broken[len(broken) - len(tail) :], tail)
    if "zero" in kind:
        assert not np.any(broken[at : at + 64])
    if kind in ("repeated", "stuck"):
        np.testing.assert_array_equal(broken[at : at + 64], whole[at - 64 : at])


def test_a_gap_in_one_channel_leaves_the_other() -> None:
    whole, broken = record(), record(faults=Faults(gaps=(Gap(kind="lost", at_s=0.9, n_samples=64, channels="pickup"),)))
    np.testing.assert_array_equal(broken[:, 1], whole[:, 1])
    np.testing.assert_array_equal(broken[50000:60000, 0], whole[50064:60064, 0])
    with pytest.raises(ValueError, match="no gap of kind 'eaten'"):
        record(faults=Faults(gaps=(Gap(kind="eaten", at_s=0.9, n_samples=64),)))


def test_drift_stretches_by_its_parts_in_a_million() -> None:
    whole, drifted = record()[:, 1], record(faults=Faults(drift_ppm=1000.0))[:, 1]
    at = np.arange(30000, 45000)
    expected = np.interp(at / 1.001, np.arange(len(whole)), whole)
    slow = np.max(np.abs(drifted[at] - expected))
    assert slow < 0.02 * np.max(np.abs(whole))  # linear interpolation below 2 kHz
    assert np.max(np.abs(drifted[at] - whole[at])) > 0.1 * np.max(np.abs(whole))


def test_faults_of_level() -> None:
    whole = record()
    np.testing.assert_array_equal(record(faults=Faults(is_swapped=True)), whole[:, ::-1])
    assert not np.any(record(faults=Faults(is_pickup_dead=True))[:, 0])
    assert np.max(record(faults=Faults(reference_clip=0.2))[:, 1]) == 0.2
    np.testing.assert_allclose(record(faults=Faults(pickup_offset=0.1))[:, 0], whole[:, 0] + 0.1, rtol=1e-12)
    assert len(record(faults=Faults(keep_from_s=0.25, keep_until_s=1.0))) == round(0.75 * RATE_HZ)
    # x − 0.4·x³ at peak 0.5 leaves 1 − 0.3·0.25 of the fundamental.
    low = slice(round(0.5 * RATE_HZ), round(0.6 * RATE_HZ))
    distorted = record(faults=Faults(third_order=0.4))
    assert np.max(distorted[low, 1]) == pytest.approx(np.max(whole[low, 1]) * (1 - 0.4 * 0.25), rel=0.01)
    levelled = record(faults=Faults(automatic_gain=1.0, automatic_gain_s=0.02), noise=Noise(pickup_white=1e-5))
    rms = [np.std(levelled[round(at * RATE_HZ) : round((at + 0.05) * RATE_HZ), 1]) for at in (0.6, 1.2)]
    assert rms[0] == pytest.approx(rms[1], rel=0.1)


def test_pink_noise_has_the_size_that_is_asked_for_and_no_dc():
    """1/f of power: as much in each octave, nothing at 0 Hz, which no input lets through."""
    noise = Noise(pickup_white=0.0, reference_white=0.0, pickup_pink=0.01)
    bench = VirtualBench(pickup=lambda f: 0 * f, reference=lambda f: 0 * f, noise=noise, seed=3)
    heard = bench.record(np.zeros(1 << 17), rate_hz=48000)[:, 0]
    assert np.std(heard) == pytest.approx(0.01, rel=0.05)
    assert abs(np.mean(heard)) < 1e-4
    power = np.abs(rfft(heard)) ** 2
    octaves = [np.sum(power[1 << k : 2 << k]) for k in range(8, 16)]
    assert max(octaves) / min(octaves) < 1.5
