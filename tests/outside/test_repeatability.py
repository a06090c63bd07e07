"""Nested analysis of variance and control charts against published data and tables, each with its source beside it."""

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from fit.answers.repeat.control_chart import (
    EWMA_WEIGHT,
    EWMA_WIDTH,
    WIDTH,
    baseline_of,
    ewma_weights,
    moving_range_chart,
    range_freedom,
)
from fit.answers.repeat.repeatability import analyse_nested, estimate_spreads
from tests.places import NIST

FLOW_RATE = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
EWMA_DATA = (52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW_RATE)
EWMA_PRINTED = (50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33)  # from memory; those that follow too
EWMA_PRINTED += (50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99)


CERTIFIED_F, CERTIFIED_STD = "1.18046237440255", "0.104076068334656"


def test_silicon_resistivity_as_certified():
    """NIST Statistical Reference Datasets, analysis of variance, SiRstv: certified F and residual standard deviation."""
    table = np.loadtxt(NIST / "si-resistivity.csv", delimiter=",", skiprows=2)
    between, within = analyse_nested(table[:, 1], {"instrument": table[:, 0].tolist()})
    assert (between.freedom, within.freedom) == (4, 20)
    # the readings have 3 digits in common: of 16 that a float has, 13 are left
    assert between.mean_square / within.mean_square == pytest.approx(float(CERTIFIED_F), rel=2e-13)
    assert np.sqrt(within.mean_square) == pytest.approx(float(CERTIFIED_STD), rel=1e-13)


def test_silicon_resistivity_was_typed_without_a_slip():
    """Exact arithmetic gives all digits that are certified."""
    lines = (NIST / "si-resistivity.csv").read_text(encoding="utf-8").splitlines()[2:]
    groups = {}
    for line in lines:
        instrument, reading = line.split(",")
        groups.setdefault(instrument, []).append(Fraction(reading))
    means = {name: sum(own) / 5 for name, own in groups.items()}
    whole = sum(means.values()) / 5
    within = sum((one - means[name]) ** 2 for name, own in groups.items() for one in own) / 20
    ratio = sum(5 * (mean - whole) ** 2 for mean in means.values()) / 4 / within
    assert f"{Decimal(ratio.numerator) / Decimal(ratio.denominator):.14f}" == CERTIFIED_F
    assert f"{(Decimal(within.numerator) / Decimal(within.denominator)).sqrt():.15f}" == CERTIFIED_STD


def test_individuals_and_moving_range_as_printed():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rates, UCL 55.8041, centre 50.81, LCL 45.8159."""
    baseline = baseline_of(FLOW_RATE)
    assert [round(baseline.centre + sign * WIDTH * baseline.sigma, 4) for sign in (-1, 1)] == [45.8159, 55.8041]
    assert baseline.centre == pytest.approx(50.81, abs=1e-12)
    ranges = moving_range_chart(FLOW_RATE, baseline)
    assert ranges.centre == pytest.approx(1.8778, abs=5e-5)
    assert ranges.high[0] == pytest.approx(3.267 * 16.9 / 9, rel=1e-12)  # D4 of ISO 7870-2, from memory


def test_weighted_average_as_printed():
    """The same, 6.3.2.4: λ 0.3, from 50, s 2.0539: UCL 52.5884, LCL 47.4115 once settled; the printed averages."""
    weights = ewma_weights(len(EWMA_DATA), 0.3)
    half = 3.0 * 2.0539 * np.sqrt(np.sum(weights**2, axis=1))
    # 47.41157 stands there cut, not rounded
    assert 50 + half[-1] == pytest.approx(52.5884, abs=1e-4)
    assert 50 - half[-1] == pytest.approx(47.4115, abs=1e-4)
    averages = 50 + weights @ (np.array(EWMA_DATA) - 50)
    assert averages == pytest.approx(np.array(EWMA_PRINTED), abs=0.006)
    assert np.all(np.abs(averages - 50) < half)


@pytest.mark.parametrize(
    ("labels", "expected"),
    [
        (((0, 0, 1),), [[3, 5 / 3, 1], [0, 4 / 3, 1], [0, 0, 1]]),
        (((0, 0, 0, 1), (0, 0, 1, 2)), [[4, 5 / 2, 3 / 2, 1], [0, 3 / 2, 7 / 6, 1], [0, 0, 4 / 3, 1], [0, 0, 0, 1]]),
    ],
)
def test_staggered_designs_have_the_expected_mean_squares_of_the_standard(labels, expected):
    """ISO 5725-3:1994, annexes on staggered-nested experiments of three and four factors, from memory."""
    n_labs, size = 7, len(labels[0])
    factors = {"lab": [lab for lab in range(n_labs) for _ in range(size)]}
    factors |= {f"factor {index}": list(own) * n_labs for index, own in enumerate(labels)}
    values = np.random.default_rng(5).normal(size=n_labs * size)
    levels = analyse_nested(values, factors)
    assert np.array([level.coefficients for level in levels]) == pytest.approx(np.array(expected), rel=1e-12)
    assert [level.freedom for level in levels] == [n_labs - 1, *[n_labs] * (len(expected) - 1)]


def test_variance_of_a_single_result_in_a_staggered_design():
    """The same: repeatability is half the mean squared range of two; with three factors s_R² = (MS0 + MS1 + MSr) / 3."""
    values = np.random.default_rng(8).normal(size=(9, 3)) + np.random.default_rng(9).normal(size=(9, 1))
    levels = analyse_nested(values.ravel(), {"lab": np.repeat(np.arange(9), 3).tolist(), "level": [0, 0, 1] * 9})
    spreads, together = estimate_spreads(levels)
    assert spreads[("repeat",)].std ** 2 == pytest.approx(np.mean((values[:, 0] - values[:, 1]) ** 2) / 2, rel=1e-12)
    between = (values[:, :2].mean(axis=1) - values[:, 2]) ** 2
    assert levels[1].mean_square == pytest.approx(2 / 3 * np.mean(between), rel=1e-12)
    assert together.std**2 == pytest.approx(sum(level.mean_square for level in levels) / 3, rel=1e-12)


def test_width_of_the_average_is_that_of_one_false_alarm_in_370():
    """Mean run length by a Markov chain over the average: D. Brook, D. A. Evans, Biometrika 59 (1972) 539."""
    from scipy.special import ndtr

    n = 301
    limit = EWMA_WIDTH * np.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT))
    step = 2 * limit / n
    middle = -limit + step * (np.arange(n) + 0.5)
    edges = (np.append(middle - step / 2, limit)[None, :] - (1 - EWMA_WEIGHT) * middle[:, None]) / EWMA_WEIGHT
    stay = np.diff(ndtr(edges), axis=1)
    lengths = np.linalg.solve(np.eye(n) - stay, np.ones(n))
    assert lengths[n // 2] == pytest.approx(370.4, rel=0.01)  # that of individuals at 3 σ: 1 / 0.0027


def test_scatter_from_moving_ranges_has_the_freedom_that_chance_gives_it():
    """1 / (2 var) of mean ranges drawn here; the same for n = 20 in tables of individuals charts."""
    rng = np.random.default_rng(2)
    for n in (8, 20):
        means = np.abs(np.diff(rng.normal(size=(40_000, n)), axis=1)).mean(axis=1)
        assert range_freedom(n) == pytest.approx(means.mean() ** 2 / (2 * means.var()), rel=0.03)
