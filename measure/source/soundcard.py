"""The sound card: what there is, and a stimulus played while its answer is recorded.

PortAudio runs in a process of its own (`child`), which `engine` watches: whatever the card does, a recording ends within the
length of its stimulus and five seconds, with what was recorded or with a named error.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure.errors import DeviceError, NoProgressError
from measure.lock import this_process
from measure.response import Finding, FloatArray
from measure.source.clocks import align_clocks, judge_clocks
from measure.source.delivery import judge_delivery, judge_opening, measure_rate
from measure.source.engine import GRACE_S, RecordingProcess, raise_exit, raise_named
from measure.source.listening import OnBlock, Tape, listen
from measure.source.owner import one_owner
from measure.source.player import soften_ends

FIND_LIMIT_S = 6.0  # [s] for PortAudio to name its devices
TAIL_S = 0.5  # [s] recorded after the stimulus: latency, and the slowest pickup has rung down long before


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Capture:
    """What was recorded, and how it came.

    Attributes
    ----------
    samples : ndarray of float32, shape (m, n_channels)
        Exact for up to 24 bits; full scale is 1; the first one was taken when the first one of `played` was handed out.
    played : ndarray of float32, shape (n,)
        The stimulus as it was played: its ends ramped where it was not silent there.
    rate_hz : int
        Asked for, and said to be that of the card. [Hz]
    measured_rate_hz : float or None
        By the computer's clock, within some 0.1 %; None for less than 1.5 s. [Hz]
    output, input : str
        Devices, with their host API.
    time_utc : str
        When it began. ISO 8601.
    findings : tuple of Finding
        One for each of `delivery.NAMES`, one about how the card was opened where that tells something, and for two devices one
        about their clocks.
    drift_ppm : float or None
        With two devices, how much faster the input's clock runs: taken out of the samples. None for one device, and where it
        could not be measured. [1e-6]
    was_stopped : bool
        Ended before its time, by `on_block`.
    library_text : str
        What the libraries printed meanwhile.
    """

    samples: NDArray[np.float32]
    played: NDArray[np.float32]
    rate_hz: int
    measured_rate_hz: float | None
    output: str
    input: str
    time_utc: str
    findings: tuple[Finding, ...] = ()
    drift_ppm: float | None = None
    was_stopped: bool = False
    library_text: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SoundCard:
    """A sound card, or an output here and an input there; a `Source`. Nothing is opened before a recording.

    Attributes
    ----------
    device : str or None
        Name of the output, and of the input where `input_device` is None; None: the default one.
    input_device : str or None
        Where another device records.
    output_channel, pickup_channel : int
        Count from 1.
    reference_channel : int or None
        Counts from 1; None where no reference is recorded.
    """

    device: str | None = None
    host_api: str | None = None
    input_device: str | None = None
    output_channel: int = 1
    pickup_channel: int = 1
    reference_channel: int | None = 2

    def __post_init__(self) -> None:
        """Check the channels once.

        Raises
        ------
        ValueError
            If a channel is below 1, or both inputs are the same.
        """
        inputs = [channel for channel in (self.pickup_channel, self.reference_channel) if channel is not None]
        if min(self.output_channel, *inputs) < 1 or len(set(inputs)) < len(inputs):
            msg = (
                f"channels count from 1 and pickup and reference differ, got output {self.output_channel}, pickup "
                f"{self.pickup_channel}, reference {self.reference_channel}"
            )
            raise ValueError(msg)

    def describe(self) -> str:
        """Name of the device, for people."""
        name = self.device or "default sound card"
        where = f" ({self.host_api})" if self.host_api else ""
        return f"{name}{where}" if self.input_device is None else f"{name} to {self.input_device}{where}"

    def record(self, stimulus: FloatArray, *, rate_hz: int, n_channels: int = 2) -> FloatArray:
        """Play a stimulus and record while it plays, and `TAIL_S` longer; `play_and_record` tells more.

        Parameters
        ----------
        stimulus : ndarray, shape (n,)
            Full scale is 1.
        rate_hz : int
            Sample rate of both directions. [Hz]
        n_channels : int
            Two: pickup, reference. One: the pickup alone.

        Returns
        -------
        ndarray, shape (m, n_channels)
            What came in, m >= n; full scale is 1.
        """
        return play_and_record(self, stimulus, rate_hz=rate_hz, n_channels=n_channels).samples.astype(float)


def require_card(card: SoundCard) -> None:
    """See that what is to play and to record is there, without opening it: before somebody is asked to connect it.

    Raises
    ------
    DeviceError
        If there is no card, none of that name, no PortAudio library, or another process of this tool has the card.
    NoProgressError
        If it does not answer.
    """
    with RecordingProcess({"task": "find", **_wanted_devices(card)}) as process:
        try:
            frame = process.next_frame(FIND_LIMIT_S)
        except TimeoutError:
            msg = f"the sound system did not answer within {FIND_LIMIT_S:.0f} s. Restart its server, and try again."
            raise NoProgressError(msg) from None
        if frame is None:
            raise_exit(process.end(grace_s=GRACE_S), "while the card was looked for")
        if frame[1]["event"] == "error":
            raise_named(frame[1], "while the card was looked for")
        with one_owner() as claims:
            claims.claim(frame[1]["output"], frame[1]["input"])


def _wanted_devices(card: SoundCard) -> dict[str, dict[str, Any]]:
    return {
        "output": {"device": card.device, "host_api": card.host_api},
        "input": {"device": card.input_device or card.device, "host_api": card.host_api},
    }


def play_and_record(
    card: SoundCard,
    stimulus: FloatArray,
    *,
    rate_hz: int,
    n_channels: int = 2,
    on_block: OnBlock | None = None,
    repeats: bool = False,
) -> Capture:
    """Play a stimulus and record, in a process of its own with a deadline.

    Interrupted (KeyboardInterrupt, or an error in `on_block`) it ramps the output to silence and closes the card first:
    0.3 s, 5 s at most, on a busy machine or where the sound system does not answer.

    Parameters
    ----------
    stimulus : ndarray, shape (n,)
        Full scale is 1; ends that are not silent are ramped over `player.RAMP_S`. Nothing louder is ever played.
    rate_hz : int
        Sample rate of both directions. [Hz]
    n_channels : int
        Two: pickup, reference. One: the pickup alone.
    on_block : callable, optional
        Is given each `Progress`; where it returns True, the output is ramped to silence and the recording ends there.
    repeats : bool
        Start the stimulus again at its end, until `on_block` stops it; join its ends without a step.

    Returns
    -------
    Capture
        At least n samples, unless it was stopped.

    Raises
    ------
    DeviceError
        Named (see `measure.errors`), within the length of the stimulus and five seconds; carries what was recorded.
    ValueError
        If the stimulus is empty, not finite or beyond full scale, if a channel is missing, or if nothing could stop it.
    """
    channels = _wanted_channels(card, n_channels)
    _require_playable(stimulus, repeats=repeats, is_stoppable=on_block is not None)
    played = soften_ends(stimulus, rate_hz=rate_hz, both=not repeats)
    n_wanted = None if repeats else len(played) + round(TAIL_S * rate_hz)
    wanted = _wanted_devices(card)
    head = {
        "task": "record",
        "owner": this_process(),
        "rate_hz": rate_hz,
        "n_played": len(played),
        "n_frames": n_wanted,
        "repeats": repeats,
        "output": wanted["output"] | {"channel": card.output_channel},
        "input": wanted["input"] | {"channels": channels},
    }
    to_play = played.tobytes() + (np.asarray(stimulus, dtype=np.float32).tobytes() if repeats else b"")
    tape = Tape(rate_hz=rate_hz, n_channels=len(channels), n_wanted=n_wanted)
    time_utc = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    process = RecordingProcess(head, to_play)
    try:
        with one_owner() as claims, process:
            opened, was_stopped = listen(process, tape, on_block, claims.claim)
    except DeviceError as err:
        err.samples = tape.samples()
        if process.library_text:
            err.add_note(process.library_text)
        raise
    samples = tape.samples()
    findings = judge_delivery(samples, played=played, rate_hz=rate_hz, blocks=tape.blocks)
    mode = judge_opening(
        [(name, host_api) for name, host_api in (opened["output"], opened["input"])],
        is_exact=opened["is_exact"],
        refusal=opened["refusal"],
        rate_hz=rate_hz,
    )
    findings += () if mode is None else (mode,)
    drift_ppm = None
    if opened["output"] != opened["input"]:
        samples, drift_ppm = align_clocks(samples, played, rate_hz=rate_hz)
        findings += (judge_clocks(drift_ppm),)
    return Capture(
        samples=samples,
        played=played,
        rate_hz=rate_hz,
        measured_rate_hz=measure_rate(tape.blocks, rate_hz=rate_hz),
        output=_shown(opened["output"]),
        input=_shown(opened["input"]),
        time_utc=time_utc,
        findings=findings,
        drift_ppm=drift_ppm,
        was_stopped=was_stopped,
        library_text=process.library_text,
    )


def _wanted_channels(card: SoundCard, n_channels: int) -> list[int]:
    """List the inputs to record, in the order of the columns.

    Raises
    ------
    ValueError
        If a reference is asked for and the card has none.
    """
    if n_channels not in (1, 2) or (n_channels == 2 and card.reference_channel is None):
        msg = (
            f"{n_channels} channels asked for, the card is set up for pickup {card.pickup_channel} and "
            f"reference {card.reference_channel}"
        )
        raise ValueError(msg)
    channels = [card.pickup_channel, card.reference_channel][:n_channels]
    return [channel for channel in channels if channel is not None]


def _require_playable(stimulus: FloatArray, *, repeats: bool, is_stoppable: bool) -> None:
    """See that it can be played.

    Raises
    ------
    ValueError
        If it cannot.
    """
    if np.ndim(stimulus) != 1 or not len(stimulus) or not np.all(np.isfinite(stimulus)) or np.max(np.abs(stimulus)) > 1:
        msg = "the stimulus must be one row of finite samples within full scale, -1 to 1"
        raise ValueError(msg)
    if repeats and not is_stoppable:
        msg = "a stimulus that repeats needs on_block to stop it"
        raise ValueError(msg)


def _shown(names: list[str]) -> str:
    return f"{names[0]} ({names[1]})"
