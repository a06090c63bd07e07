"""Who has the card, who looks on, what falls silent when a page goes, and what a page hears that comes in the middle."""

import asyncio
import json

import pytest

from fit.desk.window import hub as hub_module
from fit.desk.window.hub import MOST_ASKED, MOST_PAGES, MOST_WAITING, TOO_MANY, Hub, Place
from fit.desk.window.messages import Card, GuideAsk, GuideDone, GuideOpen, GuideTold, LevelStart, TakeMade, Told
from measure.errors import FileError

LIMIT_S = 20.0


class Socket:
    """A page's end of a socket, without a network."""

    def __init__(self):
        self.coming, self.told, self.closed = asyncio.Queue(), [], None

    async def accept(self):
        pass

    async def close(self, code, reason):
        self.closed = (code, reason)

    async def receive(self):
        return await self.coming.get()

    async def send_text(self, text):
        self.told.append(json.loads(text))

    def say(self, kind, **fields):
        self.coming.put_nowait({"type": "websocket.receive", "text": json.dumps({"kind": kind, **fields})})

    def leave(self):
        self.coming.put_nowait({"type": "websocket.disconnect"})

    def all(self, kind):
        return [one for one in self.told if one["kind"] == kind]


class Player:
    def __init__(self):
        self.orders, self.n_silent, self.tell, self.has_ended = [], 0, None, False

    def start(self, tell):
        self.tell = tell

    def order(self, message, place):
        self.orders.append((message, place.logbook))

    def silence(self):
        self.n_silent += 1

    def end(self):
        self.has_ended = True


class Worker:
    def __init__(self):
        self.places, self.error, self.has_ended = [], None, False

    def start(self, place):
        self.places.append(place)

    async def ask(self, message, *, page):
        del message, page
        if self.error is not None:
            raise self.error
        return (Told(), Told())

    def end(self):
        self.has_ended = True


class Bench:
    """A hub with pages, in a loop."""

    def __init__(self, folder):
        self.player, self.worker, self.tasks = Player(), Worker(), []
        self.hub = Hub(player=self.player, worker=self.worker, place=Place(logbook=folder))
        self.tasks.append(asyncio.ensure_future(self.hub.run()))

    async def page(self):
        socket = Socket()
        self.tasks.append(asyncio.ensure_future(self.hub.serve(socket)))
        await until(lambda: socket.all("card") or socket.closed)
        return socket

    async def playing_and_looking_on(self):
        """Two pages, the first of which plays."""
        one, other = await self.page(), await self.page()
        one.say("level_start")
        await until(lambda: self.player.orders)
        return one, other

    async def end(self):
        for task in self.tasks:
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)
        await self.hub.end()
        assert self.player.has_ended
        assert self.worker.has_ended


async def until(is_so):
    end_s = asyncio.get_running_loop().time() + LIMIT_S
    while not is_so():
        assert asyncio.get_running_loop().time() < end_s
        await asyncio.sleep(0.005)


@pytest.fixture
def scene(tmp_path):
    """Play a scene with a bench, in a loop of its own."""

    def play(act):
        async def whole():
            bench = Bench(tmp_path)
            await asyncio.sleep(0)
            try:
                await act(bench)
            finally:
                await bench.end()

        asyncio.run(whole())

    return play


def test_a_page_hears_first_where_it_is(scene, tmp_path):
    async def act(bench):
        page = await bench.page()
        assert page.told[0] == {"kind": "welcome", "answers": None, "page": 1, "logbook": str(tmp_path), "is_virtual": False}
        assert (page.told[1]["kind"], page.told[1]["owner"], page.told[1]["held_by"]) == ("card", False, None)

    scene(act)


def test_whoever_plays_first_has_the_card_and_another_page_looks_on(scene):
    async def act(bench):
        one, other = await bench.page(), await bench.page()
        one.say("level_start", id=7)
        await until(lambda: bench.player.orders)
        other.say("level_stop", id=8)
        await until(lambda: other.all("refused"))
        assert other.all("refused") == [{"kind": "refused", "answers": 8, "text": "page 1 has the sound card; this one looks on"}]
        assert [message for message, _ in bench.player.orders] == [LevelStart(id=7)]
        assert one.all("card")[-1] == {**one.all("card")[-1], "owner": True, "held_by": 1, "answers": 7}
        assert (other.all("card")[-1]["owner"], other.all("card")[-1]["held_by"]) == (False, 1)
        bench.player.tell(GuideTold(lines=("a",)))
        await until(lambda: one.all("guide_told") and other.all("guide_told"))
        bench.player.tell(Card(owner=False, held_by=None))
        await until(lambda: other.all("card")[-1]["held_by"] is None)
        other.say("level_start", id=9)
        await until(lambda: len(bench.player.orders) == 2)

    scene(act)


