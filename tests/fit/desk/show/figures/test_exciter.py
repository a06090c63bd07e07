"""The picture of an exciter: the voltage to expect, with its interval, at the frequencies asked for."""

import numpy as np
import pytest

from fit.answers.exciter.rating import analyse_exciter
from fit.desk.show.figures.exciter import exciter_figure
from tests.exciter_setups import SETUP
from tests.overlaps import labels_overlap

BOUNDS = {"drive.level_v": 0.1, "pickup.gap_m": 0.2}


def test_points_stand_where_the_answer_has_them_with_their_intervals():
    answer = analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(1e4, 100.0, 1e3))
    axes = exciter_figure(answer).axes[0]
    line, _, (segments,) = axes.containers[0].lines
    np.testing.assert_allclose(line.get_xydata(), [[hz, answer.emf[hz].value] for hz in (100.0, 1e3, 1e4)])
    ends = np.asarray(segments.get_segments())[:, :, 1]
    np.testing.assert_allclose(ends, [[answer.emf[hz].low, answer.emf[hz].high] for hz in (100.0, 1e3, 1e4)])


def test_corner_is_marked_where_it_is_seen():
    answer = analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(100.0, 2e5))
    texts = [text.get_text() for text in exciter_figure(answer).axes[0].texts]
    assert any(text.startswith("corner") for text in texts)


@pytest.mark.long
def test_the_corner_runs_through_no_label():
    answer = analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(100.0, 1e3, 1e4))
    corner_hz = answer.quantities["corner"].value
    for share in (0.97, 0.7, 0.4):  # a point so near below it
        figure = exciter_figure(analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(100.0, 1e3, share * corner_hz)))
        figure.draw_without_rendering()
        (axes,) = [one for one in figure.axes if one.texts]
        (x, _) = axes.transData.transform((corner_hz, 1.0))
        for text in axes.texts:
            box = text.get_window_extent()
            assert not box.x0 <= x <= box.x1, (share, text.get_text())


def test_no_label_lies_over_another():
    assert labels_overlap(exciter_figure(analyse_exciter(SETUP, bounds=BOUNDS, at_hz=(100.0, 1e3, 1e4)))) == []
