"""Checks against published numbers and other people's code: uncertainty of ratios, the sweep, levels, noise, real takes."""

import json

import GTC
import numpy as np
import pytest
import scipy.constants
import scipy.signal

from measure.response import relative_std
from measure.signal.mains import fit_hum, line_levels
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.files import read_recording, read_stimulus, write_recording
from measure.transfer.response import estimate_response, mean_ratio
from tests.places import RECORDINGS

# JCGM 100:2008 (GUM), annex H.2, table H.2: five simultaneous observations of voltage, current and phase.
VOLTAGE_V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
CURRENT_A = np.array([19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3])
PHASE_RAD = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def gum_example():
    voltage = (VOLTAGE_V * np.exp(1j * PHASE_RAD))[:, None]
    return voltage, CURRENT_A.astype(complex)[:, None]


def test_gum_h2_published_results():
    # Tables H.3 and H.4: R 127.732 ± 0.071, X 219.847 ± 0.295, |Z| 254.260 ± 0.236 Ω; r(R, X) -0.588, r(R, Z) -0.485,
    # r(X, Z) 0.993. Correlations from memory, recomputed.
    value, covariance = mean_ratio(*gum_example())
    z, cov = value[0], covariance[0]
    u_r, u_x = np.sqrt(np.diag(cov))
    assert z.real == pytest.approx(127.732, abs=0.001)
    assert z.imag == pytest.approx(219.847, abs=0.001)
    assert abs(z) == pytest.approx(254.260, abs=0.001)
    assert u_r == pytest.approx(0.071, abs=0.001)
    assert u_x == pytest.approx(0.295, abs=0.001)
    direction = np.array([z.real, z.imag]) / abs(z)
    u_z = np.sqrt(direction @ cov @ direction)
    assert u_z == pytest.approx(0.236, abs=0.001)
    assert cov[0, 1] / (u_r * u_x) == pytest.approx(-0.588, abs=0.001)
    assert (cov @ direction)[0] / (u_r * u_z) == pytest.approx(-0.485, abs=0.001)
    assert (cov @ direction)[1] / (u_x * u_z) == pytest.approx(0.993, abs=0.001)


def test_gum_h2_against_another_uncertainty_package():
    # GTC (MIT), its type-A estimate of two complex quantities and its own propagation.
    voltage, current = gum_example()
    value, covariance = mean_ratio(voltage, current)
    a, b = GTC.ta.multi_estimate_complex((voltage[:, 0].tolist(), current[:, 0].tolist()))
    z = a / b
    np.testing.assert_allclose(value[0], complex(z.x), rtol=1e-12)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance[0])), [z.u.real, z.u.imag], rtol=1e-9)
    np.testing.assert_allclose(covariance[0, 0, 1] / np.sqrt(np.prod(np.diag(covariance[0]))), z.r, rtol=1e-9)


def test_gum_h2_full_digits():
    # Recomputed as a complex ratio by a plain linearisation: u 0.0712286, 0.2955523, r -0.587667.
    value, covariance = mean_ratio(*gum_example())
    assert value[0].real == pytest.approx(127.731661, abs=1e-6)
    assert value[0].imag == pytest.approx(219.846475, abs=1e-6)
    assert np.sqrt(covariance[0, 0, 0]) == pytest.approx(0.0712286, abs=1e-7)
    assert np.sqrt(covariance[0, 1, 1]) == pytest.approx(0.2955523, abs=1e-7)


@pytest.mark.parametrize(
    ("x", "r", "magnitude", "u_magnitude", "phase", "u_phase"),
    [
        (0.001, 0.0, 0.013, 0.007, 0.000, 1.744),
        (0.001, 0.9, 0.012, 0.008, -0.556, 1.599),
        (0.010, 0.9, 0.015, 0.008, -0.343, 0.903),
    ],
)
def test_magnitude_and_phase_fail_where_noise_is_large(x, r, magnitude, u_magnitude, phase, u_phase):
    # JCGM 102:2011, 9.3, tables 6 and 7: u = 0.010 in both parts. Linear propagation would give u(phase) = u / x = 10 or 1 rad.
    rng = np.random.default_rng(0)
    root = np.linalg.cholesky(0.01**2 * np.array([[1, r], [r, 1]]))
    draws = np.array([x, 0.0]) + rng.standard_normal((400000, 2)) @ root.T
    z = draws[:, 0] + 1j * draws[:, 1]
    assert np.mean(np.abs(z)) == pytest.approx(magnitude, abs=0.0006)
    assert np.std(np.abs(z)) == pytest.approx(u_magnitude, abs=0.0006)
    assert np.mean(np.angle(z)) == pytest.approx(phase, abs=0.01)
    assert np.std(np.angle(z)) == pytest.approx(u_phase, abs=0.01)
    assert abs(np.std(np.angle(z)) / (0.01 / x) - 1) > 0.09


