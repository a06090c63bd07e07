"""Every fault at several severities must be named; no good take may be rejected.

The takes come from the virtual bench, whose pickups here are plain R-L-C circuits with one eddy loop, pots and a tone capacitor.
"""

import re
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from measure.checks.recording import check_recording, noise_summary
from measure.response import outcome
from measure.signal.recording import Recording
from measure.signal.stimulus import sweep_samples
from measure.source.virtual import Faults, Gap, Noise
from tests.counted_transforms import count_transforms
from tests.draws import seeds
from tests.faulty_takes import BENCH, NO_NOISE, RATE_HZ, ROOM, STIMULUS, SWEEP, blamed, coil, draw_bench, found, sense, slow, take

# Good takes -------------------------------------------------------------------------------------------------------------------


def test_a_good_take_is_good_and_everything_is_judged() -> None:
    findings = found(take())
    assert blamed(findings) == {}
    assert outcome(tuple(findings.values())) == "good"
    assert [code for code, finding in findings.items() if finding.figure is None] == []
    assert findings["silent"].figure == pytest.approx(20 * np.log10(np.max(np.abs(take().samples))))


GOOD = {
    "16 bits": replace(BENCH, n_bits=16),
    "float": replace(BENCH, n_bits=None),
    "no latency": replace(BENCH, latency_s=0.0),
    "latency of 300 ms": replace(BENCH, latency_s=0.3),
    "a fraction of a sample between the channels": replace(BENCH, reference_delay_samples=0.37),
    "no noise": replace(BENCH, noise=NO_NOISE),
    "very high Q": replace(BENCH, pickup=coil(inductance_h=6.0, capacitance_f=90e-12, pot_ohm=1e9)),
    "very low Q": replace(BENCH, pickup=coil(pot_ohm=60e3)),
    "tone down, 22 nF": replace(BENCH, pickup=coil(tone_f=22e-9, pot_ohm=250e3)),
    "tone down, 100 nF": replace(BENCH, pickup=coil(tone_f=100e-9, pot_ohm=500e3)),
    "tone down, 16 bits": replace(BENCH, pickup=coil(tone_f=33e-9, pot_ohm=250e3), n_bits=16),
    "exciter with a low corner": replace(BENCH, reference=sense(corner_hz=3e3)),
    "loopback": replace(BENCH, reference=sense(corner_hz=1e6, low_hz=0.0, gain=0.9)),
    "coupling capacitor": replace(BENCH, reference=sense(low_hz=12.0)),
    "strong hum": replace(BENCH, noise=replace(ROOM, pickup_hum=(0.05, 0.01, 0.02, 0.0, 0.01))),
    "hum of 60 Hz": replace(BENCH, noise=replace(ROOM, hum_hz=59.97)),
    "white noise": replace(BENCH, noise=replace(ROOM, pickup_white=3e-4, reference_white=1e-4)),
    "pink noise": replace(BENCH, noise=replace(ROOM, pickup_pink=3e-4)),
}


QUICK = ("16 bits", "float", "no latency", "no noise", "very high Q", "tone down, 100 nF", "strong hum", "pink noise")


@pytest.mark.parametrize("name", [name if name in QUICK else slow(name) for name in GOOD])
def test_no_good_take_is_blamed(name: str) -> None:
    assert blamed(found(take(GOOD[name]))) == {}


@pytest.mark.parametrize("rate_hz", [44100, slow(96000), slow(192000)])
def test_no_good_take_is_blamed_at_other_rates(rate_hz: int) -> None:
    sweep = msgspec.structs.replace(SWEEP, rate_hz=rate_hz, stop_hz=0.0, duration_s=1.0)
    assert blamed(found(take(sweep=sweep), sweep_samples(sweep))) == {}


