"""When a stimulus plays what, against sweeps whose frequency is known in closed form."""

import numpy as np
import pytest
from scipy.signal import chirp

from measure.signal.stimulus import Sweep, sweep_samples
from measure.signal.timetable import read_timetable

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
