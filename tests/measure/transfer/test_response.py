import subprocess
import sys

import numpy as np
import pytest
import scipy.fft
import soundfile

from measure.errors import MeasureError
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.transfer import response as transfer
from measure.transfer.response import estimate_response, mean_ratio, ratio_covariance
from measure.version import VERSION
from tests.counted_transforms import count_transforms
from tests.draws import drawn
from tests.takes_by_formula import apply_response, coil_response, take

DELAY_S = 0.3 / 48000


def relative_error(response, *, delay_s=DELAY_S):
    return response.value / coil_response(response.frequency_hz, delay_s=delay_s) - 1


def pulls(response, *, delay_s=DELAY_S):
    """Residuals in units of their standard deviation; complex, mean square 1."""
    residual = response.value - coil_response(response.frequency_hz, delay_s=delay_s)
    return residual / np.sqrt(np.trace(response.covariance, axis1=1, axis2=2))


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
@pytest.mark.parametrize("latency_s", [0.0, 0.2])
def test_no_bias_at_a_sharp_resonance(rate_hz, latency_s):
    # Q = 10 and no noise: what is left is the method's own error. 0.002 dB is 2.3e-4; reached is below 1e-5.
    response = estimate_response([take(np.random.default_rng(0), rate_hz=rate_hz, latency_s=latency_s, std=1e-13)])
    assert np.max(np.abs(relative_error(response))) < 1e-5
    assert response.frequency_hz[0] < 21.0
    assert response.frequency_hz[-1] > 0.44 * rate_hz


@pytest.mark.parametrize("delay_samples", [-3.7, 0.5, 48.2])
def test_delay_between_the_channels_is_kept_and_leaves_no_bias(delay_samples):
    delay_s = delay_samples / 48000
    response = estimate_response([take(np.random.default_rng(0), delay_s=delay_s, std=1e-13)])
    assert np.max(np.abs(relative_error(response, delay_s=delay_s))) < 2e-5


def test_what_is_recorded_long_before_and_after_the_sweep_counts_for_nothing():
    rng, rate_hz = np.random.default_rng(4), 8000
    heard = take(rng, rate_hz=rate_hz, std=1e-5).samples
    minute = 1e-5 * rng.standard_normal((60 * rate_hz, 2)).astype(np.float32)
    hum = 1e-3 * np.sin(2 * np.pi * 50.3 * np.arange(len(minute)) / rate_hz)
    humming = minute + np.stack([hum, np.zeros(len(hum))], axis=1).astype(np.float32)
    whole, quiet = (
        Recording(samples=np.concatenate([far, minute, heard, minute, far]), rate_hz=rate_hz, n_bits=24)
        for far in (humming, minute)
    )
    found, expected = estimate_response([whole]), estimate_response([quiet])
    np.testing.assert_array_equal(found.value, expected.value)
    np.testing.assert_array_equal(found.covariance, expected.covariance)
    assert np.max(np.abs(pulls(found))) < 5


CONDITIONS = {
    "white": {},
    "1/f": {"corner_hz": 300.0},
    "hum of 50 Hz": {"hum_level": 1e-3, "mains_hz": 50.2},
    "hum of 60 Hz in 1/f": {"hum_level": 1e-3, "mains_hz": 59.7, "corner_hz": 300.0},
    "noisy reference": {"reference_std": 2e-3},
    "16 bits": {"n_bits": 16, "std": 2e-5},
    "96 kHz": {"rate_hz": 96000},
    "44.1 kHz": {"rate_hz": 44100},
    "noise as stimulus": {"kind": "noise between silences"},
    "noise as stimulus, noisy reference": {"kind": "noise between silences", "reference_std": 1e-3},
}


@pytest.mark.long
@pytest.mark.parametrize("name", CONDITIONS)
def test_standard_deviation_predicts_the_residuals(name):
    seen = [pulls(estimate_response([take(np.random.default_rng(seed), **CONDITIONS[name])])) for seed in range(6)]
    n = min(len(z) for z in seen)
    z = np.stack([z[-n:] for z in seen])
    assert 0.9 < np.mean(np.abs(z) ** 2) < 1.3
    assert abs(np.mean(z.real**2) - np.mean(z.imag**2)) < 0.2
    # Fits treat the points as independent: neighbours' errors must not be correlated. 1/sqrt(6·160) is 0.03.
    neighbours = np.mean((z[:, 1:] * z[:, :-1].conj()).real) / np.mean(np.abs(z) ** 2)
    assert abs(neighbours) < 0.1


