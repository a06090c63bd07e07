"""What runs in the recording process: opens the card, plays, hands over what comes in, and ends whether the card answers or not.

The process talks through its standard input and output (`wire`). It reads an order, waits for the word to open, and then for that
to stop, or for the end of the pipe, upon which it ramps the output to silence and goes. It ends PortAudio in order, since a
server may wait for seconds for a client that is just gone, but gives that some seconds: where a server does not answer, PortAudio
hangs or aborts.
"""

from __future__ import annotations

import gc
import json
import os
import queue
import signal
import sys
import threading
import time
import traceback
from types import TracebackType
from typing import IO, Any, NoReturn

import numpy as np

from measure.errors import DeviceError, DeviceGoneError, ServerDiedError
from measure.response import FloatArray
from measure.source import portaudio
from measure.source.owner import hold_while_playing
from measure.source.player import RAMP_S, Player
from measure.source.streams import Streams
from measure.source.wire import BLOCK_HEAD, GO, LEAD_S, SAMPLES, read_frame, write_frame, write_json

FLUSH_S = 0.25  # [s] of silence played after a ramp to silence: it has left the card's buffers
POLL_S = 0.05  # [s]
LINGER_S = 3.5  # [s] that closing may take
OUTLIVE_S = 4.5  # [s] that the process goes on after it was told to stop


def main() -> NoReturn:
    """Do what the parent orders, and leave."""
    order, pipe = _take_pipes()
    sys.excepthook = _leave_on_error
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop
    write_json(pipe, event="started")
    try:
        head, payload = _read_order(order)
        if head["task"] == "list":
            _list_devices(pipe, skip=int(head["skip"]))
        elif head["task"] == "find":
            _find_devices(pipe, head)
        else:
            _Recorder(head, np.frombuffer(payload, dtype=np.float32), order=order, pipe=pipe).run()
    except DeviceError as err:
        write_json(pipe, event="error", error=type(err).__name__, text=str(err))
        if isinstance(err, ServerDiedError | DeviceGoneError):
            os._exit(0)  # who would answer?
    _start_leaving()
    portaudio.end_library()
    os._exit(0)


def _start_leaving() -> None:
    """Give PortAudio some seconds to end in order, and leave then in any case."""
    threading.Timer(LINGER_S, os._exit, args=(0,)).start()


def _take_pipes() -> tuple[IO[bytes], IO[bytes]]:
    """Keep the two pipes to itself: what a library prints must not get between the frames."""
    order, pipe = os.dup(0), os.dup(1)
    if sys.platform == "win32":
        import msvcrt

        msvcrt.setmode(order, os.O_BINARY)
        msvcrt.setmode(pipe, os.O_BINARY)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.dup2(2, 1)
    return os.fdopen(order, "rb"), os.fdopen(pipe, "wb")


