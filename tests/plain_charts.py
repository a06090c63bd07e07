"""Charts against a baseline that is known well, by the standards' formulas: limits as wide as the chance of a normal law."""

import numpy as np


def outside_of_three_sigma(values, baseline):
    """Single measurements beyond 3 σ, and the two limits (ISO 7870-2)."""
    low, high = baseline.centre - 3 * baseline.sigma, baseline.centre + 3 * baseline.sigma
    points = np.asarray(values)
    return (points < low) | (points > high), low, high


def averages_outside(values, baseline, *, weight, width):
    """Weighted averages step by step, whether each lies beyond its limits, and how wide those are (ISO 7870-6)."""
    average, averages = baseline.centre, []
    for value in values:
        average += weight * (value - average)
        averages.append(average)
    ages = np.arange(1, len(averages) + 1)
    half = width * baseline.sigma * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * ages)))
    points = np.array(averages)
    return points, np.abs(points - baseline.centre) > half, half
