"""What the page convolves with: the filter of listen, and those of the interval's edges."""

import base64

import numpy as np
import pytest

from fit.answers.figures import COVERAGE
from fit.answers.listen.impulse import change_std, design_change
from fit.answers.listen.minimum_phase import filter_gain
from fit.desk.book.variant import Change
from fit.desk.questions.listen import sides_of
from fit.desk.questions.predict import stand_of
from fit.desk.window import messages
from fit.desk.window.sound import impulse_of
from fit.desk.window.what_if import open_what_if
from tests.three_pickups import lay_out

RECORDED = {"selector": "neck", "tone-1": "10"}
CHANGED = {"tone-1": "4"}
SHOWN_HZ = np.geomspace(80.0, 15e3, 40)


@pytest.fixture
def book(tmp_path):
    return lay_out(tmp_path)


def samples_of(told):
    return np.frombuffer(base64.b64decode(told.samples), dtype="<f4").astype(float)


def sound(book, **options):
    asked = messages.Sound(recorded=RECORDED, set=CHANGED, rate_hz=48000, **options)
    return impulse_of(open_what_if(book), asked)


def test_it_is_the_filter_of_listen(book):
    told = sound(book)
    before, after, _ = sides_of(stand_of(book), Change(settings=("tone-1=4",)), RECORDED)
    answer = design_change(before, after, rate_hz=48000)
    assert told.rate_hz == 48000
    assert samples_of(told) == pytest.approx(answer.impulse, abs=1e-6 * np.abs(answer.impulse).max())  # of 32 bits
    assert told.command.startswith("coilsweep listen IN.wav OUT.wav --recorded selector=neck --recorded tone-1=10 --set tone-1=4")


def test_the_edges_lie_where_the_interval_ends(book):
    gains = {edge: np.abs(filter_gain(samples_of(sound(book, edge=edge)), 48000, SHOWN_HZ)) for edge in ("low", "middle", "high")}
    before, after, _ = sides_of(stand_of(book), Change(settings=("tone-1=4",)), RECORDED)
    half = COVERAGE * change_std(before, after, SHOWN_HZ)
    assert np.log(gains["high"] / gains["middle"]) == pytest.approx(half, abs=1e-3)
    assert np.log(gains["middle"] / gains["low"]) == pytest.approx(half, abs=1e-3)
    assert half.max() > 0.01


@pytest.mark.parametrize("edge", ["low", "middle", "high"])
def test_what_is_drawn_is_what_is_heard_in_its_band(book, edge):
    told = sound(book, edge=edge)
    at = np.array(told.change.frequency_hz)
    heard = 20 * np.log10(np.abs(filter_gain(samples_of(told), 48000, at)))
    band = (at > 40) & (at < 15e3)
    assert np.array(told.change.db)[band] == pytest.approx(heard[band], abs=1e-3)
    drawn = {"low": told.change.low_db, "middle": told.change.db, "high": told.change.high_db}[edge]
    assert np.array(drawn)[band] == pytest.approx(heard[band], abs=5e-3)


def test_what_both_sides_share_cancels(book):
    stand = stand_of(book)
    before, same, _ = sides_of(stand, Change(settings=("tone-1=10",)), RECORDED)
    assert change_std(before, same, SHOWN_HZ).max() < 1e-12
    before, after, _ = sides_of(stand, Change(settings=("tone-1=4",)), RECORDED)
    low = change_std(before, after, np.array([80.0]))
    assert low[0] < 1e-3  # a tone control does nothing there, whatever the pickup is


def test_nothing_changed_leaves_the_recording_as_it_is(book):
    told = impulse_of(open_what_if(book), messages.Sound(recorded=RECORDED, rate_hz=48000))
    gain = filter_gain(samples_of(told), 48000, SHOWN_HZ)
    assert np.abs(gain) == pytest.approx(np.ones(len(gain)), abs=1e-4)


def test_silence_is_refused(book):
    with pytest.raises(ValueError, match="there would be silence"):
        impulse_of(open_what_if(book), messages.Sound(recorded=RECORDED, set={"volume": "0%"}, rate_hz=48000))
