"""Medians against numpy's own."""

import numpy as np
import pytest

from measure.response import median


@pytest.mark.parametrize("shape", [(1,), (5,), (6,), (3, 8), (3, 4, 7)])
def test_a_median_is_that_of_numpy(shape: tuple[int, ...]) -> None:
    values = np.random.default_rng(1).normal(size=shape)
    for axis in range(len(shape)):
        np.testing.assert_array_equal(median(values, axis=axis), np.median(values, axis=axis))
    values.flat[0] = np.inf
    np.testing.assert_array_equal(median(values), np.median(values, axis=-1))
    values.flat[-1] = np.nan
    np.testing.assert_array_equal(median(values), np.median(values, axis=-1))
