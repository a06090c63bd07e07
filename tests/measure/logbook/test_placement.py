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
