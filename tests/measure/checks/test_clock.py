"""Clocks and broken streams, judged by arrivals whose every delay is written by hand."""

import re

import numpy as np
import pytest

from measure.checks.clock import (
    Burst,
    Pace,
    channel_offset,
    crude_pace,
    find_bursts,
    find_jumps,
    fit_pace,
    judge_drift,
    judge_rate,
    judge_stream,
    sort_bursts,
    steps_of,
)
from tests.known_arrivals import FREQUENCY_HZ, N_BLOCKS, RATE_HZ, STEP_TIME_S, TIME_S, arrival

PPM = 1e-6


@pytest.mark.parametrize("pace", [-0.08125, 0.0, 1e-4, 0.08843537])
def test_the_crude_pace_is_the_slope_of_the_delays_whatever_steps_lie_between(pace):
    delay_s = 0.003 + pace * TIME_S
    assert crude_pace(arrival(delay_s=delay_s)) == pytest.approx(pace, rel=1e-9, abs=1e-12)
    stepped = delay_s + np.where(TIME_S > 2.0, 0.02, 0.0)
    assert crude_pace(arrival(delay_s=stepped)) == pytest.approx(pace, rel=1e-9, abs=1e-12)


def test_no_crude_pace_of_noise_nor_of_too_few_blocks():
    noise_s = np.random.default_rng(1).normal(size=N_BLOCKS)
    assert crude_pace(arrival(delay_s=noise_s)) is None
    above = np.flatnonzero(FREQUENCY_HZ > 100)  # 3 · 8 of them are enough
    for n, is_known in ((24, True), (23, False)):
        delay_s = np.full(N_BLOCKS, np.nan)
        delay_s[above[:n]] = 0.01 * TIME_S[above[:n]]
        assert (crude_pace(arrival(delay_s=delay_s)) is not None) == is_known


@pytest.mark.parametrize(("jump_s", "n_found"), [(0.02, 1), (-0.02, 1), (0.0051, 1), (0.0049, 0)])
def test_a_jump_is_found_with_its_place_size_and_sign(jump_s, n_found):
    found = find_jumps(arrival(delay_s=np.where(TIME_S > 2.0, jump_s, 0.0)))
    assert len(found) == n_found
    for burst in found:
        assert burst.size == pytest.approx(jump_s, rel=1e-9)
        assert burst.time_s == pytest.approx(2.0, abs=0.05)  # a block


def test_another_sample_rate_is_no_jump():
    assert find_jumps(arrival(delay_s=0.0884 * TIME_S)) == ()


@pytest.mark.parametrize(
    ("pace", "severity", "words"),
    [
        (0.002, "pass", r"\+0\.20 % stretched \(limit 0\.2 %\)"),
        (-0.002, "pass", r"-0\.20 % stretched"),
        (0.0021, "reject", r"\+0\.21 % stretched \(limit 0\.2 %\): the recording, which claims 48000 Hz"),
        (48000 / 44100 - 1, "reject", "as 48000 against 44100 Hz would make it"),
        (44100 / 48000 - 1, "reject", "as 44100 against 48000 Hz would make it"),
        (1.0, "reject", "as 88200 against 44100 Hz would make it"),
    ],
)
def test_another_sample_rate_is_guessed_from_the_stretch(pace, severity, words):
    found = judge_rate(pace, rate_hz=48000)
    assert (found.code, found.severity, found.unit) == ("rate-mismatch", severity, "%")
    assert found.figure == pytest.approx(100 * pace)
    assert re.search(words, found.text)


def test_more_is_let_pass_where_the_pickup_delays_and_nothing_is_judged_unknown():
    assert judge_rate(0.004, rate_hz=48000, limit=0.005).severity == "pass"
    unknown = judge_rate(None, rate_hz=48000)
    assert (unknown.severity, unknown.figure) == ("pass", None)


def delays_s(*, rate, low_pass_hz, high_pass_hz):
    """Group delay −dφ/dω of both corners, in the approximation far above the lower one, and a clock's."""
    tau_s = 1 / (2 * np.pi * low_pass_hz)
    corners_s = tau_s / (1 + (FREQUENCY_HZ / low_pass_hz) ** 2) + high_pass_hz / (2 * np.pi * FREQUENCY_HZ**2)
    return corners_s + rate * TIME_S


