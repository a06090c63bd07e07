"""The picture of a take's noise: steps where the third octaves are, a stem for each mains line, intervals of 95 %."""

import msgspec
import numpy as np
import pytest

from fit.desk.show.document.bench import MainsLine, Noise, ThirdOctave
from fit.desk.show.figures.noise import HALF_BAND, noise_figure
from tests.overlaps import labels_overlap

NOISE = Noise(
    hum_hz=50.02,
    hum_dbfs=-66.0,
    hum_std_db=0.1,
    hum_limit_dbfs=None,
    floor_dbfs=-101.7,
    floor_std_db=0.1,
    band_hz=(20.0, 20000.0),
    silence_s=1.2,
    lines=(MainsLine(order=1, dbfs=-67.0, std_db=0.2), MainsLine(order=3, dbfs=-73.0, std_db=None)),
    third_octaves=tuple(ThirdOctave(frequency_hz=1000 * 2 ** (k / 3), dbfs=-125.0 + k, std_db=0.5) for k in range(-15, 13)),
)


def test_bands_and_lines_stand_where_they_were_measured():
    (axes,) = noise_figure(NOISE).axes
    values, edges, _ = axes.patches[0].get_data()
    np.testing.assert_allclose(values, [band.dbfs for band in NOISE.third_octaves])
    np.testing.assert_allclose(edges[1:], [band.frequency_hz * HALF_BAND for band in NOISE.third_octaves])
    marks = axes.containers[1].lines[0].get_xydata()
    np.testing.assert_allclose(marks, [[50.02, -67.0], [150.06, -73.0]])
    (segments,) = axes.containers[0].lines[2]
    ends = np.asarray(segments.get_segments())[:, :, 1]
    np.testing.assert_allclose(ends[:, 1] - ends[:, 0], 2 * 1.96 * 0.5, rtol=1e-3)


def test_no_label_lies_over_another_and_the_legend_stands_outside():
    figure = noise_figure(NOISE, is_simulated=True)
    assert labels_overlap(figure) == []
    assert not figure.legends[0].get_window_extent().overlaps(figure.axes[0].get_window_extent())
    assert figure.get_suptitle() == "simulated"


def test_noise_without_lines_and_lines_without_noise():
    assert len(noise_figure(msgspec.structs.replace(NOISE, lines=(), hum_hz=None)).axes[0].containers) == 1
    assert len(noise_figure(msgspec.structs.replace(NOISE, third_octaves=())).axes[0].patches) == 0
    with pytest.raises(ValueError, match="nothing to draw"):
        noise_figure(msgspec.structs.replace(NOISE, lines=(), third_octaves=()))
