"""Medians and percentiles against numpy's own."""

import numpy as np
import pytest

from measure.response import Finding, median, outcome, percentile


@pytest.mark.parametrize("shape", [(1,), (5,), (6,), (3, 8), (3, 4, 7)])
def test_a_median_is_that_of_numpy(shape: tuple[int, ...]) -> None:
    values = np.random.default_rng(1).normal(size=shape)
    for axis in range(len(shape)):
        np.testing.assert_array_equal(median(values, axis=axis), np.median(values, axis=axis))
    values.flat[0] = np.inf
    np.testing.assert_array_equal(median(values), np.median(values, axis=-1))
    values.flat[-1] = np.nan
    np.testing.assert_array_equal(median(values), np.median(values, axis=-1))


def test_outcome_is_the_worst() -> None:
    good, doubtful, bad = (Finding(code="x", severity=severity, text="") for severity in ("pass", "warn", "reject"))
    assert outcome([good]) == outcome([]) == "good"
    assert outcome([doubtful, good]) == "usable"
    assert outcome([doubtful, bad, good]) == "rejected"


@pytest.mark.parametrize("percent", [0, 10, 25, 50, 83, 95, 100])
@pytest.mark.parametrize("n", [1, 2, 5, 40])
def test_a_percentile_is_that_of_numpy(n: int, percent: float) -> None:
    values = np.random.default_rng(n).standard_normal(n)
    assert percentile(values, percent) == pytest.approx(np.percentile(values, percent), rel=1e-12, abs=1e-15)
    assert np.isnan(percentile(np.array([1.0, np.nan, 2.0]), percent))
