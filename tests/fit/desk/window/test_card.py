"""The process that plays and records, on the virtual bench: begun, stopped, gone, not answering."""

import asyncio
import multiprocessing
import os
import signal

import pytest

from fit.desk.window import card as card_module
from fit.desk.window.card import CardProcess
from fit.desk.window.hub import Place
from fit.desk.window.messages import (
    Card,
    GuideAsk,
    GuideDone,
    GuideLeave,
    GuideOpen,
    Level,
    LevelEnded,
    LevelStart,
    LevelStop,
)

LIMIT_S = 60.0


class Listener:
    """Hears what a card's process tells."""

    def __init__(self, folder):
        self.heard, self.place, self.card = [], Place(logbook=folder, is_virtual=True), CardProcess()
        self.card.start(self.heard.append)

    def order(self, message):
        self.card.order(message, self.place)

    def all(self, kind):
        return [one for one in self.heard if isinstance(one, kind)]

    async def wait(self, kind, is_it=lambda _: True):
        """Until something of that kind is heard from now on."""
        n_before, end_s = len(self.heard), asyncio.get_running_loop().time() + LIMIT_S
        while not (found := [one for one in self.heard[n_before:] if isinstance(one, kind) and is_it(one)]):
            assert asyncio.get_running_loop().time() < end_s, self.heard
            await asyncio.sleep(0.01)
        return found[0]


@pytest.fixture
def listening(tmp_path):
    def play(act):
        async def whole():
            listener = Listener(tmp_path)
            try:
                await act(listener)
            finally:
                processes = multiprocessing.active_children()
                await asyncio.to_thread(listener.card.end)
            assert not [one for one in processes if one.is_alive()]

        asyncio.run(whole())

    return play


async def hold_up(listener):
    """Let levels be heard, and hold up the process that tells them."""
    listener.order(LevelStart())
    await listener.wait(Level)
    os.kill(listener.card._process.pid, signal.SIGSTOP)


def is_idle(card):
    return card.activity == "idle"


@pytest.mark.long
def test_levels_are_heard_until_they_are_stopped(listening):
    async def act(listener):
        listener.order(LevelStart())
        assert (await listener.wait(Card)).activity == "level"
        assert [one.name for one in (await listener.wait(Level)).inputs] == ["pickup", "reference"]
        listener.order(LevelStop())
        assert await listener.wait(Card, is_idle)
        assert [one.text for one in listener.all(LevelEnded)] == [""]
        listener.order(LevelStart(what="quiet"))
        await listener.wait(Level)
        listener.card.silence()
        assert await listener.wait(Card, is_idle)

    listening(act)


@pytest.mark.long
def test_a_job_makes_room_for_another_activity(listening):
    async def act(listener):
        listener.order(GuideOpen(job="pickup"))
        assert (await listener.wait(GuideAsk)).key == "cautions"
        listener.order(LevelStart())
        await listener.wait(Level)
        assert [one.is_finished for one in listener.all(GuideDone)] == [False]
        assert "idle" not in [one.activity for one in listener.all(Card)], "nobody else may have the card in between"
        listener.order(GuideOpen(job="pickup"))
        await listener.wait(GuideAsk)
        listener.order(GuideLeave())
        await listener.wait(Card, is_idle)

    listening(act)


@pytest.mark.long
def test_a_process_that_dies_is_told_and_begun_again(listening):
    async def act(listener):
        listener.order(LevelStart())
        await listener.wait(Level)
        listener.card._process.kill()
        assert await listener.wait(Card, is_idle)
        assert ["begin again" in one.text for one in listener.all(LevelEnded)] == [True]
        listener.order(LevelStart())
        await listener.wait(Level)

    listening(act)


@pytest.mark.long
def test_what_is_begun_right_after_a_stop_goes_on(listening, monkeypatch):
    monkeypatch.setattr(card_module, "FADE_S", 0.6)

    async def act(listener):
        listener.order(LevelStart())
        await listener.wait(Level)
        listener.card.silence()
        assert await listener.wait(Card, is_idle)
        listener.order(LevelStart())
        await listener.wait(Level)
        await asyncio.sleep(1.0)
        await listener.wait(Level)
        assert [one.text for one in listener.all(LevelEnded)] == [""]

    listening(act)


@pytest.mark.long
@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="a process cannot be held up here")
def test_a_process_that_does_not_answer_is_replaced(listening, monkeypatch):
    monkeypatch.setattr(card_module, "LEAVE_S", 0.3)

    async def act(listener):
        await hold_up(listener)
        await asyncio.sleep(0.2)
        listener.order(GuideOpen(job="pickup"))
        assert (await listener.wait(GuideAsk)).key == "cautions"

    listening(act)


@pytest.mark.long
@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="a process cannot be held up here")
def test_a_process_that_does_not_fall_silent_is_ended(listening, monkeypatch):
    monkeypatch.setattr(card_module, "FADE_S", 0.3)

    async def act(listener):
        await hold_up(listener)
        listener.card.silence()
        assert await listener.wait(Card, is_idle)
        assert ["did not fall silent in time" in one.text for one in listener.all(LevelEnded)] == [True]

    listening(act)
