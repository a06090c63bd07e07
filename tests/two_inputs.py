"""A card whose two inputs differ, by formula: what a loopback has to find, and takes made with it."""

from functools import cache

import numpy as np

from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Noise, VirtualBench
from measure.transfer.loopback import Loopback, solve_loopback

RATE_HZ = 48000


GAIN = 10 ** (0.5 / 20)  # 0.5 dB


CORNER_HZ = 10e3 / np.tan(np.radians(5.0))  # a low-pass that turns 10 kHz by 5°


MADE = "2026-03-01T12:00:00.000Z"


INPUT_NOISE = Noise(pickup_white=1e-5, reference_white=1e-5, pickup_hum=(2e-4, 5e-5), reference_hum=(1e-4,))  # -97 dBFS


def mismatch(frequency_hz):
    """Pickup's input over the reference input."""
    return GAIN / (1 + 1j * frequency_hz / CORNER_HZ)


def output(frequency_hz):
    """What the card's output and its inputs' coupling capacitors leave of the stimulus."""
    return 0.5 / (1 - 2j / np.maximum(frequency_hz, 1e-9))


def pickup(frequency_hz):
    """A resonance near 5 kHz, of Q 4: a pickup's impedance through a resistor looks much like that."""
    s = 1j * frequency_hz / 5e3
    return 0.2 / (1 + s / 4 + s**2)


def played() -> np.ndarray:
    return sweep_samples(Sweep(rate_hz=RATE_HZ, duration_s=2.0))


def recorded(response, *, seed: int, noise: Noise = INPUT_NOISE) -> Recording:
    """Both inputs: `response` times the mismatch, and the output itself."""
    bench = VirtualBench(pickup=response, reference=output, noise=noise, seed=seed)
    samples = bench.record(played(), rate_hz=RATE_HZ)
    return Recording(samples=samples, rate_hz=RATE_HZ, n_bits=24, simulated=True)


@cache
def made_loopback() -> Loopback:
    """From one recording of both inputs on the output, and what was played."""
    recording = recorded(lambda f: output(f) * mismatch(f), seed=1)
    return solve_loopback([recording], stimulus=played(), device="card", time_utc=MADE)
