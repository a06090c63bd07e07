"""Pictures of a fit: what is drawn, how many takes stay readable, one scale for what limits the values, no label over another."""

import re
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.figures import Contribution
from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.at_jack import predict_at_jack
from fit.desk.show.figures import fit as plots
from fit.desk.show.figures.style import LINES
from tests.answer_by_hand import answer, curve, estimate
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.overlaps import labels_overlap


def many_takes(n):
    return replace(answer(), curves=tuple(curve(f"take-{k}", 150e-12 * k, k) for k in range(n)))


def with_parts(slant, coils=("pickup",)):
    names = tuple(f"{coil}.{what}" for coil in coils for what in ("inductance", "winding_capacitance"))
    one = np.array([[1.0, slant], [slant, 1.0]]) * np.outer([0.01, 0.02], [0.01, 0.02])
    parts = MeasuredParts(
        values=dict(zip(names, (2.874, 91.3e-12) * len(coils), strict=True)),
        names=names,
        log_covariance=np.kron(np.eye(len(coils)), one),
        takes=("open",),
        simulated=True,
    )
    return replace(answer(), parts=parts)


DRAWN = {
    "response": lambda: plots.response_figure(answer()),
    "nine": lambda: plots.response_figure(many_takes(9)),
    "apart": lambda: plots.response_figure(many_takes(14)),
    "loaded": lambda: plots.loaded_figure(answer()),
    "jack": lambda: plots.jack_figure(answer(), at_jack),
    "budget": lambda: plots.budget_figure(answer()),
    "ellipse": lambda: plots.ellipse_figure(with_parts(-0.8, coils=("bridge", "middle", "neck"))),
}


def at_jack():
    return predict_at_jack(INSTRUMENT, load=LOAD, measured=found_parts())


@pytest.mark.long
@pytest.mark.parametrize("draw", DRAWN.values(), ids=DRAWN)
def test_no_label_lies_over_another(draw):
    assert labels_overlap(draw()) == []


@pytest.mark.long
def test_frequency_axis_has_hertz_below_and_notes_above():
    figure = plots.response_figure(answer())
    figure.draw_without_rendering()
    below = {text.get_text() for text in figure.axes[-1].get_xticklabels()}
    (notes,) = figure.axes[0].child_axes
    above = {text.get_text(): place for text, place in zip(notes.get_xticklabels(), notes.get_xticks(), strict=True)}
    assert {"50", "100", "1 k", "10 k"} <= below
    # Standard tuning of the outer strings.
    assert above["E2"] == pytest.approx(82.407, abs=1e-3)
    assert {"E2", "E3", "E4", "E5", "E6"} <= set(above)


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


@pytest.mark.long
@pytest.mark.parametrize("n", [2, 5, 9])
def test_legend_stands_outside_of_every_panel(n):
    figure = plots.response_figure(many_takes(n))
    figure.draw_without_rendering()
    (legend,) = figure.legends
    box = legend.get_window_extent()
    assert not any(box.overlaps(axes.get_window_extent()) for axes in figure.axes)
    assert box.x0 >= 0
    assert box.x1 <= figure.bbox.x1
    assert [text.get_text() for text in legend.get_texts()] == [f"take-{k}" for k in range(n)]


@pytest.mark.long
def test_the_panels_of_many_takes_are_as_large_as_those_of_two():
    few, many = (plots.response_figure(many_takes(n)) for n in (2, 9))
    for figure in (few, many):
        figure.draw_without_rendering()
    heights = [axes.get_window_extent().height for axes in (few.axes[0], many.axes[0])]
    assert heights[1] > 0.95 * heights[0]


@pytest.mark.long
def test_takes_differ_by_more_than_their_colour():
    magnitude = plots.response_figure(many_takes(9)).axes[0]
    models = [line for line in magnitude.get_lines() if line.get_label().startswith("take-")]
    assert len({line.get_marker() for line in models}) == 9
    assert {line.get_linestyle() for line in models} == set(LINES)


