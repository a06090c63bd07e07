"""What all pictures share: notes, SVG for a page, files as SVG and PNG, marks of simulated data."""

import re
from html.parser import HTMLParser

import pytest

from fit.desk.show.figures import style as plots
from fit.desk.show.figures.fit import loaded_figure, response_figure
from fit.desk.show.words import note_frequency_hz, note_name
from tests.answer_by_hand import answer, estimate


# Frequencies in equal temperament, A4 = 440 Hz (ISO 16); values as in any handbook of acoustics, to a hundredth of a hertz.
@pytest.mark.parametrize(
    ("name", "hertz"),
    [("C4", 261.63), ("E2", 82.41), ("A2", 110.0), ("D3", 146.83), ("G3", 196.0), ("B3", 246.94), ("E4", 329.63)],
)
def test_notes_of_equal_temperament(name, hertz):
    assert note_frequency_hz(name) == pytest.approx(hertz, abs=0.005)
    assert note_name(hertz) == name


def test_simulated_data_is_marked_in_the_picture():
    assert response_figure(answer()).get_suptitle() == "simulated"
    assert response_figure(answer(simulated=False)).get_suptitle() == ""


def test_svg_is_one_element_that_needs_nothing_from_elsewhere():
    text = plots.svg_text(loaded_figure(answer()), name="loaded", title='peak "here" & there')
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


@pytest.mark.long
def test_take_with_mathematics_in_its_name_is_drawn_as_text():
    plots.svg_text(response_figure(answer(take_name="$x_1$")), name="response", title="x")


@pytest.mark.long
def test_png_is_written_at_200_dots(tmp_path):
    from PIL import Image

    path = tmp_path / "picture.png"
    path.write_bytes(plots.picture_bytes(loaded_figure(answer()), kind="png"))
    with Image.open(path) as picture:
        assert picture.size[0] == round(plots.WIDTH_IN * plots.PNG_DPI)
        assert picture.convert("RGB").getpixel((1, 1)) == (255, 255, 255)


@pytest.mark.long
def test_series_take_the_colours_of_the_page():
    text = plots.svg_text(response_figure(answer()), name="response", title="x")
    assert "var(--series-0)" in text
    assert "var(--series-1)" in text
    assert not any(colour in text for colour in plots.COLOURS)


def test_svg_file_is_a_picture_by_itself(tmp_path):
    path = tmp_path / "picture.svg"
    path.write_bytes(plots.picture_bytes(loaded_figure(answer()), kind="svg"))
    text = path.read_text(encoding="utf-8")
    assert "<svg" in text
    assert "currentColor" not in text
    assert "var(" not in text


def test_legend_has_no_more_columns_than_find_room():
    for label, columns in (("a", 3), ("a rather long name of a take " * 2, 1)):
        figure = plots.new_figure(height_in=2.0)
        axes = figure.subplots()
        for k in range(6):
            axes.plot([0, 1], [k, k], label=f"{label}{k}")
        plots.place_legend(figure, [axes, axes])
        figure.draw_without_rendering()
        assert figure.legends[0]._ncols == columns
        assert len(figure.legends[0].get_texts()) == 6
        assert not figure.legends[0].get_window_extent().overlaps(axes.get_window_extent())


def test_curves_without_a_name_need_no_legend():
    figure = plots.new_figure(height_in=2.0)
    plots.place_legend(figure, [figure.subplots()])
    assert figure.legends == []


@pytest.mark.parametrize(
    ("value", "std", "unit", "text"),
    [
        (4985.09, 0.3, "Hz", "4.99 kHz"),
        (4985.0, 2000.0, "Hz", "5.0 kHz"),
        (0.717, 0.01, "dB", "0.7 dB"),
        (-2.34, 1.1, "dB", "−2.3 dB"),
    ],
)
def test_values_in_a_picture_have_no_digit_finer_than_the_interval(value, std, unit, text):
    assert plots.estimate_label(estimate(value, std, unit)) == text
