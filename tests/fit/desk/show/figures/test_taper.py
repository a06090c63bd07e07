"""The picture of measured tapers: points with their intervals beside the nominal laws, nothing claimed between them."""

import numpy as np
import pytest

from fit.answers.pickup.tapers import PotTaper, TaperPoint
from fit.circuit.controls import taper_fraction
from fit.desk.show.figures.taper import ROTATIONS, taper_figure
from tests.answer_by_hand import estimate
from tests.overlaps import labels_overlap


def point(rotation, share):
    return TaperPoint(rotation=rotation, share=estimate(share, 0.01, "1"), nominal=share)


TAPERS = {
    "volume": PotTaper(taper="audio", points=(point(3.0, 0.05), point(7.0, 0.4))),
    "tone": PotTaper(taper="linear", points=(point(5.0, 0.5),)),
}


def test_points_stand_where_they_were_measured_with_their_intervals():
    (axes,) = taper_figure(TAPERS, simulated=False).axes
    bars = {bar.get_label(): bar for bar in axes.containers}
    assert list(bars) == ["volume, measured", "tone, measured"]
    line, _, (segments,) = bars["volume, measured"].lines
    np.testing.assert_allclose(np.asarray(line.get_xydata()), [[3.0, 5.0], [7.0, 40.0]])
    np.testing.assert_allclose(np.asarray(segments.get_segments())[:, :, 1], [[5 - 1.96, 5 + 1.96], [40 - 1.96, 40 + 1.96]])
    assert line.get_linestyle() == "None"


@pytest.mark.long
def test_the_nominal_laws_are_drawn():
    (axes,) = taper_figure(TAPERS, simulated=False).axes
    laws = {line.get_label(): np.asarray(line.get_ydata()) for line in axes.get_lines()}
    np.testing.assert_allclose(laws["nominal, linear"], 10 * ROTATIONS)
    np.testing.assert_allclose(laws["nominal, audio"], [100 * taper_fraction("audio", one) for one in ROTATIONS.tolist()])


def test_what_is_usual_of_audio_pots_is_a_band_from_10_to_15_per_cent_at_5():
    (axes,) = taper_figure(TAPERS, simulated=False).axes
    (band,) = (one for one in axes.collections if one.get_label() == "usual of audio pots")
    corners = band.get_paths()[0].vertices
    at_5 = corners[np.isclose(corners[:, 0], 5.0), 1]
    assert at_5.min() == pytest.approx(10, abs=0.3)
    assert at_5.max() == pytest.approx(15, abs=0.4)
    linear = taper_figure({"tone": TAPERS["tone"]}, simulated=False).axes[0]
    assert "usual of audio pots" not in linear.get_legend_handles_labels()[1]


def test_without_a_taper_the_takes_that_are_needed_are_named():
    with pytest.raises(ValueError, match="make takes with --set volume=7"):
        taper_figure({}, simulated=False)


def test_what_is_simulated_says_so():
    assert taper_figure(TAPERS, simulated=True).get_suptitle() == "simulated"
    assert taper_figure(TAPERS, simulated=False).get_suptitle() == ""


def test_no_label_lies_over_another():
    assert labels_overlap(taper_figure(TAPERS, simulated=False)) == []
