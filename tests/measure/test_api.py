"""What ``import measure`` offers, against what the command line tells of the same recordings."""

import numpy as np
import pytest

import measure
from fit.desk.command.main import main
from measure.logbook.rig import write_rig
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source import soundcard
from measure.source.files import write_recording
from tests.desk_bench import coil, flat, run_json
from tests.places import RECORDINGS
from tests.python_bench import make_logbook

OPEN = RECORDINGS / "bare-single-coil" / "open.flac"
RATE_HZ = 48000


def bench(**faults):
    from measure.source.virtual import Faults, Noise, VirtualBench

    noise = Noise(pickup_hum=(1e-3, 0.0, 3e-4), pickup_white=2e-5, reference_white=1e-5)
    return VirtualBench(pickup=coil(), reference=flat, noise=noise, faults=Faults(**faults))


def told(findings):
    return [(one.code, one.severity) for one in findings]


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    write_rig(path, {"interface.rate_hz": RATE_HZ, "interface.device": "bench", "reference.kind": "current"})
    return path


@pytest.mark.long
@pytest.mark.parametrize("fault", ["clipped", "silent", "swapped", "overdriven", "dropouts", "buried-in-hum"])
def test_findings_are_those_of_the_command(fault, tmp_path, capsys):
    path = RECORDINGS / "faulty" / f"{fault}.flac"
    recording = measure.read(path, pickup_channel=1, reference_channel=2)
    _, document, _ = run_json(capsys, "import", "take", path, "--logbook", tmp_path)
    assert recording.outcome == document["outcome"]
    assert told(recording.findings) == [(one["name"], one["outcome"]) for one in document["checks"]]
    assert len(repr(recording).splitlines()) < 40


def test_response_of_a_rejected_recording_is_refused():
    recording = measure.read(RECORDINGS / "faulty" / "clipped.flac")
    with pytest.raises(measure.MeasureError, match=r"clipped\.flac: rejected, no value may rest on it"):
        recording.response()


def test_stimulus_stands_in_for_a_reference_that_was_not_recorded():
    stimulus = RECORDINGS / "stimulus-96000.flac"
    with pytest.raises(ValueError, match="the sweep is needed"):
        measure.read(OPEN, reference_channel="none")
    recording = measure.read(OPEN, reference_channel="none", stimulus=stimulus)
    assert recording.outcome == "good"
    with pytest.raises(measure.FileError, match="48000 Hz, the recording 96000 Hz"):
        measure.read(OPEN, stimulus=RECORDINGS / "stimulus-48000.flac")


@pytest.mark.long
def test_channels_are_those_of_the_rig(tmp_path, rig):
    write_rig(rig, {"interface.pickup_channel": 2, "interface.reference_channel": 1})
    straight = measure.read(OPEN).response()
    samples = measure.read(OPEN).samples
    write_recording(tmp_path / "exchanged.flac", samples[:, ::-1], 96000)
    np.testing.assert_allclose(measure.read(tmp_path / "exchanged.flac", rig=rig).response().value, straight.value, rtol=1e-12)


@pytest.mark.long
def test_logbook_lists_takes_and_gives_their_responses(tmp_path):
    make_logbook(tmp_path, "guitar")
    book = measure.Logbook(tmp_path / "guitar")
    assert book.takes == ("up", "up-1n", "down")
    assert book.take("up-1n").conditions.added == "1n±1%"
    same = measure.read(RECORDINGS / "tone-capacitor" / "tone-up.flac").response()
    np.testing.assert_array_equal(book.response("up").value, same.value)
    np.testing.assert_array_equal(book.response("up").covariance, same.covariance)
    with pytest.raises(measure.FileError, match='no take "away"'):
        book.response("away")
    with pytest.raises(measure.FileError, match="is not a folder"):
        measure.Logbook(tmp_path / "nothing")


@pytest.mark.long
def test_logbook_takes_the_loopback_out_as_a_fit_does(tmp_path, rig):
    from fit.desk.book.response import take_response
    from measure.logbook.store import open_logbook, read_take

    write_recording(tmp_path / "sweep.wav", sweep_samples(Sweep(rate_hz=RATE_HZ)), RATE_HZ)
    wired = replace_pickup(bench(), lambda frequency_hz: 0.5 * flat(frequency_hz))
    write_recording(tmp_path / "loopback.wav", wired.record(sweep_samples(Sweep(rate_hz=RATE_HZ)), rate_hz=RATE_HZ), RATE_HZ)
    write_recording(tmp_path / "open.wav", bench().record(sweep_samples(Sweep(rate_hz=RATE_HZ)), rate_hz=RATE_HZ), RATE_HZ)
    assert main(["calibrate", "loopback", "--from", str(tmp_path / "loopback.wav"), "--logbook", str(tmp_path)]) == 0
    assert main(["import", "open", str(tmp_path / "open.wav"), "--logbook", str(tmp_path)]) == 0
    book = open_logbook(tmp_path)
    fitted = take_response(book, read_take(book, "open"))
    given = measure.Logbook(tmp_path).response("open")
    plain = measure.read(tmp_path / "open.wav").response()
    np.testing.assert_allclose(given.value, fitted.value, rtol=1e-12)
    np.testing.assert_allclose(given.shifts, fitted.shifts, rtol=1e-12)
    np.testing.assert_allclose(measure.read(tmp_path / "open.wav", rig=rig).response().value, fitted.value, rtol=1e-12)
    assert abs(given.value[40] / plain.value[40]) == pytest.approx(2.0, rel=0.02)  # the inputs differ by 2, noise aside
    write_rig(rig, {"interface.device": "another"})
    refused = measure.read(tmp_path / "open.wav", rig=rig)
    assert refused.outcome == "usable"
    assert "calibration-refused: the calibration was not applied: " in repr(refused)
    assert 'with "bench", the take with "another"' in repr(refused)
    np.testing.assert_allclose(refused.response().value, plain.value, rtol=1e-12)


def replace_pickup(made, pickup):
    from dataclasses import replace

    return replace(made, pickup=pickup)


@pytest.mark.long
def test_record_gives_a_checked_recording_and_keeps_nothing(tmp_path, rig):
    recording = measure.record("open", rig=rig, source=bench())
    assert (recording.outcome, recording.rate_hz, recording.name) == ("good", RATE_HZ, "open")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["rig.toml"]
    recording.write(tmp_path / "open.wav")
    again = measure.read(tmp_path / "open.wav").response()
    np.testing.assert_allclose(again.value, recording.response().value, rtol=1e-3)  # 24 bits, and the sweep recognised
    low = measure.record("open", rig=rig, source=bench(), level=0.05)
    assert np.max(np.abs(low.samples)) < 0.2 * np.max(np.abs(recording.samples))


def test_record_plays_by_the_card_that_the_rig_names(monkeypatch, rig):
    asked = []

    def play(card, stimulus, *, rate_hz, n_channels):
        asked.append((card, len(stimulus), rate_hz, n_channels))
        raise measure.DeviceError("no card here")

    monkeypatch.setattr(soundcard, "play_and_record", play)
    write_rig(rig, {"interface.output_channel": 3, "interface.pickup_channel": 2, "interface.reference_channel": 4})
    with pytest.raises(measure.DeviceError, match="no card here"):
        measure.record("loopback", rig=rig)
    card, n_played, *rest = asked[0]
    assert (card.device, card.output_channel, card.pickup_channel, card.reference_channel) == ("bench", 3, 2, 4)
    assert rest == [RATE_HZ, 2]
    assert n_played == len(sweep_samples(Sweep(rate_hz=RATE_HZ)))