@pytest.mark.parametrize("rate", [0.0, 40 * PPM, -250 * PPM])
@pytest.mark.parametrize(("low_pass_hz", "high_pass_hz"), [(15e3, 2.0), (3e3, 10.0)])
def test_the_pace_is_told_from_the_corners_of_the_reference(rate, low_pass_hz, high_pass_hz):
    gain = 1 / np.hypot(1, FREQUENCY_HZ / low_pass_hz)
    group_delay_s = delays_s(rate=rate, low_pass_hz=low_pass_hz, high_pass_hz=high_pass_hz)
    pace = fit_pace(arrival(group_delay_s=group_delay_s, gain=gain), ())
    assert pace.rate == pytest.approx(rate, abs=1 * PPM)  # corners are tried in steps of 2.6 %
    assert pace.gain_corner_hz == pytest.approx(low_pass_hz, rel=0.027)
    assert pace.low_corner_hz == pytest.approx(high_pass_hz, rel=0.05)


@pytest.mark.parametrize("n_lost", [64, -64])
def test_a_burst_leaves_a_step_of_so_many_samples_beside_the_pace(n_lost):
    step_s = -n_lost / RATE_HZ  # what is lost lets the rest arrive earlier
    group_delay_s = delays_s(rate=40 * PPM, low_pass_hz=1e6, high_pass_hz=0.0) + np.where(TIME_S > 2.0, step_s, 0.0)
    burst = Burst(time_s=2.0, size=1.0)
    pace = fit_pace(arrival(group_delay_s=group_delay_s), (burst,))
    assert pace.rate == pytest.approx(40 * PPM, abs=1 * PPM)
    assert pace.steps_s == pytest.approx((step_s,), rel=1e-3)
    assert steps_of((burst,), pace, rate_hz=RATE_HZ) == (burst,)


def test_too_few_clear_blocks_give_no_pace():
    gain = np.where(np.arange(N_BLOCKS) < N_BLOCKS - 14, 29e-6, 1.0)  # clear is 30 times the noise of 1e-6
    assert fit_pace(arrival(gain=gain), ()).rate is None
    gain[N_BLOCKS - 15] = 1.0
    assert fit_pace(arrival(gain=gain), ()).rate is not None


@pytest.mark.parametrize(
    ("ppm", "severity"),
    [(19.9, "pass"), (-19.9, "pass"), (20.1, "warn"), (-299.0, "warn"), (301.0, "reject"), (-301.0, "reject")],
)
def test_limits_of_drift(ppm, severity):
    found = judge_drift(arrival(), Pace(rate=ppm * PPM))
    assert (found.code, found.severity, found.unit) == ("clock-drift", severity, "ppm")
    assert found.figure == pytest.approx(ppm)


def test_a_short_sweep_has_a_wider_limit_of_drift():
    short = arrival(time_s=np.linspace(0.5, 1.1, N_BLOCKS))  # 3e-5 s over 0.6 s are 50 ppm
    assert judge_drift(short, Pace(rate=49 * PPM)).severity == "pass"
    assert judge_drift(short, Pace(rate=51 * PPM)).severity == "warn"
    assert judge_drift(None, Pace(rate=1.0)).figure is judge_drift(short, Pace(rate=None)).figure is None


def test_the_offset_of_the_channels_is_that_of_the_highest_clear_notes():
    late_s = np.where(FREQUENCY_HZ > 5000, 1e-4, 5e-3)
    pickup, reference = arrival(group_delay_s=late_s + 2e-5), arrival(group_delay_s=np.full(N_BLOCKS, 2e-5))
    assert channel_offset(pickup, reference) == pytest.approx(1e-4, rel=1e-9, abs=0)
    assert channel_offset(reference, pickup) == pytest.approx(-1e-4, rel=1e-9, abs=0)
    falling = arrival(frequency_hz=FREQUENCY_HZ[::-1], group_delay_s=late_s[::-1])
    assert channel_offset(falling, arrival(frequency_hz=FREQUENCY_HZ[::-1])) == pytest.approx(1e-4, rel=1e-9, abs=0)
    faint = arrival(gain=np.where(FREQUENCY_HZ > 1000, 29e-6, 1.0))
    assert channel_offset(faint, reference) is None


def spiked(height, *, at=300, around=1e-5):
    unpredicted = np.full(len(STEP_TIME_S), around)
    unpredicted[at] = height
    return unpredicted


