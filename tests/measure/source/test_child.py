"""What runs in the recording process, driven by hand: no process, no card, no clock."""

import io
import json
import os
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest

from measure.errors import DeviceGoneError, NoCardError, ServerDiedError, UnknownDeviceError
from measure.source import child, portaudio
from measure.source.child import _find_devices, _list_devices, _read_order, _Recorder
from measure.source.portaudio import Found
from measure.source.wire import BLOCK_HEAD, SAMPLES, read_frame, write_frame, write_json
from tests.places import TOP

RATE_HZ = 1000
N_LEAD = 200  # 0.2 s of silence before the stimulus
STIMULUS = np.linspace(0.1, 1.0, 500, dtype=np.float32)


class Left(Exception):
    """The process would have gone."""


@pytest.fixture(autouse=True)
def no_exit(monkeypatch):
    def leave(code):
        raise Left(str(code))

    monkeypatch.setattr(child.os, "_exit", leave)


def recorder(*, n_frames=600, pipe=None, repeats=False):
    head = {"rate_hz": RATE_HZ, "n_played": len(STIMULUS), "n_frames": n_frames, "repeats": repeats}
    stimulus = np.tile(STIMULUS, 2) if repeats else STIMULUS  # once with its ramp, once as it goes on
    return _Recorder(head, stimulus, order=io.BytesIO(), pipe=io.BytesIO() if pipe is None else pipe)


def turn(one, n, *, flags=0):
    """A block in a loop: what is played comes back in both channels."""
    block = np.empty(n, dtype=np.float32)
    one._fill(block)
    one._take(np.stack([block, -block], axis=1), flags)


def handed_over(one, *, is_active=False, is_server=False):
    one._hand_over(SimpleNamespace(is_active=lambda: is_active), is_server=is_server)
    return frames_in(one._pipe)


def frames_in(pipe):
    written = io.BytesIO(pipe.getvalue())
    frames = list(iter(lambda: read_frame(written), None))
    events = [json.loads(content) for kind, content in frames if kind != SAMPLES]
    blocks = [content for kind, content in frames if kind == SAMPLES]
    heads = [BLOCK_HEAD.unpack_from(content)[1:] for content in blocks]
    parts = [np.frombuffer(content, dtype=np.float32, offset=BLOCK_HEAD.size).reshape(-1, 2) for content in blocks]
    return events, heads, np.concatenate(parts) if parts else None