def test_a_page_that_goes_takes_the_sound_with_it(scene):
    async def act(bench):
        one, other = await bench.playing_and_looking_on()
        other.leave()
        await until(lambda: len(bench.hub.pages) == 1)
        assert bench.player.n_silent == 0
        one.leave()
        await until(lambda: not bench.hub.pages)
        assert bench.player.n_silent == 1
        assert bench.hub.owner is None

    scene(act)


@pytest.mark.long
def test_a_page_without_a_sign_of_life_loses_the_card_once_and_one_that_lives_keeps_it(scene, monkeypatch):
    monkeypatch.setattr(hub_module, "LIFE_S", 0.3)
    monkeypatch.setattr(hub_module, "WATCH_S", 0.02)

    async def act(bench):
        page = await bench.page()
        page.say("level_start")
        for _ in range(10):
            page.say("alive")
            await asyncio.sleep(0.05)
        assert bench.player.n_silent == 0
        await until(lambda: bench.player.n_silent)
        await asyncio.sleep(0.2)
        assert bench.player.n_silent == 1
        assert page.all("card")[-1]["held_by"] is None
        page.say("guide_open", job="pickup")
        await until(lambda: page.all("card")[-1]["owner"])

    scene(act)


def test_the_card_is_taken_over_in_silence(scene):
    async def act(bench):
        one, other = await bench.playing_and_looking_on()
        other.say("card_take", id=3)
        await until(lambda: other.all("card")[-1]["owner"])
        assert other.all("card")[-1]["answers"] == 3
        assert bench.player.n_silent == 1
        assert not one.all("card")[-1]["owner"]

    scene(act)


def test_any_page_may_ask_for_silence(scene):
    async def act(bench):
        _, other = await bench.playing_and_looking_on()
        other.say("stop", id=5)
        await until(lambda: other.all("card")[-1]["answers"] == 5)
        assert bench.player.n_silent == 1

    scene(act)


def test_a_page_that_comes_in_the_middle_of_a_job_hears_all_of_it(scene):
    async def act(bench):
        one = await bench.page()
        one.say("guide_open", job="pickup")
        await until(lambda: bench.player.orders)
        assert bench.player.orders[0][0] == GuideOpen(job="pickup")
        bench.player.tell(Card(owner=False, held_by=None, activity="guide"))
        for number in range(2 * MOST_WAITING):
            bench.player.tell(GuideTold(lines=(str(number),)))
            await asyncio.sleep(0)
        bench.player.tell(GuideAsk(key="first", text="?"))
        bench.player.tell(TakeMade(name="open", outcome="good"))
        bench.player.tell(GuideAsk(key="second", text="?"))
        looking = await bench.page()
        await until(lambda: looking.all("guide_ask"))
        (told,) = looking.all("guide_told")
        assert told["lines"] == [str(number) for number in range(2 * MOST_WAITING)]
        assert [one["kind"] for one in looking.told[2:]] == ["guide_told", "take_made", "guide_ask"]
        assert looking.told[-1]["key"] == "second"
        one.leave()
        await until(lambda: len(bench.hub.pages) == 1)
        again = await bench.page()
        assert not again.all("guide_ask")  # nobody has the card: the page asks for the job itself
        again.say("guide_open", job="pickup")
        await until(lambda: again.all("guide_ask"))
        assert len(bench.player.orders) == 1  # it goes on, and is not begun again
        again.say("guide_open", job="wiring")
        await until(lambda: len(bench.player.orders) == 2)
        bench.player.tell(GuideDone(is_finished=True))

    scene(act)


def test_what_the_worker_says_goes_to_the_page_that_asked(scene):
    async def act(bench):
        one, other = await bench.page(), await bench.page()
        one.say("takes_list", id=4)
        await until(lambda: len(one.all("told")) == 2)
        assert {told["answers"] for told in one.all("told")} == {4}
        bench.worker.error = FileError("no\nsuch   file")
        one.say("takes_list", id=5)
        await until(lambda: one.all("refused"))
        assert one.all("refused") == [{"kind": "refused", "answers": 5, "text": "no such file"}]
        assert not other.all("told")

    scene(act)


