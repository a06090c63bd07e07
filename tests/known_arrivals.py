"""Arrivals written by hand: a sweep of three seconds that arrives as its formula says, and fields changed at will."""

from typing import Any

import numpy as np

from measure.signal.arrival import STEP_S, Arrival

RATE_HZ = 48000
DURATION_S, BEFORE_S, N_BLOCKS = 3.0, 0.5, 60
TIME_S = BEFORE_S + (np.arange(N_BLOCKS) + 0.5) * DURATION_S / N_BLOCKS
FREQUENCY_HZ = 20.0 * 1000.0 ** ((TIME_S - BEFORE_S) / DURATION_S)  # 20 Hz to 20 kHz
STEP_TIME_S = BEFORE_S + (np.arange(round(DURATION_S / STEP_S)) + 0.5) * STEP_S


def arrival(**fields: Any) -> Arrival:
    """One of gain 1 without delay, noise or harmonics, but for the fields."""
    zeros = np.zeros(N_BLOCKS)
    plain = {
        "latency": 480,
        "frequency_hz": FREQUENCY_HZ,
        "time_s": TIME_S,
        "delay_s": zeros,
        "group_delay_s": zeros,
        "gain": np.ones(N_BLOCKS),
        "noise": np.full(N_BLOCKS, 1e-6),
        "third": zeros,
        "step_time_s": STEP_TIME_S,
        "unpredicted": np.full(len(STEP_TIME_S), 1e-5),
        "predicted": np.full(len(STEP_TIME_S), 0.1),
    }
    return Arrival(**(plain | fields))
