"""The parent's side of the recording process: starts it, listens with a watch in hand, and ends it whatever the card does."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Any, NoReturn, Self

from measure.errors import (
    CardHeldError,
    ChannelError,
    DeviceError,
    DeviceGoneError,
    LibraryMissingError,
    NoCardError,
    NoProgressError,
    OpenError,
    RateError,
    ServerDiedError,
    UnknownDeviceError,
)
from measure.source.wire import GO, JSON, SAMPLES, STOP, read_frame, write_frame, write_json

# A client that is killed where it joins or leaves a sound server may stop that server: the process gets what a busy machine takes
# to play its ramp to silence and to close the card, and ends by itself before that where the server does not answer.
GRACE_S = 5.0  # [s]
LATE_GRACE_S = 1.5  # [s] for one that did not answer in time on a busy machine
START_LIMIT_S = 12.0  # [s] for the process to run at all, which has nothing to do with a card
SLOW_START_S = 1.0  # [s] a machine that takes longer is busy; usual are some tenths
BUSY_LOAD = 1.5  # [1] processes a processor that want to run
NAMED: dict[str, type[DeviceError]] = {
    kind.__name__: kind
    for kind in (
        CardHeldError,
        ChannelError,
        DeviceGoneError,
        LibraryMissingError,
        NoCardError,
        NoProgressError,
        OpenError,
        RateError,
        ServerDiedError,
        UnknownDeviceError,
    )
}
STARTED = (JSON, json.dumps({"event": "started"}).encode())
KEPT_BYTES = 64_000  # of what the libraries print
START = "import sys; sys.path.insert(0, sys.argv[1]); from measure.source.child import main; main()"


class RecordingProcess:
    """A process that may hang or die without taking its parent along; use it in a ``with``.

    Parameters
    ----------
    head : dict
        The order; what JSON can hold.
    stimulus : bytes
        What is to be played, float32.
    """

    def __init__(self, head: dict[str, Any], stimulus: bytes = b"") -> None:
        """Start it."""
        self._printed = tempfile.TemporaryFile()  # noqa: SIM115 - closed in end()
        self._frames: queue.SimpleQueue[tuple[bytes, bytes] | None] = queue.SimpleQueue()
        self._words: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._is_running = threading.Event()
        self._begun_s, self._start_s = time.monotonic(), 0.0
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", START, str(Path(__file__).resolve().parents[2])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._printed,
            env={"JACK_NO_START_SERVER": "1", **os.environ},
            # Ctrl-C goes to the parent alone, which has the output ramped down.
            **_apart(),
        )
        self._writer = threading.Thread(target=self._write, args=(head, stimulus), daemon=True)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._writer.start()
        self._reader.start()
        self.library_text = ""  # what the libraries printed, once it has ended

    def __enter__(self) -> Self:
        """Nothing more to do."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        """End it: at once where it hangs, else in order; a parent that was interrupted waits for the ramp to silence."""
        is_hanging = isinstance(error, NoProgressError)
        self.end(grace_s=GRACE_S if not is_hanging else LATE_GRACE_S if self._busy() else 0.0)

    def next_frame(self, limit_s: float) -> tuple[bytes, Any] | None:
        """Wait for what comes next.

        Parameters
        ----------
        limit_s : float
            How long. [s]

        Returns
        -------
        tuple or None
            `JSON` with a dict, or `SAMPLES` with bytes; None when the process has ended.

        Raises
        ------
        TimeoutError
            If nothing came.
        NoProgressError
            If the process did not even begin to run.
        """
        if not self._is_running.wait(START_LIMIT_S):
            msg = (
                f"the process that records did not start within {START_LIMIT_S:.0f} s: this computer is busy with other work. "
                "Close what keeps it busy, and try again."
            )
            raise NoProgressError(msg)
        try:
            frame = self._frames.get(timeout=max(limit_s, 1e-3))
        except queue.Empty:
            msg = f"nothing for {limit_s:.1f} s"
            raise TimeoutError(msg) from None
        if frame is None:
            return None
        kind, payload = frame
        return (JSON, json.loads(payload)) if kind == JSON else (SAMPLES, payload)

    def cure(self, usual: str) -> str:
        """Say what helps where no answer came in time: on a busy machine the card is not to blame.

        Parameters
        ----------
        usual : str
            What helps on another.
        """
        told = self._busy()
        return f"this computer is busy ({', '.join(told)}). Close what keeps it busy, and try again." if told else usual

    def _busy(self) -> list[str]:
        """Tell by what this machine shows that it is busy; nothing where it is not."""
        told = [f"starting took {self._start_s:.1f} s"] if self._start_s > SLOW_START_S else []
        n_processors = os.cpu_count() or 1
        load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
        return [*told, f"load {load:.1f} on {n_processors} processors"] if load > BUSY_LOAD * n_processors else told

    def go(self) -> None:
        """Have the device opened that was found."""
        self._send(GO)

    def stop(self) -> None:
        """Have the output ramped to silence; what was recorded until then still comes."""
        self._send(STOP)

    def _send(self, word: bytes) -> None:
        self._words.put(word)  # behind the order, which a busy machine may not have read yet: no word is lost

    def end(self, *, grace_s: float) -> int:
        """End the process, and wait until it is gone.

        Parameters
        ----------
        grace_s : float
            It may go by itself within that time. [s]

        Returns
        -------
        int
            Its exit code; below 0 the signal that ended it.
        """
        if self._printed.closed:
            return int(self._process.returncode)
        try:
            if grace_s > 0:
                self._await_end(grace_s)
        finally:
            if self._process.poll() is None:
                self._process.kill()
            code = self._process.wait()
            self._words.put(None)
            self._reader.join()
            self._writer.join()
            for pipe in (self._process.stdin, self._process.stdout):
                if pipe is not None:
                    with contextlib.suppress(OSError):
                        pipe.close()
            self._printed.seek(0)
            self.library_text = self._printed.read(KEPT_BYTES).decode(errors="replace").strip()
            self._printed.close()
        return int(code)

    def _await_end(self, grace_s: float) -> None:
        """Tell it to stop, and wait.

        Raises
        ------
        KeyboardInterrupt
            Where one comes, once the card is closed; at once for a second one.
        """
        end_s = time.monotonic() + grace_s
        try:
            self.stop()
            self._wait(grace_s)
        except KeyboardInterrupt:
            self.stop()
            self._wait(end_s - time.monotonic())
            raise

    def _wait(self, limit_s: float) -> None:
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=max(limit_s, 0.0))

    def _write(self, head: dict[str, Any], stimulus: bytes) -> None:
        pipe = self._process.stdin
        if pipe is not None:
            with contextlib.suppress(OSError, ValueError):
                write_json(pipe, **head)
                write_frame(pipe, SAMPLES, stimulus)
                while (word := self._words.get()) is not None:
                    pipe.write(word)
                    pipe.flush()

    def _read(self) -> None:
        pipe = self._process.stdout
        if pipe is not None:
            while (frame := read_frame(pipe)) is not None:
                if not self._is_running.is_set():
                    self._start_s = time.monotonic() - self._begun_s
                    self._is_running.set()
                if frame != STARTED:
                    self._frames.put(frame)
        self._frames.put(None)
        self._is_running.set()


def _apart() -> dict[str, Any]:
    """Start it outside the terminal's group of processes."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}


def raise_named(message: dict[str, Any], place: str) -> NoReturn:
    """Raise the error that the recording process named.

    Parameters
    ----------
    message : dict
        With `error`, the name of its class, and `text`.
    place : str
        Where that was, for those that happen on the way.

    Raises
    ------
    DeviceError
        Always, in its named kind.
    """
    kind = NAMED.get(str(message.get("error")), DeviceError)
    text = str(message.get("text"))
    if kind in (ServerDiedError, DeviceGoneError):
        again = "Start it again" if kind is ServerDiedError else "Plug it in again"
        text = f"{text} {place}. {again}, and repeat the take."
    raise kind(text)


def raise_exit(code: int, place: str) -> NoReturn:
    """Name the end of a recording process that said nothing.

    Parameters
    ----------
    code : int
        Its exit code; below 0 the signal that ended it.

    Raises
    ------
    ServerDiedError
        If a signal ended it.
    OpenError
        If it ended by itself.
    """
    if code < 0:
        msg = (
            f"the sound library ended its process by signal {-code}, {place}: its server went or is broken. "
            "Restart it, and try again."
        )
        raise ServerDiedError(msg)
    msg = f"the recording process ended (exit code {code}), {place}. --debug shows what it printed."
    raise OpenError(msg)
