"""Which device a name means, and which flags; the list of devices is made up, PortAudio is not needed."""

import inspect
import subprocess
import sys
from types import SimpleNamespace

import pytest

from measure.errors import LibraryMissingError, NoCardError, UnknownDeviceError
from measure.source.portaudio import (
    Found,
    choose_device,
    default_index,
    exact_settings,
    library_version,
    load_library,
    may_resample,
    opening_rates,
)


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
        (CARDS, None, "Third", UnknownDeviceError, "sound system 'Third'; there are: Other, Plain"),
    ],
)
def test_no_choice(cards, name, host_api, error, words):
    with pytest.raises(error, match=words):
        choose_device(cards, name=name, host_api=host_api, is_input=False)


def test_default_where_portaudio_names_none():
    cards = listing(("a", 0, 2, 2), default=(-1, -1))
    assert default_index(cards, is_input=True) is None
    assert choose_device(cards, name=None, host_api=None, is_input=True).index == 0


EXCLUSIVE = 1  # paWinWasapiExclusive: pa_win_wasapi.h


class Asked:
    """Settings of a host API: what was asked for."""

    def __init__(self, **wishes):
        self.wishes = wishes


def asking():
    """A library with the settings of both host APIs."""
    return SimpleNamespace(WasapiSettings=Asked, CoreAudioSettings=Asked, PortAudioError=RuntimeError)


def test_exact_streams_are_asked_for_by_the_name_of_the_host_api():
    assert exact_settings(asking(), "Windows WASAPI").wishes == {"exclusive": True}
    wishes = {"change_device_parameters": True, "fail_if_conversion_required": True}
    assert exact_settings(asking(), "Core Audio").wishes == wishes
    for host_api in ("MME", "Windows DirectSound", "ASIO", "ALSA", "JACK Audio Connection Kit"):
        assert exact_settings(asking(), host_api) is None


def test_the_library_takes_what_is_asked_of_it():
    try:
        library = load_library()
    except LibraryMissingError as err:
        pytest.skip(str(err))
    assert exact_settings(library, "Windows WASAPI")._streaminfo.flags & EXCLUSIVE
    wanted = {"change_device_parameters", "fail_if_conversion_required"}  # made only where Core Audio is
    assert wanted < set(inspect.signature(library.CoreAudioSettings).parameters)


def test_what_may_resample():
    told = [
        ("box (hw:2,0)", "ALSA"),
        ("default", "ALSA"),
        ("box", "ASIO"),
        ("box", "MME"),
        ("box", "Core Audio"),
        ("a", "PulseAudio"),
    ]
    assert [may_resample(*each) for each in told] == [False, True, False, True, True, True]


@pytest.mark.parametrize("is_input", [False, True])
def test_a_host_api_that_always_mixes_gives_way_to_one_that_can_be_asked(is_input):
    mixed = listing(
        ("Line (box with a long na", 0, 2, 2), ("Line (box with a long name)", 1, 2, 2), apis=("MME", "Windows WASAPI")
    )
    assert default_index(mixed, is_input=is_input) == 1
    assert choose_device(mixed, name=None, host_api=None, is_input=is_input).index == 1
    assert choose_device(mixed, name=None, host_api="MME", is_input=is_input).index == 0
    alone = listing(("Line", 0, 2, 2), apis=("MME", "Windows WASAPI"))
    assert default_index(alone, is_input=is_input) == 0


@pytest.mark.parametrize(
    ("host_api", "exact", "rates_hz", "exact_hz"),
    [
        ("Windows WASAPI", {48000, 96000}, [44100, 48000, 96000], [48000, 96000]),
        ("Core Audio", set(), [44100, 48000], []),
        ("ALSA", {96000}, [44100, 48000], None),
    ],
)
def test_rates_are_tried_as_they_come_and_so_that_nobody_resamples(host_api, exact, rates_hz, exact_hz):
    tried = []

    class Opening:
        def __init__(self, *, samplerate, extra_settings, **_):
            tried.append((samplerate, extra_settings is not None))
            if samplerate not in (exact if extra_settings is not None else {44100, 48000}):
                raise RuntimeError

        def close(self):
            pass

    library = SimpleNamespace(**vars(asking()), RawInputStream=Opening, RawOutputStream=Opening)
    found = Found(index=0, name="box", host_api=host_api, n_inputs=2, n_outputs=2, rate_hz=48000.0)
    assert opening_rates(library, found) == (rates_hz, exact_hz)
    assert tried[-1][0] == 48000  # a device that takes on the rates it is asked for is left at its own
    assert {is_exact for _, is_exact in tried} == ({False} if exact_hz is None else {False, True})


@pytest.mark.parametrize(
    "failure",
    [OSError("no process"), subprocess.CalledProcessError(1, "python"), subprocess.TimeoutExpired("python", 5.0)],
)
def test_a_library_that_does_not_load_or_answer_has_no_version(monkeypatch, failure):
    def fail(*_, **__):
        raise failure

    monkeypatch.setattr(subprocess, "run", fail)
    assert library_version() is None


def test_a_version_is_asked_in_a_process_of_its_own(monkeypatch, tmp_path):
    (tmp_path / "sounddevice.py").write_text("def get_portaudio_version():\n    return 1246976, 'made up 19.7'\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    had = "sounddevice" in sys.modules
    assert library_version() == "made up 19.7"
    assert ("sounddevice" in sys.modules) == had
