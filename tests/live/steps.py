"""How steep the output may be where it is ramped."""

import numpy as np

from measure.source.player import RAMP_S


# The greatest step of a raised cosine of n samples is π/(2n); of a constant level nothing else is left to see.
def ramp_step(rate_hz, level):
    return level * np.pi / (2 * RAMP_S * rate_hz) * 1.001
