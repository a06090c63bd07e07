"""The recordings that a take keeps, and their response."""

import numpy as np
import pytest

import measure
from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.recordings import card_findings, kept_recordings, response_of_recordings, write_sound
from measure.logbook.store import write_take
from measure.logbook.take import FileStimulus, RecordingFile, Take
from measure.response import Finding
from measure.source.files import read_recording, write_recording
from tests.faulty_takes import RATE_HZ, STIMULUS, take
from tests.kept_takes import keep, new_book
from tests.same import assert_same


@pytest.fixture
def book(tmp_path):
    return new_book(tmp_path)


def test_changed_recording_is_not_read(book):
    take = keep(book, "open")
    path = book.path / "takes" / "open" / "recording.wav"
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.chmod(0o644)
    path.write_bytes(content)
    with pytest.raises(FileError, match="has changed"):
        kept_recordings(book, take)


def test_python_and_the_desk_get_the_same_response(book, tmp_path):
    recording = take()
    write_recording(tmp_path / "a.wav", recording.samples, RATE_HZ)
    write_recording(tmp_path / "sweep.wav", STIMULUS[:, None], RATE_HZ)
    stated = Take(
        name="a",
        conditions=Conditions(),
        recordings=(RecordingFile(file="recording.wav"),),
        stimulus=FileStimulus(file="stimulus.wav"),
        rate_hz=RATE_HZ,
    )
    kept = write_take(book, stated, {"recording.wav": tmp_path / "a.wav", "stimulus.wav": tmp_path / "sweep.wav"})
    assert_same(response_of_recordings(book, kept), measure.Logbook(book.path).response("a"))


def test_a_stimulus_of_another_rate_is_refused(book, tmp_path):
    write_recording(tmp_path / "a.wav", take().samples, RATE_HZ)
    write_recording(tmp_path / "sweep.wav", STIMULUS[:, None], RATE_HZ // 2)
    stated = Take(
        name="a",
        conditions=Conditions(),
        recordings=(RecordingFile(file="recording.wav"),),
        stimulus=FileStimulus(file="stimulus.wav"),
        rate_hz=RATE_HZ,
    )
    kept = write_take(book, stated, {"recording.wav": tmp_path / "a.wav", "stimulus.wav": tmp_path / "sweep.wav"})
    with pytest.raises(FileError, match=f"sweep has {RATE_HZ // 2} Hz, the recording {RATE_HZ} Hz"):
        kept_recordings(book, kept)


def test_only_what_the_card_said_is_handed_on(book):
    said = tuple(Finding(code=code, severity="warn", text="two") for code in ("stream-flags", "shared-mode", "two-clocks"))
    kept = keep(book, "a", findings=(*said, Finding(code="clipped", severity="warn", text="one")))
    assert card_findings(kept) == said


def test_sound_is_written_whole_and_over_nothing(tmp_path):
    file, samples = tmp_path / "a.flac", np.full((RATE_HZ, 2), 0.25)
    write_sound(file, samples, RATE_HZ)
    with pytest.raises(FileError, match=r"a\.flac exists already, and is not overwritten"):
        write_sound(file, -samples, RATE_HZ)
    assert read_recording(file).samples[0, 0] == 0.25
    with pytest.raises(FileError, match=r"no/a\.wav not written, nothing of it is left: No such file"):
        write_sound(tmp_path / "no" / "a.wav", samples, RATE_HZ)
    with pytest.raises(ValueError, match="cannot write 24 bits as 'noise'"):
        write_sound(tmp_path / "noise", samples, RATE_HZ)
    assert list(tmp_path.iterdir()) == [file]
