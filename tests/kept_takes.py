"""Takes of noise written straight into a logbook, for the tests of what is read from one: no command, no checks."""

import numpy as np

from measure.logbook.conditions import Conditions
from measure.logbook.rig import write_rig
from measure.logbook.store import open_logbook, rig_path, write_take
from measure.logbook.take import RecordingFile, Take
from measure.source.files import write_recording

RIG = {"input.resistance": "1M ± 1%", "input.capacitance": "185p ± 3p", "reference.kind": "current"}
RATE_HZ = 8000


def new_book(folder):
    logbook = open_logbook(folder / "book", create=True)
    write_rig(rig_path(logbook), RIG)
    return logbook


def keep(logbook, name, *, rig=None, outcome="good", findings=(), **stated):
    path = logbook.path.parent / f"{name}.wav"
    write_recording(path, np.random.default_rng(1).normal(size=(RATE_HZ, 2)) * 0.01, RATE_HZ)
    take = Take(
        name=name,
        conditions=Conditions(**stated),
        recordings=(RecordingFile(file="recording.wav"),),
        rate_hz=RATE_HZ,
        rig=rig or write_rig(rig_path(logbook), {}),
        outcome=outcome,
        findings=findings,
    )
    return write_take(logbook, take, {"recording.wav": path})