def test_such_a_response_is_flagged():
    # So a response whose noise is like its magnitude must carry a finding. Reference at -9 dBFS, pickup buried in noise.
    rng = np.random.default_rng(1)
    stimulus = sweep_samples(Sweep(rate_hz=48000))
    samples = np.stack([1e-4 * stimulus + 3e-2 * rng.standard_normal(len(stimulus)), stimulus], axis=1)
    response = estimate_response([Recording(samples=samples, rate_hz=48000)])
    assert np.max(relative_std(response)) > 0.5
    assert [f.severity for f in response.findings if f.code == "noisy-response"] == ["warn"]


def test_sweep_against_scipy():
    # A. Farina, 108th AES Convention, Paris 2000. scipy.signal.chirp(method="logarithmic") is the same wave.
    sweep = Sweep(rate_hz=48000, start_hz=20.0, stop_hz=20000.0, duration_s=6.0, before_s=0.0, after_s=0.0, level=1.0)
    time_s = np.arange(6 * 48000) / 48000
    expected = scipy.signal.chirp(time_s, 20.0, 6.0, 20000.0, method="logarithmic", phi=-90)
    inside = slice(240, -240)  # the fades
    np.testing.assert_allclose(sweep_samples(sweep)[inside], expected[inside], rtol=0, atol=1e-9)


@pytest.mark.parametrize("expected_s", [0.6020600, 0.9542425], ids=["second", "third"])
def test_harmonics_arrive_earlier(expected_s):
    # Farina 2000 (formula from memory, recomputed): T·ln n / ln(f2/f1); within 5 samples at 96 kHz.
    rate_hz = 96000
    sweep = Sweep(rate_hz=rate_hz, start_hz=20.0, stop_hz=20000.0, duration_s=6.0, before_s=0.0, after_s=0.0, level=1.0)
    x = sweep_samples(sweep)
    n_fft = 2 * len(x)
    spectrum = np.fft.rfft(x, n_fft)
    power = np.abs(spectrum) ** 2
    frequency_hz = np.fft.rfftfreq(n_fft, 1 / rate_hz)
    inverse = np.where((frequency_hz > 30) & (frequency_hz < 19000), spectrum.conj() / power, 0)
    impulse = np.fft.irfft(np.fft.rfft(x + 0.1 * x**2 + 0.05 * x**3, n_fft) * inverse, n_fft)
    around = n_fft - round(expected_s * rate_hz) + np.arange(-200, 201)
    envelope = np.abs(scipy.signal.hilbert(np.real(impulse[around])))
    assert abs(int(np.argmax(envelope)) - 200) <= 5


def test_spectrum_of_the_sweep():
    # A. Novak, P. Lotton, L. Simon, J. Audio Eng. Soc. 63 (10), 786-798, 2015 (formula from memory, recomputed):
    # X(f) = ½ √(L/f) exp{j2πfL(1 - ln(f/f1)) - jπ/4}, times exp(-j2πf1·L) for the form that starts at phase 0.
    rate_hz = 48000
    sweep = Sweep(rate_hz=rate_hz, start_hz=20.0, stop_hz=20000.0, duration_s=6.0, before_s=0.0, after_s=0.0, level=1.0)
    x = sweep_samples(sweep)
    growth_s = 6.0 / np.log(1000.0)
    frequency_hz = np.fft.rfftfreq(len(x), 1 / rate_hz)
    inside = (frequency_hz > 100) & (frequency_hz < 10000)
    f = frequency_hz[inside]
    turn = 2 * np.pi * growth_s * (f * (1 - np.log(f / 20.0)) - 20.0) - np.pi / 4
    expected = 0.5 * np.sqrt(growth_s / f) * np.exp(1j * turn)
    ratio = np.fft.rfft(x)[inside] / rate_hz / expected
    assert np.sqrt(np.mean((20 * np.log10(np.abs(ratio))) ** 2)) < 0.05  # 0.033 dB without fades
    assert np.degrees(np.sqrt(np.mean(np.angle(ratio) ** 2))) < 0.35  # 0.22° without fades


@pytest.mark.parametrize(("n_bits", "expected_db"), [(16, -98.09), (24, -146.26)])
def test_quantisation_noise(tmp_path, n_bits, expected_db):
    # 6.0206·N + 1.7609 dB below a full-scale sine (AES17: 997 Hz); recomputed.
    sine = np.sin(2 * np.pi * 997 / 48000 * np.arange(48000)) * (1 - 2.0 ** (1 - n_bits))
    path = tmp_path / "sine.wav"
    write_recording(path, sine, 48000, n_bits=n_bits)
    error = read_recording(path, reference_channel=None).samples[:, 0].astype(float) - sine
    assert 20 * np.log10(np.sqrt(2) * np.std(error)) == pytest.approx(expected_db, abs=0.1)


