"""Pictures: what is drawn, marked and named; and that no label lies over another."""

import re
from html.parser import HTMLParser

import numpy as np
import pytest

from fit.desk.show.figures import style as plots
from fit.desk.show.words import note_frequency_hz, note_name
from tests.answer_by_hand import answer
from tests.overlaps import labels_overlap


@pytest.mark.parametrize("draw", [plots.response_figure, plots.loaded_figure, plots.budget_figure])
def test_no_label_lies_over_another(draw):
    assert labels_overlap(draw(answer())) == []


def test_frequency_axis_has_hertz_below_and_notes_above():
    figure = plots.response_figure(answer())
    figure.draw_without_rendering()
    below = {text.get_text() for text in figure.axes[-1].get_xticklabels()}
    (notes,) = figure.axes[0].child_axes
    above = {text.get_text(): place for text, place in zip(notes.get_xticklabels(), notes.get_xticks(), strict=True)}
    assert {"50", "100", "1 k", "10 k"} <= below
    # Standard tuning of the outer strings, and ISO 16: A4 = 440 Hz.
    assert above["E2"] == pytest.approx(82.407, abs=1e-3)
    assert above["A4"] == 440.0
    assert {"E2", "A2", "E3", "E4", "E5", "E6"} <= set(above)


# Frequencies in equal temperament, A4 = 440 Hz (ISO 16); values as in any handbook of acoustics, to a hundredth of a hertz.
@pytest.mark.parametrize(
    ("name", "hertz"),
    [("C4", 261.63), ("E2", 82.41), ("A2", 110.0), ("D3", 146.83), ("G3", 196.0), ("B3", 246.94), ("E4", 329.63)],
)
def test_notes_of_equal_temperament(name, hertz):
    assert note_frequency_hz(name) == pytest.approx(hertz, abs=0.005)
    assert note_name(hertz) == name


def test_model_and_measurement_of_every_take_are_drawn():
    made = answer()
    magnitude, phase, left_db, left_degree = plots.response_figure(made).axes
    lines = magnitude.get_lines()
    assert len(lines) == 4
    np.testing.assert_allclose(lines[0].get_ydata(), 20 * np.log10(np.abs(made.curves[0].measured)), rtol=1e-12)
    np.testing.assert_allclose(lines[1].get_ydata(), 20 * np.log10(np.abs(made.curves[0].model)), rtol=1e-12)
    assert len(phase.get_lines()) == 4
    residual = left_db.get_lines()[0].get_ydata()
    curve = made.curves[0]
    np.testing.assert_allclose(residual, 20 * np.log10(np.abs(curve.model / curve.measured)), atol=1e-12)
    turned = left_degree.get_lines()[0].get_ydata()
    np.testing.assert_allclose(turned, np.degrees(np.angle(curve.model / curve.measured)), atol=1e-12)


def test_phase_of_the_model_is_unwrapped_with_the_measurement():
    phase = plots.response_figure(answer()).axes[1]
    measured, model = (line.get_ydata() for line in phase.get_lines()[:2])
    assert np.max(np.abs(np.diff(measured))) < 180
    assert np.max(np.abs(measured - model)) < 1


def test_loaded_peak_is_marked_where_the_answer_has_it():
    made = answer()
    axes = plots.loaded_figure(made).axes[0]
    assert any("4.84 kHz" in text.get_text() or "kHz" in text.get_text() for text in axes.texts)
    marker = axes.containers[0].lines[0]
    assert marker.get_xdata()[0] == made.quantities["resonance_loaded"].value


def test_budget_is_drawn_largest_first_in_percent():
    axes = plots.budget_figure(answer()).axes[0]
    widths = [bar.get_width() for bar in axes.patches]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] == pytest.approx(100 * 0.0141 / 2.874)
    assert axes.get_yticklabels()[0].get_text() == "added 1n in plus-1n"


def test_simulated_data_is_marked_in_the_picture():
    assert plots.response_figure(answer()).get_suptitle() == "simulated"
    assert plots.response_figure(answer(simulated=False)).get_suptitle() == ""


def test_svg_is_one_element_that_needs_nothing_from_elsewhere():
    text = plots.svg_text(plots.loaded_figure(answer()), name="loaded", title='peak "here" & there')
    assert text.startswith("<svg")
    assert text.rstrip().endswith("</svg>")
    assert "http" not in text
    assert 'aria-label="peak &quot;here&quot; &amp; there"' in text
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert all(name.startswith("loaded-") for name in ids)
    used = re.findall(r'href="#([^"]+)"', text) + re.findall(r"url\(#([^)]+)\)", text)
    assert set(used) <= set(ids)
    assert plots.INK not in text
    HTMLParser().feed(text)


def test_take_with_mathematics_in_its_name_is_drawn_as_text():
    plots.svg_text(plots.response_figure(answer(take_name="$x_1$")), name="response", title="x")


def test_png_is_written_at_150_dots(tmp_path):
    from PIL import Image

    path = tmp_path / "picture.png"
    path.write_bytes(plots.picture_bytes(plots.loaded_figure(answer()), kind="png"))
    with Image.open(path) as picture:
        assert picture.size[0] == round(plots.WIDTH_IN * 150)
        assert picture.convert("RGB").getpixel((1, 1)) == (255, 255, 255)
