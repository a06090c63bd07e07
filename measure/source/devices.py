"""What PortAudio offers: devices, channels, and the rates at which they really open."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from measure.errors import NoProgressError
from measure.source.engine import GRACE_S, RecordingProcess, raise_exit, raise_named
from measure.source.portaudio import WASAPI, may_resample

Rates = tuple[tuple[int, ...], tuple[int, ...] | None]  # all that open, and those at which nobody resamples

LIST_LIMIT_S = 4.0  # [s] for one device to say at which rates it opens
LIST_WHOLE_S = 20.0  # [s] for all of them


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Device:
    """A device that PortAudio offers.

    Attributes
    ----------
    name, host_api : str
        As rig.toml names them.
    own_rate_hz : float
        What it runs at when nothing is asked for. [Hz]
    rates_hz : tuple of int or None
        Those of the usual rates at which it really opens, all its directions; None: it did not answer. [Hz]
    exact_hz : tuple of int or None
        Those of them at which it opens so that nobody resamples; None where the host API cannot be asked for that. [Hz]
    may_resample : bool
        Something may stand between a stream and the card that resamples without a word, at other rates than those.
    is_default_input, is_default_output : bool
        What is taken where no device is named.
    """

    name: str
    host_api: str
    n_inputs: int
    n_outputs: int
    own_rate_hz: float
    rates_hz: tuple[int, ...] | None = None
    exact_hz: tuple[int, ...] | None = None
    may_resample: bool = True
    is_default_input: bool = False
    is_default_output: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DeviceList:
    """All there is at this moment.

    Attributes
    ----------
    explanation : str
        Which one is the default and why, for people.
    library_text : str
        What the libraries printed meanwhile.
    """

    devices: tuple[Device, ...]
    explanation: str
    library: str
    library_text: str = ""


def list_devices() -> DeviceList:
    """Ask PortAudio what there is, and try at which rates each device opens.

    A device that does not answer costs `LIST_LIMIT_S` and leaves its rates open; the others are asked by a new process.

    Returns
    -------
    DeviceList
        Empty where there is no sound card.

    Raises
    ------
    LibraryMissingError
        If there is no PortAudio library.
    NoProgressError
        If it does not answer.
    """
    end_s = time.monotonic() + LIST_WHOLE_S
    listed: dict[str, Any] | None = None
    rates: dict[int, Rates] = {}
    texts: list[str] = []
    skip = 0
    while listed is None or (skip < len(listed["devices"]) and time.monotonic() < end_s):
        with RecordingProcess({"task": "list", "skip": skip}) as process:
            newly, is_done = _listen(process, rates, end_s=end_s)
            listed = newly or listed
            process.end(grace_s=GRACE_S if is_done else 0.0)
        texts += [process.library_text] if process.library_text else []
        if listed is None:
            msg = (
                f"PortAudio did not list its devices within {LIST_LIMIT_S:.0f} s: a sound server does not answer. "
                "Restart it, and try again."
            )
            raise NoProgressError(msg)
        skip = max([skip, *(index + 1 for index in rates)])
        skip += 0 if skip >= len(listed["devices"]) else 1
    return _device_list(listed, rates, "\n".join(texts))


def _listen(process: RecordingProcess, rates: dict[int, Rates], *, end_s: float) -> tuple[dict[str, Any] | None, bool]:
    """Take what comes, the rates into `rates`, until the end or until nothing comes; the list of devices, and if it is whole.

    Raises
    ------
    DeviceError
        If the process said so, or ended before it had listed anything.
    """
    listed: dict[str, Any] | None = None
    while (left_s := end_s - time.monotonic()) > 0:
        try:
            frame = process.next_frame(min(LIST_LIMIT_S, left_s))
        except TimeoutError:
            break
        if frame is None:
            if listed is None:
                raise_exit(process.end(grace_s=GRACE_S), "before it listed the devices")
            break
        content = frame[1]
        if content["event"] == "error":
            raise_named(content, "while the devices were listed")
        if content["event"] == "done":
            return listed, True
        if content["event"] == "devices":
            listed = content
        else:
            exact_hz = content["exact_hz"]
            rates[int(content["index"])] = tuple(content["rates_hz"]), None if exact_hz is None else tuple(exact_hz)
    return listed, False


def _device_list(listed: dict[str, Any], rates: dict[int, Rates], text: str) -> DeviceList:
    devices = tuple(
        Device(
            name=each["name"],
            host_api=each["host_api"],
            n_inputs=each["n_inputs"],
            n_outputs=each["n_outputs"],
            own_rate_hz=each["rate_hz"],
            rates_hz=rates.get(index, (None, None))[0],
            exact_hz=rates.get(index, (None, None))[1],
            may_resample=may_resample(each["name"], each["host_api"]),
            is_default_input=index == listed["default_input"],
            is_default_output=index == listed["default_output"],
        )
        for index, each in enumerate(listed["devices"])
    )
    return DeviceList(devices=devices, explanation=_explain(devices), library=listed["version"], library_text=text)


def _explain(devices: tuple[Device, ...]) -> str:
    """Say which device is taken where none is named, and why."""
    if not devices:
        return "PortAudio finds no device: plug the sound card in, see that the sound server runs, and try again."
    output = next((each for each in devices if each.is_default_output), None)
    input_ = next((each for each in devices if each.is_default_input), None)
    parts = [
        f"{name}: {each.name} ({each.host_api})" if each is not None else f"{name}: none"
        for name, each in (("default output", output), ("default input", input_))
    ]
    told = f"{'; '.join(parts)}. They are what the system names first among the devices of "
    taken = {each.host_api for each in (output, input_) if each is not None}
    told += f"{WASAPI}, which can leave out its mixer." if taken == {WASAPI} else "PortAudio's first sound system."
    doubtful = [each.name for each in (output, input_) if each is not None and each.rates_hz == ()]
    if doubtful:
        told += f" {doubtful[0]} does not open at any usual rate: name another device in rig.toml."
    return told
