"""A prediction as a sheet: settings, figures beside those before a change, the tone control beside its textbook."""

from dataclasses import replace

import pytest

from fit.answers.figures import Estimate
from fit.answers.predict.prediction import predict_instrument
from fit.circuit.controls import read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.sheet import Section, Table, Verdict
from fit.desk.show.sheets.predict import Predicted, settings_text, sheet_of_predict, sheet_of_what_if, verdict_text
from measure.quantity import parse_quantity
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.sheet_parts import blocks_in, headings, pictures, said

AT = {"E4": 329.63, "3k": 3000.0}
PLAIN = predict_instrument(INSTRUMENT, {"volume": "7"}, load=LOAD, at_hz=AT.values())
CHANGED = predict_instrument(
    INSTRUMENT, {"volume": "7"}, load=LOAD, at_hz=AT.values(), changes={"capacitor.tone": parse_quantity("10n", "F")}
)


def sheet(answer=PLAIN, before=None, versus=(), changes=(), **options):
    return sheet_of_predict(Predicted(answer=answer, changes=changes), before, versus, **({"name": "mine", "at": AT} | options))


def figures(one):
    """The first table: label to what stands beside it."""
    table = next(block for block in blocks_in(one) if isinstance(block, Table))
    return table.rows[0], {row[0]: row[1:] for row in table.rows[1:]}


def test_figures_are_named_by_note_or_frequency():
    head, rows = figures(sheet())
    assert head == ("", "", "95 % interval")
    assert list(rows) == ["Peak at", "Peak level", "3 dB below 20 Hz at", "Level at E4 (330 Hz)", "Level at 3k"]
    assert rows["3 dB below 20 Hz at"][0].endswith("kHz")


def test_beside_a_change_stands_what_was_before():
    head, rows = figures(sheet(CHANGED, PLAIN, changes=("capacitor.tone=10n",)))
    assert head == ("", "changed", "95 % interval", "before")
    assert rows["Peak at"] == ("none", "", "–")  # neither before nor after
    assert rows["Level at 3k"][0] != rows["Level at 3k"][-1]
    assert "Changed: capacitor.tone=10n" in said(sheet(CHANGED, PLAIN, changes=("capacitor.tone=10n",)))


def value_of(text):
    number, unit = text.replace("−", "-").split(" ")
    return float(number) * {"kHz": 1e3}.get(unit, 1.0), float(f"1e{-len(number.partition('.')[2])}") * {"kHz": 1e3}.get(unit, 1.0)


def test_what_was_before_has_no_digit_finer_than_what_stands_beside_it():
    """The interval beside it wide, narrow or not there; four digits at most."""
    (pickup,) = PLAIN.pickups
    curve = replace(
        PLAIN.pickups[pickup], corner=Estimate(value=4178.3456, unit="Hz", standard_uncertainty=0.1, low=4178.1, high=4178.6)
    )

    def before_beside(half):
        corner = None if half is None else replace(curve.corner, value=3000.0, low=3000.0 - half, high=3000.0 + half)
        changed = replace(CHANGED, pickups={pickup: replace(CHANGED.pickups[pickup], corner=corner)})
        return figures(sheet(changed, replace(PLAIN, pickups={pickup: curve})))[1]["3 dB below 20 Hz at"][-1]

    assert before_beside(1550.0) == "4.2 kHz"
    assert before_beside(150.0) == "4.18 kHz"
    assert before_beside(0.2) == before_beside(None) == "4.178 kHz"
    _, rows = figures(sheet(CHANGED, PLAIN))
    own = figures(sheet())[1]
    for label in ("3 dB below 20 Hz at", "Level at E4 (330 Hz)", "Level at 3k"):
        (value, step), (_, beside) = value_of(rows[label][-1]), value_of(rows[label][0])
        assert step >= beside
        assert abs(value - value_of(own[label][0])[0]) <= step


def test_a_peak_that_stays_is_no_change_by_rounding():
    (pickup,) = PLAIN.pickups
    curve = PLAIN.pickups[pickup]

    def peaking(level_db):
        level = Estimate(value=level_db, unit="dB", standard_uncertainty=0.005, low=level_db - 0.01, high=level_db + 0.01)
        at = Estimate(value=6071.0, unit="Hz", standard_uncertainty=0.5, low=6070.0, high=6072.0)
        return replace(PLAIN, pickups={pickup: replace(curve, peak_frequency=at, peak_level=level)})

    def verdict(now_db, before_db):
        return next(one for one in sheet(peaking(now_db), peaking(before_db)).blocks if isinstance(one, Verdict)).text

    assert verdict(5.4503, 5.4497) == f"{pickup} peaks at 6.07 kHz, 5.5 dB, as before."
    assert verdict(5.6, 5.4) == f"{pickup} peaks at 6.07 kHz, 5.6 dB (before: peaks at 6.07 kHz, 5.4 dB)."


