"""The parent's side of the recording process: errors by their names, and the end of a process whatever it does."""

import json
import os

import pytest

from measure import errors
from measure.errors import DeviceError, NoProgressError, OpenError, ServerDiedError
from measure.source import engine
from measure.source.engine import NAMED, RecordingProcess, raise_exit, raise_named
from measure.source.wire import JSON, SAMPLES

SERVE = """
import sys
sys.path.insert(0, sys.argv[1])
from measure.source.wire import SAMPLES, read_frame, write_frame, write_json
head, payload = read_frame(sys.stdin.buffer), read_frame(sys.stdin.buffer)
"""


def test_every_trouble_with_the_card_has_its_name():
    below = {kind.__name__ for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, DeviceError)}
    assert set(NAMED) == below - {"DeviceError"}
    for name, kind in NAMED.items():
        with pytest.raises(kind, match=r"^words") as caught:
            raise_named({"error": name, "text": "words"}, "here")
        assert type(caught.value) is kind


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("ServerDiedError", "it went after 1 s. Start it again, and repeat the take."),
        ("DeviceGoneError", "it went after 1 s. Plug it in again, and repeat the take."),
        ("RateError", "it went"),
        ("SystemExit", "it went"),  # no other class is made from what a process says
    ],
)
def test_what_happens_on_the_way_is_told_with_its_place(name, text):
    with pytest.raises(DeviceError) as caught:
        raise_named({"error": name, "text": "it went"}, "after 1 s")
    assert str(caught.value) == text


def test_an_end_without_words_is_told_by_its_code():
    with pytest.raises(ServerDiedError, match="by signal 9, here"):
        raise_exit(-9, "here")
    for code in (0, 1):
        with pytest.raises(OpenError, match=rf"exit code {code}\), here"):
            raise_exit(code, "here")


@pytest.fixture
def serve(monkeypatch):
    """Let the process do something else."""
    return lambda script: monkeypatch.setattr(engine, "START", SERVE + script)


def test_the_order_goes_there_and_frames_come_back(serve):
    serve("write_json(sys.stdout.buffer, got=head[1].decode()); write_frame(sys.stdout.buffer, SAMPLES, payload[1][::-1])")
    with RecordingProcess({"task": "none"}, b"\x01\x02\x03") as process:
        kind, content = process.next_frame(30.0)
        assert kind == JSON
        assert json.loads(content["got"]) == {"task": "none"}
        assert process.next_frame(30.0) == (SAMPLES, b"\x03\x02\x01")
        assert process.next_frame(30.0) is None
        assert process.end(grace_s=30.0) == 0
    assert process.end(grace_s=30.0) == 0  # once more does no harm


def test_what_is_printed_and_how_it_ends_is_kept(serve):
    serve("print(' a library', file=sys.stderr); sys.exit(7)")
    with RecordingProcess({}) as process:
        assert process.next_frame(30.0) is None
        assert process.end(grace_s=30.0) == 7
    assert process.library_text == "a library"


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_one_that_hangs_is_killed_and_nothing_comes_of_it(serve):
    serve("import threading; write_json(sys.stdout.buffer, event='started'); threading.Event().wait()")
    with RecordingProcess({}) as process:
        with pytest.raises(TimeoutError, match=r"nothing for 0\.0 s"):
            process.next_frame(0.0)
        assert process.end(grace_s=0.0) == -9


def test_it_is_told_to_stop_by_a_byte(serve):
    serve("write_json(sys.stdout.buffer, event='ready'); write_json(sys.stdout.buffer, stop=sys.stdin.buffer.read(1).decode())")
    with RecordingProcess({}) as process:
        assert process.next_frame(30.0) == (JSON, {"event": "ready"})
        process.stop()
        assert process.next_frame(30.0) == (JSON, {"stop": "."})


def test_one_that_does_not_even_start_is_no_fault_of_the_card(serve, monkeypatch):
    monkeypatch.setattr(engine, "START_LIMIT_S", 0.2)
    serve("import threading; threading.Event().wait()")
    with RecordingProcess({}) as process:
        with pytest.raises(NoProgressError, match="did not start within 0 s: this computer is busy with other work"):
            process.next_frame(0.0)
        process.end(grace_s=0.0)


@pytest.mark.parametrize(
    ("start_s", "load", "told"), [(0.3, 0.0, "pull the plug"), (1.7, 0.0, "took 1.7 s"), (0.3, 99.0, "load 99.0 on")]
)
def test_on_a_busy_machine_no_plug_is_blamed(serve, monkeypatch, start_s, load, told):
    monkeypatch.setattr(engine.os, "getloadavg", lambda: (load, 0.0, 0.0), raising=False)
    serve("write_json(sys.stdout.buffer, event='started')")
    with RecordingProcess({}) as process:
        assert process.next_frame(30.0) is None  # that it runs is no news
        process._start_s = start_s
        said = process.cure("pull the plug")
    assert told in said
    assert ("this computer is busy" in said) == ("plug" not in said)


def test_a_word_that_comes_before_the_order_is_read_is_not_lost(serve):
    """More than a pipe holds is still to be read when it is said."""
    serve("write_json(sys.stdout.buffer, stop=sys.stdin.buffer.read(1).decode())")
    with RecordingProcess({}, bytes(1 << 20)) as process:
        process.stop()
        assert process.next_frame(30.0) == (JSON, {"stop": "."})


def test_an_interrupt_while_the_card_is_closed_is_put_off_until_it_is(serve, monkeypatch):
    serve("sys.stdin.buffer.read(1); sys.exit(5)")
    process = RecordingProcess({})
    wait, waits = process._process.wait, []

    def interrupted(timeout=None):
        waits.append(timeout)
        if len(waits) == 1:
            raise KeyboardInterrupt
        return wait(timeout)

    monkeypatch.setattr(process._process, "wait", interrupted)
    with pytest.raises(KeyboardInterrupt):
        process.end(grace_s=30.0)
    assert process._process.returncode == 5  # it went by itself, nobody killed it


@pytest.mark.skipif(os.name != "posix", reason="groups of processes")
def test_an_interrupt_of_the_terminal_does_not_reach_it(serve):
    serve("import os; write_json(sys.stdout.buffer, group=os.getpgid(0), jack=os.environ['JACK_NO_START_SERVER'])")
    with RecordingProcess({}) as process:
        _, content = process.next_frame(30.0)
    assert content["group"] != os.getpgid(0)
    assert content["jack"] == "1"