@pytest.mark.slow
@pytest.mark.parametrize("name", CONDITIONS)
def test_standard_deviation_over_200_seeds(name):
    seen = [
        pulls(estimate_response([take(np.random.default_rng(seed), **CONDITIONS[name])]))
        for seed in range(drawn(200, everyday=100))
    ]
    n = min(len(z) for z in seen)
    z = np.stack([z[-n:] for z in seen])
    assert 0.95 < np.mean(np.abs(z) ** 2) < 1.15
    mean_by_frequency = np.mean(np.abs(z) ** 2, axis=0)
    assert mean_by_frequency.min() > 0.7
    # At the summit of the resonance a bias of 6e-7 meets a standard deviation of 1e-6; the last band's pilot sees one side only.
    assert mean_by_frequency.max() < 1.8


def test_repeats_are_averaged():
    one = estimate_response([take(np.random.default_rng(100))])
    three = estimate_response([take(np.random.default_rng(seed)) for seed in (100, 101, 102)])
    ratio = np.trace(three.covariance, axis1=1, axis2=2) / np.trace(one.covariance, axis1=1, axis2=2)
    assert np.median(ratio) == pytest.approx(1 / 3, rel=0.1)
    assert 0.8 < np.mean(np.abs(pulls(three)) ** 2) < 1.3
    assert three.origin.n_repeats == 3


def test_repeats_that_scatter_more_than_their_silences_say_so():
    # Noise that comes only with the stimulus: the silences know nothing of it, the repeats do.
    noisy = []
    for seed in range(4):
        recording = take(np.random.default_rng(seed))
        samples = recording.samples.copy()
        samples[40000:170000, 0] += 2e-4 * np.random.default_rng(seed + 50).standard_normal(130000)
        noisy.append(Recording(samples=samples, rate_hz=recording.rate_hz))
    assert 0.7 < np.mean(np.abs(pulls(estimate_response(noisy))) ** 2) < 1.5
    assert np.mean(np.abs(pulls(estimate_response(noisy[:1]))) ** 2) > 50