@pytest.mark.slow
def test_no_good_take_of_two_hundred_is_rejected() -> None:
    rejected = []
    for seed in seeds(200, everyday=40):
        draw = draw_bench(seed)
        findings = check_recording(take(draw.bench, sweep=draw.sweep), stimulus=sweep_samples(draw.sweep))
        rejected += [(seed, finding.code, finding.figure) for finding in findings if finding.severity == "reject"]
    assert rejected == []


# Faults -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("n_samples", "at_s"),
    [(8, 1.3), (64, 0.9), (480, 1.7), (4800, 1.3), *(slow(n, at_s) for n in (8, 64, 480, 4800) for at_s in (0.9, 1.3, 1.7))],
)
def test_lost_samples_are_found_and_counted(n_samples: int, at_s: float) -> None:
    findings = found(take(faults=Faults(gaps=(Gap(kind="lost", at_s=at_s, n_samples=n_samples),))))
    assert blamed(findings) == {"dropouts": "reject"}
    numbers = re.search(r"first at ([0-9.]+) s \(about ([0-9]+) samples missing\)", findings["dropouts"].text)
    assert numbers is not None
    # A large gap is placed by blocks of 25 ms; its size is that of the arrival's step, and the blocks beside it are smeared.
    assert float(numbers[1]) == pytest.approx(at_s, abs=0.005 if n_samples < 480 else 0.12)
    assert int(numbers[2]) == pytest.approx(n_samples, rel=0.2)


KINDS = ("lost", "repeated", "inserted-zeros", "zeroed", "stuck")


@pytest.mark.long
@pytest.mark.parametrize(
    ("kind", "channels"),
    [
        ("lost", "pickup"),
        ("repeated", "reference"),
        ("inserted-zeros", "both"),
        ("zeroed", "pickup"),
        ("stuck", "reference"),
        *(slow(kind, channels) for kind in KINDS for channels in ("both", "pickup", "reference")),
    ],
)
def test_every_kind_of_gap_is_found_in_either_channel(kind: str, channels: str) -> None:
    gap = Gap(kind=kind, at_s=1.45, n_samples=64, channels=channels)
    assert found(take(faults=Faults(gaps=(gap,))))["dropouts"].severity == "reject"


def test_a_gap_in_the_silence_of_the_pickup_shows_as_an_early_arrival() -> None:
    gap = Gap(kind="lost", at_s=0.3, n_samples=64, channels="pickup")
    finding = found(take(faults=Faults(gaps=(gap,))))["dropouts"]
    assert finding.severity == "reject"
    assert "before the reference" in finding.text


@pytest.mark.long
def test_a_repeated_block_is_proved_without_a_stimulus() -> None:
    gap = Gap(kind="repeated", at_s=1.3, n_samples=128)
    findings = found(take(faults=Faults(gaps=(gap,))), None)
    assert blamed(findings) == {"dropouts": "reject"}
    assert blamed(found(take(), None)) == {}


def test_a_click_is_a_warning_at_most() -> None:
    findings = found(take(faults=Faults(click_at_s=1.2, click=0.01)))
    assert blamed(findings) == {"dropouts": "warn"}


@pytest.mark.long
@pytest.mark.parametrize("ppm", [slow(-80.0), 40.0, slow(80.0), slow(200.0)])
def test_drift_is_measured(ppm: float) -> None:
    finding = found(take(faults=Faults(drift_ppm=ppm)))["clock-drift"]
    assert finding.severity == "warn"
    assert finding.figure == pytest.approx(ppm, abs=12)  # the corners of the reference are known to some microseconds only


def test_large_drift_rejects() -> None:
    assert found(take(faults=Faults(drift_ppm=600.0)))["clock-drift"].severity == "reject"


@pytest.mark.parametrize("factor", [slow(48 / 44.1), 44.1 / 48, slow(96 / 88.2), 1.004])
def test_another_sample_rate_is_named(factor: float) -> None:
    findings = found(take(faults=Faults(rate_factor=factor)))
    assert findings["rate-mismatch"].severity == "reject"
    assert set(blamed(findings)) == {"rate-mismatch"}


