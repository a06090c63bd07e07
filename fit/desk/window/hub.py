"""The pages that are open: what each asks goes to the card or to the worker, what comes back goes to them; who has the card."""

from __future__ import annotations

import asyncio
import contextlib
import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import msgspec

from fit.desk.show.words import error_line, plain_text
from fit.desk.window.messages import (
    MAX_MESSAGE_BYTES,
    Alive,
    BookOpen,
    Card,
    CardTake,
    Computed,
    FromPage,
    GuideAsk,
    GuideDone,
    GuideLeave,
    GuideOpen,
    GuideTold,
    LevelStart,
    Played,
    Refused,
    Stop,
    TakeMade,
    Told,
    Welcome,
)
from measure.errors import MeasureError

if TYPE_CHECKING:
    from starlette.websockets import WebSocket

LIFE_S = 2.5  # [s] without a sign of life; the ramp to silence takes 0.3 s more
WATCH_S = 0.1  # [s] between two looks at the signs of life
MOST_WAITING = 512  # [messages] that a page may leave unread
MOST_ASKED = 32  # [questions] of one page that are worked on
MOST_PAGES = 16
MOST_SAID = 500  # [characters] of what was not understood
TOO_MANY = 1013  # close code: try again later (RFC 6455, 7.4.1)


@dataclass(slots=True, eq=False, kw_only=True)
class Place:
    """Where the pages work.

    Attributes
    ----------
    is_virtual : bool
        On the virtual bench: all takes are simulated.
    """

    logbook: Path
    is_virtual: bool = False


class Player(Protocol):
    """Plays and records for the pages."""

    def start(self, tell: Callable[[Told], None]) -> None:
        """Begin; `tell` is called in the event loop."""
        ...

    def order(self, message: Played, place: Place) -> None:
        """Do what a page asks; what comes of it is told."""
        ...

    def silence(self) -> None:
        """Fade to silence now; a take that sounds is not kept."""
        ...

    def end(self) -> None:
        """Be silent and go; waits."""
        ...


class Worker(Protocol):
    """Reads, fits and computes for the pages, outside the event loop."""

    def start(self, place: Place) -> None:
        """Begin; also with another place from then on."""
        ...

    async def ask(self, message: Computed, *, page: int) -> Sequence[Told]:
        """Answer; raises ValueError, OSError or MeasureError with what is to be told in one line."""
        ...

    def end(self) -> None:
        """Go; waits."""
        ...


@dataclass(slots=True, eq=False, kw_only=True)
class Page:
    """A page that is open.

    Attributes
    ----------
    sign_s : float
        When it gave its last sign of life, by the event loop's clock. [s]
    """

    number: int
    sign_s: float
    is_alive: bool = True
    waiting: asyncio.Queue[bytes] = field(default_factory=lambda: asyncio.Queue(MOST_WAITING))
    tasks: set[asyncio.Task[None]] = field(default_factory=set)


