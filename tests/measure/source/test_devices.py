"""What is listed, which device is taken where none is named, and what is said where nothing answers."""

import pytest

from measure.source.devices import list_devices

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