@pytest.mark.parametrize("level", [0.9, slow(0.8), slow(0.5)])
def test_clipping_below_full_scale(level: float) -> None:
    peaks = np.max(np.abs(take(replace(BENCH, noise=NO_NOISE)).samples), axis=0)
    pickup = found(take(faults=Faults(pickup_clip=level * float(peaks[0]))))
    reference = found(take(faults=Faults(reference_clip=level * float(peaks[1]))))
    assert pickup["clipped"].severity == reference["clipped"].severity == "reject"
    assert pickup["clipped"].text.startswith("pickup")
    assert reference["clipped"].text.startswith("reference")


@pytest.mark.long
@pytest.mark.parametrize("n_bits", [16, slow(24), None])
def test_clipping_at_full_scale(n_bits: int | None) -> None:
    bench = replace(BENCH, reference=sense(gain=2.1), n_bits=n_bits)
    assert set(blamed(found(take(bench, faults=Faults(reference_clip=1.0))))) == {"clipped"}


@pytest.mark.long
def test_dead_silent_and_swapped() -> None:
    assert set(blamed(found(take(faults=Faults(is_muted=True))))) == {"silent"}
    assert set(blamed(found(take(faults=Faults(is_pickup_dead=True))))) == {"dead-channel"}
    assert set(blamed(found(take(faults=Faults(is_reference_dead=True))))) == {"dead-channel"}
    assert set(blamed(found(take(faults=Faults(is_swapped=True))))) == {"swapped"}
    tone_down = replace(BENCH, pickup=coil(tone_f=47e-9, pot_ohm=250e3))
    assert set(blamed(found(take(tone_down, faults=Faults(is_swapped=True))))) == {"swapped"}


@pytest.mark.parametrize(("strength", "follow_s"), [(0.3, 0.2), slow(0.7, 0.05), slow(0.7, 1.0)])
def test_automatic_gain(strength: float, follow_s: float) -> None:
    findings = found(take(faults=Faults(automatic_gain=strength, automatic_gain_s=follow_s)))
    assert findings["automatic-gain"].severity == "reject"


@pytest.mark.parametrize(("third_order", "severity"), [(0.1, "warn"), slow(0.3, "warn"), (2.0, "reject")])
def test_generator_distortion_is_measured(third_order: float, severity: str) -> None:
    finding = found(take(faults=Faults(third_order=third_order)))["overdriven"]
    # x − a·x³ at level A: third harmonic a·A²/4 over a fundamental of 1 − 3a·A²/4.
    square = third_order * SWEEP.level**2
    expected = 100 * square / 4 / (1 - 0.75 * square)
    assert finding.severity == severity
    assert finding.figure == pytest.approx(expected, rel=0.1)
    assert "third harmonic" in finding.text


def test_nonlinear_input_is_told_from_the_generator() -> None:
    peak = float(np.max(np.abs(take().samples[:, 0])))
    findings = found(take(faults=Faults(pickup_third_order=0.1 / peak**2)))
    assert findings["nonlinear-input"].severity == "warn"
    assert findings["overdriven"].severity == "pass"
    assert found(take(faults=Faults(third_order=0.2)))["nonlinear-input"].severity == "pass"


@pytest.mark.parametrize("over_db", [15.0, 40.0])
def test_hum_above_the_signal(over_db: float) -> None:
    peak = float(np.max(np.abs(take(replace(BENCH, noise=NO_NOISE)).samples[:, 0])))
    level = 0.5 / (peak * 10 ** (over_db / 20))
    bench = replace(BENCH, noise=replace(ROOM, pickup_hum=(0.5,)), pickup=lambda f: coil()(f) * level)
    finding = found(take(bench))["buried-in-hum"]
    assert finding.severity == ("reject" if over_db > 30 else "warn")
    assert finding.figure == pytest.approx(over_db, abs=1.5)


