"""Frames between the two processes: what is whole is kept, what is cut off is not taken for a frame."""

import io

import pytest

from measure.source.wire import HEAD, JSON, LARGEST, SAMPLES, read_frame, write_frame, write_json


def test_frames_come_as_they_went_and_the_last_one_is_dropped_where_it_is_cut_off():
    pipe = io.BytesIO()
    write_json(pipe, event="opened", rate_hz=48000)
    write_frame(pipe, SAMPLES, b"abc", b"defgh")
    whole = pipe.getvalue()
    for n in range(len(whole) + 1):
        cut = io.BytesIO(whole[:n])
        frames = list(iter(lambda cut=cut: read_frame(cut), None))
        assert len(frames) == (n >= len(whole)) + (n >= len(whole) - 8 - HEAD.size)
    assert frames == [(JSON, b'{"event": "opened", "rate_hz": 48000}'), (SAMPLES, b"abcdefgh")]


@pytest.mark.parametrize("head", [HEAD.pack(b"X", 3), HEAD.pack(SAMPLES, LARGEST + 1)])
def test_what_is_no_frame_ends_the_reading(head):
    assert read_frame(io.BytesIO(head + b"abc")) is None
