"""How many cases a slow test draws: a part of them in the everyday check, all of them before a release (.ci/full)."""

import os

import numpy as np

IS_WHOLE = "COILSWEEP_WHOLE" in os.environ


def drawn(whole: int, *, everyday: int) -> int:
    """Number of cases to draw now."""
    return whole if IS_WHOLE else everyday


def scatter(share: float, n: int) -> float:
    """Three standard deviations of a share that n independent cases show (binomial)."""
    return 3 * float(np.sqrt(share * (1 - share) / n))
