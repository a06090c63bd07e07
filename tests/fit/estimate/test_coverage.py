"""How many standard deviations make 95 %, against sums that are drawn and against closed forms."""

import numpy as np
import pytest

from fit.estimate.coverage import coverage_factor


def test_normal_and_rectangular_alone():
    """1.959964 (told as 1.96): the normal law's; √3 · 0.95: the rectangular law's."""
    assert coverage_factor([]) == pytest.approx(1.959964, abs=5e-5)
    assert coverage_factor([1.0]) == pytest.approx(0.95 * np.sqrt(3), abs=1e-3)  # steps of 0.01 in k are interpolated


def test_two_equal_rectangular_parts_are_a_triangle():
    """P(|x| < k) of a triangle of half-width √6: 1 − (1 − k/√6)²."""
    assert coverage_factor([np.sqrt(0.5)] * 2) == pytest.approx(np.sqrt(6) * (1 - np.sqrt(0.05)), abs=1e-3)


@pytest.mark.parametrize("parts", [[0.9], [0.8, 0.5], [0.6, 0.6], [0.99, 0.05]])
def test_mixed_parts_hold_95_percent_of_what_is_drawn(parts):
    rng, n = np.random.default_rng(1), 400_000
    normal = np.sqrt(1 - np.sum(np.square(parts)))
    drawn = normal * rng.standard_normal(n) + sum(std * rng.uniform(-np.sqrt(3), np.sqrt(3), n) for std in parts)
    inside = np.mean(np.abs(drawn) < coverage_factor(parts))
    assert inside == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / n))


def test_small_rectangular_parts_change_nothing():
    assert coverage_factor([0.01] * 5) == pytest.approx(coverage_factor([]), abs=2e-3)


def test_parts_that_rounding_makes_more_than_one_are_borne():
    assert coverage_factor([1.0, 1e-9]) == pytest.approx(coverage_factor([1.0]), abs=1e-6)