def _leave_on_error(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> NoReturn:
    """Say what went wrong where it is kept for --debug, and leave."""
    traceback.print_exception(kind, error, trace)
    sys.stderr.flush()
    os._exit(1)


def _read_order(order: IO[bytes]) -> tuple[dict[str, Any], bytes]:
    """Read what is to be done and what is to be played; leave where the parent went."""
    head, stimulus = read_frame(order), read_frame(order)
    if head is None or stimulus is None:
        os._exit(0)
    return json.loads(head[1]), stimulus[1]


def _list_devices(pipe: IO[bytes], *, skip: int) -> None:
    """Say what there is, then the rates of each device, those from `skip` on."""
    sd = portaudio.load_library()
    found = portaudio.find_devices(sd)
    defaults = [portaudio.default_index(sd, is_input=is_input) for is_input in (True, False)]
    write_json(
        pipe,
        event="devices",
        version=sd.get_portaudio_version()[1],
        default_input=defaults[0],
        default_output=defaults[1],
        devices=[
            {
                "name": each.name,
                "host_api": each.host_api,
                "n_inputs": each.n_inputs,
                "n_outputs": each.n_outputs,
                "rate_hz": each.rate_hz,
            }
            for each in found
        ],
    )
    for each in found[skip:]:
        rates_hz, exact_hz = portaudio.opening_rates(sd, each)
        write_json(pipe, event="rates", index=each.index, rates_hz=rates_hz, exact_hz=exact_hz)
    write_json(pipe, event="done")


def _find_devices(pipe: IO[bytes], head: dict[str, Any]) -> None:
    """See that the output and the input that are named are there; nothing is opened."""
    sd = portaudio.load_library()
    output, input_ = _chosen(sd, head)
    write_json(pipe, event="done", output=output.name, input=input_.name)


def _chosen(sd: Any, head: dict[str, Any]) -> tuple[portaudio.Found, portaudio.Found]:
    output, input_ = (
        portaudio.choose_device(sd, name=head[side]["device"], host_api=head[side]["host_api"], is_input=side == "input")
        for side in ("output", "input")
    )
    return output, input_


class _Recorder:
    """One recording."""

    def __init__(self, head: dict[str, Any], stimulus: Any, *, order: IO[bytes], pipe: IO[bytes]) -> None:
        self._head, self._order, self._pipe = head, order, pipe
        self._rate_hz = int(head["rate_hz"])
        self._n_lead = round(LEAD_S * self._rate_hz)
        n_played = int(head["n_played"])
        self._player = Player(
            stimulus[:n_played],
            n_lead=self._n_lead,
            n_ramp=round(RAMP_S * self._rate_hz),
            repeats=bool(head["repeats"]),
            body=stimulus[n_played:] if head["repeats"] else None,
        )
        self._blocks: queue.SimpleQueue[tuple[float, int, FloatArray]] = queue.SimpleQueue()
        self._parent_went = False
        self._is_stopping = threading.Event()
        self._has_word = threading.Event()  # of the parent: to open, or to stop

    def run(self) -> None:
        """Open, play, hand over, close."""
        threading.Thread(target=self._wait_for_stop, daemon=True).start()
        if self._is_stopping.is_set():
            return
        sd = portaudio.load_library()
        wanted = self._head["output"], self._head["input"]
        output, input_ = _chosen(sd, self._head)
        self._tell("chosen", output=output.name, input=input_.name)
        self._has_word.wait()
        if self._is_stopping.is_set():
            return
        hold_while_playing(output.name, input_.name, told=self._head["owner"])
        streams = Streams(
            sd,
            output,
            input_,
            rate_hz=self._rate_hz,
            output_channel=int(wanted[0]["channel"]),
            input_channels=tuple(wanted[1]["channels"]),
            fill=self._fill,
            take=self._take,
        )
        if self._is_stopping.is_set():
            return
        names = {"output": [output.name, output.host_api], "input": [input_.name, input_.host_api]}
        self._tell("opened", **names, is_exact=streams.is_exact, refusal=streams.refusal)
        gc.disable()
        streams.start()
        self._hand_over(streams, is_server=output.host_api in portaudio.SERVERS)
        _start_leaving()
        streams.end()

    def _fill(self, channel: FloatArray) -> None:
        channel[:] = self._player.next_block(len(channel))

    def _take(self, block: FloatArray, flags: int) -> None:
        if self._player.position > 0:  # two devices: the input starts first
            self._blocks.put((time.perf_counter(), flags, block))

    def _hand_over(self, streams: Streams, *, is_server: bool) -> None:
        """Pass the blocks on until all is there, or the ramp to silence has been played.

        Raises
        ------
        ServerDiedError
            If the stream ended by itself and a sound server stands between.
        DeviceGoneError
            If it ended by itself on a card.
        """
        n_wanted = self._head["n_frames"]
        n_skip, n_sent, n_silent = -1, 0, 0
        while n_wanted is None or n_sent < n_wanted:
            try:
                time_s, flags, block = self._blocks.get(timeout=POLL_S)
            except queue.Empty:
                if not streams.is_active():
                    kind = ServerDiedError if is_server else DeviceGoneError
                    msg = "the sound server went" if is_server else "the sound card went"
                    raise kind(msg) from None
                continue
            if n_skip < 0:
                n_skip = self._n_lead
            part = block[n_skip:] if n_wanted is None else block[n_skip : n_skip + n_wanted - n_sent]
            n_skip = max(n_skip - len(block), 0)
            n_sent += len(part)
            self._pass_on(time_s, flags, len(block), part)
            n_silent += len(block) if self._player.is_silent else 0
            if n_silent > FLUSH_S * self._rate_hz:
                self._tell("stopped")
                return
        self._tell("done")

    def _pass_on(self, time_s: float, flags: int, n_came: int, part: FloatArray) -> None:
        if not self._parent_went:
            try:
                write_frame(self._pipe, SAMPLES, BLOCK_HEAD.pack(time_s, flags, n_came), part.tobytes())
            except OSError:
                self._lose_parent()

    def _tell(self, event: str, **fields: Any) -> None:
        if not self._parent_went:
            try:
                write_json(self._pipe, event=event, **fields)
            except OSError:
                self._lose_parent()

    def _lose_parent(self) -> None:
        self._parent_went = True
        self._player.stop()

    def _wait_for_stop(self) -> None:
        """Wait for the parent's word, or its end; then silence, and leave in any case."""
        while self._order.read(1) == GO:
            self._has_word.set()
        self._is_stopping.set()
        self._has_word.set()
        self._player.stop()
        time.sleep(OUTLIVE_S)
        os._exit(0)
