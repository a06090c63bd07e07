"""Sweeps recognised from recordings, against the sweeps that were played; other signals are none."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest
from scipy.signal import chirp, hilbert

from measure.checks.recording import check_recording
from measure.checks.sweep import Recognised, describe_sweep, is_own, played_samples, recognise_best
from measure.response import FloatArray, outcome
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Faults, Gap
from tests.draws import seeds
from tests.faulty_takes import NO_NOISE, RATE_HZ, ROOM, STIMULUS, SWEEP, blamed, coil, found, noise_take, slow, take

OWN = Sweep(rate_hz=RATE_HZ)


def heard(samples: FloatArray, *, n_before: int = 700, n_after: int = 9000, noise: float = 1e-5, seed: int = 0) -> FloatArray:
    padded = np.concatenate([np.zeros(n_before), samples, np.zeros(n_after)])
    return padded + np.random.default_rng(seed).normal(size=len(padded)) * noise


def recognise_sweep(samples: FloatArray, rate_hz: int) -> Sweep | None:
    recognised = recognise_best({"reference": samples}, rate_hz)
    return None if recognised is None else recognised.sweep


@pytest.mark.parametrize(
    "sweep",
    [
        Sweep(rate_hz=48000, start_hz=20.0, stop_hz=20000.0, duration_s=2.0, level=0.01),
        slow(Sweep(rate_hz=44100, start_hz=10.0, stop_hz=16000.0, duration_s=5.0, before_s=2.0, after_s=0.0, level=1.0)),
        Sweep(rate_hz=96000, start_hz=50.0, stop_hz=30000.0, duration_s=1.0, before_s=0.0),
        slow(Sweep(rate_hz=48000, start_hz=100.0, stop_hz=10000.0, duration_s=12.0)),
    ],
)
def test_any_exponential_sweep_is_recognised(sweep: Sweep) -> None:
    latency = 0 if sweep.before_s == 0 else 700
    samples = heard(sweep_samples(sweep), n_before=latency)
    recognised = recognise_sweep(samples, sweep.rate_hz)
    assert recognised is not None
    assert not is_own(recognised)
    assert recognised.start_hz == pytest.approx(sweep.start_hz, rel=0.02)
    assert recognised.stop_hz == pytest.approx(sweep.stop_hz, rel=0.01)
    assert recognised.duration_s == pytest.approx(sweep.duration_s, rel=0.01)
    # The made-up sweep follows what was heard, of either polarity, within 0.05 cycles, and the half sample to which it is placed.
    made = hilbert(played_samples(Recognised(sweep=recognised))[: len(samples)])
    growth_s = sweep.duration_s / np.log(sweep.stop_hz / sweep.start_hz)
    for hz in (200.0, 500.0, 1000.0, 3000.0, 9000.0):
        time_s = sweep.before_s + latency / sweep.rate_hz + growth_s * np.log(hz / sweep.start_hz)
        part = slice(round(time_s * sweep.rate_hz), round((time_s + 0.1 * growth_s) * sweep.rate_hz))
        cycles = np.angle(np.sum(samples[part] * made[part])) / (2 * np.pi)
        assert abs(2 * cycles - round(2 * cycles)) / 2 < 0.05 + 0.5 * hz * 1.1 / sweep.rate_hz


def test_the_own_sweep_is_taken_for_itself() -> None:
    recognised = recognise_sweep(heard(sweep_samples(OWN)), RATE_HZ)
    assert recognised is not None
    assert is_own(recognised)
    assert recognised.before_s == pytest.approx(OWN.before_s + 700 / RATE_HZ, abs=1e-3)
    assert describe_sweep(recognised).startswith("sweep recognised from the recording: 15 Hz to 22.1 kHz in 3.00 s")


def test_played_samples_are_those_of_the_stimulus() -> None:
    np.testing.assert_allclose(played_samples(Recognised(sweep=SWEEP)), STIMULUS, atol=1e-6)  # single precision


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(4 * RATE_HZ),
        np.random.default_rng(1).normal(size=4 * RATE_HZ) * 0.1,
        np.sin(2 * np.pi * 1000 * np.arange(4 * RATE_HZ) / RATE_HZ),
        chirp(np.arange(4 * RATE_HZ) / RATE_HZ, 20, 4.0, 20000),  # linear
        chirp(np.arange(4 * RATE_HZ) / RATE_HZ, 20000, 4.0, 20, method="logarithmic"),  # falling
        np.zeros(10),
    ],
    ids=["silence", "noise", "tone", "linear", "falling", "nothing"],
)
def test_what_is_no_rising_exponential_sweep_is_not_taken_for_one(samples: FloatArray) -> None:
    assert recognise_sweep(samples, RATE_HZ) is None


def test_the_clearer_channel_counts() -> None:
    sweep = msgspec.structs.replace(SWEEP, start_hz=20.0)
    recording = take(sweep=sweep, faults=Faults(is_swapped=True))
    channels = {"pickup": recording.samples[:, 0], "reference": recording.samples[:, 1]}
    recognised = recognise_best(channels, RATE_HZ)
    assert recognised is not None
    assert recognised.sweep.start_hz == pytest.approx(20.0, rel=0.02)


# Checks with a sweep that nobody gave -----------------------------------------------------------------------------------------


def test_a_good_take_is_good_without_its_stimulus() -> None:
    findings = found(take(sweep=OWN), None)
    assert blamed(findings) == {}
    assert [code for code, finding in findings.items() if finding.figure is None] == []
    assert "sweep recognised from the recording" in findings["truncated"].text


@pytest.mark.long
def test_of_another_sweep_the_true_pace_is_not_judged() -> None:
    findings = found(take(faults=Faults(rate_factor=48 / 44.1)), None)
    assert blamed(findings) == {}
    assert [code for code, finding in findings.items() if finding.figure is None] == ["rate-mismatch", "clock-drift"]
    assert findings["clock-drift"].text.startswith("not judged: sweep recognised")


@pytest.mark.long
@pytest.mark.parametrize(
    ("code", "faults"),
    [
        ("dropouts", Faults(gaps=(Gap(kind="lost", at_s=1.3, n_samples=64),))),
        ("dropouts", Faults(gaps=(Gap(kind="zeroed", at_s=1.3, n_samples=480),))),
        ("swapped", Faults(is_swapped=True)),
        ("automatic-gain", Faults(automatic_gain=0.5)),
        ("dead-channel", Faults(is_pickup_dead=True)),
        ("clipped", Faults(reference_clip=0.3)),
    ],
)
def test_faults_are_named_without_the_stimulus(code: str, faults: Faults) -> None:
    findings = found(take(faults=faults), None)
    assert findings[code].severity == "reject"
    assert set(blamed(findings)) == {code}


@pytest.mark.parametrize("third_order", [slow(0.1), 0.3])
def test_distortion_is_measured_without_the_stimulus(third_order: float) -> None:
    finding = found(take(faults=Faults(third_order=third_order)), None)["overdriven"]
    square = third_order * SWEEP.level**2
    assert finding.severity == "warn"
    # x − a·x³ at level A: third harmonic a·A²/4 over a fundamental of 1 − 3a·A²/4.
    assert finding.figure == pytest.approx(100 * square / 4 / (1 - 0.75 * square), rel=0.1)


@pytest.mark.long
def test_drift_of_the_own_sweep_is_measured_without_it() -> None:
    finding = found(take(sweep=OWN, faults=Faults(drift_ppm=100.0)), None)["clock-drift"]
    assert finding.severity == "warn"
    assert finding.figure == pytest.approx(100.0, abs=12)


# Noise as a stimulus: nothing is known but the silences ------------------------------------------------------------------------


def test_exchanged_channels_are_named_whatever_was_played() -> None:
    assert blamed(found(noise_take(), None)) == {}
    assert blamed(found(noise_take(is_swapped=True), None)) == {"swapped": "reject"}
    tone_down = coil(tone_f=100e-9, pot_ohm=500e3)
    assert "swapped" not in blamed(found(noise_take(pickup=tone_down), None))


def test_hum_and_level_are_judged_whatever_was_played() -> None:
    loud = replace(ROOM, pickup_hum=(0.5, 0.1))
    quiet = noise_take(pickup=lambda f: coil()(f) * 0.01, noise=loud)
    assert found(quiet, None)["buried-in-hum"].severity == "reject"
    weak = noise_take(pickup=lambda f: coil()(f) * 3e-4, noise=replace(NO_NOISE, pickup_white=1e-4, reference_white=1e-5))
    assert found(weak, None)["low-level"].severity in ("warn", "pass")


@pytest.mark.slow
def test_no_good_take_of_a_hundred_is_rejected_without_its_stimulus() -> None:
    from tests.faulty_takes import draw_bench

    rejected = []
    for seed in seeds(100, everyday=20):
        draw = draw_bench(seed)
        findings = check_recording(take(draw.bench, sweep=draw.sweep))
        if outcome(findings) == "rejected":
            rejected.append((seed, [finding.code for finding in findings if finding.severity == "reject"]))
    assert rejected == []
