"""What listen has to say: what was written, how loud, what the change does and what it rests on."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fit.answers.listen.impulse import Side, design_change
from fit.desk.show.sheets.listen import Facts, Levels, Written, is_simulated, sheet_of_listen
from measure.quantity import parse_quantity
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.sheet_parts import pictures, said, tables

CHANGES = {"capacitor.tone": parse_quantity("10n", "F")}
SIDES = [Side(instrument=INSTRUMENT, controls={"tone": "3"}, load=LOAD, changes=changes) for changes in ({}, CHANGES)]
ANSWER = design_change(*SIDES, rate_hz=48000)
MATCHED = Written(path=Path("out.wav"), level="matched", gain=0.8, lowered=1.0)


def facts(**changes):
    given = {
        "changed": ("capacitor.tone=10n",),
        "excite": "",
        "answer": ANSWER,
        "levels": Levels(n_frames=48000, n_channels=1, change=1.25, peak=0.5),
        "written": (MATCHED,),
        "measured": None,
        "notes": (),
    }
    return Facts(**(given | changes))


def test_what_was_changed_and_written_is_said_first():
    text = said(sheet_of_listen(facts()))
    assert text.startswith("The change makes it ")
    assert " Changed: capacitor.tone=10n Recorded at: volume=10 (100 %), tone=3 (" in text
    assert "Heard at:" not in text  # the controls stand as they stood
    assert "Written: out.wav, as loud as the recording" in text
    assert "The change makes it 1.9 dB louder (K-weighted, ITU-R BS.1770)." in text
    assert "add --true-level FILE.wav" in text


def test_softer_is_said_to_be():
    levels = Levels(n_frames=1, n_channels=1, change=0.5, peak=0.5)
    assert "The change makes it 6.0 dB quieter" in said(sheet_of_listen(facts(levels=levels)))


def test_a_file_that_would_clip_says_by_how_much_it_was_lowered():
    true = Written(path=Path("true.wav"), level="true", gain=1.0, lowered=0.5)
    text = said(sheet_of_listen(facts(written=(MATCHED, true))))
    assert "Written: true.wav, at the level that the change gives, but lowered by 6.0 dB so that nothing clips" in text
    assert "--true-level" not in text


def test_the_change_is_tabled_as_it_is_and_at_equal_loudness():
    head, *rows = tables(sheet_of_listen(facts()))[0].rows
    assert head == ("", "change", "at equal loudness")
    assert [row[0] for row in rows][:3] == ["50.0 Hz", "100 Hz", "200 Hz"]
    number = [[float(cell.split()[0].replace("−", "-")) for cell in row[1:]] for row in rows]
    lower_db = 20 * np.log10(1.25)
    assert all(plain - equal == pytest.approx(lower_db, abs=0.11) for plain, equal in number)
    assert pictures(sheet_of_listen(facts())) == ["change", "circuit"]


def test_other_settings_are_said_beside_those_of_the_recording():
    moved = design_change(SIDES[0], replace(SIDES[0], controls={"tone": "5"}), rate_hz=48000)
    assert "Heard at: volume=10 (100 %), tone=5 (" in said(sheet_of_listen(facts(answer=moved)))


@pytest.mark.parametrize(
    ("excite", "before", "after", "text"),
    [
        ("neck", ("neck",), ("neck",), "only neck sounds, as said by --excite"),
        ("", ("neck",), ("neck",), "Pickups: neck What"),
        ("", ("neck",), ("bridge", "neck"), "neck before, bridge and neck after, as if the strings gave each the same voltage"),
    ],
)
def test_which_pickups_sound(excite, before, after, text):
    sides = {"before": replace(ANSWER.before, pickups=before), "after": replace(ANSWER.after, pickups=after)}
    assert text in said(sheet_of_listen(facts(excite=excite, answer=replace(ANSWER, **sides)))).replace("Written:", "What")


def test_what_was_measured_counts_only_where_it_was_used():
    unused = facts(measured=found_parts())
    assert not is_simulated(unused)
    used = replace(ANSWER, before=replace(ANSWER.before, measured=("pot.tone",)))
    sheet = sheet_of_listen(facts(measured=found_parts(), answer=used))
    assert is_simulated(facts(measured=found_parts(), answer=used))
    assert sheet.title == "A change to be heard (simulated)"
    assert "Measured, by the last fit (takes open, tone-5): pot.tone" in said(sheet)


def test_marked_parts_are_named():
    assert "Only marked, not measured, so the change may turn out another: capacitor.tone" in said(
        sheet_of_listen(facts(answer=replace(ANSWER, before=replace(ANSWER.before, marked=("capacitor.tone",)))))
    )
