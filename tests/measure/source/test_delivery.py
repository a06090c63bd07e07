"""How samples came: what is said of flags, pace and zeros, and that good ones are not blamed."""

import numpy as np
import pytest

from measure.source.delivery import NAMES, Block, judge_delivery, judge_opening, measure_rate

RATE_HZ, N_BLOCK = 48000, 512


def blocks_at(*, pace=1.0, n=400, late_s=0.0, seed=1, flags=()):
    """Each block up to so much later than due."""
    late = np.random.default_rng(seed).exponential(late_s, n) if late_s else np.zeros(n)
    due = np.maximum.accumulate(np.arange(n) * N_BLOCK / (RATE_HZ * pace) + late)
    return [
        Block(time_s=float(time_s), flags=1 << 1 if index in flags else 0, n_came=N_BLOCK, n_kept=N_BLOCK)
        for index, time_s in enumerate(due)
    ]


def judge(samples, blocks):
    played = np.zeros(4 * RATE_HZ, dtype=np.float32)
    played[RATE_HZ // 2 : -RATE_HZ // 2] = 0.1
    return {each.code: each for each in judge_delivery(samples, played=played, rate_hz=RATE_HZ, blocks=blocks)}


def noise(seed=1):
    return 1e-4 * np.random.default_rng(seed).normal(size=(4 * RATE_HZ, 2)).astype(np.float32)


def test_good_delivery():
    found = judge(noise(), blocks_at(late_s=0.005))
    assert tuple(found) == NAMES
    assert {each.severity for each in found.values()} == {"pass"}


# 24 bits of a quiet input: few codes, zero often among them, but never for 2 ms.
def test_quiet_converter_is_not_blamed():
    samples = np.round(noise() / 1e-4 * 0.6) * 2.0**-23
    assert np.mean(samples == 0) > 0.5
    assert {each.severity for each in judge(samples, blocks_at()).values()} == {"pass"}


@pytest.mark.parametrize("late_s", [0.0, 0.01, 0.03])
@pytest.mark.parametrize("pace", [0.5, 44100 / 48000, 1.0, 1.015, 48000 / 44100])
def test_rate_by_the_wall_clock(pace, late_s):
    blocks = blocks_at(pace=pace, late_s=late_s)
    assert measure_rate(blocks, rate_hz=RATE_HZ) == pytest.approx(pace * RATE_HZ, rel=0.004)
    expected = "pass" if pace == 1.0 else "warn" if abs(pace - 1) < 0.018 else "reject"
    assert judge(noise(), blocks)["delivery-rate"].severity == expected


def test_rate_is_not_judged_by_a_moment():
    assert measure_rate(blocks_at(n=100), rate_hz=RATE_HZ) is None
    assert judge(noise(), blocks_at(n=100))["delivery-rate"].text.startswith("not judged")


def test_flags():
    found = judge(noise(), blocks_at(flags=(90, 200)))["stream-flags"]
    assert (found.severity, found.figure) == ("warn", 2.0)
    assert "input overflow 2 times, first at 0.96 s" in found.text


@pytest.mark.parametrize(
    ("columns", "start_s", "stop_s", "zeros", "unplugged", "words"),
    [
        ([0, 1], 2.0, 2.01, "reject", "pass", "channel 1 holds exact zeros for 10.0 ms from 2.00 s"),
        ([1], 2.0, 2.01, "reject", "pass", "channel 2 holds exact zeros for 10.0 ms from 2.00 s"),
        ([0, 1], 2.0, 2.001, "pass", "pass", "no run"),
        ([0, 1], 2.5, 4.0, "reject", "reject", "zeros for 1000.0 ms from 2.50 s"),
        ([0], 2.5, 4.0, "reject", "pass", "channel 1"),
        ([1], 0.0, 4.0, "reject", "pass", "recorded channel 2 holds nothing but exact zeros"),
        ([0, 1], 0.0, 4.0, "reject", "pass", "all inputs hold nothing but exact zeros"),
        ([0, 1], 3.5, 4.0, "pass", "pass", "no run"),
        ([0, 1], 0.0, 0.5, "pass", "pass", "no run"),
    ],
)
def test_zeros(columns, start_s, stop_s, zeros, unplugged, words):
    samples = noise()
    samples[round(start_s * RATE_HZ) : round(stop_s * RATE_HZ), columns] = 0.0
    found = judge(samples, blocks_at())
    assert (found["exact-zeros"].severity, found["unplugged"].severity) == (zeros, unplugged)
    assert words in found["exact-zeros"].text
    if unplugged == "reject":
        assert found["unplugged"].figure == pytest.approx(2.5, abs=1e-3)


PLAIN = [("box", "ALSA"), ("box", "ALSA")]


@pytest.mark.parametrize(
    ("names", "is_exact", "refusal", "severity", "says"),
    [
        ([("box", "Windows WASAPI")] * 2, True, "", "pass", "Windows WASAPI opened the card at 48000 Hz without conversion"),
        ([("box", "Windows WASAPI")] * 2, False, "box: busy", "warn", "(box: busy), so it was opened in shared mode"),
        ([("box", "Core Audio")] * 2, False, "box: Invalid sample rate", "warn", "set it to 48000 Hz there"),
        ([("box", "Windows WASAPI"), ("box", "MME")], False, "", "warn", 'box (MME) is always shared'),
        ([("box", "MME"), ("box", "MME")], False, "", "warn", 'coilsweep rig --host-api "Windows WASAPI"'),
    ],
)  # fmt: skip
def test_whether_the_system_may_have_resampled_is_said(names, is_exact, refusal, severity, says):
    found = judge_opening(names, is_exact=is_exact, refusal=refusal, rate_hz=48000)
    assert (found.code, found.severity) == ("shared-mode", severity)
    assert says in found.text
    assert ("may resample, without a word" in found.text) == (severity == "warn")


def test_where_nothing_is_known_to_mix_nothing_is_said():
    assert judge_opening(PLAIN, is_exact=False, refusal="", rate_hz=48000) is None
