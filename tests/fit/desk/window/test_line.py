"""The card's process at its end of the pipe: what stops, what goes on, and that it goes when the server did."""

import threading
from multiprocessing import Pipe
from pathlib import Path

import pytest

from fit.desk.window import line as line_module
from fit.desk.window.line import Line, Sent
from fit.desk.window.messages import GuideDo, GuideLeave, GuideOpen, GuideTold, LevelStart, LevelStop

LIMIT_S = 20.0


@pytest.fixture
def ends(monkeypatch):
    """The server's end, the line, and an event that is set when the process would go."""
    monkeypatch.setattr(line_module, "OUTLIVE_S", 0.1)
    ours, theirs = Pipe()
    has_left = threading.Event()
    yield ours, Line(theirs, leave=lambda _: has_left.set()), has_left
    ours.close()
    assert has_left.wait(LIMIT_S)
    theirs.close()


def sent(message):
    return Sent(message=message, logbook=Path("book"), is_virtual=True)


def test_an_order_is_one_activity(ends):
    ours, line, _ = ends
    ours.send(sent(LevelStart(what="quiet")))
    order = line.next_order()
    assert (order.message, order.logbook, order.is_virtual) == (LevelStart(what="quiet"), Path("book"), True)
    assert not order.halt.is_set()
    assert not line.is_waiting()


def test_what_is_said_arrives_at_the_server(ends):
    ours, line, _ = ends
    line.tell(GuideTold(lines=("a",)))
    assert ours.recv() == GuideTold(lines=("a",))


def test_silence_stops_what_sounds_and_an_answer_lets_sound_again(ends):
    ours, line, _ = ends
    ours.send(sent(GuideOpen(job="pickup")))
    order = line.next_order()
    ours.send(sent(None))
    assert order.halt.wait(LIMIT_S)
    ours.send(sent(GuideDo(key="ready.open")))
    assert order.answers.get(timeout=LIMIT_S) == GuideDo(key="ready.open")
    assert not order.halt.is_set()
    ours.send(sent(GuideLeave()))
    assert order.answers.get(timeout=LIMIT_S) is None
    assert order.halt.is_set()


def test_another_activity_ends_the_one_before(ends):
    ours, line, _ = ends
    ours.send(sent(LevelStart()))
    first = line.next_order()
    ours.send(sent(GuideOpen(job="wiring")))
    assert first.halt.wait(LIMIT_S)
    second = line.next_order()
    assert second.message == GuideOpen(job="wiring")
    assert not second.halt.is_set()
    ours.send(sent(LevelStop()))
    assert second.halt.wait(LIMIT_S)


def test_what_comes_before_any_order_is_nothing(ends):
    ours, line, _ = ends
    ours.send(sent(None))
    ours.send(sent(GuideDo(key="a")))
    ours.send(sent(LevelStart()))
    assert line.next_order().answers.empty()


def test_when_the_server_goes_what_sounds_stops_and_the_process_follows(ends):
    ours, line, has_left = ends
    ours.send(sent(LevelStart()))
    order = line.next_order()
    ours.close()
    assert order.halt.wait(LIMIT_S)
    assert line.next_order() is None
    line.tell(GuideTold(lines=("nobody hears it",)))
    assert has_left.wait(LIMIT_S)
