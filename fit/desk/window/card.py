"""Plays and records for the pages, in a process of its own: one activity at a time, silence when nobody is there any more.

The process has the recording process of a take as its child. Whoever of the three goes first, the others hear of it by the end
of a pipe: what sounds is ramped to silence.
"""

import asyncio
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from fit.desk.window.hub import Place
from fit.desk.window.line import Line, Sent
from fit.desk.window.messages import Card, GuideDone, GuideOpen, LevelEnded, LevelStart, Played, Told
from fit.desk.window.process import start_process

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

ENDED = "has ended: begin again; takes so far are kept"
LATER_S = 1.5  # [s] first comes the page that is opened, with the curve that it draws
FADE_S = 2.5  # [s] within which what sounds has faded and the card is closed; else the process is ended, which fades it, too
LEAVE_S = 2.0  # [s] that another activity waits for the one before, which may be in a long fit
END_S, QUIET_END_S = 0.8, 0.3  # [s] that the process may take to go, the second where nothing sounds


class CardProcess:
    """Has the sound card; everything but `end` is called in the event loop."""

    def __init__(self) -> None:
        """Nothing is started."""
        self._tell: Callable[[Told], None] = lambda _: None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._process: SpawnProcess | None = None
        self._pipe: Connection | None = None
        self._reader: threading.Thread | None = None
        self._card = Card(owner=False, held_by=None)
        self._force: asyncio.TimerHandle | None = None  # ends the process where it does not fall silent
        self._open: Sent | None = None  # an activity that has not begun yet

    def start(self, tell: Callable[[Told], None]) -> None:
        """Start the process soon, so that it has imported what it needs before somebody asks for it."""
        self._tell, self._loop = tell, asyncio.get_running_loop()
        self._loop.call_later(LATER_S, self._start_unless_started)

    def order(self, message: Played, place: Place) -> None:
        """Do what a page asks; another activity ends the one before."""
        sent = Sent(message=message, logbook=place.logbook, is_virtual=place.is_virtual)
        if isinstance(message, LevelStart | GuideOpen):
            self._open = sent
            if self._loop is not None:
                self._loop.call_later(LEAVE_S, self._insist, sent)
        self._send(sent)

    def silence(self) -> None:
        """Fade to silence."""
        if self._process is not None:
            self._send(Sent())
        if self._loop is not None and self._card.is_playing and self._force is None:
            self._force = self._loop.call_later(FADE_S, self._silence_by_force, self._process)

    def end(self) -> None:
        """Fade, and end the process."""
        self._loop = None
        process, reader = self._process, self._reader
        if process is None or reader is None:
            return
        self._send(Sent(is_last=True))
        reader.join(END_S if self._card.is_playing else QUIET_END_S)
        if reader.is_alive():
            process.kill()
            reader.join()

    def _start(self) -> None:
        self._process, self._pipe = start_process(play, name="card")
        self._card = Card(owner=False, held_by=None)
        self._reader = threading.Thread(target=self._read, args=(self._process, self._pipe), daemon=True)
        self._reader.start()

    def _start_unless_started(self) -> None:
        if self._process is None and self._loop is not None:
            self._start()

    def _send(self, sent: Sent) -> None:
        if self._process is None or self._pipe is None:
            self._start()
        try:
            if self._pipe is not None:
                self._pipe.send(sent)
        except (OSError, ValueError):  # it ended just now: `_lose` tells
            return

    def _read(self, process: "SpawnProcess", pipe: "Connection") -> None:
        while True:
            try:
                told = pipe.recv()
            except (EOFError, OSError):
                break
            self._in_loop(self._hear, told)
        process.join()
        pipe.close()
        self._in_loop(self._lose, process)

    def _in_loop(self, act: Callable[..., None], *words: object) -> None:
        loop = self._loop
        if loop is not None:
            try:
                loop.call_soon_threadsafe(act, *words)
            except RuntimeError:  # the loop ended meanwhile
                return

    def _hear(self, told: Told) -> None:
        if isinstance(told, Card):
            self._card = told
            if not told.is_playing:
                self._calm()
            self._open = None if told.activity != "idle" else self._open
        self._tell(told)

    def _lose(self, process: "SpawnProcess") -> None:
        """Say that the process went, where nobody sent it away."""
        if process is not self._process:
            return
        self._process = self._pipe = self._reader = None
        self._tell_end(f"the process that plays and records {ENDED}")

    def _insist(self, sent: Sent) -> None:
        """End what does not make room for another activity; its session is kept, step by step."""
        if self._open is sent and self._process is not None:
            self._kill()
            self._start()
            self._send(sent)

    def _silence_by_force(self, process: "SpawnProcess | None") -> None:
        if self._process is process and self._card.is_playing:
            self._kill()
            self._tell_end(f"the card did not fall silent in time: its process {ENDED}")

    def _calm(self) -> None:
        """Let go of what was to fall silent and has: whatever sounds next is another thing."""
        if self._force is not None:
            self._force.cancel()
        self._force = None

    def _tell_end(self, text: str) -> None:
        """Say that an activity was cut off."""
        self._calm()
        if self._card.activity == "guide":
            self._tell(GuideDone(is_finished=False, text=text))
        elif self._card.activity == "level":
            self._tell(LevelEnded(text=text))
        self._card = Card(owner=False, held_by=None)
        self._tell(self._card)

    def _kill(self) -> None:
        self._calm()
        process, reader = self._process, self._reader
        self._process = self._pipe = self._reader = None
        if process is not None and reader is not None:
            process.kill()
            reader.join()  # a moment: it ends with the process


def play(pipe: "Connection") -> None:
    """Do what is ordered, one activity after the other (in the process of its own)."""
    line = Line(pipe)
    from fit.desk.window.guided import run_job
    from fit.desk.window.level import run_level

    while (order := line.next_order()) is not None:
        is_level = isinstance(order.message, LevelStart)
        line.tell(Card(owner=False, held_by=None, activity="level" if is_level else "guide"))
        if is_level:
            run_level(order, line.tell)
        else:
            run_job(order, line.tell)
        if not line.is_waiting():
            line.tell(Card(owner=False, held_by=None))
