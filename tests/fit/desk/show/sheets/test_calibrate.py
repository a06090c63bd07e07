"""What calibrate says, as sheets."""

import pytest

from fit.answers.figures import Estimate
from fit.desk.show.sheets.calibrate import bounded_text
from measure.quantity import parse_quantity


@pytest.mark.parametrize(
    ("value", "std", "unit", "text"),
    [
        (1.0034e6, 4630.0, "Ω", "1.003M ± 0.8%"),
        (184.84e-12, 0.62e-12, "F", "184.8p ± 0.58%"),
        (9.1e3, 18.2, "Hz", "9.100k ± 0.35%"),
        (47e3, 4700.0, "Ω", "47.0k ± 17%"),
    ],
)
def test_what_the_rig_keeps_has_the_right_standard_uncertainty(value, std, unit, text):
    estimate = Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 2 * std, high=value + 2 * std)
    assert bounded_text(estimate) == text
    assert parse_quantity(text, unit).standard_uncertainty == pytest.approx(std, rel=0.05)