def test_low_level() -> None:
    bench = replace(BENCH, pickup=lambda f: coil()(f) * 1e-2, noise=replace(ROOM, pickup_hum=(), pickup_white=1e-4))
    assert found(take(bench))["low-level"].severity in ("warn", "reject")


@pytest.mark.parametrize("faults", [Faults(keep_until_s=1.7), Faults(keep_from_s=0.6)])
def test_truncated(faults: Faults) -> None:
    findings = found(take(faults=faults))
    assert blamed(findings) == {"truncated": "reject"}
    assert findings["truncated"].figure == pytest.approx(0.22 if faults.keep_from_s == 0 else 0.18, abs=0.01)


def test_no_silence_is_a_warning() -> None:
    findings = found(take(faults=Faults(keep_from_s=0.41, keep_until_s=1.925)))
    assert findings["truncated"].severity == "warn"


@pytest.mark.parametrize(("offset", "severity"), [(0.005, "pass"), (0.05, "warn"), (-0.35, "reject")])
def test_offset(offset: float, severity: str) -> None:
    finding = found(take(faults=Faults(pickup_offset=offset)))["dc-offset"]
    assert finding.severity == severity
    assert finding.figure == pytest.approx(offset, abs=1e-3)


# Others -----------------------------------------------------------------------------------------------------------------------


def test_checks_without_a_reference_channel() -> None:
    samples = take().samples[:, :1].copy()
    findings = found(Recording(samples=samples, rate_hz=RATE_HZ, reference_channel=None, n_bits=24))
    assert blamed(findings) == {}
    assert findings["overdriven"].text.startswith("not judged")
    broken = np.delete(samples, np.arange(76000, 76064), axis=0)
    assert blamed(found(Recording(samples=broken, rate_hz=RATE_HZ, reference_channel=None, n_bits=24))) == {"dropouts": "reject"}


def test_noise_summary_reads_in_decibels_below_a_full_scale_sine() -> None:
    # AES17: a sine of peak 0.1 is −20.00 dBFS; white noise of rms 1e-4 is 20·lg(1e-4·√2) = −76.99 dBFS.
    noise = Noise(hum_hz=50.0, pickup_hum=(0.1,), pickup_white=1e-4, reference_white=1e-6)
    summary = noise_summary(take(replace(BENCH, noise=noise)))
    assert summary["hum_hz"] == pytest.approx(50.0, abs=0.02)
    assert summary["hum_dbfs"] == pytest.approx(-20.0, abs=0.1)
    assert summary["floor_dbfs"] == pytest.approx(-76.99, abs=0.5)
    quiet = noise_summary(take(replace(BENCH, noise=replace(noise, pickup_hum=()))))
    assert quiet["hum_hz"] is None
    assert quiet["hum_dbfs"] is None


PLAYED_IN_A_PIECE, HEARD_IN_A_PIECE = 2, 9  # transforms: the sweep and its third harmonic once; each channel


def test_what_is_played_is_transformed_once_for_both_channels(monkeypatch: pytest.MonkeyPatch) -> None:
    recording = take()
    transforms = count_transforms(monkeypatch)
    check_recording(recording, stimulus=STIMULUS)
    both = transforms.total()
    transforms.clear()
    check_recording(replace(recording, reference_channel=None), stimulus=STIMULUS)
    assert both - transforms.total() == HEARD_IN_A_PIECE  # the reference is clear: the pickup is not searched for its latency


def test_a_clear_sweep_is_searched_for_in_one_channel(monkeypatch: pytest.MonkeyPatch) -> None:
    recording = take()
    transforms = count_transforms(monkeypatch)
    check_recording(recording, stimulus=STIMULUS)
    n_searched = 3  # stretches as long as the sweep, from one before the recording of 2.1 s on
    assert transforms.total() == 1 + 2 * n_searched + PLAYED_IN_A_PIECE + 2 * HEARD_IN_A_PIECE