def test_other_changes_stand_beside_the_first():
    other = Predicted(answer=CHANGED, changes=("capacitor.tone=10n",), notes=("a note on it",))
    one = sheet(PLAIN, None, [other])
    head, rows = figures(one)
    assert head == ("", "as it is", "95 % interval", "versus", "95 % interval")
    assert rows["Level at 3k"] == (*figures(sheet())[1]["Level at 3k"], *figures(sheet(CHANGED))[1]["Level at 3k"])
    assert "Versus: capacitor.tone=10n" in said(one)
    assert "a note on it" in said(one)
    two = sheet(CHANGED, PLAIN, [other, Predicted(answer=PLAIN)], ("capacitor.tone=10n",))
    assert figures(two)[0][1::2] == ("changed", "versus 1", "versus 2", "before")
    assert "Versus 2: as it is" in said(two)
    assert "What differs, versus 2" in headings(two)
    silent = replace(CHANGED, pickups={})
    assert figures(sheet(PLAIN, None, [Predicted(answer=silent)]))[1]["Level at 3k"][2:] == ("not heard", "")


def test_a_pickup_that_was_not_there_before_has_a_dash():
    _, rows = figures(sheet(CHANGED, replace(PLAIN, pickups={})))
    assert {row[-1] for row in rows.values()} == {"–"}


def test_a_pickup_that_is_switched_off_is_not_heard():
    guitar = read_instrument(layout_text("two-pickups-tone-after"))
    answer = predict_instrument(guitar, {"selector": "neck"}, load=LOAD)
    assert "not heard at these settings" in said(sheet(answer, at={}))
    assert [text for text in headings(sheet(answer, at={})) if text.startswith("Pickup")] == [
        "Pickup bridge: output over the voltage in its winding",
        "Pickup neck: output over the voltage in its winding",
    ]


def test_the_tone_control_stands_beside_its_textbook_and_the_picture_before_it():
    one = sheet()
    assert "Tone control tone turned down, bridge heard. Textbook: 1/(2πRC) of pot.tone and capacitor.tone alone" in said(one)
    assert pictures(one) == ["curves", "circuit", "phase", "tone"]
    sweep = next(block for block in blocks_in(one) if isinstance(block, Table) and "textbook" in block.rows[0])
    assert [row[0] for row in sweep.rows[1:]] == [str(step.rotation) for step in PLAIN.tone_sweeps[0].steps]
    assert "by the nominal taper unless measured" in said(one)


def test_notes_and_what_is_simulated_are_said():
    answer = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=found_parts(), at_hz=AT.values(), with_tolerance=True)
    one = sheet(answer, notes=("a note on the last fit",))
    assert one.title == "Prediction: mine (simulated)"
    assert "a note on the last fit" in said(one)
    assert "by the nominal taper unless measured" not in said(one)
    assert sheet().title == "Prediction: mine"


@pytest.mark.parametrize(
    ("stated", "text"),
    [
        ({"volume": "10", "tone": "50%"}, "volume=10 (100 %), tone=50%"),
        ({"volume": "0"}, "volume=0 (0 %), tone=10 (100 %)"),
    ],
)
def test_settings_in_words(stated, text):
    assert settings_text(read_settings(INSTRUMENT, stated)) == text


def test_an_instrument_without_controls_says_so():
    from fit.circuit.controls import Settings

    assert settings_text(Settings()) == "no controls"


def test_other_changes_are_told_below_the_first_and_what_they_rest_on_is_folded():
    two = sheet(CHANGED, PLAIN, [Predicted(answer=PLAIN), Predicted(answer=replace(PLAIN, pickups={}))])
    first, second = next(one for one in two.blocks if isinstance(one, Verdict)).lines
    assert first.startswith("Versus 1: bridge ")
    assert second == "Versus 2: not heard, no pickup reaches the jack."
    folded = [one for one in two.blocks if isinstance(one, Section) and one.heading.startswith("What differs")]
    assert [one.is_folded for one in folded] == [True, True]


def test_what_is_held_stands_beside_what_is_tried():
    now, held = Predicted(answer=CHANGED), Predicted(answer=PLAIN)
    head, rows = figures(sheet_of_what_if(now, held, at=AT))
    assert head == ("", "", "95 % interval", "held", "95 % interval")
    assert rows["Level at 3k"][:2] == figures(sheet(CHANGED))[1]["Level at 3k"]
    assert rows["Level at 3k"][2:] == figures(sheet())[1]["Level at 3k"]
    alone = sheet_of_what_if(now, at=AT)
    assert figures(alone)[0] == ("", "", "95 % interval")
    assert verdict_text(CHANGED) in said(alone)
