"""Keys tell apart what results rest on, and nothing else; making where nothing sound is kept."""

import hashlib

import msgspec
import numpy as np
import pytest

from fit.answers.figures import Contribution
from fit.desk.book import derived
from fit.desk.book.derived import kept_or_made, response_key, takes_key
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Calibration, Input, Rig
from measure.logbook.store import open_logbook, write_result
from measure.logbook.take import FileStimulus, RecordingFile, Take

SHA256 = hashlib.sha256(b"samples").hexdigest()
KEY = hashlib.sha256(b"key").hexdigest()
STATED = Calibration(date="2026-01-31", device="card", rate_hz=48000, loopback="loopback.json", loopback_sha256=SHA256)
RIG = Rig(calibration=STATED)
RECORDING = RecordingFile(file="recording.wav", sha256=SHA256)
TAKE = Take(name="open", recordings=(RECORDING,), rate_hz=48000, time_utc="2026-01-31T12:00:00.000Z", rig=RIG)
OTHER = hashlib.sha256(b"other samples").hexdigest()


@pytest.fixture
def logbook(tmp_path):
    return open_logbook(tmp_path)


@pytest.mark.parametrize(
    "change",
    [
        {"recordings": (msgspec.structs.replace(RECORDING, sha256=OTHER),)},
        {"recordings": (msgspec.structs.replace(RECORDING, pickup_channel=3),)},
        {"recordings": (msgspec.structs.replace(RECORDING, reference_channel=None),)},
        {"recordings": (RECORDING, msgspec.structs.replace(RECORDING, file="recording-2.wav"))},
        {"stimulus": FileStimulus(file="stimulus.wav", sha256=OTHER)},
        {"rig": None},
        {"rig": msgspec.structs.replace(RIG, input=Input(resistance="1M ± 1%"))},
        {"time_utc": "2026-02-28T12:00:00.000Z"},
        {"simulated": True},
    ],
)
def test_a_response_rests_on_how_it_was_recorded(logbook, change):
    assert response_key(logbook, msgspec.structs.replace(TAKE, **change)) != response_key(logbook, TAKE)


def test_a_response_does_not_rest_on_conditions(logbook):
    conditions = Conditions(added="1n ± 1%", controls={"tone": "3"}, coil_over="neck", temperature_c=20.0, note="x")
    stated = msgspec.structs.replace(TAKE, conditions=conditions)
    assert response_key(logbook, stated) == response_key(logbook, TAKE)


def test_response_rests_on_the_loopback_file_as_it_is(logbook):
    keys = [response_key(logbook, TAKE)]
    for content in (b"{}", b"{ }"):
        write_result(logbook, "loopback.json", content)
        keys.append(response_key(logbook, TAKE))
    assert len(set(keys)) == 3
    write_result(logbook, "loopback.json", b"{}")
    assert response_key(logbook, TAKE) == keys[1]
    plain = msgspec.structs.replace(TAKE, rig=None)
    key = response_key(logbook, plain)
    (logbook.path / "results" / "loopback.json").unlink()
    assert response_key(logbook, plain) == key


def test_another_source_is_another_program(logbook, monkeypatch):
    key = response_key(logbook, TAKE)
    monkeypatch.setattr(derived, "_source_sha256", lambda: OTHER)
    assert response_key(logbook, TAKE) != key


def test_no_takes_and_other_questions_have_keys_of_their_own(logbook):
    assert len({takes_key(logbook, [], *more) for more in ((), ("fit",), ("fit", None), ("fit", ""), ("comparison", None))}) == 5


def test_made_where_nothing_sound_is_kept(logbook):
    made = []

    def make():
        made.append(Contribution(source="noise", contribution=np.float64(len(made))))
        return made[-1]

    for _ in range(3):
        found = kept_or_made(logbook, "fit", KEY, Contribution, make)
        assert (found.contribution, type(found.contribution)) == (0.0, float)
    next((logbook.path / "derived").iterdir()).write_bytes(b"")
    assert kept_or_made(logbook, "fit", KEY, Contribution, make).contribution == 1.0


def test_what_does_not_come_back_is_used_but_not_kept(logbook):
    odd = Contribution(source="noise", contribution="much")
    assert kept_or_made(logbook, "fit", KEY, Contribution, lambda: odd) is odd
    assert not (logbook.path / "derived").exists()
