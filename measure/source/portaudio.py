"""PortAudio, as the recording process sees it: its devices, by name; the one place that imports sounddevice."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from typing import Any

from measure.errors import LibraryMissingError, NoCardError, UnknownDeviceError

RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
VERSION_LIMIT_S = 5.0  # a sound server may keep a client waiting for ever
N_NAMED = 8  # devices that a message names at most
WASAPI, CORE_AUDIO = "Windows WASAPI", "Core Audio"  # as PortAudio names them
MIXED = ("MME", "Windows DirectSound")  # host APIs whose streams the system always mixes, and resamples where rates differ
DIRECT = ("ASIO", "Windows WDM-KS")  # those that open the card itself
SERVERS = ("JACK Audio Connection Kit", "PulseAudio", "PipeWire")
INSTALL = "Install it (Debian, Ubuntu: apt install libportaudio2; macOS: brew install portaudio) and try again."


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """A device, as PortAudio numbers it in this process.

    Attributes
    ----------
    index : int
        Its number; another process may number otherwise.
    name, host_api : str
        As the system names them.
    rate_hz : float
        What it runs at when nothing is asked for. [Hz]
    """

    index: int
    name: str
    host_api: str
    n_inputs: int
    n_outputs: int
    rate_hz: float


def load_library() -> Any:
    """Import sounddevice, which starts PortAudio; the list of devices is that of this moment.

    Returns
    -------
    module
        `sounddevice`.

    Raises
    ------
    LibraryMissingError
        If the PortAudio library is not there.
    """
    try:
        import sounddevice
    except OSError as err:
        msg = f"the PortAudio library cannot be loaded ({' '.join(str(err).split())}), so there is no sound. {INSTALL}"
        raise LibraryMissingError(msg) from err
    return sounddevice


def library_version() -> str | None:
    """Version of PortAudio, asked in a process of its own, where its noise ends; None where it cannot be loaded."""
    asked = "import sounddevice; print(sounddevice.get_portaudio_version()[1])"
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-c", asked], capture_output=True, text=True, timeout=VERSION_LIMIT_S, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout.strip().removeprefix("PortAudio ").partition(",")[0] or None


def end_library() -> None:
    """End PortAudio in order where it was loaded, so that a sound server need not wait for its client; may wait for ever."""
    loaded = sys.modules.get("sounddevice")
    if loaded is not None:
        loaded._terminate()


def exact_settings(sd: Any, host_api: str) -> Any | None:
    """Ask that a stream opens only where nobody resamples it; None where the host API cannot be asked.

    WASAPI: exclusive mode, past the system's mixer. Core Audio: the device is set to the rate asked for, and opening fails where
    it cannot be. Neither was ever tried on a real card.

    Parameters
    ----------
    sd : module
        From `load_library`.
    """
    if host_api == WASAPI:
        return sd.WasapiSettings(exclusive=True)
    if host_api == CORE_AUDIO:
        return sd.CoreAudioSettings(change_device_parameters=True, fail_if_conversion_required=True)
    return None


def may_resample(name: str, host_api: str) -> bool:
    """Tell whether something may stand between a stream and the card that resamples without a word.

    Returns
    -------
    bool
        Of WASAPI and Core Audio: where they do not open by `exact_settings`.
    """
    return host_api not in DIRECT and not (host_api == "ALSA" and "(hw:" in name)


def find_devices(sd: Any) -> list[Found]:
    """List all devices.

    Parameters
    ----------
    sd : module
        From `load_library`.
    """
    names = [str(api["name"]) for api in sd.query_hostapis()]
    return [
        Found(
            index=index,
            name=str(info["name"]),
            host_api=names[info["hostapi"]],
            n_inputs=int(info["max_input_channels"]),
            n_outputs=int(info["max_output_channels"]),
            rate_hz=float(info["default_samplerate"]),
        )
        for index, info in enumerate(sd.query_devices())
    ]


def default_index(sd: Any, *, is_input: bool) -> int | None:
    """Find the default device: PortAudio's, or that of WASAPI where PortAudio's is always mixed by the system.

    Parameters
    ----------
    sd : module
        From `load_library`.

    Returns
    -------
    int or None
        Its number; None where there is none.
    """
    index = int(sd.default.device[0 if is_input else 1])
    if index < 0:
        return None
    apis = sd.query_hostapis()
    if apis[int(sd.query_devices()[index]["hostapi"])]["name"] in MIXED:
        key = "default_input_device" if is_input else "default_output_device"
        index = next((int(api[key]) for api in apis if api["name"] == WASAPI and int(api[key]) >= 0), index)
    return index


def choose_device(sd: Any, *, name: str | None, host_api: str | None, is_input: bool) -> Found:
    """Find the device that was asked for.

    Parameters
    ----------
    sd : module
        From `load_library`.
    name : str or None
        Its name, or a part of it that no other has; None: the default one.
    host_api : str or None
        Only devices of this one.
    is_input : bool
        Only devices with inputs, or with outputs.

    Returns
    -------
    Found
        The device. One that stands under several host APIs is taken from that of the default device, else from the first.

    Raises
    ------
    NoCardError
        If there is no device, or no default one and none was named.
    UnknownDeviceError
        If none, or several, have that name.
    """
    direction = "input" if is_input else "output"
    devices = [each for each in find_devices(sd) if (each.n_inputs if is_input else each.n_outputs) > 0]
    if not devices:
        msg = f"no sound card with an {direction} was found. Plug it in, see that the sound server runs, and try again."
        raise NoCardError(msg)
    default = default_index(sd, is_input=is_input)
    usual = next((each.host_api for each in devices if each.index == default), "")
    if host_api is not None:
        apis = sorted({each.host_api for each in devices})
        devices = [each for each in devices if each.host_api.casefold() == host_api.casefold()]
        if not devices:
            msg = f"no {direction} of sound system {host_api!r}; there are: {', '.join(apis)}. `coilsweep devices` lists them."
            raise UnknownDeviceError(msg)
    if name is None:
        return _default_of(sd, devices, default=default, direction=direction)
    matches = _matching(devices, name)
    if not matches:
        listed = ", ".join(repr(each.name) for each in devices[:N_NAMED]) + (", …" if len(devices) > N_NAMED else "")
        msg = f"no {direction} device is called {name!r}; there are: {listed}. `coilsweep devices` lists them."
        raise UnknownDeviceError(msg)
    if len({each.name for each in matches}) > 1:
        listed = ", ".join(repr(each.name) for each in matches[:N_NAMED])
        msg = f"{name!r} fits {len(matches)} {direction} devices: {listed}. Give the whole name."
        raise UnknownDeviceError(msg)
    return next((each for each in matches if each.host_api == usual), matches[0])


def _matching(devices: list[Found], name: str) -> list[Found]:
    """Devices of exactly that name, else regardless of case, else with that part in their name."""
    wanted = name.casefold()
    for is_match in (
        lambda each: each.name == name,
        lambda each: each.name.casefold() == wanted,
        lambda each: wanted in each.name.casefold(),
    ):
        found = [each for each in devices if is_match(each)]
        if found:
            return found
    return []


def _default_of(sd: Any, devices: list[Found], *, default: int | None, direction: str) -> Found:
    """Take the default device, or that of the host API that was asked for.

    Raises
    ------
    NoCardError
        If there is none.
    """
    candidates = [default]
    candidates += [int(api[f"default_{direction}_device"]) for api in sd.query_hostapis()]
    for index in candidates:
        for each in devices:
            if each.index == index:
                return each
    msg = f"no default {direction} device. Name one: `coilsweep devices` lists them."
    raise NoCardError(msg)


def opening_rates(sd: Any, found: Found) -> tuple[list[int], list[int] | None]:
    """Try which rates really open, each direction alone.

    Parameters
    ----------
    sd : module
        From `load_library`.

    Returns
    -------
    rates_hz : list of int
        Of `RATES_HZ` and the device's own one, those at which all its directions open. [Hz]
    exact_hz : list of int or None
        Those at which they open by `exact_settings`; None where the host API has none. [Hz]
    """
    kinds = [(sd.RawInputStream, found.n_inputs), (sd.RawOutputStream, found.n_outputs)]
    rates = sorted({*RATES_HZ, round(found.rate_hz)})

    def opening(settings: Any | None) -> list[int]:
        # the own one last: a device that takes on the rates it is asked for is left at it
        by_own_rate = sorted(rates, key=lambda rate: rate == round(found.rate_hz))
        return [
            rate
            for rate in by_own_rate
            if all(_opens(sd, kind, found, n_channels=min(n, 2), rate_hz=rate, settings=settings) for kind, n in kinds if n > 0)
        ]

    settings = exact_settings(sd, found.host_api)
    exact_hz = None if settings is None else sorted(opening(settings))
    return sorted({*opening(None), *(exact_hz or ())}), exact_hz


def _opens(sd: Any, kind: Any, found: Found, *, n_channels: int, rate_hz: int, settings: Any | None) -> bool:
    common = {"samplerate": rate_hz, "dtype": "float32", "extra_settings": settings}
    try:
        kind(device=found.index, channels=n_channels, callback=lambda *_: None, **common).close()
    except sd.PortAudioError:
        return False
    return True
