"""When a stimulus plays what, against sweeps whose frequency is known in closed form."""

import numpy as np
import pytest
from scipy.signal import chirp

from measure.signal.stimulus import Sweep, sweep_samples
from measure.signal.timetable import N_BLOCKS, read_timetable

RATE_HZ = 48000
SWEEP = Sweep(rate_hz=RATE_HZ, duration_s=1.5, before_s=0.3, after_s=0.3)
STIMULUS = sweep_samples(SWEEP)
TIMETABLE = read_timetable(STIMULUS, rate_hz=RATE_HZ)


def test_timetable_knows_the_frequency_of_the_sweep() -> None:
    time_s = TIMETABLE.edges / RATE_HZ - SWEEP.before_s
    growth = np.log(SWEEP.stop_hz / SWEEP.start_hz) / SWEEP.duration_s
    expected = SWEEP.start_hz * np.exp(growth * time_s)  # Farina 2000
    assert TIMETABLE.is_sweep
    # Zero crossings are counted: the ends, where a quarter of a block holds half a period, are known to some percent.
    np.testing.assert_allclose(TIMETABLE.frequency_hz[5:-1], expected[5:-1], rtol=0.01)
    np.testing.assert_allclose(TIMETABLE.frequency_hz, expected, rtol=0.06)


def test_timetable_knows_a_linear_sweep_and_that_noise_is_none() -> None:
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    linear = chirp(time_s, 100, 2.0, 20000)
    timetable = read_timetable(linear, rate_hz=RATE_HZ)
    assert timetable.is_sweep
    np.testing.assert_allclose(timetable.frequency_hz[1:-1], (100 + 19900 / 2 * timetable.edges / RATE_HZ)[1:-1], rtol=0.02)
    assert not read_timetable(np.random.default_rng(1).normal(size=50000), rate_hz=RATE_HZ).is_sweep
    with pytest.raises(ValueError, match="0 samples"):
        read_timetable(np.zeros(0), rate_hz=RATE_HZ)
    with pytest.raises(ValueError, match="peak 0"):
        read_timetable(np.zeros(5000), rate_hz=RATE_HZ)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_it_sounds_from_the_first_to_the_last_sample_above_a_thousandth_of_its_peak(sign):
    stimulus = np.zeros(20000)
    stimulus[5000:9000] = sign * 0.25 * np.where(np.arange(4000) % 7, 0.5, 1.0)
    stimulus[4000], stimulus[9500] = 0.26e-3, -0.24e-3
    found = read_timetable(stimulus, rate_hz=RATE_HZ)
    assert (found.start, found.stop, found.level) == (4000, 9000, 0.25)
    assert len(found.edges) == len(found.frequency_hz) == N_BLOCKS + 1
    np.testing.assert_array_equal(found.edges[[0, 30, 60]], [4000, 6500, 9000])


def test_a_falling_sweep_is_one_and_a_tone_is_none():
    time_s = np.arange(RATE_HZ) / RATE_HZ
    falling = read_timetable(chirp(time_s, 10000, 1.0, 100, method="logarithmic"), rate_hz=RATE_HZ)
    assert falling.is_sweep
    np.testing.assert_allclose(falling.frequency_hz, 10000 * 100.0 ** (-falling.edges / RATE_HZ), rtol=0.06)
    assert not read_timetable(np.sin(2 * np.pi * 441 * time_s), rate_hz=RATE_HZ).is_sweep


def test_twenty_samples_a_block_are_enough():
    assert N_BLOCKS == 60
    assert read_timetable(np.ones(1200), rate_hz=RATE_HZ).stop == 1200
    with pytest.raises(ValueError, match="must sound for 1200 samples or more"):
        read_timetable(np.ones(1199), rate_hz=RATE_HZ)


def test_pieces_leave_no_seam():
    """Long stimuli are looked through in pieces: crossings on their borders count once."""
    sweep = Sweep(rate_hz=RATE_HZ, duration_s=5.0, before_s=0.0, after_s=0.0)
    found = read_timetable(sweep_samples(sweep), rate_hz=RATE_HZ)
    growth = np.log(sweep.stop_hz / sweep.start_hz) / sweep.duration_s
    expected = sweep.start_hz * np.exp(growth * found.edges / RATE_HZ)
    assert found.is_sweep
    np.testing.assert_allclose(found.frequency_hz[10:-1], expected[10:-1], rtol=0.01)


@pytest.mark.parametrize("n", [0, 5000])
def test_a_stimulus_that_is_silent_is_refused(n):
    with pytest.raises(ValueError, match=f"the stimulus has {n} samples, peak 0; it must sound"):
        read_timetable(np.zeros(n), rate_hz=48000)
