"""Streams on a made-up PortAudio: which channels are opened, what is copied where, and its refusals by name."""

from types import SimpleNamespace

from measure.source.streams import count_channels, flag_bits


def test_channels_and_flags():
    assert [count_channels(n, highest) for n, highest in ((1, 1), (2, 1), (8, 1), (8, 5))] == [1, 2, 2, 5]
    flags = {"input_underflow": False, "input_overflow": True, "output_underflow": True, "output_overflow": False}
    assert flag_bits(SimpleNamespace(**flags)) == 0b0110
