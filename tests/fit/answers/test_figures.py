"""What answers are made of: plain values that are the same wherever they are shown."""

import math
from dataclasses import FrozenInstanceError, fields

import pytest

from fit.answers.figures import Curve, Estimate, NextTake


def test_an_interval_is_that_of_a_normal_distribution_unless_it_is_said():
    # 95 % of a normal distribution: Φ(1.96) − Φ(−1.96)
    found = Estimate(value=1.0, unit="Ω", standard_uncertainty=0.5, low=0.02, high=1.98)
    assert math.erf(found.coverage_factor / math.sqrt(2)) == pytest.approx(0.95, abs=5e-6)
    assert found.distribution == "normal"


def test_a_figure_cannot_be_changed_after_it_was_found():
    take = NextTake(add="1n", text="clip 1n across the jack", predicted_relative_std=0.01)
    assert take.controls == ()
    with pytest.raises(FrozenInstanceError):
        take.add = "2n"


def test_names_of_fields_are_those_of_the_documents():
    assert [one.name for one in fields(Estimate)] == [
        "value", "unit", "standard_uncertainty", "low", "high", "coverage_factor", "distribution",
    ]  # fmt: skip
    assert [one.name for one in fields(Curve)] == [
        "take", "frequency_hz", "measured", "measured_std", "model", "rms_db", "max_db", "rms_degree",
    ]  # fmt: skip
