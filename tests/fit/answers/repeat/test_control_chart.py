"""Charts of a kept coil: false alarms as often as theory has them, drifts found, slips and short histories borne."""

import numpy as np
import pytest

from fit.answers.repeat.control_chart import (
    BASELINE_POINTS,
    EWMA_WEIGHT,
    EWMA_WIDTH,
    LEAST_POINTS,
    Baseline,
    baseline_of,
    chart_coil,
    ewma_weights,
    moving_range_chart,
    range_freedom,
)
from tests.plain_charts import averages_outside, outside_of_three_sigma

KNOWN = Baseline(centre=0.0, sigma=1.0)


def shifted(rng, n_before, n_after, size):
    values = rng.normal(size=n_before + n_after)
    values[n_before:] += size
    return values


def first_outside(charts, start):
    outside = (charts.individuals.is_outside | charts.ewma.is_outside)[start:]
    return int(np.argmax(outside)) + 1 if outside.any() else len(outside) + 1


def test_false_alarms_of_plain_charts_are_those_of_theory():
    """With a known baseline 1 in 370 for single measurements, and a mean run of 370 for the average (Crowder 1987)."""
    rng = np.random.default_rng(2)
    values = rng.normal(size=200_000)
    rate = np.mean(outside_of_three_sigma(values, KNOWN)[0])
    assert rate == pytest.approx(0.0027, abs=3 * np.sqrt(0.0027 / 200_000))
    runs = []
    for _ in range(200):
        _, outside, _ = averages_outside(rng.normal(size=2000), KNOWN, weight=EWMA_WEIGHT, width=EWMA_WIDTH)
        runs.append(int(np.argmax(outside)) + 1 if outside.any() else 2000)
    assert np.mean(runs) == pytest.approx(370, abs=3 * 370 / np.sqrt(200))  # run lengths scatter by as much as their mean


@pytest.mark.long
def test_short_histories_alarm_no_more_often():
    """While centre and scatter come from 8 to 20 measurements: 0.27 % of single ones, 0.42 % of averages; by plain limits 2 %."""
    n_runs, single, average, plain = 600, 0, 0, 0
    n_judged = n_runs * (BASELINE_POINTS - LEAST_POINTS)
    for seed in range(n_runs):
        values = np.random.default_rng([seed, 7]).normal(size=BASELINE_POINTS)
        charts = chart_coil(values)
        single += np.count_nonzero(charts.individuals.is_outside[LEAST_POINTS:])
        average += np.count_nonzero(charts.ewma.is_outside[LEAST_POINTS:])
        plain += np.count_nonzero(outside_of_three_sigma(values[LEAST_POINTS:], baseline_of(values[:LEAST_POINTS]))[0])
    assert single / n_judged <= 0.0027 + 3 * np.sqrt(0.0027 / n_judged)
    assert average / n_judged <= 0.0042 + 6 * np.sqrt(0.0042 / n_judged)  # averages that follow each other are alike
    assert plain / n_judged > 0.015


def test_limits_stand_still_at_a_long_baseline():
    from scipy.stats import t

    values = np.random.default_rng(3).normal(size=60)
    charts = chart_coil(values)
    _, _, plain_high = outside_of_three_sigma(values, charts.baseline)
    assert len(charts.members) == BASELINE_POINTS
    wider = t.isf(0.00135, range_freedom(BASELINE_POINTS)) / 3 * np.sqrt(1 + 1 / BASELINE_POINTS)
    half = charts.individuals.high[-1] - charts.individuals.centre
    assert half == pytest.approx(wider * (plain_high - charts.baseline.centre), rel=1e-4)
    assert wider < 1.3
    assert charts.individuals.high[30] == pytest.approx(charts.individuals.high[-1], rel=1e-12)
    assert charts.individuals.high[LEAST_POINTS] != charts.individuals.high[LEAST_POINTS + 1]


@pytest.mark.long
@pytest.mark.parametrize(("size", "within"), [(3.0, 6), (2.0, 14)])
def test_a_step_is_found_and_dated(size, within):
    """In 9 of 10 benches within so many measurements after a baseline of 20; where it began, and how far it went."""
    found, began, sizes = [], [], []
    for seed in range(200):
        charts = chart_coil(shifted(np.random.default_rng([seed, 1]), 20, within, size))
        found.append(first_outside(charts, 20) <= within)
        if charts.drift is not None and charts.drift.is_lasting:
            began.append(charts.drift.since - 20)
            sizes.append(charts.drift.size)
    assert np.mean(found) >= 0.9
    assert abs(np.median(began)) <= 1
    assert np.mean(sizes) == pytest.approx(size, rel=0.15)


