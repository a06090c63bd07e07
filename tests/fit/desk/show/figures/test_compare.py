"""Pictures of a comparison: change at the jack and of a foil's signal, with bands of 95 %."""

import numpy as np
import pytest

from fit.desk.show.figures.compare import changes_figure
from tests.changes_by_hand import HZ, changed_foil, changed_parts
from tests.overlaps import labels_overlap


def test_each_pair_is_a_line_with_its_band_and_what_was_recorded():
    parts = changed_parts()
    axes = changes_figure(parts, None).axes[0]
    lines = [line for line in axes.get_lines() if line.get_label().startswith("before-")]
    dots = [line for line in axes.get_lines() if line.get_marker() == "."]
    assert [line.get_label() for line in lines] == ["before-0 to after-0", "before-1 to after-1"]
    for line, dot, pair in zip(lines, dots, parts.responses, strict=True):
        np.testing.assert_array_equal(line.get_ydata(), pair.change_db)
        np.testing.assert_array_equal(dot.get_ydata(), pair.measured_db)
    ends = axes.collections[0].get_paths()[0].get_extents().intervaly
    assert ends[1] == pytest.approx(np.max(parts.responses[0].change_db + 1.96 * 0.1), abs=0.01)


def test_of_a_foil_only_what_stands_out_of_the_noise_is_drawn():
    foil = changed_foil()
    axes = changes_figure(None, foil).axes[0]
    (line,) = [one for one in axes.get_lines() if one.get_label().startswith("signal of the foil")]
    np.testing.assert_array_equal(line.get_xdata(), HZ[foil.is_clear])
    assert axes.get_xlim()[0] < HZ[0]  # the whole band is in view


@pytest.mark.parametrize(
    ("parts", "foil", "n"), [(changed_parts(), None, 1), (None, changed_foil(), 1), (changed_parts(), changed_foil(), 2)]
)
def test_a_panel_for_each_that_there_is(parts, foil, n):
    assert len(changes_figure(parts, foil).axes) == n


@pytest.mark.parametrize("parts", [None, changed_parts(responses=0)])
def test_nothing_to_draw_says_what_it_needs(parts):
    with pytest.raises(ValueError, match="takes of the exciter or of a foil before and after"):
        changes_figure(parts, None)


@pytest.mark.parametrize("which", ["parts", "foil", ""])
def test_what_is_simulated_says_so(which):
    figure = changes_figure(changed_parts(simulated=which == "parts"), changed_foil(simulated=which == "foil"))
    assert figure.get_suptitle() == ("simulated" if which else "")


@pytest.mark.long
def test_no_label_lies_over_another():
    assert labels_overlap(changes_figure(changed_parts(), changed_foil())) == []
