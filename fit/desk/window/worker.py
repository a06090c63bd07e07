"""The processes that read, fit and compute for the pages: one for what has to be quick, one for what takes its time.

Each is started anew where it ended, and goes when the server does, whatever it computes by then. A message goes in and answers
come out as msgpack; what a person did wrong, or the world, comes back as one line.
"""

import asyncio
import os
import queue
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from fit.desk.window import computed, messages
from fit.desk.window.messages import Told
from fit.desk.window.process import start_process

if TYPE_CHECKING:
    from multiprocessing.context import SpawnProcess

    from fit.desk.window.hub import Place
    from fit.desk.window.what_if import Opened

Computed = messages.Computed
Answer = computed.WhatIf | computed.Released | computed.Impulse | computed.Result | computed.Compared | computed.Takes
QUICK = (messages.WhatIfOpen, messages.WhatIfSet, messages.Hold, messages.Sound)
DIED = "the process that computes ended unexpectedly; ask again"
LEAVE_S = 0.4  # [s] that a process may take to end


class _Order(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """What a process is asked."""

    folder: str
    is_virtual: bool
    page: int
    message: Computed


class _Reply(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """What it answers; `refused` is the line that says why there is no answer."""

    answers: tuple[Answer, ...] = ()
    refused: str = ""


class Processes:
    """Both processes, as the hub wants its worker."""

    def __init__(self) -> None:
        """Nothing runs yet."""
        self._folder, self._is_virtual = Path(), False
        self._quick, self._slow = _Process(is_quick=True), _Process(is_quick=False)

    def start(self, place: "Place") -> None:
        """Begin, or work in another logbook from now on."""
        self._folder, self._is_virtual = place.logbook, place.is_virtual
        self._quick.start()

    async def ask(self, message: Computed, *, page: int) -> Sequence[Told]:
        """Answer what a page asks.

        Raises
        ------
        ValueError
            If it cannot be answered; one line that says why.
        """
        process = self._quick if isinstance(message, QUICK) else self._slow
        order = _Order(folder=str(self._folder), is_virtual=self._is_virtual, page=page, message=message)
        reply = await process.ask(order)
        if reply.refused:
            raise ValueError(reply.refused)
        return reply.answers

    def end(self) -> None:
        """End both, whatever they do."""
        self._quick.end()
        self._slow.end()


class _Process:
    """One process, that answers one message after the other."""

    def __init__(self, *, is_quick: bool) -> None:
        self._is_quick = is_quick
        self._child: SpawnProcess | None = None
        self._pipe: Connection | None = None
        self._turn = ThreadPoolExecutor(max_workers=1, thread_name_prefix="bench-worker")
        self._decoder = msgspec.msgpack.Decoder(_Reply)

    def start(self) -> None:
        """Start it, where it does not run."""
        if self._child is not None and self._child.is_alive():
            return
        self._child, self._pipe = start_process(work, self._is_quick, name="bench-worker")

    async def ask(self, order: _Order) -> _Reply:
        return await asyncio.get_running_loop().run_in_executor(self._turn, self._exchange, order)

    def _exchange(self, order: _Order) -> _Reply:
        self.start()
        pipe = self._pipe
        if pipe is None:
            return _Reply(refused=DIED)
        try:
            pipe.send_bytes(msgspec.msgpack.encode(order))
            return self._decoder.decode(pipe.recv_bytes())
        except (EOFError, OSError):
            return _Reply(refused=DIED)

    def end(self) -> None:
        """End it, and what waits for it."""
        self._turn.shutdown(wait=False, cancel_futures=True)
        if self._child is not None:
            self._child.kill()
            self._child.join(LEAVE_S)


def work(pipe: Connection, is_quick: bool) -> None:
    """Answer until the pipe ends; what a process runs. A quick one loads what it needs before it is asked."""
    orders: queue.Queue[bytes] = queue.Queue()
    threading.Thread(target=_listen, args=(pipe, orders), daemon=True).start()
    from fit.estimate.threads import one_thread

    if is_quick:
        import fit.desk.window.what_if  # noqa: F401
    table = Table()
    decoder = msgspec.msgpack.Decoder(_Order)
    with one_thread():
        while True:
            order = decoder.decode(orders.get())
            data = msgspec.msgpack.encode(reply_to(table, order))
            try:
                pipe.send_bytes(data)
            except OSError:  # nobody waits for it any more
                os._exit(0)


# The server is gone where the pipe ends, and nobody waits for what is being computed.
def _listen(pipe: Connection, orders: "queue.Queue[bytes]") -> None:
    while True:
        try:
            orders.put(pipe.recv_bytes())
        except (EOFError, OSError):
            os._exit(0)


@dataclass(slots=True, eq=False, kw_only=True)
class Table:
    """What a process keeps between two messages.

    Attributes
    ----------
    opened : Opened or None
        The instrument that was read last.
    """

    opened: "Opened | None" = None


def reply_to(table: Table, order: _Order) -> _Reply:
    """Answer one message."""
    from fit.desk.book.fits import RejectedError
    from fit.desk.show.words import error_line
    from measure.errors import MeasureError

    try:
        return _Reply(answers=(_answer(table, order),))
    except (ValueError, MeasureError, RejectedError, OSError) as err:
        return _Reply(refused=error_line(err))


def _answer(table: Table, order: _Order) -> Answer:
    folder, asked = Path(order.folder), order.message
    match asked:
        case messages.WhatIfOpen() | messages.WhatIfSet() | messages.Hold() | messages.Sound():
            return _at_once(table, order, asked)
        case messages.ResultOpen():
            from fit.desk.window.result import result_of

            return result_of(folder, asked)
        case messages.CompareOpen():
            from fit.desk.window.before_after import compared_of

            return compared_of(folder, asked)
        case messages.TakesList():
            from fit.desk.window.takes import list_all

            return list_all(folder)
        case messages.TakeAmend():
            from fit.desk.window.takes import amend_note

            return amend_note(folder, asked)


def _at_once(
    table: Table, order: _Order, asked: messages.WhatIfOpen | messages.WhatIfSet | messages.Hold | messages.Sound
) -> Answer:
    from fit.desk.window.sound import impulse_of
    from fit.desk.window.what_if import answer_what_if, open_what_if

    folder, page = Path(order.folder), order.page
    if table.opened is None or table.opened.folder != folder or isinstance(asked, messages.WhatIfOpen):
        held = {} if table.opened is None or table.opened.folder != folder else table.opened.held
        table.opened = open_what_if(folder, is_virtual=order.is_virtual)
        table.opened.held.update(held)
    if isinstance(asked, messages.Sound):
        return impulse_of(table.opened, asked)
    if isinstance(asked, messages.Hold) and not asked.is_held:
        table.opened.held.pop(page, None)
        return computed.Released()
    if isinstance(asked, messages.WhatIfOpen):
        return answer_what_if(table.opened, messages.WhatIfSet(), page=page)
    return answer_what_if(table.opened, asked, page=page, is_held=isinstance(asked, messages.Hold))