@pytest.mark.long
def test_more_than_nine_takes_have_a_panel_each():
    made = many_takes(14)
    figure = plots.response_figure(made)
    named = {axes.get_title(loc="left"): axes for axes in figure.axes if axes.get_title(loc="left")}
    assert list(named) == [f"take-{k}" for k in range(14)]
    own = named["take-3"].get_lines()[-1]
    np.testing.assert_allclose(own.get_ydata(), 20 * np.log10(np.abs(made.curves[3].model)), rtol=1e-12)
    assert len(named["take-3"].get_lines()) == 16  # all, pale; its own, measured and modelled
    assert figure.legends == []


def test_jack_shows_each_pickup_with_its_controls_and_its_peak():
    figure = plots.jack_figure(answer(), at_jack)
    (one,) = at_jack()
    (axes,) = figure.axes
    line = next(line for line in axes.get_lines() if line.get_label().startswith("bridge"))
    np.testing.assert_allclose(line.get_ydata(), 20 * np.log10(np.abs(one.curve.gain)), rtol=1e-12)
    assert axes.containers[0].lines[0].get_xdata()[0] == one.curve.peak_frequency.value
    assert "kHz" in figure.legends[0].get_texts()[0].get_text()


def test_without_a_guitar_the_jack_is_that_of_cable_and_input():
    lines = plots.jack_figure(answer(), tuple).axes[0].get_lines()
    np.testing.assert_allclose(lines[0].get_ydata(), 20 * np.log10(np.abs(answer().loaded_gain)), rtol=1e-12)


def test_budget_has_one_scale_for_all_values_and_begins_with_the_whole_interval():
    figure = plots.budget_figure(answer())
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["Inductance", "Winding capacitance"]
    assert len({axes.get_xlim() for axes in figure.axes}) == 1
    first = figure.axes[0]
    widths = [bar.get_width() for bar in first.patches]
    assert widths[0] == pytest.approx(100 * 1.96 * 0.0157 / 2.874)
    assert widths[1:4] == sorted(widths[1:4], reverse=True)
    assert sum(width**2 for width in widths[1:]) == pytest.approx(widths[0] ** 2)
    assert [text.get_text() for text in first.get_yticklabels()][:2] == ["95 % interval", "added 1n in plus-1n"]


def test_budget_is_in_the_unit_of_the_interval_and_no_digit_is_finer():
    texts = [text.get_text() for text in plots.budget_figure(answer()).axes[0].texts]
    assert texts[0] == "± 31 mH"
    assert all(re.fullmatch(r"(± \d+|< 1) mH", text) for text in texts)


def test_many_quantities_have_fewer_sources_each():
    names = [f"{pickup}.{what}" for pickup in ("bridge", "middle", "neck") for what in ("inductance", "resonance_loaded")]
    names.append("pot.volume")
    sources = tuple(Contribution(source=f"source {k}", contribution=0.01 / (k + 1)) for k in range(9))
    guitar = replace(
        answer(), quantities={name: estimate(3.0, 0.02, "H") for name in names}, budget=dict.fromkeys(names, sources)
    )
    assert {len(axes.patches) for axes in plots.budget_figure(guitar).axes} == {4}


@pytest.mark.parametrize("slant", [-0.8, 0.0, 0.5])
def test_ellipse_holds_95_of_100_pairs(slant):
    made = with_parts(slant)
    axes = plots.ellipse_figure(made).axes[0]
    edge = np.array(axes.get_lines()[0].get_xydata())
    values = np.array([2.874, 91.3e-12])
    spread = made.parts.log_covariance * np.outer(values, values)
    distance = np.einsum("ni,ij,nj->n", edge - values, np.linalg.inv(spread), edge - values)
    np.testing.assert_allclose(distance, 5.991, rtol=1e-3)  # 95 % point of χ² with two degrees of freedom, any table
    drawn = np.random.default_rng(5).multivariate_normal(values, spread, size=20000)
    inside = np.einsum("ni,ij,nj->n", drawn - values, np.linalg.inv(spread), drawn - values) < distance.mean()
    assert 0.945 < inside.mean() < 0.955


def test_without_both_values_there_is_no_ellipse():
    with pytest.raises(ValueError, match="not told together"):
        plots.ellipse_figure(answer())
