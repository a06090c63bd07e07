"""Which device a name means, and which flags; the list of devices is made up, PortAudio is not needed."""

from types import SimpleNamespace

import pytest

from measure.errors import NoCardError, UnknownDeviceError
from measure.source.portaudio import choose_device, default_index


def listing(*devices, default=(0, 0), apis=("Plain", "Other")):
    """Name, number of the host API, inputs, outputs."""
    keys = ("name", "hostapi", "max_input_channels", "max_output_channels")
    return SimpleNamespace(
        query_devices=lambda: [dict(zip(keys, each, strict=True), default_samplerate=48000.0) for each in devices],
        query_hostapis=lambda: tuple(
            {
                "name": name,
                "default_input_device": next((k for k, each in enumerate(devices) if each[1] == number and each[2]), -1),
                "default_output_device": next((k for k, each in enumerate(devices) if each[1] == number and each[3]), -1),
            }
            for number, name in enumerate(apis)
        ),
        default=SimpleNamespace(device=default),
    )


CARDS = listing(
    ("Line", 0, 2, 2), ("line in", 0, 2, 0), ("Line", 1, 2, 2), ("Box 4", 1, 4, 4), ("Box 4 copy", 1, 4, 4), default=(2, 0)
)


@pytest.mark.parametrize(
    ("name", "host_api", "is_input", "index"),
    [
        (None, None, True, 2),
        (None, None, False, 0),
        (None, "other", False, 2),
        ("Line", None, True, 2),
        ("Line", None, False, 0),
        ("Line", "Plain", True, 0),
        ("LINE IN", None, True, 1),
        ("Box 4", None, True, 3),
        ("copy", None, True, 4),
        ("line", "OTHER", False, 2),
    ],
)
def test_choice(name, host_api, is_input, index):
    assert choose_device(CARDS, name=name, host_api=host_api, is_input=is_input).index == index


@pytest.mark.parametrize(
    ("cards", "name", "host_api", "error", "words"),
    [
        (listing(default=(-1, -1)), None, None, NoCardError, "no sound card with an output was found"),
        (listing(("mouth", 0, 2, 0)), "mouth", None, NoCardError, "no sound card with an output"),
        (listing(("a", 0, 2, 2), default=(-1, -1), apis=("Plain",)), "b", None, UnknownDeviceError, "called 'b'; there are: 'a'"),
        (CARDS, "line in", None, UnknownDeviceError, "no output device is called 'line in'"),
        (CARDS, "ox", None, UnknownDeviceError, "'ox' fits 2 output devices: 'Box 4', 'Box 4 copy'. Give the whole name"),
        (CARDS, None, "Third", UnknownDeviceError, "host API 'Third'; there are: Other, Plain"),
    ],
)
def test_no_choice(cards, name, host_api, error, words):
    with pytest.raises(error, match=words):
        choose_device(cards, name=name, host_api=host_api, is_input=False)


def test_default_where_portaudio_names_none():
    cards = listing(("a", 0, 2, 2), default=(-1, -1))
    assert default_index(cards, is_input=True) is None
    assert choose_device(cards, name=None, host_api=None, is_input=True).index == 0
