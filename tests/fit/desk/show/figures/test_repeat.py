"""Pictures of repeat and check: points where the results lie, limits and rings where the charts have them."""

import numpy as np
import pytest

from fit.desk.show.figures.repeat import check_figure, repeat_figure
from fit.desk.show.figures.style import COLOURS, FORMS
from tests.overlaps import labels_overlap
from tests.sets_by_hand import KEY, checked, repeated

STEADY = (5900.0 + 5.0 * np.sin(7.0 * np.arange(9))).tolist()
DRIFTED = [*STEADY, 5800.0, 5801.0]


def points_of(axes):
    return [line for line in axes.get_lines() if line.get_marker() == "o" and line.get_markerfacecolor() != "none"]


def test_results_are_drawn_in_percent_of_their_mean_days_apart_by_colour_and_form():
    found = repeated()
    (axes,) = repeat_figure(found).axes
    points = [line for line in axes.get_lines() if line.get_marker() in FORMS]
    one = found.quantities[KEY]
    expected = [100 * (own.answer.quantities[KEY].value / one.mean - 1) for own in found.fitted]
    np.testing.assert_allclose([line.get_ydata()[0] for line in points], expected, rtol=1e-9)
    days = [own.takes.day for own in found.fitted]
    assert len(set(days)) > 1
    assert [line.get_color() for line in points] == [COLOURS[day] for day in days]
    assert [line.get_marker() for line in points] == [FORMS[day] for day in days]
    assert axes.get_ylabel() == "[%]"
    assert [label.get_text() for label in axes.get_xticklabels()] == ["1", "2", "3"]


def test_the_band_is_what_is_stated_and_not_shared():
    found = repeated(own_std=4.0)
    (axes,) = repeat_figure(found).axes
    (band,) = axes.patches
    low, high = band.get_extents().transformed(axes.transData.inverted()).intervaly
    half = 100 * 1.96 * 4.0 / found.quantities[KEY].mean
    assert (low, high) == (pytest.approx(-half), pytest.approx(half))


def test_no_text_is_cut_at_the_edge():
    figure = repeat_figure(repeated())
    figure.draw_without_rendering()
    for axes in figure.axes:
        for text in (axes._left_title, axes.xaxis.label):
            assert text.get_window_extent().x0 >= 0
            assert text.get_window_extent().x1 <= figure.bbox.width


@pytest.mark.parametrize("simulated", [False, True])
def test_what_is_simulated_says_so(simulated):
    text = "simulated" if simulated else ""
    assert repeat_figure(repeated(simulated=simulated)).get_suptitle() == text
    assert check_figure(checked(STEADY, simulated=simulated), KEY).get_suptitle() == text


def test_charts_are_drawn_from_the_baseline_and_what_lies_outside_is_ringed():
    found = checked(DRIFTED)
    charts = found.charts[KEY]
    single, ranges, average = check_figure(found, KEY).axes
    scale = 100 / charts.baseline.centre
    np.testing.assert_allclose(points_of(single)[0].get_ydata(), scale * (np.array(DRIFTED) - charts.baseline.centre))
    for axes, chart in ((single, charts.individuals), (average, charts.ewma)):
        (ring,) = [line for line in axes.get_lines() if line.get_markerfacecolor() == "none"]
        assert ring.get_xdata().tolist() == np.flatnonzero(chart.is_outside).tolist()
    assert charts.individuals.is_outside.any()
    assert ranges.get_ylabel() == "moving range\n[%]"
    assert single.get_title(loc="left") == "coil: resonance, cable and input on, drifted"


def test_too_few_measurements_are_not_drawn():
    with pytest.raises(ValueError, match=r"5 more measurements are needed .*nothing to draw yet"):
        check_figure(checked(STEADY[:3]), KEY)


def test_no_label_lies_over_another():
    assert labels_overlap(check_figure(checked([*STEADY, *STEADY, *DRIFTED]), KEY)) == []
