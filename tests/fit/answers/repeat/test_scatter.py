"""A value from the scatter of a few takes: its interval, and which distribution that says."""

import pytest

from fit.answers.repeat.scatter import estimate_from_half


def test_interval_lies_half_to_either_side():
    found = estimate_from_half(-14.0, std=0.1, half=0.43, unit="dB")
    assert (found.value, found.unit, found.standard_uncertainty) == (-14.0, "dB", 0.1)
    assert (found.low, found.high) == pytest.approx((-14.43, -13.57), rel=1e-12)
    assert found.coverage_factor == pytest.approx(4.3, rel=1e-12)  # Student's t of two degrees of freedom


# 1.96 is the normal distribution's; up to 0.001 more is rounding.
@pytest.mark.parametrize(("half", "distribution"), [(1.96, "normal"), (1.9605, "normal"), (1.962, "t"), (1.0, "normal")])
def test_only_a_wider_interval_is_of_students_distribution(half, distribution):
    assert estimate_from_half(5.0, std=1.0, half=half, unit="V").distribution == distribution


def test_no_scatter_is_no_division():
    found = estimate_from_half(5.0, std=0.0, half=0.0, unit="V")
    assert (found.low, found.high, found.coverage_factor, found.distribution) == (5.0, 5.0, 1.96, "normal")
