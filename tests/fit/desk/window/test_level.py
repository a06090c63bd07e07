"""The level page: readings come ten times a second and more, a peak is held, a clip is seen, and one sentence says what to do."""

import threading

import numpy as np
import pytest

from fit.desk.window.level import HOLD_S, Meters, run_level
from fit.desk.window.line import Order
from fit.desk.window.messages import Card, Level, LevelEnded, LevelStart
from measure.signal.levels import TONE_HZ, TONE_LEVEL
from tests.desk_bench import run

RATE_HZ, BLOCK = 48000, 1024


def heard(*parts, is_tone=True, seconds=2.0, rate_hz=RATE_HZ):
    """What is told of two inputs that hear sines, as (input, frequency, peak), and a little noise."""
    told = []
    meters = Meters(rate_hz=rate_hz, is_tone=is_tone, tell=told.append)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    samples = 1e-5 * np.random.default_rng(3).standard_normal((len(time_s), 2))
    for column, frequency_hz, peak in parts:
        samples[:, column] += peak * np.sin(2 * np.pi * frequency_hz * time_s)
    for start in range(0, len(samples), BLOCK):
        meters.take(samples[start : start + BLOCK])
    return told


TONE = ((0, TONE_HZ, 0.0015), (1, TONE_HZ, 0.02))


@pytest.mark.long
@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_there_are_more_than_ten_readings_in_each_second(rate_hz):
    told = heard(*TONE, seconds=3.3, rate_hz=rate_hz)
    assert len(told) >= 31  # of three seconds; the first 0.3 s settle
    assert all(isinstance(one, Level) for one in told)
    assert sum(one.spectrum is not None for one in told) >= 8


def test_levels_are_those_of_the_inputs():
    pickup, reference = heard(*TONE)[-1].inputs
    assert (pickup.name, reference.name) == ("pickup", "reference")
    assert pickup.rms_db == pytest.approx(20 * np.log10(0.0015), abs=0.1)
    assert reference.peak_db == pytest.approx(20 * np.log10(0.02), abs=0.1)
    assert not pickup.is_clipped


def test_a_peak_is_held_for_a_while_and_a_clip_with_it():
    told = []
    meters = Meters(rate_hz=RATE_HZ, is_tone=True, tell=told.append)
    for number in range(round((HOLD_S + 2.0) * RATE_HZ / BLOCK)):
        block = np.full((BLOCK, 2), 0.001)
        block[0, 0] = 1.0 if number == 30 else 0.001
        meters.take(block)
    held = [one.inputs[0] for one in told]
    first = next(place for place, one in enumerate(held) if one.is_clipped)
    assert held[first].hold_db == pytest.approx(0.0)
    assert held[first + 1].hold_db == pytest.approx(0.0)
    assert held[first + 1].peak_db == pytest.approx(-60.0)
    assert held[-1].hold_db == pytest.approx(-60.0)
    assert not held[-1].is_clipped
    assert not any(one.inputs[1].is_clipped for one in told)


@pytest.mark.parametrize(
    ("parts", "says", "is_fine"),
    [
        (TONE, "Exciter found", True),
        (((0, TONE_HZ, 1.0), TONE[1]), "Pickup clips", False),
        (((0, TONE_HZ, 0.2), TONE[1]), "The exciter is too near or too loud", False),
        ((TONE[1],), "The exciter is not heard", False),
        ((TONE[0],), "The reference does not hear the tone", False),
    ],
)
def test_one_sentence_says_what_to_do(parts, says, is_fine):
    last = heard(*parts)[-1]
    assert last.advice.startswith(says)
    assert last.advice.endswith(".")
    assert last.is_fine is is_fine


def test_without_a_tone_nothing_is_said_of_the_exciter():
    last = heard((0, 50.0, 0.001), (0, 150.0, 0.0005), (1, 50.0, 1e-4), is_tone=False)[-1]
    assert last.advice.startswith("No tone plays; the pickup hears hum of -59 dBFS")
    assert last.is_fine


def test_the_mains_lines_are_marked():
    looks = [one.spectrum for one in heard(*TONE, (0, 60.0, 0.001), (0, 180.0, 0.0005)) if one.spectrum]
    assert {60.0, 180.0} <= set(looks[-1].mains_hz)
    assert len(looks[-1].db) == 2
    assert len(looks[-1].db[0]) == len(looks[-1].frequency_hz)


def listen(order):
    told = []
    worker = threading.Thread(target=run_level, args=(order, told.append))
    worker.start()
    return told, worker


@pytest.mark.long
def test_the_virtual_bench_is_heard_until_it_is_stopped(tmp_path):
    order = Order(message=LevelStart(), logbook=tmp_path / "none", is_virtual=True)
    told, worker = listen(order)
    while sum(isinstance(one, Level) for one in told) < 12:
        worker.join(0.05)
        assert worker.is_alive()
    order.halt.set()
    worker.join(20.0)
    assert told[0] == Card(owner=False, held_by=None, activity="level", is_playing=True)
    assert told[-1] == LevelEnded()
    last = [one for one in told if isinstance(one, Level)][-1]
    assert last.is_fine
    assert last.inputs[1].peak_db == pytest.approx(20 * np.log10(0.6 * TONE_LEVEL), abs=0.3)


def test_a_card_that_is_not_there_is_said_in_a_line(tmp_path, capsys):
    assert run(capsys, "rig", "--device", "no such card", "--logbook", tmp_path)[0] == 0
    told, worker = listen(Order(message=LevelStart(), logbook=tmp_path, is_virtual=False))
    worker.join(60.0)
    assert isinstance(told[-1], LevelEnded)
    assert told[-1].text
    assert "\n" not in told[-1].text
