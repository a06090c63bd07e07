"""Hum and noise of a take, from samples to what is told and compared."""

import numpy as np
import pytest

from fit.desk.book.noise import noise_of, noise_take
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, Take
from measure.signal.recording import Recording

RATE_HZ, HUM, NOISE = 48000, 0.01, 1e-5


def hum_and_noise(seed):
    rng, time_s = np.random.default_rng(seed), np.arange(5 * RATE_HZ) / RATE_HZ
    pickup = HUM * np.sin(2 * np.pi * 50 * time_s + 0.3) + NOISE * rng.normal(size=len(time_s))
    return Recording(samples=np.stack([pickup, 1e-6 * rng.normal(size=len(time_s))], axis=1), rate_hz=RATE_HZ, n_bits=24)


def test_levels_of_a_quiet_take_are_those_put_in():
    told = noise_of([hum_and_noise(1)], stimulus=None, method="quiet")
    assert told.hum_hz == pytest.approx(50, abs=0.1)
    assert told.hum_dbfs == pytest.approx(20 * np.log10(HUM), abs=0.1)  # of a sine's peak over full scale
    assert len(told.lines) >= 1
    assert told.lines[0].order == 1
    assert told.silence_s == pytest.approx(5, abs=0.5)


def test_what_was_set_and_added_is_the_condition_of_a_comparison():
    stated = Conditions(method="quiet", controls={"volume": "10", "tone": "3"}, added="1n ± 1%, 10k")
    take = Take(name="a", conditions=stated, recordings=(RecordingFile(file="recording.wav"),), rate_hz=RATE_HZ)
    compared = noise_take(take, [hum_and_noise(2)], stimulus=None)
    assert compared.hum_dbfs == pytest.approx(20 * np.log10(HUM), abs=0.1)
    assert compared.condition == "tone=3; volume=10; 10000 Ω; 1e-09 F"
