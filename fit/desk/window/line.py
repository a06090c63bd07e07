"""The card's process, at its end of the pipe: what the server orders, and what is to stop when nobody is there any more."""

import os
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fit.desk.window.messages import GuideLeave, GuideOpen, LevelStart, LevelStop, Played, Told

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

OUTLIVE_S = 1.5  # [s] that the process goes on after its server went


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What the server sends to the card's process.

    Attributes
    ----------
    message : Played or None
        What a page asked; None: fade to silence.
    is_last : bool
        Nothing more comes: go.
    """

    message: Played | None = None
    logbook: Path = Path()
    is_virtual: bool = False
    is_last: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Order:
    """An activity that was asked for.

    Attributes
    ----------
    halt : Event
        Set where what sounds has to fade.
    answers : queue
        What the page sends meanwhile; None: leave.
    """

    message: LevelStart | GuideOpen
    logbook: Path
    is_virtual: bool
    halt: threading.Event = field(default_factory=threading.Event)
    answers: "queue.SimpleQueue[Played | None]" = field(default_factory=queue.SimpleQueue)


class Line:
    """Reads what the server sends, and says what there is to say.

    Parameters
    ----------
    connection : Connection
        The end of the pipe that is in the card's process.
    leave : callable
        Ends the process, some time after the server went.
    """

    def __init__(self, connection: "Connection", *, leave: Callable[[int], object] = os._exit) -> None:
        """Begin to read."""
        self._connection, self._leave = connection, leave
        self._orders: queue.SimpleQueue[Order | None] = queue.SimpleQueue()
        self._current: Order | None = None
        self._writing = threading.Lock()
        threading.Thread(target=self._read, daemon=True).start()

    def next_order(self) -> Order | None:
        """Wait for something to do; None: go."""
        return self._orders.get()

    def is_waiting(self) -> bool:
        """Whether something else is to be done already."""
        return not self._orders.empty()

    def tell(self, told: Told) -> None:
        """Say something to the server; to nobody where it went."""
        with self._writing:
            try:
                self._connection.send(told)
            except OSError:
                self._stop()

    def _read(self) -> None:
        while True:
            try:
                sent = self._connection.recv()
            except (EOFError, OSError):
                break
            if sent.is_last:
                break
            self._take(sent)
        self._stop()
        self._orders.put(None)
        timer = threading.Timer(OUTLIVE_S, self._leave, args=(0,))
        timer.daemon = True
        timer.start()

    def _take(self, sent: Sent) -> None:
        order, message = self._current, sent.message
        if isinstance(message, LevelStart | GuideOpen):
            self._stop()
            self._current = Order(message=message, logbook=sent.logbook, is_virtual=sent.is_virtual)
            self._orders.put(self._current)
        elif order is None:
            return
        elif message is None:
            order.halt.set()
        elif isinstance(message, LevelStop | GuideLeave):
            self._stop()
        else:
            order.halt.clear()  # somebody is there who answers
            order.answers.put(message)

    def _stop(self) -> None:
        if self._current is not None:
            self._current.halt.set()
            self._current.answers.put(None)