@pytest.mark.long
def test_a_slow_drift_is_found_by_the_average_first():
    """A tenth of the scatter each time: it hides from single measurements, and not in the baseline."""
    found, earlier = [], []
    for seed in range(100):
        rng = np.random.default_rng([seed, 2])
        values = rng.normal(size=60)
        values[20:] += 0.1 * np.arange(40)
        charts = chart_coil(values)
        when = [int(np.argmax(chart.is_outside[20:])) for chart in (charts.individuals, charts.ewma)]
        found.append(charts.drift is not None and charts.drift.is_lasting)
        earlier.append(when[1] < when[0] or not charts.individuals.is_outside[20:].any())
    assert np.mean(found) >= 0.95
    assert np.mean(earlier) > 0.6


def test_what_has_drifted_does_not_join_the_baseline():
    values = shifted(np.random.default_rng(4), 10, 6, 12.0)
    charts = chart_coil(values)
    assert charts.members == tuple(range(10))
    assert abs(charts.baseline.centre) < 1
    assert (charts.drift.since, charts.drift.is_lasting) == (10, True)
    assert charts.drift.size == pytest.approx(12, abs=1.5)


def test_one_slip_is_no_drift():
    values = np.random.default_rng(5).normal(size=30)
    values[24] += 25.0
    assert chart_coil(values).drift is None
    latest = chart_coil(values[:25]).drift
    assert (latest.since, latest.is_lasting) == (24, False)
    assert latest.size == pytest.approx(25, abs=3)
    assert chart_coil(values).individuals.is_outside[24]


def test_values_that_do_not_differ_at_all():
    charts = chart_coil([0.1 + 0.2] * 12)
    assert not charts.individuals.is_outside.any()
    assert not charts.ewma.is_outside.any()
    assert charts.drift is None
    assert chart_coil([0.3] * 12 + [0.30001]).drift is not None


def test_the_scale_does_not_matter():
    values = shifted(np.random.default_rng(6), 12, 4, 8.0)
    plain, scaled = chart_coil(values), chart_coil(1e-10 + 1e-13 * values)
    assert scaled.drift.since == plain.drift.since
    assert scaled.drift.size == pytest.approx(1e-13 * plain.drift.size, rel=1e-6)
    assert scaled.ewma.is_outside.tolist() == plain.ewma.is_outside.tolist()


def test_what_cannot_be_charted():
    with pytest.raises(ValueError, match=f"7 measurements: limits need {LEAST_POINTS}"):
        chart_coil([1.0] * 7)
    with pytest.raises(ValueError, match="1 measurement: a moving range needs two"):
        baseline_of([1.0])


def test_weights_are_those_of_the_average_step_by_step():
    values = np.random.default_rng(7).normal(size=12) + 5.0
    baseline = Baseline(centre=4.0, sigma=1.0)
    averages, _, half = averages_outside(values, baseline, weight=0.3, width=2.5)
    weights = ewma_weights(12, 0.3)
    np.testing.assert_allclose(4.0 + weights @ (values - 4.0), averages, rtol=1e-12)
    np.testing.assert_allclose(2.5 * np.sqrt(np.sum(weights**2, axis=1)), half, rtol=1e-12)  # of independent measurements
    np.testing.assert_array_equal(ewma_weights(3, 1.0), np.eye(3))


def test_moving_range_by_hand():
    # |3 − 1|, |3 − 3|, |10 − 3|: mean range 1.128 σ, upper limit 3.267 of it
    chart = moving_range_chart([1.0, 3.0, 3.0, 10.0], Baseline(centre=3.0, sigma=1.0))
    np.testing.assert_array_equal(chart.points, [np.nan, 2.0, 0.0, 7.0])
    assert chart.centre == pytest.approx(1.128, rel=1e-12)
    assert chart.high[0] == pytest.approx(1.128 * 3.267, rel=1e-12)
    assert not chart.low.any()
    assert chart.is_outside.tolist() == [False, False, False, True]
    baseline = baseline_of([1.0, 3.0, 3.0, 10.0])
    assert (baseline.centre, baseline.sigma) == (4.25, pytest.approx(3 / 1.128, rel=1e-12))
