"""Placements: which takes the coil stood still between."""

from measure.logbook.conditions import Conditions
from measure.logbook.placement import placements
from measure.logbook.take import RecordingFile, Take


def test_placements_are_runs_between_moves_of_the_coil() -> None:
    def made(name: str, *, over: str | None = None, moved: bool = False) -> Take:
        recordings = (RecordingFile(file="recording.wav"),)
        conditions = Conditions(coil_over=over, coil_moved=moved)
        return Take(name=name, recordings=recordings, rate_hz=48000, conditions=conditions)

    takes = [
        made("a", moved=True),  # moved before the first: still the first placement
        made("b"),
        made("c", moved=True),
        made("d", over="bridge"),
        made("e", over="neck"),  # nobody said so, but the coil cannot have stayed
        made("f"),
        made("g", over="neck"),
        made("h", over="bridge"),
    ]
    assert placements(takes) == {"a": 0, "b": 0, "c": 1, "d": 1, "e": 2, "f": 2, "g": 2, "h": 3}
    assert placements([]) == {}


def test_a_coil_that_was_moved_without_a_word_where_to_may_stand_over_any_pickup() -> None:
    def made(name: str, over: str | None, *, moved: bool = False) -> Take:
        conditions = Conditions(coil_over=over, coil_moved=moved)
        return Take(name=name, recordings=(RecordingFile(file="recording.wav"),), rate_hz=48000, conditions=conditions)

    # After "b" nobody knows where it is, so "neck" is no move; what was said before a silence still holds without one.
    assert placements([made("a", "bridge"), made("b", None, moved=True), made("c", "neck")]) == {"a": 0, "b": 1, "c": 1}
    assert placements([made("a", "bridge"), made("b", None), made("c", "neck")]) == {"a": 0, "b": 0, "c": 1}