@pytest.mark.parametrize("n_block", [64, 200, 333, 1000])
def test_the_recording_begins_with_the_stimulus_and_ends_to_the_sample(n_block):
    one = recorder(n_frames=600)
    for _ in range(-(-(N_LEAD + 600) // n_block)):
        turn(one, n_block)
    events, heads, samples = handed_over(one)
    assert events == [{"event": "done"}]
    expected = np.concatenate([STIMULUS, np.zeros(100)])
    np.testing.assert_array_equal(samples, np.stack([expected, -expected], axis=1).astype(np.float32))
    assert {n_came for _, n_came in heads} == {n_block}  # also of blocks that are kept in part


def test_flags_go_with_their_block():
    one = recorder(n_frames=300)
    for index in range(5):
        turn(one, 100, flags=index)
    _, heads, _ = handed_over(one)
    assert [flags for flags, _ in heads] == [0, 1, 2, 3, 4]


def test_of_two_devices_what_comes_before_the_output_started_is_no_part_of_it():
    one = recorder(n_frames=100)
    one._take(np.full((50, 2), 9, dtype=np.float32), 0)
    for _ in range(3):
        turn(one, 100)
    _, _, samples = handed_over(one)
    np.testing.assert_array_equal(samples[:, 0], STIMULUS[:100])


@pytest.mark.parametrize(("is_server", "error", "said"), [(True, ServerDiedError, "server"), (False, DeviceGoneError, "card")])
def test_a_stream_that_ended_by_itself_is_named_and_what_came_is_handed_over(monkeypatch, is_server, error, said):
    monkeypatch.setattr(child, "POLL_S", 1e-4)
    one = recorder()
    for _ in range(4):
        turn(one, 100)
    with pytest.raises(error, match=f"the sound {said} went"):
        handed_over(one, is_server=is_server)
    assert len(frames_in(one._pipe)[2]) == 200


class Loop:
    """In place of the queue of blocks: each is played and heard when it is asked for."""

    def __init__(self, one, *, stop_at):
        self.one, self.stop_at, self.n_asked, self.block = one, stop_at, 0, None

    def put(self, block):
        self.block = block

    def get(self, timeout):
        assert timeout > 0
        if self.n_asked == self.stop_at:
            self.one._player.stop()
        self.n_asked += 1
        turn(self.one, 100)
        return self.block


def test_told_to_stop_it_plays_a_ramp_and_a_quarter_of_a_second_of_silence():
    one = recorder(n_frames=None, repeats=True)
    one._blocks = Loop(one, stop_at=5)
    events, _, samples = handed_over(one)
    assert events == [{"event": "stopped"}]
    at = 500 - N_LEAD  # where it was stopped, while 0.6 to 0.8 of full scale sounded
    assert 0.5 < samples[at - 1, 0] < samples[at, 0] < 0.8
    assert np.all(np.abs(samples[at : at + 20, 0]) > 0)
    assert np.all(samples[at + 20 :] == 0)  # the ramp lasts 0.02 s
    assert len(samples) - at == 300  # in blocks of 0.1 s


class Broken(io.BytesIO):
    """A pipe whose reader went."""

    def write(self, _content):
        raise BrokenPipeError


def test_without_a_parent_it_ramps_to_silence_and_ends():
    one = recorder(n_frames=None, repeats=True, pipe=Broken())
    turn(one, 300)
    one._lose_parent()
    for _ in range(10):
        turn(one, 100)
    one._hand_over(SimpleNamespace(is_active=lambda: True), is_server=False)
    assert one._player.is_silent
    whole = recorder(pipe=Broken())
    for _ in range(8):
        turn(whole, 100)
    whole._hand_over(SimpleNamespace(is_active=lambda: True), is_server=False)
    assert whole._parent_went


def test_the_parents_word_or_end_stops_it_and_ends_the_process_in_any_case(monkeypatch):
    slept_s = []
    monkeypatch.setattr(child.time, "sleep", slept_s.append)
    one = recorder()
    with pytest.raises(Left, match="0"):
        one._wait_for_stop()
    assert slept_s == [child.OUTLIVE_S]
    assert one._is_stopping.is_set()
    turn(one, 100)
    assert one._player.is_silent


def test_the_word_to_open_is_none_to_stop(monkeypatch):
    monkeypatch.setattr(child.time, "sleep", lambda _s: None)
    one = recorder()
    seen = []
    one._order = SimpleNamespace(
        read=lambda _n: (seen.append((one._has_word.is_set(), one._is_stopping.is_set())), words.pop())[1]
    )
    words = [b".", b"+"]
    with pytest.raises(Left):
        one._wait_for_stop()
    assert seen == [(False, False), (True, False)]


def test_an_order_is_read_whole_or_the_process_leaves():
    order = io.BytesIO()
    write_json(order, task="list", skip=1)
    write_frame(order, SAMPLES, b"abcd")
    assert _read_order(io.BytesIO(order.getvalue())) == ({"task": "list", "skip": 1}, b"abcd")
    for cut in (0, 5, len(order.getvalue()) - 1):
        with pytest.raises(Left):
            _read_order(io.BytesIO(order.getvalue()[:cut]))


def test_devices_are_listed_first_and_then_the_rates_of_those_that_were_not_asked_yet(monkeypatch):
    found = [Found(index=k, name=f"card {k}", host_api="Plain", n_inputs=k, n_outputs=2, rate_hz=48000.0) for k in range(3)]
    monkeypatch.setattr(portaudio, "load_library", lambda: SimpleNamespace(get_portaudio_version=lambda: (19, "V19")))
    monkeypatch.setattr(portaudio, "find_devices", lambda _sd: found)
    monkeypatch.setattr(portaudio, "default_index", lambda _sd, is_input: 1 if is_input else None)
    monkeypatch.setattr(portaudio, "opening_rates", lambda _sd, each: ([44100 + each.index], [48000]))
    pipe = io.BytesIO()
    _list_devices(pipe, skip=1)
    events, _, _ = frames_in(pipe)
    assert [event["event"] for event in events] == ["devices", "rates", "rates", "done"]
    assert (events[0]["version"], events[0]["default_input"], events[0]["default_output"]) == ("V19", 1, None)
    assert [each["n_inputs"] for each in events[0]["devices"]] == [0, 1, 2]
    assert [(event["index"], event["rates_hz"]) for event in events[1:3]] == [(1, [44101]), (2, [44102])]
    assert {tuple(event["exact_hz"]) for event in events[1:3]} == {(48000,)}


def test_devices_are_found_by_name_without_opening_one(monkeypatch):
    cards = [Found(index=0, name="card", host_api="Plain", n_inputs=2, n_outputs=2, rate_hz=48000.0)]
    found = [*cards]
    monkeypatch.setattr(portaudio, "load_library", lambda: SimpleNamespace(query_hostapis=lambda: []))
    monkeypatch.setattr(portaudio, "find_devices", lambda _sd: found)
    monkeypatch.setattr(portaudio, "default_index", lambda _sd, **_: 0)
    pipe = io.BytesIO()
    side = {"device": None, "host_api": None}
    _find_devices(pipe, {"output": side, "input": side | {"device": "car"}})
    assert frames_in(pipe)[0] == [{"event": "done", "output": "card", "input": "card"}]
    with pytest.raises(UnknownDeviceError, match="no input device is called 'other'"):
        _find_devices(pipe, {"output": side, "input": side | {"device": "other"}})
    found.clear()
    with pytest.raises(NoCardError, match="no sound card with an output was found"):
        _find_devices(pipe, {"output": side, "input": side})


@pytest.mark.skipif(os.name != "posix", reason="descriptors of POSIX systems")
def test_what_a_library_prints_does_not_get_between_the_frames():
    script = (
        "import os, sys; sys.path.insert(0, sys.argv[1]); from measure.source import child; order, pipe = child._take_pipes(); "
        "os.write(1, b'noise'); pipe.write(order.read()); pipe.flush()"
    )
    command = [sys.executable, "-P", "-c", script, str(TOP)]
    ran = subprocess.run(command, input=b"frame", capture_output=True, check=True, timeout=60)
    assert (ran.stdout, ran.stderr) == (b"frame", b"noise")
