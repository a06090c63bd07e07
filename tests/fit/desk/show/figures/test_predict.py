"""Pictures of a prediction: gain first, bands as wide as the answer says, the tone control as a family."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.desk.show.figures.predict import NAMED_ROTATIONS, phase_figure, predict_figure, tone_figure
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.overlaps import labels_overlap

ANSWER = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=found_parts())


@pytest.mark.long
@pytest.mark.parametrize("draw", [predict_figure, phase_figure, tone_figure])
def test_no_label_lies_over_another(draw):
    assert labels_overlap(draw(ANSWER)) == []


@pytest.mark.long
@pytest.mark.parametrize("draw", [predict_figure, phase_figure, tone_figure])
def test_legend_stands_outside_of_every_panel(draw):
    figure = draw(ANSWER)
    figure.draw_without_rendering()
    (legend,) = figure.legends
    assert not any(legend.get_window_extent().overlaps(axes.get_window_extent()) for axes in figure.axes)


@pytest.mark.long
def test_gain_has_the_picture_for_itself():
    (gain,) = predict_figure(ANSWER).axes
    assert "dB" in gain.get_ylabel()


def test_band_is_the_interval_of_the_answer():
    (gain,), (phase, delay) = predict_figure(ANSWER).axes, phase_figure(ANSWER).axes
    curve = ANSWER.pickups["bridge"]
    at = int(np.argmin(np.abs(ANSWER.frequency_hz - 3000)))
    middles = (
        20 * np.log10(abs(curve.gain[at])),
        np.degrees(np.unwrap(np.angle(curve.gain))[at]),
        1e6 * curve.group_delay_s[at],
    )
    stds = (curve.gain_db_std[at], np.degrees(curve.phase_std[at]), 1e6 * curve.group_delay_std_s[at])
    for axes, middle, std in zip((gain, phase, delay), middles, stds, strict=True):
        (band,) = axes.collections
        corners = band.get_paths()[0].vertices
        here = corners[np.isclose(corners[:, 0], ANSWER.frequency_hz[at], rtol=1e-9), 1]
        assert here.min() == pytest.approx(middle - 1.96 * std, rel=1e-9)
        assert here.max() == pytest.approx(middle + 1.96 * std, rel=1e-9)
        assert axes.get_xscale() == "log"


@pytest.mark.long
def test_tone_control_is_drawn_beside_its_textbook_corner():
    sweep = tone_figure(ANSWER).axes[1]
    (steps,) = ANSWER.tone_sweeps
    textbook = next(line for line in sweep.lines if line.get_label().startswith("textbook"))
    drawn = dict(zip(textbook.get_xdata(), textbook.get_ydata(), strict=True))
    for step in steps.steps[:-1]:
        assert drawn[step.rotation] == pytest.approx(1 / (2 * np.pi * step.resistance_ohm * 20.5e-9), rel=1e-9)
    assert np.isnan(drawn[0])  # no resistance, no corner
    assert sweep.get_xlim()[0] > sweep.get_xlim()[1]  # turned down from left to right


def test_picture_says_what_it_rests_on():
    assert "simulated" in [text.get_text() for text in [predict_figure(ANSWER)._suptitle]]
    assert predict_figure(ANSWER).legends[0].get_title().get_text() == "band: 95 % interval"
    marked = predict_figure(predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD))
    assert marked._suptitle is None
    assert marked.legends[0].get_title().get_text() == "band: 95 % interval, marked parts left out"


def test_change_and_silence_are_drawn():
    changes = read_changes(INSTRUMENT, ["capacitor.tone=10n"])
    changed = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, changes=changes)
    names = [text.get_text() for text in predict_figure(changed, ANSWER).legends[0].get_texts()]
    assert names == ["bridge, before", "bridge, changed"]
    silent = predict_figure(predict_instrument(INSTRUMENT, {"volume": "0"}, load=LOAD))
    assert len(silent.axes) == 1
    assert silent.legends == []
    assert "no pickup is heard" in silent.axes[0].texts[0].get_text()


def test_another_change_is_told_apart_by_its_line():
    other = predict_instrument(INSTRUMENT, {"tone": "2"}, load=LOAD, measured=found_parts())
    figure = predict_figure(ANSWER, ANSWER, [other])
    lines = {line.get_label(): line.get_linestyle() for line in figure.axes[0].lines if line.get_label()[0] != "_"}
    assert lines == {"bridge, before": "--", "bridge, changed": "-", "bridge, versus": "-."}
    assert labels_overlap(figure) == []


def test_family_of_the_tone_control_is_what_settings_one_by_one_predict():
    family = tone_figure(ANSWER).axes[0]
    lines = family.get_lines()
    assert len(lines) == 11
    for rotation in (10, 3, 0):
        alone = predict_instrument(INSTRUMENT, {"tone": str(rotation)}, load=LOAD, measured=found_parts())
        expected = dict(zip(alone.frequency_hz, 20 * np.log10(np.abs(alone.pickups["bridge"].gain)), strict=True))
        for hertz, level in lines[10 - rotation].get_xydata():
            assert level == pytest.approx(expected[hertz], abs=1e-9)
    named = [int(text.get_text()) for text in family.texts]
    assert set(named) <= set(NAMED_ROTATIONS)
    assert {10, 0, 3} <= set(named)


def test_without_a_tone_control_there_is_no_picture_of_one():
    with pytest.raises(ValueError, match="no tone control"):
        tone_figure(predict_instrument(INSTRUMENT, {"volume": "0"}, load=LOAD))


def test_pickups_differ_by_more_than_their_colour():
    curve = ANSWER.pickups["bridge"]
    lines = [
        line
        for line in predict_figure(replace(ANSWER, pickups={"bridge": curve, "middle": curve, "neck": curve})).axes[0].get_lines()
        if line.get_label() in ("bridge", "middle", "neck")
    ]
    assert len({line.get_linestyle() for line in lines}) == 3
    assert len({line.get_marker() for line in lines}) == 3
