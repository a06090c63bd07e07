"""The picture of a prediction: bands as wide as the answer says, the tone control beside its textbook corner."""

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.desk.show.figures.predict import predict_figure
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.overlaps import labels_overlap

ANSWER = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=found_parts())


def test_no_label_lies_over_another():
    assert labels_overlap(predict_figure(ANSWER)) == []


def test_band_is_the_interval_of_the_answer():
    gain, phase, delay, _ = predict_figure(ANSWER).axes
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


def test_tone_control_is_drawn_beside_its_textbook_corner():
    sweep = predict_figure(ANSWER).axes[3]
    (steps,) = ANSWER.tone_sweeps
    textbook = next(line for line in sweep.lines if line.get_label().startswith("textbook"))
    drawn = dict(zip(textbook.get_xdata(), textbook.get_ydata(), strict=True))
    for step in steps.steps[:-1]:
        assert drawn[step.rotation] == pytest.approx(1 / (2 * np.pi * step.resistance_ohm * 20.5e-9), rel=1e-9)
    assert np.isnan(drawn[0])  # no resistance, no corner
    assert sweep.get_xlim()[0] > sweep.get_xlim()[1]  # turned down from left to right


def test_picture_says_what_it_rests_on():
    assert "simulated" in [text.get_text() for text in [predict_figure(ANSWER)._suptitle]]
    assert predict_figure(ANSWER).axes[0].get_legend().get_title().get_text() == "band: 95 % interval"
    marked = predict_figure(predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD))
    assert marked._suptitle is None
    assert marked.axes[0].get_legend().get_title().get_text() == "band: 95 % interval, marked parts left out"


def test_change_and_silence_are_drawn():
    changes = read_changes(INSTRUMENT, ["capacitor.tone=10n"])
    changed = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, changes=changes)
    names = [text.get_text() for text in predict_figure(changed, ANSWER).axes[0].get_legend().get_texts()]
    assert names == ["bridge, before", "bridge, changed"]
    silent = predict_figure(predict_instrument(INSTRUMENT, {"volume": "0"}, load=LOAD))
    assert len(silent.axes) == 3
    assert "no pickup is heard" in silent.axes[0].texts[0].get_text()


def test_another_change_is_told_apart_by_its_line():
    other = predict_instrument(INSTRUMENT, {"tone": "2"}, load=LOAD, measured=found_parts())
    figure = predict_figure(ANSWER, ANSWER, [other])
    lines = {line.get_label(): line.get_linestyle() for line in figure.axes[0].lines}
    assert lines == {"bridge, before": "--", "bridge, changed": "-", "bridge, versus": "-."}
    assert labels_overlap(figure) == []
