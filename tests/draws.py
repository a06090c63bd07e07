"""What a slow test draws: cases of its own each day in the everyday check, all of them before a release (.ci/full)."""

import os
from datetime import date
from zlib import crc32

import numpy as np
import pytest

IS_WHOLE = "COILSWEEP_WHOLE" in os.environ
IS_PART = "COILSWEEP_PART" in os.environ
DAY = int(os.environ.setdefault("COILSWEEP_DAY", str(date.today().toordinal())))  # worker processes have the same one
PER_DAY = 1000  # numbers of cases that a day has for itself
N_PARTS = 7  # days in which every slow test comes once


def drawn(whole: int, *, everyday: int) -> int:
    """Number of cases to draw now."""
    return whole if IS_WHOLE else everyday


def seeds(whole: int, *, everyday: int, kept: tuple[int, ...] = ()) -> list[int]:
    """Numbers of the cases to draw now: the day's own, after those `kept` since they once failed."""
    return [*kept, *range(PER_DAY * DAY, PER_DAY * DAY + drawn(whole, everyday=everyday))]


def some(values, n: int) -> list:
    """The first n for the quick tests, the others for the long ones: a mistake in what all of them share shows in a few."""
    values = list(values)
    return [*values[:n], *(pytest.param(value, marks=pytest.mark.long) for value in values[n:])]


def scatter(share: float, n: int) -> float:
    """Three standard deviations of a share that n independent cases show (binomial)."""
    return 3 * float(np.sqrt(share * (1 - share) / n))


def is_of_today(name: str, day: int = DAY) -> bool:
    """Whether a slow test is of the part that the check of this day runs."""
    return crc32(name.encode()) % N_PARTS == day % N_PARTS


def judge(check, whole: int, *, everyday: int, kept: tuple[int, ...] = ()) -> None:
    """Check the cases of now by `check(seeds)`; where a share of few is off, judge it by four times as many.

    A bar at three standard deviations is missed by chance now and then, and cases that are new each day try it each day; a case
    that is wrong by itself is wrong among more as well.
    """
    chosen = seeds(whole, everyday=everyday, kept=kept)
    try:
        check(chosen)
    except AssertionError as first:
        if IS_WHOLE:
            raise
        print(f"of {len(chosen)} cases: {first}")
        check(seeds(whole, everyday=min(4 * everyday, PER_DAY), kept=kept))
