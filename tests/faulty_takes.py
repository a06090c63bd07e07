"""Takes of a virtual bench with a fault, and what the checks say of them."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from measure.checks.recording import NAMES, check_recording
from measure.response import ComplexArray, Finding, FloatArray
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Faults, Noise, VirtualBench

RATE_HZ = 48000


SWEEP = Sweep(rate_hz=RATE_HZ, duration_s=1.5, before_s=0.4, after_s=0.2)


STIMULUS = sweep_samples(SWEEP)


ROOM = Noise(
    hum_hz=50.01, pickup_hum=(4e-4, 1e-4, 2e-4, 3e-5, 1e-4), reference_hum=(1e-6,), pickup_white=1e-5, reference_white=6e-6
)


NO_FAULTS = Faults()


def slow(*values: object) -> object:
    return pytest.param(*values, marks=pytest.mark.slow)


NO_NOISE = Noise()


def coil(
    *, inductance_h: float = 3.0, capacitance_f: float = 300e-12, pot_ohm: float = 1e6, tone_f: float = 0.0
) -> Callable[[FloatArray], ComplexArray]:
    """A pickup with 6.5 kΩ and one eddy loop; tone_f is the tone capacitor with its pot turned down."""

    def response(frequency_hz: FloatArray) -> ComplexArray:
        s = 2j * np.pi * frequency_hz
        loop = 0.09 * s * 2e-5 / (1 + s * 2e-5)
        impedance = 6.5e3 + s * inductance_h * (1 - loop)
        return 8e-7 * s * (1 - loop) / (1 + impedance * (s * (capacitance_f + tone_f) + 1 / pot_ohm + 1e-6))

    return response


def sense(*, corner_hz: float = 15e3, low_hz: float = 2.0, gain: float = 1.15) -> Callable[[FloatArray], ComplexArray]:
    """A sense resistor behind a coupling capacitor, in series with an exciter."""

    def response(frequency_hz: FloatArray) -> ComplexArray:
        high_pass = 1 / (1 + low_hz / (1j * np.maximum(frequency_hz, 1e-9)))
        return gain * high_pass / (1 + 1j * frequency_hz / corner_hz)

    return response


BENCH = VirtualBench(pickup=coil(), reference=sense(), noise=ROOM, seed=1)


def take(bench: VirtualBench = BENCH, *, faults: Faults = NO_FAULTS, sweep: Sweep = SWEEP) -> Recording:
    samples = replace(bench, faults=faults).record(sweep_samples(sweep), rate_hz=sweep.rate_hz)
    return Recording(samples=samples.astype(np.float32), rate_hz=sweep.rate_hz, n_bits=bench.n_bits, simulated=True)


def noise_take(
    *, pickup: Callable[[FloatArray], ComplexArray] | None = None, noise: Noise = ROOM, is_swapped: bool = False
) -> Recording:
    """Two seconds of white noise between silences."""
    stimulus = np.concatenate([np.zeros(24000), np.random.default_rng(3).normal(size=96000) * 0.1, np.zeros(24000)])
    bench = replace(BENCH, pickup=pickup or coil(), reference=sense(), noise=noise, faults=Faults(is_swapped=is_swapped))
    return Recording(samples=bench.record(stimulus, rate_hz=RATE_HZ).astype(np.float32), rate_hz=RATE_HZ, n_bits=24)


def found(recording: Recording, stimulus: FloatArray | None = STIMULUS) -> dict[str, Finding]:
    findings = check_recording(recording, stimulus=stimulus)
    assert tuple(finding.code for finding in findings) == NAMES
    for finding in findings:
        assert "\n" not in finding.text
        assert finding.severity == "pass" or finding.figure is not None
    return {finding.code: finding for finding in findings}


def blamed(findings: dict[str, Finding]) -> dict[str, str]:
    return {code: finding.severity for code, finding in findings.items() if finding.severity != "pass"}


@dataclass(frozen=True)
class Draw:
    """A bench drawn at random from what people have on theirs, and what was played."""

    bench: VirtualBench
    sweep: Sweep


def draw_bench(seed: int) -> Draw:
    generator = np.random.default_rng(seed)
    rate_hz = int(generator.choice([44100, 48000, 96000]))
    sweep = Sweep(
        rate_hz=rate_hz, duration_s=float(generator.choice([1.5, 3.0, 5.0])), level=float(generator.choice([0.25, 0.5, 0.8]))
    )
    tone_f = float(generator.choice([0, 0, 22e-9, 47e-9]))
    pickup = coil(
        inductance_h=generator.uniform(1.5, 9.0),
        capacitance_f=generator.uniform(250e-12, 2.5e-9),
        pot_ohm=float(generator.choice([125e3, 250e3, 1e9])),
        tone_f=tone_f,
    )
    hum = 10 ** (generator.uniform(-60, -45 if tone_f else -25) / 20)
    noise = Noise(
        hum_hz=float(generator.choice([50, 60])) * (1 + generator.normal() * 2e-4),
        pickup_hum=tuple(hum * np.array([1, 0.3, 0.4, 0.1, 0.2, 0.05, 0.1])),
        pickup_white=10 ** generator.uniform(-5.5, -4),
        reference_white=10 ** generator.uniform(-5.5, -4),
        pickup_pink=10 ** generator.uniform(-5.5, -4),
    )
    bench = VirtualBench(
        pickup=pickup,
        reference=sense(corner_hz=10 ** generator.uniform(3.3, 5.5), low_hz=float(generator.choice([0, 2, 10]))),
        latency_s=generator.uniform(0, 0.3),
        reference_delay_samples=generator.uniform(-0.5, 0.5),
        n_bits=(16, 24, None)[generator.integers(3)],
        noise=noise,
        seed=seed,
    )
    return Draw(bench=bench, sweep=sweep)
