"""A value against its tolerance: sides, guard bands and probabilities by hand."""

import math

import numpy as np
import pytest

from fit.answers.confirm.conformity import conformance, decide_conformity, is_logarithmic
from fit.answers.figures import Estimate

SQRT3 = math.sqrt(3)


def normal(value, std=1.0, **options):
    return Estimate(value=value, unit="Ω", standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std, **options)


def of_factor(value, std, factor, distribution):
    return Estimate(
        value=value, unit="Ω", standard_uncertainty=std, low=value - factor * std, high=value + factor * std,
        coverage_factor=factor, distribution=distribution,
    )  # fmt: skip


def phi(z):
    return 0.5 * math.erfc(-z / math.sqrt(2))


# U = 1.96 Ω; accepted from 109.96 to 112.04 Ω, rejected below 106.04 and above 115.96 Ω.
@pytest.mark.parametrize(
    ("value", "side"),
    [
        (106.0, "below"), (106.1, "outside near lower limit"), (107.9, "outside near lower limit"),
        (108.1, "inside near lower limit"), (109.9, "inside near lower limit"), (110.0, "inside"), (112.0, "inside"),
        (112.1, "inside near upper limit"), (114.1, "outside near upper limit"), (115.9, "outside near upper limit"),
        (116.0, "above"),
    ],
)  # fmt: skip
def test_sides_of_a_tolerance(value, side):
    found = decide_conformity(normal(value), low=108.0, high=114.0)
    assert found.side == side
    inside = phi(114.0 - value) - phi(108.0 - value)
    assert found.conforming == pytest.approx(inside, rel=1e-9)
    assert found.nonconforming == pytest.approx(1 - inside, rel=1e-6)
    wrong = {"inside": 1 - inside, "below": inside, "above": inside}.get(side)
    assert found.specific_risk == (None if wrong is None else pytest.approx(wrong, rel=1e-6))


def test_guard_band_moves_the_limits_inwards():
    found = decide_conformity(normal(110.0), low=108.0, high=114.0)
    assert (found.limits, found.guard_band) == ((108.0, 114.0), pytest.approx(1.96, rel=1e-12))
    assert found.acceptance == pytest.approx((109.96, 112.04), rel=1e-12)
    assert not found.is_logarithmic
    narrow = decide_conformity(normal(110.0), low=109.0, high=111.0)
    assert (narrow.side, narrow.acceptance, narrow.specific_risk) == ("inside near both limits", None, None)


def test_a_factor_for_a_guard_band():
    known = Estimate(value=10.0, unit="F", standard_uncertainty=0.486, low=10 / 1.1, high=11.0)
    found = decide_conformity(known, low=8.0, high=12.0)
    assert found.is_logarithmic
    assert found.acceptance == pytest.approx((8.8, 12 / 1.1), rel=1e-12)
    step = 1.96 / math.log(1.1)
    expected = phi(step * math.log(1.2)) - phi(step * math.log(0.8))
    assert found.conforming == pytest.approx(expected, rel=1e-9)
    assert conformance(known, low=-1.0, high=10.0) == pytest.approx((0.5, 0.5), rel=1e-9)  # nothing lies below 0


def test_a_limit_far_away_keeps_its_digits():
    conforming, nonconforming = conformance(normal(0.5, 0.1), low=-0.5, high=math.inf)
    assert conforming == pytest.approx(1.0, rel=1e-12)
    assert nonconforming == pytest.approx(0.5 * math.erfc(10 / math.sqrt(2)), rel=1e-9, abs=0)
    conforming, _ = conformance(normal(0.5, 0.1), low=1.5, high=1.6)
    expected = 0.5 * (math.erfc(10 / math.sqrt(2)) - math.erfc(11 / math.sqrt(2)))
    assert conforming == pytest.approx(expected, rel=1e-9, abs=0)
    below, _ = conformance(normal(0.5, 0.1), low=-0.6, high=-0.5)
    assert below == pytest.approx(expected, rel=1e-9, abs=0)


def test_a_rectangle_has_ends():
    # From −√3 to √3: beyond 1 lies (√3 − 1)/(2√3); beyond its ends nothing.
    known = of_factor(0.0, 1.0, 0.95 * SQRT3, "rectangular")
    assert conformance(known, low=-5.0, high=1.0)[1] == pytest.approx((SQRT3 - 1) / (2 * SQRT3), rel=1e-4)
    assert conformance(known, low=-1.8, high=1.8) == (1.0, 0.0)


def test_a_rectangle_and_a_normal_part_together():
    # The normal tail, averaged over the rectangle by sums; the factor is where 2.5 % are left.
    share = 0.9
    offsets = SQRT3 * share * (2 * (np.arange(1000) + 0.5) / 1000 - 1)

    def tail(z):
        return float(np.mean([0.5 * math.erfc((z - one) / math.sqrt(2 * (1 - share**2))) for one in offsets]))

    low, high = 1.0, 2.0
    for _ in range(30):
        middle = (low + high) / 2
        low, high = (middle, high) if tail(middle) > 0.025 else (low, middle)
    known = of_factor(0.0, 1.0, high, "mixed")
    for limit in (0.5, 1.2, 1.7):
        assert conformance(known, low=-math.inf, high=limit)[1] == pytest.approx(tail(limit), rel=1e-5)


def test_an_interval_that_was_walked_counts_as_normal():
    walked = of_factor(0.0, 1.0, 1.7, "profile")  # reaches 1.7, which then stands for 1.96 standard deviations
    assert conformance(walked, low=-math.inf, high=1.7)[1] == pytest.approx(0.025, abs=1e-5)


def test_a_value_without_uncertainty():
    exact = Estimate(value=5.0, unit="Ω", standard_uncertainty=0.0, low=5.0, high=5.0)
    assert conformance(exact, low=5.0, high=6.0) == (1.0, 0.0)
    assert conformance(exact, low=5.1, high=6.0) == (0.0, 1.0)
    assert decide_conformity(exact, low=4.0, high=6.0).side == "inside"


def test_which_scale_an_interval_has():
    assert is_logarithmic(Estimate(value=2.0, unit="H", standard_uncertainty=0.1, low=1.0, high=4.0))
    assert not is_logarithmic(Estimate(value=2.0, unit="H", standard_uncertainty=0.1, low=1.0, high=3.0))
    assert not is_logarithmic(Estimate(value=2.0, unit="H", standard_uncertainty=0.1, low=0.0, high=4.0))


def test_limits_in_their_order():
    for low, high in ((2.0, 1.0), (1.0, 1.0)):
        with pytest.raises(ValueError, match=rf"lower limit {low:g} is not below the upper limit {high:g}"):
            decide_conformity(normal(1.5), low=low, high=high)


def test_the_unit_does_not_matter():
    probabilities = []
    for unit in (1.0, 1e-9):
        known = Estimate(value=10 * unit, unit="F", standard_uncertainty=0.486 * unit, low=10 / 1.1 * unit, high=11 * unit)
        probabilities.append(conformance(known, low=9 * unit, high=12 * unit))
    assert probabilities[1] == pytest.approx(probabilities[0], rel=1e-9)
    assert 0.9 < probabilities[0][0] < 0.99
