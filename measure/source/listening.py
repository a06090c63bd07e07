"""Taking what the recording process hands over, with a watch in hand: too late, silent, gone, each by its name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from measure.errors import NoProgressError
from measure.source.delivery import Block
from measure.source.engine import GRACE_S, RecordingProcess, raise_exit, raise_named
from measure.source.wire import BLOCK_HEAD, JSON, LEAD_S, SAMPLES

OPEN_LIMIT_S = 2.8  # [s] from when the process runs to the device, and from there to an open card
FIRST_LIMIT_S = 1.3  # [s] from there to the first block
NO_PROGRESS_S = 1.0  # [s] between two blocks
LATE_S = 1.3  # [s] by which the recording may last longer than its samples

OnBlock = Callable[["Progress"], bool | None]
Claim = Callable[[str, str], None]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Progress:
    """What came since the last time.

    Attributes
    ----------
    samples : ndarray of float32, shape (k, n_channels)
        The new samples; k may be 0 before the stimulus begins.
    n_recorded : int
        All samples until now.
    n_wanted : int or None
        All that will come; None where the stimulus repeats until it is stopped.
    rate_hz : int
        Sample rate. [Hz]
    flags : int
        Status flags, bits of `wire.FLAGS`.
    """

    samples: NDArray[np.float32]
    n_recorded: int
    n_wanted: int | None
    rate_hz: int
    flags: int = 0


@dataclass(slots=True, eq=False, kw_only=True)
class Tape:
    """What has come until now.

    Attributes
    ----------
    rate_hz : int
        Sample rate. [Hz]
    n_wanted : int or None
        Samples that will come; None where the stimulus repeats.
    parts : list of ndarray of float32, shape (k, n_channels)
        The samples.
    """

    rate_hz: int
    n_channels: int
    n_wanted: int | None
    parts: list[NDArray[np.float32]] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    n_recorded: int = 0

    def add(self, payload: bytes) -> Progress:
        """Take one frame of samples.

        Returns
        -------
        Progress
            For the caller's `on_block`.
        """
        time_s, flags, n_came = BLOCK_HEAD.unpack_from(payload)
        part = np.frombuffer(payload, dtype=np.float32, offset=BLOCK_HEAD.size).reshape(-1, self.n_channels)
        self.parts.append(part)
        self.blocks.append(Block(time_s=time_s, flags=flags, n_came=n_came, n_kept=len(part)))
        self.n_recorded += len(part)
        return Progress(samples=part, n_recorded=self.n_recorded, n_wanted=self.n_wanted, rate_hz=self.rate_hz, flags=flags)

    def samples(self) -> NDArray[np.float32]:
        """Join all of it.

        Returns
        -------
        ndarray of float32, shape (m, n_channels)
            Full scale is 1.
        """
        return np.concatenate(self.parts) if self.parts else np.zeros((0, self.n_channels), dtype=np.float32)

    def place(self) -> str:
        """Say how far it came."""
        whole = "" if self.n_wanted is None else f" of {self.n_wanted / self.rate_hz:.2f} s"
        return f"{self.n_recorded / self.rate_hz:.2f} s{whole}"


def listen(
    process: RecordingProcess, tape: Tape, on_block: OnBlock | None, claim: Claim | None = None
) -> tuple[dict[str, Any], bool]:
    """Take what comes until it is all there.

    Parameters
    ----------
    tape : Tape
        Takes the samples; what came until an error stays in it.
    on_block : callable or None
        Is told; stops the recording by returning True.
    claim : callable or None
        Is given the names of output and input before they are opened; prevents that by an error.

    Returns
    -------
    opened : dict
        Name and host API of `output` and `input`, and how they were opened: `is_exact`, `refusal`.
    was_stopped : bool
        By `on_block`.

    Raises
    ------
    NoProgressError
        If it was late; other kinds of DeviceError where the process said so, or ended.
    """
    opened = _wait_open(process, claim)
    limit_s = np.inf if tape.n_wanted is None else LEAD_S + tape.n_wanted / tape.rate_hz + LATE_S
    was_stopped = False
    while True:
        try:
            frame = process.next_frame(NO_PROGRESS_S if tape.blocks else FIRST_LIMIT_S)
        except TimeoutError as err:
            msg = f"no sound came from the card ({err}), after {tape.place()}: " + process.cure(
                "it or its sound server does not answer. Plug it in again or restart the server, and repeat the take."
            )
            raise NoProgressError(msg) from None
        if frame is None:
            raise_exit(process.end(grace_s=GRACE_S), f"after {tape.place()}")
        kind, content = frame
        if kind == SAMPLES:
            progress = tape.add(content)
            if tape.blocks[-1].time_s - tape.blocks[0].time_s > limit_s:  # by the process's clock: on_block may take its time
                msg = (
                    f"the card delivered only {tape.place()} within {limit_s:.1f} s: it loses samples, or runs at another rate "
                    f"than the {tape.rate_hz} Hz asked for. Set the same rate in the card, its server and rig.toml."
                )
                raise NoProgressError(msg)
            if on_block is not None and on_block(progress) and not was_stopped:
                was_stopped = True
                process.stop()
        elif content["event"] == "error":
            raise_named(content, f"after {tape.place()}")
        elif content["event"] in ("done", "stopped"):
            return opened, was_stopped


def _wait_open(process: RecordingProcess, claim: Claim | None) -> dict[str, Any]:
    """Wait until the card is open.

    Raises
    ------
    NoProgressError
        If it does not open in time; other kinds of DeviceError where the process said so, or ended.
    """
    try:
        frame = process.next_frame(OPEN_LIMIT_S)
        if frame is not None and frame[0] == JSON and frame[1]["event"] == "chosen":
            if claim is not None:
                claim(frame[1]["output"], frame[1]["input"])
            process.go()
            frame = process.next_frame(OPEN_LIMIT_S)
    except TimeoutError:
        msg = f"the sound card or its server did not open within {OPEN_LIMIT_S:.1f} s: " + process.cure(
            "it does not answer. Plug it in again or restart the server, and try again."
        )
        raise NoProgressError(msg) from None
    if frame is None or frame[0] != JSON:
        raise_exit(process.end(grace_s=GRACE_S), "before the card was open")
    content: dict[str, Any] = frame[1]
    if content["event"] != "opened":
        raise_named(content, "before the card was open")
    return content