def test_noise_of_a_resistor_appears_in_the_standard_deviation():
    # √(4kTR) with k of the SI 2019: 10 kΩ at 293.15 K is 12.7238 nV/√Hz. Full scale 1 V,
    # the noise amplified 10⁴ times.
    density = np.sqrt(4 * scipy.constants.k * 293.15 * 1e4)
    assert density == pytest.approx(12.7238e-9, rel=1e-5)
    rng = np.random.default_rng(0)
    stimulus = sweep_samples(Sweep(rate_hz=96000))
    std = 1e4 * density * np.sqrt(96000 / 2)
    samples = np.stack([stimulus + std * rng.standard_normal(len(stimulus)), stimulus], axis=1)
    response = estimate_response([Recording(samples=samples, rate_hz=96000)])
    # Energy of the sweep within 1/16 octave: amplitude²/4 two-sided, times the time it takes there.
    energy = 0.5**2 / 4 * 3.0 / (16 * np.log2(44160 / 15))
    expected = (1e4 * density) ** 2 / 2 / energy
    middle = (response.frequency_hz > 200) & (response.frequency_hz < 20000)
    variance = np.trace(response.covariance, axis1=1, axis2=2)[middle]
    assert np.mean(variance) == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize(("wave", "expected_dbfs"), [("sine", 0.0), ("half", -6.02), ("tenth", -20.0)])
def test_levels_are_those_of_aes17(wave, expected_dbfs):
    # AES17: the sine whose peak reaches full scale is 0 dBFS, so dBFS = 20·lg(rms·√2). A mains line has a level of that kind.
    peak = {"sine": 1.0, "half": 0.5, "tenth": 0.1}[wave]
    rng = np.random.default_rng(0)
    time_s = np.arange(48000) / 48000
    samples = np.stack([peak * np.cos(2 * np.pi * 50 * time_s + 0.3), np.zeros(48000)], axis=1) + 1e-7 * rng.standard_normal(
        (48000, 2)
    )
    hum = fit_hum(Recording(samples=samples, rate_hz=48000), (slice(0, 20000), slice(28000, 48000)))
    assert 20 * np.log10(np.sqrt(2) * line_levels(hum)[0, 0]) == pytest.approx(expected_dbfs, abs=0.005)


def takes(case):
    folder = RECORDINGS / case
    return json.loads((folder / "case.json").read_text()), {
        name: read_recording(folder / f"{name}.flac") for name in ("open", "plus-1n")
    }


@pytest.mark.parametrize("case", ["bare-single-coil", "bare-humbucker"])
def test_independent_takes_agree_where_the_added_capacitor_does_nothing(case):
    # Rendered by a circuit simulator. Far below the resonance a parallel capacitor changes the response by (f/f0)² and no more,
    # so the ratio of the two takes is smooth: a short power series in f describes it within the noise that the takes state.
    _, recordings = takes(case)
    low, high = (estimate_response([recordings[name]]) for name in ("open", "plus-1n"))
    np.testing.assert_array_equal(low.frequency_hz, high.frequency_hz)
    inside = (low.frequency_hz > 100) & (low.frequency_hz < 500)
    ratio = (high.value / low.value)[inside]
    std = np.sqrt(relative_std(low) ** 2 + relative_std(high) ** 2)[inside]
    x = low.frequency_hz[inside] / 500.0
    basis = np.stack([x**k for k in range(5)], axis=1)
    fit = basis @ np.linalg.lstsq(basis / std[:, None], ratio / std, rcond=None)[0]
    freedom = len(x) - 5
    assert 0.4 < np.sum(np.abs((ratio - fit) / std) ** 2) / freedom < 1.6  # ± 3.4 standard deviations of this mean
    assert np.median(np.abs(ratio - 1)) < 0.03


def test_stimulus_and_reference_channel_give_the_same_shape():
    # The same take analysed with its reference channel and against the stimulus file: they differ by the exciter's current
    # (a corner of first order) and the arrival, so the quotient of the two is smooth.
    stimulus, rate_hz = read_stimulus(RECORDINGS / "stimulus-96000.flac")
    _, recordings = takes("bare-single-coil")
    recording = recordings["open"]
    assert rate_hz == recording.rate_hz
    alone = Recording(samples=recording.samples[:, :1], rate_hz=rate_hz, reference_channel=None, n_bits=24)
    by_stimulus, by_reference = estimate_response([alone], stimulus=stimulus), estimate_response([recording])
    common = np.isin(by_reference.frequency_hz, by_stimulus.frequency_hz) & (by_reference.frequency_hz > 200)
    frequency_hz = by_reference.frequency_hz[common]
    quotient = by_stimulus.value[np.isin(by_stimulus.frequency_hz, frequency_hz)] / by_reference.value[common]
    turn = np.unwrap(np.angle(quotient))
    fit = np.polyval(np.polyfit(frequency_hz, turn, 3), frequency_hz)
    assert np.degrees(np.std((turn - fit)[frequency_hz < 20000])) < 0.2
    # A corner of first order falls by less than 6 dB an octave, and never rises; 2e-4 for the noise of both.
    fall = np.diff(np.log(np.abs(quotient)))
    assert fall.min() > -np.log(2) / 16
    assert fall.max() < 2e-4