class Hub:
    """Stands between the pages, the card and the worker. Everything in it runs in one event loop.

    Parameters
    ----------
    player : Player
        Has the sound card, in a process of its own.
    worker : Worker
        Fits and computes, in processes of its own.
    place : Place
        Changes where another logbook is opened.
    """

    def __init__(self, *, player: Player, worker: Worker, place: Place) -> None:
        """Nobody is there yet."""
        self.player, self.worker, self.place = player, worker, place
        self.pages: dict[int, Page] = {}
        self.owner: int | None = None
        self.card = Card(owner=False, held_by=None)
        self._guide: list[Told] = []  # what a page needs that comes in the middle of a job
        self._job = ""
        self._n_pages = 0

    async def run(self) -> None:
        """Look at the signs of life until cancelled."""
        self.player.start(self.hear)
        self.worker.start(self.place)
        now = asyncio.get_running_loop().time
        while True:
            await asyncio.sleep(WATCH_S)
            for page in self.pages.values():
                is_alive = now() - page.sign_s < LIFE_S
                if page.is_alive and not is_alive:
                    self._lose(page)
                page.is_alive = is_alive

    async def serve(self, socket: WebSocket) -> None:
        """Talk with one page until it goes."""
        await socket.accept()
        if len(self.pages) >= MOST_PAGES:
            await socket.close(TOO_MANY, f"{MOST_PAGES} pages are open already")
            return
        self._n_pages += 1
        page = Page(number=self._n_pages, sign_s=asyncio.get_running_loop().time())
        self.pages[page.number] = page
        place = self.place
        self._send(page, Welcome(page=page.number, logbook=str(place.logbook), is_virtual=place.is_virtual))
        self._send(page, self._card_for(page))
        for told in self._guide if self.owner is not None else ():  # it looks on
            self._send(page, told)
        sending = asyncio.create_task(_send_waiting(page, socket))
        try:
            await self._read(page, socket)
        finally:
            sending.cancel()
            for task in page.tasks:
                task.cancel()
            del self.pages[page.number]
            self._lose(page)

    async def end(self) -> None:
        """Be silent, and end what was started."""
        await asyncio.gather(asyncio.to_thread(self.player.end), asyncio.to_thread(self.worker.end))

    def hear(self, told: Told) -> None:
        """Hand on to all pages what the player tells."""
        if isinstance(told, Card):
            if told.activity == "idle" and not told.is_playing:
                self.owner = None
            self.card = told
            self._tell_card()
            return
        self._keep(told)
        for page in self.pages.values():
            self._send(page, told)

    async def _read(self, page: Page, socket: WebSocket) -> None:
        from starlette.websockets import WebSocketDisconnect

        decoder = msgspec.json.Decoder(FromPage)
        with contextlib.suppress(WebSocketDisconnect):
            while True:
                message = await socket.receive()
                if message["type"] != "websocket.receive":
                    return
                text = message.get("text")
                if text is None or len(text) > MAX_MESSAGE_BYTES:
                    self._send(page, Refused(text="a message is JSON text of 64 kB at most"))
                    continue
                try:
                    asked = decoder.decode(text)
                except (msgspec.MsgspecError, UnicodeError, RecursionError) as err:
                    self._send(page, Refused(text=f"not understood: {error_line(err)[:MOST_SAID]}"))
                    continue
                page.sign_s, page.is_alive = asyncio.get_running_loop().time(), True
                self._take(page, asked)

    def _take(self, page: Page, asked: FromPage) -> None:
        """Give a message to whom it concerns."""
        if isinstance(asked, Alive):
            return
        if isinstance(asked, Stop):
            self.player.silence()
            self._send(page, self._card_for(page, asked.id))
            return
        if isinstance(asked, BookOpen):
            self._open_book(page, asked)
        elif isinstance(asked, CardTake):
            self._silence_unless(page)
            self.owner = page.number
            self._tell_card(page, asked.id)
        elif isinstance(asked, Played):
            self._play(page, asked)
        elif len(page.tasks) >= MOST_ASKED:
            self._send(page, Refused(answers=asked.id, text=f"{MOST_ASKED} questions wait for their answers already"))
        else:
            task = asyncio.create_task(self._compute(page, asked))
            page.tasks.add(task)
            task.add_done_callback(functools.partial(self._finish, page, asked.id))

    def _play(self, page: Page, asked: Played) -> None:
        if self.owner not in (None, page.number):
            self._send(page, self._held(asked.id))
            return
        begins = isinstance(asked, GuideOpen | LevelStart)
        if begins or self.card.activity != "idle":
            self.owner = page.number
        self._tell_card(page, asked.id)
        if isinstance(asked, GuideOpen) and asked.job == self._job and self._is_guiding():
            for told in self._guide:
                self._send(page, told)
            return
        if begins:
            self._guide, self._job = [], asked.job if isinstance(asked, GuideOpen) else ""
        self.player.order(asked, self.place)

    def _is_guiding(self) -> bool:
        return self.card.activity == "guide" and not any(isinstance(told, GuideDone) for told in self._guide)

    async def _compute(self, page: Page, asked: Computed) -> None:
        try:
            for told in await self.worker.ask(asked, page=page.number):
                self._send(page, msgspec.structs.replace(told, answers=asked.id))
        except (MeasureError, ValueError, OSError) as err:
            self._send(page, Refused(answers=asked.id, text=error_line(err)))

    def _finish(self, page: Page, identity: int, task: asyncio.Task[None]) -> None:
        """Let a page go on where answering it went wrong in a way that nobody foresaw."""
        page.tasks.discard(task)
        error = None if task.cancelled() else task.exception()
        if error is not None:
            self._send(page, Refused(answers=identity, text="a mistake of the program's own: the terminal shows it"))
            raise error

    def _open_book(self, page: Page, asked: BookOpen) -> None:
        folder = _folder(asked.folder)
        if self.owner not in (None, page.number):
            self._send(page, self._held(asked.id))
        elif self.card.is_playing:
            self._send(page, Refused(answers=asked.id, text="something is being recorded: wait for its end"))
        elif folder is None:
            text = f'there is no folder "{plain_text(asked.folder[:80])}": name one that is there, by its whole path'
            self._send(page, Refused(answers=asked.id, text=text))
        else:
            self._guide, self._job = [], ""
            self.player.order(GuideLeave(), self.place)
            self.place = Place(logbook=folder, is_virtual=self.place.is_virtual)
            self.worker.start(self.place)
            for each in self.pages.values():
                answers = asked.id if each is page else None
                welcome = Welcome(answers=answers, page=each.number, logbook=str(folder), is_virtual=self.place.is_virtual)
                self._send(each, welcome)

    def _held(self, identity: int) -> Refused:
        return Refused(answers=identity, text=f"page {self.owner} has the sound card; this one looks on")

    def _lose(self, page: Page) -> None:
        """Fall silent where the page that played is there no more, and let others have the card."""
        if self.owner == page.number:
            self.player.silence()
            self.owner = None
            self._tell_card()

    def _silence_unless(self, page: Page) -> None:
        if self.owner not in (None, page.number):
            self.player.silence()

    def _keep(self, told: Told) -> None:
        """Keep what a page has to know that opens in the middle of a job."""
        if isinstance(told, GuideAsk):
            self._guide = [one for one in self._guide if not isinstance(one, GuideAsk)]
        latest = self._guide[-1] if self._guide else None
        if isinstance(told, GuideTold) and isinstance(latest, GuideTold):
            self._guide[-1] = GuideTold(lines=(*latest.lines, *told.lines))
        elif isinstance(told, GuideTold | GuideAsk | TakeMade | GuideDone):
            self._guide.append(told)

    def _card_for(self, page: Page, answers: int | None = None) -> Card:
        return msgspec.structs.replace(self.card, answers=answers, owner=self.owner == page.number, held_by=self.owner)

    def _tell_card(self, asking: Page | None = None, identity: int | None = None) -> None:
        """Tell all pages who has the card; the one that asked hears it as its answer."""
        for page in self.pages.values():
            self._send(page, self._card_for(page, identity if page is asking else None))

    def _send(self, page: Page, told: Told) -> None:
        with contextlib.suppress(asyncio.QueueFull):  # one that reads nothing any more gives no sign of life either
            page.waiting.put_nowait(msgspec.json.encode(told))


async def _send_waiting(page: Page, socket: WebSocket) -> None:
    from starlette.websockets import WebSocketDisconnect

    with contextlib.suppress(WebSocketDisconnect, RuntimeError):  # it is closed: `serve` hears of it
        while True:
            data = await page.waiting.get()
            await socket.send_text(data.decode())


def _folder(text: str) -> Path | None:
    """Folder that somebody typed; None where there is none."""
    try:
        folder = Path(text.strip()).expanduser()
        return folder if text.strip() and folder.is_dir() else None
    except (OSError, RuntimeError, ValueError):
        return None
