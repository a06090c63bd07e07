"""The logbook on the page: takes by day with a small picture each, and notes that are amended."""

import numpy as np
import pytest

from fit.desk.window import messages
from fit.desk.window.takes import SMALL_POINTS, amend_note, list_all
from measure.errors import FileError
from measure.logbook.store import open_logbook, read_take
from tests.desk_bench import run_json

AMENDED = messages.TakeAmend(name="open-before", note="screws flush")


def test_it_lists_what_the_command_lists(compared, capsys):
    found = list_all(compared)
    _, document, _ = run_json(capsys, "takes", "list", "--logbook", compared)
    listed = [take for day in found.days for take in day.takes]
    assert [take.name for take in listed] == [take["take"] for take in document["takes"]]
    assert [take.outcome for take in listed] == [take["outcome"] for take in document["takes"]]
    assert len(found.days) == len({take["day"] for take in document["takes"]})
    assert all(take.marks == ("simulated",) for take in listed)


def test_each_response_has_a_small_picture(compared):
    pictures = {take.name: take.picture for day in list_all(compared).days for take in day.takes}
    assert pictures["quiet-before"] is None
    drawn = pictures["open-before"]
    assert len(drawn.db) == len(drawn.frequency_hz) <= SMALL_POINTS
    peak_hz = drawn.frequency_hz[int(np.argmax(drawn.db))]
    assert 5e3 < peak_hz < 8e3  # where the virtual pickup peaks behind its cable


def test_a_note_is_amended_and_its_recordings_stay(compared):
    folder = compared / "takes" / "open-before"
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix != ".json"}
    found = amend_note(compared, AMENDED)
    take = next(take for day in found.days for take in day.takes if take.name == "open-before")
    assert (take.note, take.marks) == ("screws flush", ("simulated", "amended"))
    assert "open-before" in found.said
    assert read_take(open_logbook(compared), "open-before").conditions.note == "screws flush"
    assert before == {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix != ".json"}


def test_a_damaged_take_is_told_and_the_others_listed(compared):
    (compared / "takes" / "open-after" / "take.json").write_text("{", encoding="utf-8")
    found = list_all(compared)
    assert "open-after" in found.damaged
    assert "open-before" in [take.name for day in found.days for take in day.takes]


def test_an_empty_logbook_has_no_day(tmp_path):
    assert list_all(tmp_path).days == ()
    assert list_all(tmp_path / "not there yet").days == ()


def test_a_take_that_is_not_there_is_refused(compared):
    with pytest.raises(FileError, match="lid"):
        amend_note(compared, messages.TakeAmend(name="lid", note=""))
