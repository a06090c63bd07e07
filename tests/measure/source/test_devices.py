"""What is listed, which device is taken where none is named, and what is said where nothing answers."""

from types import SimpleNamespace

import pytest

from measure.errors import LibraryMissingError, NoProgressError, OpenError
from measure.source import devices
from measure.source.devices import list_devices
from tests.scripted_process import LATE, Process, told

DEVICES = [["card", 0, 2, 2, 48000.0], ["mute card", 0, 2, 0, 44100.0], ["card", 1, 2, 2, 48000.0]]


@pytest.mark.slow
def test_devices_with_one_that_does_not_answer(fake):
    fake(devices=DEVICES, host_apis=["Plain", "Other"], hangs="rates 1", default=[1, 0])
    listed = list_devices()
    assert [each.rates_hz for each in listed.devices] == [(44100, 48000), None, (44100, 48000)]
    assert [(each.name, each.host_api, each.n_inputs, each.n_outputs) for each in listed.devices] == [
        ("card", "Plain", 2, 2),
        ("mute card", "Plain", 2, 0),
        ("card", "Other", 2, 2),
    ]
    assert [each.is_default_input for each in listed.devices] == [False, True, False]
    assert listed.explanation.startswith("default output: card (Plain); default input: mute card (Plain).")


def listing(*names, default_input=0, default_output=0, host_api="Plain"):
    found = [{"name": name, "host_api": host_api, "n_inputs": 2, "n_outputs": 2, "rate_hz": 48000.0} for name in names]
    return told("devices", version="V1", default_input=default_input, default_output=default_output, devices=found)


def rates(index, *rates_hz, exact_hz=None):
    return told("rates", index=index, rates_hz=list(rates_hz), exact_hz=exact_hz)


@pytest.fixture
def scripted(monkeypatch):
    """Processes by their scripts, one after the other; a clock that moves by as much as a late process is waited for."""
    clock = SimpleNamespace(now_s=0.0, orders=[], processes=[])

    class Waiting(Process):
        def next_frame(self, limit_s):
            if self.script[:1] == [LATE]:
                clock.now_s += limit_s
            return super().next_frame(limit_s)

    def set_up(*scripts, code=0):
        left = list(scripts)

        def start(order):
            clock.orders.append(order)
            clock.processes.append(Waiting(*left.pop(0), code=code))
            return clock.processes[-1]

        monkeypatch.setattr(devices, "RecordingProcess", start)
        monkeypatch.setattr(devices.time, "monotonic", lambda: clock.now_s)
        return clock

    return set_up


def test_one_process_lists_all_where_all_answer(scripted):
    clock = scripted([listing("a", "b", default_input=1), rates(0, 44100), rates(1), told("done")])
    found = list_devices()
    assert clock.orders == [{"task": "list", "skip": 0}]
    assert [(each.name, each.rates_hz) for each in found.devices] == [("a", (44100,)), ("b", ())]
    assert [(each.is_default_input, each.is_default_output) for each in found.devices] == [(False, True), (True, False)]
    assert found.library == "V1"
    assert "b does not open at any usual rate: name another device" in found.explanation
    assert {each.own_rate_hz for each in found.devices} == {48000.0}


def test_a_device_that_does_not_answer_is_passed_over_by_a_new_process(scripted):
    names = listing("a", "b", "c")
    clock = scripted([names, rates(0, 44100), LATE], [names, rates(2, 48000), told("done")])
    assert [each.rates_hz for each in list_devices().devices] == [(44100,), None, (48000,)]
    assert [order["skip"] for order in clock.orders] == [0, 2]
    assert clock.now_s == 4.0
    assert clock.processes[0].graces_s[0] == 0.0  # one that hangs is not waited for


def test_the_last_device_may_not_answer_either(scripted):
    clock = scripted([listing("a", "b"), rates(0, 44100), LATE])
    assert [each.rates_hz for each in list_devices().devices] == [(44100,), None]
    assert len(clock.orders) == 1


def test_listing_ends_after_twenty_seconds_whatever_is_left(scripted):
    names = listing(*"abcdefgh")
    clock = scripted(*([names, LATE] for _ in range(8)))
    assert [each.rates_hz for each in list_devices().devices] == [None] * 8
    assert clock.now_s == 20.0
    assert [order["skip"] for order in clock.orders] == [0, 1, 2, 3, 4]


def test_no_answer_at_all_and_other_trouble_have_names(scripted):
    scripted([LATE])
    with pytest.raises(NoProgressError, match="did not list its devices within 4 s"):
        list_devices()
    scripted([told("error", error="LibraryMissingError", text="no library")])
    with pytest.raises(LibraryMissingError, match="no library"):
        list_devices()
    scripted([None], code=1)
    with pytest.raises(OpenError, match=r"exit code 1\), before it listed the devices"):
        list_devices()


def test_no_device_and_no_default_are_said(scripted):
    scripted([listing(), told("done")])
    assert list_devices().explanation.startswith("PortAudio finds no device: plug the sound card in")
    scripted([listing("a", default_input=-1, default_output=0), rates(0, 44100), told("done")])
    assert list_devices().explanation.startswith("default output: a (Plain); default input: none.")


def test_what_a_device_promises_is_told(scripted):
    scripted(
        [listing("a", "b", host_api="Windows WASAPI"), rates(0, 44100, 48000, exact_hz=[48000]), rates(1, 48000), told("done")]
    )
    listed = list_devices()
    assert [(each.exact_hz, each.may_resample) for each in listed.devices] == [((48000,), True), (None, True)]
    assert listed.explanation.endswith("of Windows WASAPI, which can leave out its mixer.")
    scripted([listing("box (hw:1,0)", "default", host_api="ALSA"), rates(0, 48000), rates(1, 48000), told("done")])
    assert [each.may_resample for each in list_devices().devices] == [False, True]
