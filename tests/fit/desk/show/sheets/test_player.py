"""What an answer means for who plays: figures of the answer itself, none finer than its interval."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.predict.at_jack import predict_at_jack
from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.desk.show.sheets.player import (
    hertz_text,
    load_text,
    meaning_of_compare,
    meaning_of_confirm,
    meaning_of_guitar,
    meaning_of_pickup,
    meaning_of_predict,
    place_text,
    range_name,
)
from measure.quantity import format_quantity, parse_quantity
from tests.answer_by_hand import answer, estimate
from tests.changes_by_hand import changed_parts
from tests.found_parts import INSTRUMENT, LOAD, found_parts

MARKED = parse_quantity("33n ± 10%", "F")


@pytest.mark.parametrize(
    ("hertz", "name"),
    [
        (82.0, "bass"),
        (440.0, "low middle"),
        (1999.0, "middle"),
        (2000.0, "upper middle"),
        (5000.0, "presence"),
        (9e3, "brilliance"),
    ],
)
def test_ranges(hertz, name):
    assert range_name(hertz) == name


def test_a_place_is_told_in_hertz_as_a_note_and_as_a_range():
    assert place_text(estimate(3520.0, 1.0, "Hz")) == "3.52 kHz (near the note A7, upper middle range)"
    assert hertz_text(estimate(3520.0, 20.0, "Hz")) == "3.52 kHz"
    assert hertz_text(estimate(3520.0, 1000.0, "Hz")) == "3.5 kHz"


def test_what_it_is_plugged_into():
    assert load_text(LOAD) == "this cable and input (1.00 MΩ, 470 pF)"
    assert load_text({}) == "this cable and input"


def test_a_guitar_is_told_with_every_pot_at_10():
    at_jack = predict_at_jack(INSTRUMENT, load=LOAD, measured=found_parts())
    text = meaning_of_guitar(at_jack, LOAD)
    peak = at_jack[0].curve.peak_frequency
    assert text.startswith("With this cable and input (1.00 MΩ, 470 pF) and every pot at 10, bridge peaks at ")
    assert place_text(peak) in text
    end = at_jack[0].answer.tone_sweeps[0].steps[-1]
    assert f"Control tone at 0 moves the peak of bridge to {format_quantity(end.peak_hz, 'Hz', 2)}" in text
    octaves = np.log2(peak.value / 1318.51)
    assert f"{octaves:.1f} octaves below" in text


def test_a_bare_pickup_is_told_with_cable_and_input():
    text = meaning_of_pickup(answer(), LOAD)
    assert "and nothing else, the pickup peaks at 4.8" in text
    assert "dB above its low notes" in text
    assert meaning_of_pickup(replace(answer(), quantities={}), LOAD) == ""


def test_a_change_is_told_in_semitones():
    before = predict_instrument(INSTRUMENT, {"tone": "0"}, load=LOAD, measured=found_parts())
    changes = read_changes(INSTRUMENT, ["capacitor.tone=10n"])
    after = predict_instrument(INSTRUMENT, {"tone": "0"}, load=LOAD, measured=found_parts(), changes=changes)
    steps = 12 * np.log2(after.pickups["bridge"].peak_frequency.value / before.pickups["bridge"].peak_frequency.value)
    text = meaning_of_predict(after, before)
    assert f"so {steps:.1f} semitones up" in text
    assert "where it was before the change" in meaning_of_predict(after, after)


def test_nothing_heard_and_no_peak_are_said():
    assert "no pickup reaches the jack" in meaning_of_predict(predict_instrument(INSTRUMENT, {"volume": "0"}, load=LOAD), None)
    flat = predict_instrument(INSTRUMENT, {"tone": "5"}, load=LOAD, measured=found_parts())
    curve = replace(flat.pickups["bridge"], peak_frequency=None, peak_level=None)
    assert "bridge has no peak; from " in meaning_of_predict(replace(flat, pickups={"bridge": curve}), None)


# by hand: 6 log2(36.3/33) = 0.825 semitones; 6 log2(1.0002) is none
@pytest.mark.parametrize(
    ("value", "text"),
    [
        (36.3e-9, "It lies 10.0 % above what is marked."),
        (36.3e-9, "0.8 semitones lower than"),
        (33.0066e-9, "in the same place as"),
    ],
)
def test_a_capacitor_off_its_marking(value, text):
    found = confirm_part("capacitor.tone", marked=MARKED, measured=estimate(value, 1e-10, "F"))
    assert text in meaning_of_confirm(found)


def test_a_pot_off_its_marking_and_a_part_that_is_not_told():
    marked = parse_quantity("500k ± 20%", "Ω")
    found = confirm_part("pot.volume", marked=marked, measured=estimate(400e3, 1e3, "Ω"))
    assert "It lies 20.0 % below what is marked. At 10 it loads the pickup 25 % more" in meaning_of_confirm(found)
    assert meaning_of_confirm(confirm_part("pot.volume", marked=marked, measured=None, why_not="no take")) == ""


def test_a_job_is_told_by_where_the_sound_changed():
    text = meaning_of_compare(changed_parts())
    assert "Between before-1 and after-1 the sound changed most at 15.0 kHz" in text
    assert "6.0 dB quieter" in text
    assert meaning_of_compare(None) == ""