def test_a_page_that_asks_for_more_than_can_be_answered_is_told(scene):
    async def act(bench):
        page, gate = await bench.page(), asyncio.Event()

        async def ask(message, *, page):
            del message, page
            await gate.wait()
            return (Told(),)

        bench.worker.ask = ask
        for number in range(MOST_ASKED + 1):
            page.say("takes_list", id=number + 1)
        await until(lambda: page.all("refused"))
        assert page.all("refused")[0]["answers"] == MOST_ASKED + 1
        gate.set()
        await until(lambda: len(page.all("told")) == MOST_ASKED)

    scene(act)


def test_stopping_what_does_not_play_takes_the_card_from_nobody(scene):
    async def act(bench):
        one, other = await bench.page(), await bench.page()
        one.say("level_stop", id=3)
        await until(lambda: one.all("card")[-1]["answers"] == 3)
        assert one.all("card")[-1]["held_by"] is None
        other.say("level_start", id=4)
        await until(lambda: other.all("card")[-1]["owner"])

    scene(act)


def test_a_job_that_is_done_is_begun_again(scene):
    async def act(bench):
        page = await bench.page()
        page.say("guide_open", job="pickup")
        await until(lambda: bench.player.orders)
        bench.player.tell(Card(owner=False, held_by=None, activity="guide"))
        bench.player.tell(GuideDone(is_finished=True))
        page.say("guide_open", job="pickup")
        await until(lambda: len(bench.player.orders) == 2)

    scene(act)


def test_a_mistake_of_our_own_is_shown_at_the_terminal_and_the_page_goes_on(scene):
    async def act(bench):
        seen = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: seen.append(context["exception"]))
        page = await bench.page()
        bench.worker.error = ZeroDivisionError("ours")
        page.say("takes_list", id=5)
        await until(lambda: page.all("refused"))
        assert page.all("refused")[0]["answers"] == 5
        assert [str(error) for error in seen] == ["ours"]
        bench.worker.error = None
        page.say("takes_list", id=6)
        await until(lambda: page.all("told"))

    scene(act)


def test_another_logbook_is_opened_where_there_is_one(scene, tmp_path):
    async def act(bench):
        page = await bench.page()
        for text in ("", " ", str(tmp_path / "none"), "~nobody-of-that-name/book", "a\0b", "x" * 1000):
            page.say("book_open", folder=text)
        await until(lambda: len(page.all("refused")) == 6)
        told = [one["text"] for one in page.all("refused")]
        assert all(text.startswith('there is no folder "') and len(text) < 160 and text.isprintable() for text in told)
        (tmp_path / "other").mkdir()
        page.say("book_open", folder=f" {tmp_path / 'other'} ", id=3)
        await until(lambda: len(page.all("welcome")) == 2)
        assert page.all("welcome")[1] == {**page.all("welcome")[0], "answers": 3, "logbook": str(tmp_path / "other")}
        assert bench.worker.places[-1].logbook == tmp_path / "other"
        bench.player.tell(Card(owner=False, held_by=None, activity="guide", is_playing=True))
        page.say("book_open", folder=str(tmp_path))
        await until(lambda: len(page.all("refused")) == 7)
        assert "something is being recorded" in page.all("refused")[-1]["text"]

    scene(act)


def test_what_is_no_text_is_refused(scene):
    async def act(bench):
        page = await bench.page()
        page.coming.put_nowait({"type": "websocket.receive", "bytes": b"{}"})
        page.coming.put_nowait({"type": "websocket.receive", "text": "x" * 70_000})
        page.coming.put_nowait({"type": "websocket.receive", "text": '{"kind":"alive","x":1}'})
        await until(lambda: len(page.all("refused")) == 3)
        texts = [one["text"] for one in page.all("refused")]
        assert texts[:2] == 2 * ["a message is JSON text of 64 kB at most"]
        assert texts[2] == "not understood: Object contains unknown field `x`"

    scene(act)


def test_there_is_room_for_so_many_pages(scene):
    async def act(bench):
        for _ in range(MOST_PAGES):
            await bench.page()
        page = await bench.page()
        assert page.closed == (TOO_MANY, f"{MOST_PAGES} pages are open already")

    scene(act)
