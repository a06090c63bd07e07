"""Cells and bands of a grid: nothing is counted twice or lost, and the ratio is that of a network known in closed form."""

import numpy as np

from measure.signal.bands import (
    grid_frequencies,
)


def test_grid_is_anchored():
    grid_hz = grid_frequencies(20.0, 20000.0)
    assert 1000.0 in grid_hz
    np.testing.assert_allclose(np.diff(np.log2(grid_hz)), 1 / 16, rtol=1e-12)
    assert set(grid_frequencies(100.0, 5000.0)) < set(grid_hz)
