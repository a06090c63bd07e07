"""Streams of PortAudio, by callbacks that only copy, and its errors by name; runs in the recording process.

Nothing here may wait for a stream to end: on a server that died or was stopped that would be for ever. The blocking interface is
not used: with some servers it corrupts memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from measure.errors import ChannelError, OpenError, RateError
from measure.response import FloatArray
from measure.source.portaudio import Found, exact_settings
from measure.source.wire import FLAGS

WRONG_RATE, WRONG_CHANNELS = -9997, -9998  # paInvalidSampleRate, paInvalidChannelCount: portaudio.h

Fill = Callable[[FloatArray], None]
Take = Callable[[FloatArray, int], None]


class Streams:
    """One stream of a card, or two of two devices; their callbacks only copy.

    Where the host API can be asked that nobody resamples, that is asked first (`portaudio.exact_settings`): `is_exact` says
    whether it was granted; `refusal` what PortAudio said where it was not, and the streams were opened as they come.

    Parameters
    ----------
    sd : module
        From `load_library`.
    rate_hz : int
        Of both. [Hz]
    output_channel : int
        Counts from 1.
    input_channels : tuple of int
        Count from 1; recorded in this order.
    fill : callable
        Fills the block of the output's channel, shape (n,), in place.
    take : callable
        Is given a copy of the inputs' block, shape (n, n_channels), and the status flags as bits of `FLAGS`.
    """

    def __init__(
        self,
        sd: Any,
        output: Found,
        input_: Found,
        *,
        rate_hz: int,
        output_channel: int,
        input_channels: tuple[int, ...],
        fill: Fill,
        take: Take,
    ) -> None:
        """Open, start nothing yet."""
        _require_channels(output, input_, output_channel=output_channel, input_channels=input_channels)
        n_out = count_channels(output.n_outputs, output_channel)
        n_in = count_channels(input_.n_inputs, max(input_channels))
        columns = [channel - 1 for channel in input_channels]
        self._flags_out = 0

        def play(outdata: NDArray[np.float32], status: Any) -> None:
            outdata[:] = 0.0
            fill(outdata[:, output_channel - 1])
            self._flags_out |= flag_bits(status)

        def record(indata: NDArray[np.float32], status: Any) -> None:
            flags, self._flags_out = self._flags_out | flag_bits(status), 0
            take(indata[:, columns].copy(), flags)

        def duplex(indata: Any, outdata: Any, _n: int, _time: Any, status: Any) -> None:
            play(outdata, status)
            record(indata, status)

        common = {"samplerate": rate_hz, "dtype": "float32", "latency": "high", "dither_off": True}
        opened: list[Any] = []
        direction, found = "input", input_

        def open_all(exact_in: Any | None, exact_out: Any | None) -> None:
            nonlocal direction, found
            if output.index == input_.index:
                direction, found = "pair of input and output", output
                pair = {"device": (input_.index, output.index), "channels": (n_in, n_out)}
                both = None if exact_in is None else (exact_in, exact_out)
                opened.append(sd.Stream(**pair, callback=duplex, extra_settings=both, **common))
                return
            direction, found = "input", input_
            alone = {"device": input_.index, "channels": n_in, "extra_settings": exact_in}
            opened.append(sd.InputStream(**alone, callback=lambda indata, _n, _t, status: record(indata, status), **common))
            direction, found = "output", output
            alone = {"device": output.index, "channels": n_out, "extra_settings": exact_out}
            opened.append(sd.OutputStream(**alone, callback=lambda outdata, _n, _t, status: play(outdata, status), **common))

        exact = exact_settings(sd, input_.host_api), exact_settings(sd, output.host_api)
        self.is_exact, self.refusal = any(each is not None for each in exact), ""
        try:
            try:
                open_all(*exact)
            except sd.PortAudioError as err:
                if not self.is_exact:
                    raise
                self.is_exact, self.refusal = False, f"{found.name}: {said(err)}"
                for stream in opened:
                    stream.close(ignore_errors=True)
                opened.clear()
                open_all(None, None)
        except sd.PortAudioError as err:
            refuse(err, found, rate_hz=rate_hz, n_channels=max(n_in, n_out), direction=direction)
        self._streams = opened
        self._error, self._output, self._rate_hz = sd.PortAudioError, output, rate_hz

    def start(self) -> None:
        """Start, the input first."""
        try:
            for stream in self._streams:
                stream.start()
        except self._error as err:
            refuse(err, self._output, rate_hz=self._rate_hz, n_channels=0, direction="stream")

    def is_active(self) -> bool:
        """Whether all of it runs, as far as PortAudio knows.

        Returns
        -------
        bool
            Stays True on a server that does not answer.
        """
        return all(stream.active for stream in self._streams)

    def end(self) -> None:
        """Stop and close; may wait for ever where a server does not answer."""
        for stream in self._streams:
            stream.abort(ignore_errors=True)
            stream.close(ignore_errors=True)


def flag_bits(status: Any) -> int:
    """Put PortAudio's status flags into bits.

    Returns
    -------
    int
        Bit k stands for `FLAGS[k]`.
    """
    return sum(1 << bit for bit, name in enumerate(FLAGS) if getattr(status, name.replace(" ", "_")))


def _require_channels(output: Found, input_: Found, *, output_channel: int, input_channels: tuple[int, ...]) -> None:
    """See that the channels are there.

    Raises
    ------
    ChannelError
        If they are not.
    """
    for found, n, highest, what in (
        (output, output.n_outputs, output_channel, "output"),
        (input_, input_.n_inputs, max(input_channels), "input"),
    ):
        if highest > n:
            msg = (
                f"{found.name} ({found.host_api}) has {n} {what} channel{'' if n == 1 else 's'}, but {what} channel {highest} "
                "was asked for. Correct the channels in rig.toml, or choose another device."
            )
            raise ChannelError(msg)


def count_channels(n_device: int, highest: int) -> int:
    """Channels to open: two at least, since servers spread a single one over both, or add both to one.

    Parameters
    ----------
    highest : int
        Highest channel that is wanted.

    Returns
    -------
    int
        Channels from the first on.
    """
    return max(highest, min(2, n_device))


def said(error: Exception) -> str:
    """Tell in one line what PortAudio said."""
    return " ".join(str(error.args[0] if error.args else error).split())


def refuse(error: Exception, found: Found, *, rate_hz: float, n_channels: int, direction: str) -> NoReturn:
    """Name what PortAudio said.

    Parameters
    ----------
    rate_hz : float
        That was asked for. [Hz]
    n_channels : int
        That were asked for.

    Raises
    ------
    RateError
        If the rate was refused.
    ChannelError
        If the number of channels was refused.
    OpenError
        If it was anything else.
    """
    code = error.args[1] if len(error.args) > 1 else None
    where = f"{found.name} ({found.host_api})"
    if code == WRONG_RATE:
        msg = (
            f"{where}: the {direction} does not open at {rate_hz:.0f} Hz; its own rate is {found.rate_hz:.0f} Hz. "
            "Set rate_hz in rig.toml to that, or the card or sound server to the other."
        )
        raise RateError(msg) from error
    if code == WRONG_CHANNELS:
        msg = f"{where}: the {direction} does not open with {n_channels} channels. Give lower channel numbers in rig.toml."
        raise ChannelError(msg) from error
    msg = f"{where}: the {direction} does not open ({said(error)}). See that no other program holds it, or choose another device."
    raise OpenError(msg) from error