def test_a_burst_is_found_at_its_step_and_compared_with_the_level_there_or_at_the_peak():
    predicted = np.full(len(STEP_TIME_S), 0.1)
    predicted[500:] = 0.5
    one = arrival(unpredicted=spiked(0.05), predicted=predicted)
    (local,) = find_bursts(one, relative_to_peak=False)
    (overall,) = find_bursts(one, relative_to_peak=True)
    assert local.time_s == overall.time_s == STEP_TIME_S[300]
    assert (local.size, overall.size) == (pytest.approx(0.5), pytest.approx(0.1))


@pytest.mark.parametrize(("height", "harmonics", "n_found"), [(0.061, 0, 1), (0.059, 0, 0), (0.061, 0.2, 1), (0.061, 0.21, 0)])
def test_a_burst_stands_six_times_over_its_surroundings_and_three_over_the_harmonics(height, harmonics, n_found):
    one = arrival(unpredicted=spiked(height, around=0.01))
    assert len(find_bursts(one, relative_to_peak=False, harmonics=harmonics)) == n_found


def test_neighbouring_steps_are_one_burst_and_nothing_unpredicted_is_none():
    unpredicted = spiked(0.02)
    unpredicted[303], unpredicted[400] = 0.04, 0.03
    found = find_bursts(arrival(unpredicted=unpredicted), relative_to_peak=False)
    assert [burst.time_s for burst in found] == [STEP_TIME_S[303], STEP_TIME_S[400]]
    assert find_bursts(arrival(unpredicted=np.full(len(STEP_TIME_S), np.nan)), relative_to_peak=False) == ()


def test_a_burst_is_a_break_where_the_arrival_steps_by_a_sample():
    bursts = tuple(Burst(time_s=at, size=1e-3) for at in (1.0, 2.0))
    sample_s = 1 / RATE_HZ
    assert steps_of(bursts, Pace(rate=0.0, steps_s=(0.8 * sample_s, -0.6 * sample_s)), rate_hz=RATE_HZ) == bursts[:1]
    assert steps_of(bursts, Pace(rate=0.0, steps_s=(-0.8 * sample_s, 0.6 * sample_s)), rate_hz=RATE_HZ) == bursts[:1]
    blurred = Pace(rate=0.0, steps_s=(2 * sample_s, 9 * sample_s), scatter_s=sample_s)
    assert steps_of(bursts, blurred, rate_hz=RATE_HZ) == bursts[1:]
    assert steps_of(bursts, Pace(rate=None), rate_hz=RATE_HZ) == steps_of(bursts, None, rate_hz=RATE_HZ) == ()


def test_bursts_are_sorted_by_size_and_named_once():
    certain = (Burst(time_s=2.0, size=0.02),)
    reference = (Burst(time_s=3.0, size=0.011), Burst(time_s=1.0, size=0.009), Burst(time_s=2.09, size=0.5))
    pickup = (Burst(time_s=0.5, size=0.031), Burst(time_s=1.5, size=0.029), Burst(time_s=3.05, size=0.9))
    breaks, soft = sort_bursts(reference, pickup, certain)
    assert [burst.time_s for burst in breaks] == [0.5, 2.0, 3.0]
    assert [burst.time_s for burst in soft] == [1.0, 1.5]


def test_the_stream_is_judged_by_its_breaks_first():
    pace = Pace(rate=0.0, steps_s=(-64 / RATE_HZ, 32 / RATE_HZ))
    breaks, soft = [Burst(time_s=1.25, size=1.0), Burst(time_s=2.0, size=1.0)], [Burst(time_s=3.0, size=0.02)]
    found = judge_stream(breaks, soft, pace=pace, offset_s=1.0, rate_hz=RATE_HZ)
    assert (found.code, found.severity, found.figure) == ("dropouts", "reject", 2.0)
    assert "2 places, first at 1.250 s (about 64 samples missing, about 32 samples too many)" in found.text
    lesser = judge_stream([], soft, pace=pace, offset_s=None, rate_hz=RATE_HZ)
    assert (lesser.severity, lesser.figure) == ("warn", 1.0)
    assert "1 short disturbance, first at 3.000 s, 2 % of the signal" in lesser.text


@pytest.mark.parametrize(
    ("offset_s", "severity", "words"),
    [
        (-1.9e-4, "pass", "no break"),
        (2.9e-3, "pass", "no break"),
        (-2.1e-4, "reject", "10 samples before the reference"),
        (3.1e-3, "reject", "149 samples after the reference"),
    ],
)
def test_no_pickup_comes_before_the_reference_nor_late(offset_s, severity, words):
    found = judge_stream([], [], pace=None, offset_s=offset_s, rate_hz=RATE_HZ)
    assert found.severity == severity
    assert words in found.text
