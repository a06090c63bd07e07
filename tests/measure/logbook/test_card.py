"""The card taken out of responses: what it does to them, what does not fit, and that the person is told."""

from dataclasses import replace

import numpy as np
import pytest

from measure.errors import FileError
from measure.logbook.card import (
    CardUse,
    calibration_warnings,
    device_of,
    freed_response,
    freeing,
    inputs_of,
    without_card,
)
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Interface, Rig
from measure.logbook.store import open_logbook
from measure.logbook.take import RecordingFile, ResponseFile, Take
from measure.response import Finding, Response
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep
from measure.transfer.calibration import Calibration, Curve

RATE_HZ = 48000
FREQUENCY_HZ = np.geomspace(20.0, 20e3, 61)
MISMATCH = 1.25 * np.exp(-2j * np.pi * FREQUENCY_HZ * 3e-6)
TIME = "2026-01-31T12:00:00.000Z"
USE = CardUse(rate_hz=RATE_HZ, inputs=(1, 2), time_utc=TIME)


def response(frequency_hz=FREQUENCY_HZ, value=None):
    n = len(frequency_hz)
    value = np.ones(n, dtype=complex) if value is None else value
    return Response(frequency_hz=frequency_hz, value=value, covariance=np.tile(1e-8 * np.eye(2), (n, 1, 1)))


def curve(value, keep=slice(None)):
    return Curve(frequency_hz=FREQUENCY_HZ[keep], value=value[keep], relative_std=np.full(len(FREQUENCY_HZ[keep]), 1e-5))


def calibration(**changes):
    facts = {"channels": curve(MISMATCH), "gain_std": 1e-4, "delay_std_s": 1e-9, "rate_hz": RATE_HZ, "time_utc": TIME}
    return Calibration(**(facts | changes))


@pytest.fixture
def free(tmp_path, monkeypatch):
    """Frees a response by a calibration that the rig is said to name."""

    def do(one, calibrated, use=USE, rig=None):
        monkeypatch.setattr("measure.logbook.card.read_loopback", lambda *_: calibrated)
        return freed_response(open_logbook(tmp_path), rig or Rig(), one, use)

    return do


def codes(one):
    return [finding.code for finding in one.findings]


def test_the_inputs_ratio_is_divided_out(free):
    freed = free(response(value=MISMATCH), calibration())
    np.testing.assert_allclose(freed.value, 1.0, rtol=1e-12)
    assert calibration_warnings(freed) == ()
    assert len(freed.shifts) == 2  # gain and delay of the calibration are not known exactly


def test_without_a_loopback_a_response_stays_as_it_is(free):
    one = response()
    assert free(one, None) is one


@pytest.mark.parametrize(
    ("changes", "use"),
    [
        ({}, replace(USE, rate_hz=96000)),
        ({}, replace(USE, inputs=(2, 1))),
        ({"device": "another card"}, USE),
    ],
)
def test_a_calibration_of_something_else_is_not_applied_and_that_is_said(free, changes, use):
    rig = Rig(interface=Interface(device="box"))
    freed = free(response(), calibration(**changes), use, rig)
    np.testing.assert_array_equal(freed.value, 1.0)
    assert codes(freed) == ["calibration-refused"]
    assert calibration_warnings(freed)[0].startswith("the calibration was not applied: ")


def test_what_a_loopback_does_not_reach_is_left_out_and_said(free):
    freed = free(response(), calibration(channels=curve(MISMATCH, slice(10, 50))))
    assert 10 < len(freed.frequency_hz) < 61
    assert freed.frequency_hz[0] < FREQUENCY_HZ[12]
    narrow = next(finding for finding in freed.findings if finding.code == "calibration-narrow")
    used = (FREQUENCY_HZ >= 30) & (FREQUENCY_HZ <= 20000)
    assert narrow.figure == np.count_nonzero(used & ~np.isin(FREQUENCY_HZ, freed.frequency_hz))
    assert "record the loopback with the same sweep" in narrow.text


def test_a_response_by_a_simulated_loopback_is_simulated(free):
    assert not free(response(), calibration()).origin.simulated
    assert free(response(), calibration(simulated=True)).origin.simulated


def test_an_old_loopback_is_said_to_be_old(free):
    freed = free(response(), calibration(time_utc="2020-01-01T00:00:00.000Z"))
    np.testing.assert_allclose(np.abs(freed.value), 0.8, rtol=1e-3)  # applied all the same
    assert len(calibration_warnings(freed)) == 1


@pytest.mark.parametrize(
    ("device", "input_device", "name"),
    [(None, None, ""), ("box", None, "box"), ("box", "box", "box"), ("out", "in", "out to in")],
)
def test_output_here_and_input_there_are_two_cards(device, input_device, name):
    assert device_of(Rig(interface=Interface(device=device, input_device=input_device))) == name


@pytest.mark.parametrize(
    ("channels", "is_live", "inputs"),
    [((1, 2), False, (1, 2)), ((1, None), False, (1, None)), ((1, 2), True, (4, 3)), ((1, None), True, (4, None))],
)
def test_recordings_made_here_have_the_inputs_of_the_rig(channels, is_live, inputs):
    rig = Rig(interface=Interface(pickup_channel=4, reference_channel=3))
    assert inputs_of(rig, channels, is_live=is_live) == inputs


def test_a_take_is_freed_as_it_was_recorded(tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr("measure.logbook.card.freed_response", lambda *args: seen.append(args[3]) or args[2])
    rig = Rig(interface=Interface(pickup_channel=4, reference_channel=3))
    facts = {"name": "a", "conditions": Conditions(), "recordings": (RecordingFile(file="1.wav"),), "rate_hz": RATE_HZ}
    logbook = open_logbook(tmp_path)
    for stimulus in (None, Sweep(rate_hz=RATE_HZ)):
        without_card(logbook, Take(**facts, rig=rig, stimulus=stimulus, time_utc=TIME), response())
    assert [use.inputs for use in seen] == [(1, 2), (4, 3)]
    assert {(use.rate_hz, use.time_utc) for use in seen} == {(RATE_HZ, TIME)}
    table = Take(name="t", conditions=Conditions(), kind="response", response_file=ResponseFile(file="r.csv"), rig=rig)
    for one in (Take(**facts), table):  # no rig, or no card that recorded it
        without_card(logbook, one, response())
    assert len(seen) == 2


def test_a_lost_curve_does_not_cost_a_take(tmp_path, monkeypatch):
    def lost(*_):
        raise FileError("results/loopback.json is not there")

    monkeypatch.setattr("measure.logbook.card.read_loopback", lost)
    recording = Recording(samples=np.zeros((10, 2)), rate_hz=RATE_HZ)
    free = freeing(open_logbook(tmp_path), Rig(), [recording], is_live=True)
    assert calibration_warnings(free(response())) == ("results/loopback.json is not there",)


def test_only_what_the_calibration_noticed_is_listed():
    findings = (
        Finding(code="calibration-age", severity="pass", text="young"),
        Finding(code="calibration-refused", severity="warn", text="another rate"),
        Finding(code="noisy-response", severity="warn", text="noisy"),
    )
    assert calibration_warnings(replace(response(), findings=findings)) == ("another rate",)
