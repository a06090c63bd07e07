"""Takes made by formula: a coil's response applied to a stimulus by FFT, with noise, hum and delay on demand."""

import numpy as np
import scipy.fft

from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples

RESONANCE_HZ, Q = 4000.0, 10.0
HUM_ORDERS = np.array([1, 2, 3, 5, 7, 9, 11, 15, 21])


def coil_response(frequency_hz, *, delay_s=0.0, resonance_hz=RESONANCE_HZ, q=Q):
    """s·e(s)/(1 + s/(ω0·Q) + (s/ω0)²) with one eddy loop at 2 kHz in the exciting field, and a delay."""
    s, omega, tau = 2j * np.pi * frequency_hz, 2 * np.pi * resonance_hz, 1 / (2 * np.pi * 2000.0)
    field = 1 - 0.3 * s * tau / (1 + s * tau)
    return 0.1 * s / (2 * np.pi * 3000.0) * field / (1 + s / (omega * q) + (s / omega) ** 2) * np.exp(-s * delay_s)


def apply_response(samples, rate_hz, response):
    n_fft = scipy.fft.next_fast_len(len(samples) + rate_hz // 2, real=True)
    frequency_hz = np.arange(n_fft // 2 + 1) * rate_hz / n_fft
    return scipy.fft.irfft(scipy.fft.rfft(samples, n_fft) * response(frequency_hz), n_fft)[: len(samples)]


def noise_samples(rng, n, rate_hz, *, std, corner_hz=0.0):
    """White noise, below the corner rising as 1/f in power."""
    white = rng.standard_normal(n) * std
    if corner_hz == 0.0:
        return white
    n_fft = scipy.fft.next_fast_len(n, real=True)
    frequency_hz = np.maximum(np.arange(n_fft // 2 + 1), 1) * rate_hz / n_fft
    return scipy.fft.irfft(scipy.fft.rfft(white, n_fft) * np.sqrt(1 + corner_hz / frequency_hz), n_fft)[:n]


def hum_wave(rng, n, rate_hz, *, mains_hz, level):
    time_s, phase = np.arange(n) / rate_hz, rng.uniform(0, 2 * np.pi, len(HUM_ORDERS))
    return sum(level / k * np.cos(2 * np.pi * k * mains_hz * time_s + p) for k, p in zip(HUM_ORDERS, phase, strict=True))


def stimulus_samples(rng, rate_hz, kind):
    """A sweep, noise between silences, or noise throughout."""
    if kind == "sweep":
        return sweep_samples(Sweep(rate_hz=rate_hz))
    noise = 0.15 * rng.standard_normal(round(4.2 * rate_hz))
    if kind == "noise between silences":
        noise[: round(0.7 * rate_hz)] = 0.0
        noise[-round(0.5 * rate_hz) :] = 0.0
    return noise


def take(
    rng,
    *,
    rate_hz=48000,
    kind="sweep",
    latency_s=0.012,
    delay_s=0.3 / 48000,
    std=1e-5,
    corner_hz=0.0,
    reference_std=0.0,
    hum_level=0.0,
    mains_hz=50.0,
    n_bits=None,
    response=coil_response,
):
    """One recording: pickup in channel 1, reference in channel 2."""
    stimulus = stimulus_samples(rng, rate_hz, kind)
    reference = np.concatenate([np.zeros(round(latency_s * rate_hz)), stimulus])
    n = len(reference)
    pickup = apply_response(reference, rate_hz, lambda f: response(f, delay_s=delay_s))
    pickup = pickup + noise_samples(rng, n, rate_hz, std=std, corner_hz=corner_hz)
    if hum_level:
        pickup = pickup + hum_wave(rng, n, rate_hz, mains_hz=mains_hz, level=hum_level)
    samples = np.stack([pickup, reference + reference_std * rng.standard_normal(n)], axis=1)
    if n_bits is not None:
        step = 2.0 ** (1 - n_bits)
        samples = np.rint(samples / step) * step
    return Recording(samples=samples, rate_hz=rate_hz, n_bits=n_bits, simulated=True)