def test_harmonics_of_the_generator_do_not_enter():
    # A linear coil: they are in both channels, and the ratio is the same at each frequency.
    stimulus = sweep_samples(Sweep(rate_hz=48000))
    driven = stimulus + 0.1 * stimulus**2 + 0.2 * stimulus**3
    n_fft = scipy.fft.next_fast_len(len(driven) + 24000, real=True)
    frequency_hz = np.arange(n_fft // 2 + 1) * 48000 / n_fft
    pickup = scipy.fft.irfft(scipy.fft.rfft(driven, n_fft) * coil_response(frequency_hz), n_fft)[: len(driven)]
    recording = Recording(samples=np.stack([pickup, driven], axis=1), rate_hz=48000)
    assert np.max(np.abs(relative_error(estimate_response([recording]), delay_s=0.0))) < 1e-5


def without_reference(recording):
    return Recording(samples=recording.samples[:, :1].copy(), rate_hz=recording.rate_hz, reference_channel=None)


@pytest.mark.long
@pytest.mark.parametrize("latency_s", [0.0, 0.0371, 0.2])
def test_known_stimulus_instead_of_a_reference(latency_s):
    mean_squares = []
    for seed in range(6):
        recording = without_reference(take(np.random.default_rng(seed), latency_s=latency_s, delay_s=0.0))
        response = estimate_response([recording], stimulus=sweep_samples(Sweep(rate_hz=48000)))
        turn = np.angle(response.value / coil_response(response.frequency_hz))
        left = -np.polyfit(response.frequency_hz, np.unwrap(turn), 1)[0] / (2 * np.pi) * 48000
        # Arrival is taken out in whole samples; the coil's own delay may make it one more or less.
        assert abs(left) < 2
        assert left == pytest.approx(round(left), abs=1e-3)
        mean_squares.append(np.mean(np.abs(pulls(response, delay_s=round(left) / 48000)) ** 2))
    assert 0.85 < np.mean(mean_squares) < 1.2


def response_to_distorted(square, cube):
    """Response by the stimulus alone, the generator distorting, and its error; a whole-sample arrival is left free."""
    stimulus = sweep_samples(Sweep(rate_hz=48000))
    pickup = apply_response(stimulus + square * stimulus**2 + cube * stimulus**3, 48000, coil_response)
    recording = Recording(samples=pickup[:, None], rate_hz=48000, reference_channel=None)
    response = estimate_response([recording], stimulus=stimulus)
    # x³ of a sine of amplitude 0.5 is 3/4·0.25 of it at the fundamental: a gain, which is linear and stays.
    value = response.value / (1 + cube * 0.75 * 0.25)
    turn = np.exp(-2j * np.pi * response.frequency_hz * np.arange(-2, 3)[:, None] / 48000)
    errors = np.abs(value / (coil_response(response.frequency_hz) * turn) - 1)
    return response.frequency_hz, errors[np.argmin(errors.mean(axis=1))]


@pytest.mark.parametrize(("square", "cube"), [(0.0, 0.0), (0.02, 0.0), (0.0, 0.02), (0.02, 0.02)])
def test_harmonics_are_kept_out_where_there_is_no_reference(square, cube, monkeypatch):
    # The n-th harmonic of frequency f arrives L·ln n before f itself (Farina 2000). Above 1 kHz what folds at half the rate,
    # a matter of this simulation, is among the linear response.
    frequency_hz, error = response_to_distorted(square, cube)
    low = (frequency_hz > 30) & (frequency_hz < 1000)
    assert error[low].max() < 1e-4
    assert error[frequency_hz < 30].max() < 7e-4
    assert error[(frequency_hz > 1000) & (frequency_hz < 18000)].max() < 1e-3
    if square:
        monkeypatch.setattr("measure.transfer.response._gate", lambda *_: None)
        frequency_hz, error = response_to_distorted(square, cube)
        assert error[low].max() > 2e-3  # the gate is what does it


def test_stimulus_without_silence_is_usable_and_says_so():
    response = estimate_response([take(np.random.default_rng(1), kind="noise", std=3e-4)])
    assert "no-silence" in [finding.code for finding in response.findings]
    assert 0.5 < np.mean(np.abs(pulls(response)) ** 2) < 1.3


def test_digital_silence_falls_back_to_the_steps_and_says_so():
    recording = take(np.random.default_rng(0), std=0.0, n_bits=24)
    response = estimate_response([recording])
    assert "silence-too-quiet" in [finding.code for finding in response.findings]
    assert np.all(np.trace(response.covariance, axis1=1, axis2=2) > 0)
    assert "silence-too-quiet" not in [f.code for f in estimate_response([take(np.random.default_rng(0), n_bits=24)]).findings]


def test_noisy_response_is_flagged():
    response = estimate_response([take(np.random.default_rng(0), std=3e-3)])
    assert "noisy-response" in [finding.code for finding in response.findings]
    assert "noisy-response" not in [f.code for f in estimate_response([take(np.random.default_rng(0))]).findings]


def test_only_where_the_excitation_is():
    stimulus = sweep_samples(Sweep(rate_hz=96000, start_hz=80.0, stop_hz=9000.0))
    rng = np.random.default_rng(0)
    samples = np.stack([0.1 * stimulus, stimulus], axis=1) + 1e-6 * rng.standard_normal((len(stimulus), 2))
    frequency_hz = estimate_response([Recording(samples=samples, rate_hz=96000)]).frequency_hz
    # The ends of the sweep are faded in 5 ms: a little of it lies beyond them.
    assert 65 < frequency_hz[0] < 85
    assert 8500 < frequency_hz[-1] < 9500


def test_channel_order_does_not_matter():
    recording = take(np.random.default_rng(0))
    swapped = Recording(samples=recording.samples[:, ::-1].copy(), rate_hz=48000, pickup_channel=2, reference_channel=1)
    np.testing.assert_allclose(estimate_response([swapped]).value, estimate_response([recording]).value, rtol=1e-12)


def test_origin():
    recording = take(np.random.default_rng(0))
    origin = estimate_response([recording], note="by formula", device="none", time_utc="2026-01-01T00:00:00Z").origin
    assert (origin.rate_hz, origin.n_repeats, origin.simulated, origin.note) == (48000.0, 1, True, "by formula")
    assert origin.tool_version == VERSION


def test_noise_in_both_channels_is_no_response():
    samples = 1e-4 * np.random.default_rng(0).standard_normal((200000, 2))
    with pytest.raises(MeasureError, match="nothing of the reference arrives"):
        estimate_response([Recording(samples=samples, rate_hz=48000)])


def test_silent_recording():
    samples = np.zeros((96000, 2))
    with pytest.raises(MeasureError, match="no excitation"):
        estimate_response([Recording(samples=samples, rate_hz=48000)])


def test_wrong_calls():
    recording = take(np.random.default_rng(0))
    with pytest.raises(ValueError, match="no recording given"):
        estimate_response([])
    with pytest.raises(ValueError, match="different sample rates"):
        estimate_response([recording, take(np.random.default_rng(0), rate_hz=96000)])
    with pytest.raises(ValueError, match="needs the sweep"):
        estimate_response([without_reference(recording)])
    with pytest.raises(ValueError, match="repeats >= 2"):
        mean_ratio(np.ones((1, 3), complex), np.ones((1, 3), complex))


def test_ratio_covariance_against_draws():
    rng = np.random.default_rng(0)
    root = 0.01 * rng.standard_normal((4, 4))
    draws = rng.standard_normal((400000, 4)) @ root.T
    top, bottom = 1 - 2j, 0.5 + 1.5j
    ratio = (top + draws[:, 0] + 1j * draws[:, 1]) / (bottom + draws[:, 2] + 1j * draws[:, 3])
    expected = np.cov(ratio.real, ratio.imag)
    got = ratio_covariance(np.array([top]), np.array([bottom]), (root @ root.T)[None])[0]
    np.testing.assert_allclose(got, expected, rtol=0.02, atol=0.01 * np.abs(expected).max())


def test_long_recording_in_segments_agrees_with_the_whole(monkeypatch):
    recording = take(np.random.default_rng(0))
    whole = estimate_response([recording])
    monkeypatch.setattr("measure.signal.spectra.WHOLE_SAMPLES", 1 << 16)
    monkeypatch.setattr("measure.signal.spectra.SEGMENT_SAMPLES", 1 << 16)
    segments = estimate_response([recording])
    common = whole.frequency_hz >= segments.frequency_hz[0] - 1e-9
    difference = segments.value - whole.value[common]
    std = np.sqrt(np.trace(segments.covariance, axis1=1, axis2=2))
    assert segments.frequency_hz[0] > whole.frequency_hz[0]  # shorter segments resolve less
    assert np.sqrt(np.mean(np.abs(difference / std) ** 2)) < 0.6
    assert 0.8 < np.mean(np.abs(pulls(segments)) ** 2) < 1.3


MEMORY_PROGRAM = """
import resource, sys
import numpy as np
import scipy.fft, soundfile
import measure.signal.spectra
from measure.source.files import read_recording
from measure.transfer.response import estimate_response
from measure.version import VERSION
measure.signal.spectra.WHOLE_SAMPLES >>= int(sys.argv[2])
measure.signal.spectra.SEGMENT_SAMPLES >>= int(sys.argv[2])
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
recording = read_recording(sys.argv[1])
estimate_response([recording])
print(1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / (recording.samples.size * 2))
"""


@pytest.mark.long
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peak memory is read the Linux way")
@pytest.mark.parametrize(("duration_s", "halvings"), [(10, 4), pytest.param(120, 0, marks=pytest.mark.slow)])
def test_memory_of_a_long_recording(tmp_path, duration_s, halvings):
    # 16 bits, two channels, 192 kHz: the hard case, since samples are kept as 32-bit floats. Ten minutes need 2.3 times the
    # recording; here it and the segments are smaller alike.
    rng, rate_hz, path = np.random.default_rng(0), 192000, tmp_path / "long.wav"
    with soundfile.SoundFile(path, "w", rate_hz, 2, subtype="PCM_16") as file:
        for second in range(duration_s):
            quiet = second in (0, duration_s - 1)
            noise = rng.standard_normal(rate_hz) * (0.0 if quiet else 0.1)
            file.write(np.stack([0.1 * noise, noise], axis=1) + 1e-4 * rng.standard_normal((rate_hz, 2)))
    command = [sys.executable, "-c", MEMORY_PROGRAM, str(path), str(halvings)]
    run = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    assert float(run.stdout) < 6


@pytest.mark.parametrize(("std", "severity"), [(6e-6, "pass"), (1e-7, "warn")])
def test_noise_below_the_steps_of_an_open_input_is_no_warning(std, severity):
    # One step of 16 bits is 3.1e-5: noise of a fifth of it moves some samples, of a three-hundredth none, as if it were muted.
    response = estimate_response([take(np.random.default_rng(0), n_bits=16, std=std)])
    assert [finding.severity for finding in response.findings if finding.code == "silence-too-quiet"] == [severity]


# Silences are transformed too, in short pieces that are not counted.
def test_a_response_needs_one_transform_a_channel(monkeypatch: pytest.MonkeyPatch) -> None:
    recording = take(np.random.default_rng(0))
    transforms = count_transforms(monkeypatch)
    estimate_response([recording])
    assert transforms.total() == 2


def test_covariance_of_circular_noise_is_half_its_cross_density():
    """Of circular noises a and b with E[a b*] = C: cov(Re a, Re b) = cov(Im a, Im b) = Re C/2, cov(Im a, Re b) = Im C/2."""
    rng = np.random.default_rng(4)
    root = np.array([[2.0, 0.0], [0.7 - 0.9j, 0.5]])
    circular = (rng.standard_normal((2, 200_000)) + 1j * rng.standard_normal((2, 200_000))) / np.sqrt(2)
    top, bottom = root @ circular
    drawn_covariance = np.cov(np.stack([top.real, top.imag, bottom.real, bottom.imag]))
    wanted = root @ root.conj().T
    noise = transfer._Noise(
        density=np.array([[wanted[0, 0].real, wanted[1, 1].real]]), cross=wanted[:1, 1], is_from_silence=True, findings=()
    )
    stated = transfer._observation_covariance(np.array([1e3]), noise, np.array([np.inf]), hum=None, length_s=1.0)[0]
    np.testing.assert_allclose(stated, drawn_covariance, atol=0.02)  # 5 standard deviations of so many draws
    np.testing.assert_array_equal(stated, stated.T)


@pytest.mark.parametrize("n_repeats", [2, 5])
def test_scatter_counts_where_chance_would_hardly_show_it(n_repeats):
    """χ² of ν has the mean ν and the variance 2ν: four standard deviations of χ²/ν, at the ends of half as many bands."""
    n = 100
    freedom = 2 * (transfer.POINTS_PER_OCTAVE / 2 + 1) * (n_repeats - 1)
    chance = 4 * np.sqrt(2 / freedom)
    predicted = np.tile(np.eye(2), (n, 1, 1))
    assert np.all(transfer._excess_scatter(0.99 * (1 + chance) * predicted, predicted, n_repeats) == 1)
    more = 1.01 * (1 + chance)
    np.testing.assert_allclose(transfer._excess_scatter(more * predicted, predicted, n_repeats), more)


def test_steps_of_samples_are_white_noise_of_a_twelfth():
    """Rounding to steps q: variance q²/12, spread up to half the rate; full scale is 1, so q = 2^(1 − bits)."""
    for n_bits, step in ((16, 1 / 32768), (24, 1 / 8388608), (None, 1 / 8388608)):
        recording = Recording(samples=np.zeros((10, 2), dtype=np.float32), rate_hz=48000, n_bits=n_bits)
        assert transfer._quantisation_density(recording) == pytest.approx(step**2 / 12 / 48000)
