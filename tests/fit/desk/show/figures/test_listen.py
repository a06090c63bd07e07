"""The picture of a change that is listened to: the circuit before and after, the filter as it is and at equal loudness."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.listen.impulse import Side, design_change
from fit.desk.show.figures.listen import SHOWN_DB, listen_figure
from tests.found_parts import INSTRUMENT, LOAD
from tests.overlaps import labels_overlap

ANSWER = design_change(*[Side(instrument=INSTRUMENT, controls={"tone": tone}, load=LOAD) for tone in ("10", "3")], rate_hz=48000)


def curves(answer=ANSWER, **options):
    figure = listen_figure(answer, **({"level_change_db": -2.5, "is_simulated": False} | options))
    return figure, {line.get_label(): np.asarray(line.get_ydata()) for axes in figure.axes[:2] for line in axes.get_lines()}


def test_the_circuit_is_drawn_before_and_after():
    _, drawn = curves()
    for label, side in (("as recorded", ANSWER.before), ("after the change", ANSWER.after)):
        np.testing.assert_allclose(drawn[label], 20 * np.log10(np.abs(side.gain)), rtol=1e-12)


def test_at_equal_loudness_the_change_of_level_is_taken_out():
    _, drawn = curves()
    np.testing.assert_allclose(drawn["filter, at equal loudness"] - drawn["filter"], 2.5, rtol=1e-9)
    np.testing.assert_allclose(drawn["filter"], 20 * np.log10(np.abs(ANSWER.given)), rtol=1e-12)


@pytest.mark.parametrize("limited_hz", [None, (8e3, 12e3)])
def test_what_was_asked_is_drawn_where_the_filter_was_limited(limited_hz):
    _, drawn = curves(replace(ANSWER, limited_hz=limited_hz))
    assert ("what the change would be" in drawn) is (limited_hz is not None)


def test_silence_is_cut_off_and_not_infinite():
    gain = ANSWER.after.gain.copy()
    gain[-1] = 0.0
    figure, drawn = curves(replace(ANSWER, after=replace(ANSWER.after, gain=gain)))
    assert np.all(np.isfinite(drawn["after the change"]))
    low, high = figure.axes[0].get_ylim()
    assert high - low <= SHOWN_DB


def test_what_is_simulated_says_so():
    assert curves(is_simulated=True)[0].get_suptitle() == "simulated"
    assert curves()[0].get_suptitle() == ""


@pytest.mark.long
def test_no_label_lies_over_another():
    assert labels_overlap(curves()[0]) == []
