"""Whether a quantity measured again is another, against drawn measurements of one and the same."""

import numpy as np
import pytest

from fit.answers.figures import COVERAGE, Estimate
from fit.answers.repeat.change import is_beyond, resistance_allowance


def estimate(value, std, unit="H"):
    return Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - COVERAGE * std, high=value + COVERAGE * std)


@pytest.mark.parametrize(("after", "is_other"), [(2.6, False), (2.63, False), (2.57, False), (2.66, True), (2.54, True)])
def test_a_gap_is_held_against_both_intervals(after, is_other):
    """Two standard uncertainties of 0.015: 1.96·√2·0.015 is 0.042."""
    assert is_beyond(estimate(2.6, 0.015), estimate(after, 0.015)) is is_other
    assert is_beyond(estimate(after, 0.015), estimate(2.6, 0.015)) is is_other


def test_the_halves_that_face_each_other_count():
    lopsided = Estimate(value=1.0, unit="H", standard_uncertainty=0.1, low=0.99, high=1.5)
    assert is_beyond(lopsided, estimate(0.95, 0.001))
    assert not is_beyond(lopsided, estimate(1.05, 0.001))


def test_one_in_twenty_of_what_did_not_change_is_called_another():
    rng = np.random.default_rng(7)
    values = rng.normal(2.6, 0.02, (20_000, 2))
    share = np.mean([is_beyond(estimate(one, 0.02), estimate(other, 0.02)) for one, other in values])
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 20_000))


def test_copper_warmed_by_eight_kelvin_is_the_same_winding():
    cold, warm = estimate(6000.0, 5.0, "Ω"), estimate(6000.0 * 1.03144, 5.0, "Ω")
    brought, allowance = resistance_allowance(cold, 20.0, 28.0)
    assert allowance == 0.0
    assert brought.value == pytest.approx(6188.64, rel=1e-9)  # 0.00393 per kelvin, IEC 60028
    assert not is_beyond(brought, warm, allowance=allowance)
    brought, allowance = resistance_allowance(cold, None, 28.0)
    assert brought is cold
    assert allowance == pytest.approx(6000 * 0.00393 * 3 * np.sqrt(2), rel=1e-12)
    assert is_beyond(brought, warm, allowance=allowance)
