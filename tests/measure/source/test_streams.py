"""Streams on a made-up PortAudio: which channels are opened, what is copied where, and its refusals by name."""

from types import SimpleNamespace

import numpy as np
import pytest

from measure.errors import ChannelError, OpenError, RateError
from measure.source.portaudio import Found
from measure.source.streams import Streams, count_channels, flag_bits, refuse
from measure.source.wire import FLAGS


def test_channels_and_flags():
    assert [count_channels(n, highest) for n, highest in ((1, 1), (2, 1), (8, 1), (8, 5))] == [1, 2, 2, 5]
    flags = {"input_underflow": False, "input_overflow": True, "output_underflow": True, "output_overflow": False}
    assert flag_bits(SimpleNamespace(**flags)) == 0b0110
    assert [flag_bits(SimpleNamespace(**{name.replace(" ", "_"): name == one for name in FLAGS})) for one in FLAGS] == [
        1,
        2,
        4,
        8,
    ]


class Refused(Exception):
    """As PortAudio raises it."""


class Library(SimpleNamespace):
    """As much of sounddevice as streams need; what was opened, started and closed is noted."""

    def __init__(self, *, fails_at="", exact_fails_at=""):
        self.opened, self.done = [], []
        self.PortAudioError = Refused
        self.WasapiSettings = lambda exclusive: ("alone", exclusive)

        def kind(name):
            def make(**options):
                if exact_fails_at == name and options["extra_settings"] is not None:
                    raise Refused("Device unavailable", -9985)
                if fails_at == name:
                    raise Refused("Invalid number of channels", -9998)

                def start():
                    if fails_at == "start":
                        raise Refused("Device unavailable", -9985)
                    self.done.append(("start", name))

                stream = SimpleNamespace(
                    active=True,
                    start=start,
                    abort=lambda ignore_errors: self.done.append(("abort", name, ignore_errors)),
                    close=lambda ignore_errors: self.done.append(("close", name, ignore_errors)),
                )
                self.opened.append((name, options, stream))
                return stream

            return make

        for name in ("Stream", "InputStream", "OutputStream"):
            setattr(self, name, kind(name))


def card(index=0, *, n_inputs=4, n_outputs=4):
    return Found(index=index, name=f"card {index}", host_api="Plain", n_inputs=n_inputs, n_outputs=n_outputs, rate_hz=44100.0)


def status(**flags):
    return SimpleNamespace(**({name.replace(" ", "_"): False for name in FLAGS} | flags))


def streams(library, output, input_, *, output_channel=1, input_channels=(1, 2), taken=None):
    taken = [] if taken is None else taken

    def fill(channel):
        channel[:] = 0.5

    return Streams(
        library,
        output,
        input_,
        rate_hz=48000,
        output_channel=output_channel,
        input_channels=input_channels,
        fill=fill,
        take=lambda block, flags: taken.append((block, flags)),
    )


def test_one_card_is_one_stream_that_copies_the_channels_in_their_order():
    library, taken = Library(), []
    made = streams(library, card(), card(), output_channel=2, input_channels=(3, 1), taken=taken)
    ((name, options, _),) = library.opened
    assert name == "Stream"
    assert (options["device"], options["channels"], options["samplerate"], options["dtype"]) == ((0, 0), (3, 2), 48000, "float32")
    heard, played = np.array([[1, 2, 3]] * 5, dtype=np.float32), np.full((5, 2), 9, dtype=np.float32)
    options["callback"](heard, played, 5, None, status(input_overflow=True, output_underflow=True))
    np.testing.assert_array_equal(played, [[0, 0.5]] * 5)  # the other channel is silent, whatever was in the buffer
    heard[:] = 7  # the buffer is PortAudio's: what is kept is a copy
    ((block, flags),) = taken
    np.testing.assert_array_equal(block, [[3, 1]] * 5)
    assert flags == 0b0110
    made.start()
    assert made.is_active()
    made.end()
    assert library.done == [("start", "Stream"), ("abort", "Stream", True), ("close", "Stream", True)]


def test_two_devices_are_two_streams_and_the_input_starts_first():
    library, taken = Library(), []
    made = streams(library, card(1), card(0), taken=taken)
    assert [(name, options["device"], options["channels"]) for name, options, _ in library.opened] == [
        ("InputStream", 0, 2),
        ("OutputStream", 1, 2),
    ]
    made.start()
    assert [what[1] for what in library.done] == ["InputStream", "OutputStream"]
    played = np.full((4, 2), 9, dtype=np.float32)
    library.opened[1][1]["callback"](played, 4, None, status(output_underflow=True))
    np.testing.assert_array_equal(played, [[0.5, 0]] * 4)
    assert taken == []
    for expected in (0b0101, 0b0001):  # what the output lost is told with the next block of the input, once
        library.opened[0][1]["callback"](np.zeros((4, 2), dtype=np.float32), 4, None, status(input_underflow=True))
        assert taken.pop()[1] == expected
    library.opened[1][2].active = False
    assert not made.is_active()


@pytest.mark.parametrize(
    ("output", "input_", "channels", "said"),
    [
        (card(n_outputs=1), card(), (2, (1, 2)), r"card 0 \(Plain\) has 1 output channel, but output channel 2"),
        (card(), card(n_inputs=2), (1, (1, 3)), "has 2 input channels, but input channel 3 was asked for"),
        (card(n_outputs=0), card(), (1, (1, 2)), "has 0 output channels"),
    ],
)
def test_channels_that_are_not_there_are_named_before_anything_is_opened(output, input_, channels, said):
    library = Library()
    with pytest.raises(ChannelError, match=said):
        streams(library, output, input_, output_channel=channels[0], input_channels=channels[1])
    assert library.opened == []


@pytest.mark.parametrize(
    ("fails_at", "output", "said"),
    [
        ("Stream", card(), "card 0 .*the pair of input and output does not open with 2 channels"),
        ("InputStream", card(1), "card 0 .*the input does not open"),
        ("OutputStream", card(1), "card 1 .*the output does not open"),
    ],
)
def test_the_side_that_was_refused_is_named(fails_at, output, said):
    with pytest.raises(ChannelError, match=said):
        streams(Library(fails_at=fails_at), output, card(0))


def test_a_stream_that_does_not_start_is_named():
    with pytest.raises(OpenError, match=r"the stream does not open \(Device unavailable\)"):
        streams(Library(fails_at="start"), card(), card()).start()


@pytest.mark.parametrize(
    ("error", "kind", "said"),
    [
        (Refused("Invalid sample rate", -9997), RateError, "the input does not open at 96000 Hz; its own rate is 44100 Hz"),
        (Refused("Invalid number of channels", -9998), ChannelError, "does not open with 3 channels"),
        (Refused("Device\nunavailable", -9985), OpenError, r"does not open \(Device unavailable\)"),
        (Refused("only words"), OpenError, r"does not open \(only words\)"),
        (Refused(), OpenError, r"does not open \(\)"),
    ],
)
def test_what_portaudio_says_has_a_name(error, kind, said):
    with pytest.raises(kind, match=said) as caught:
        refuse(error, card(), rate_hz=96000, n_channels=3, direction="input")
    assert type(caught.value) is kind
    assert caught.value.__cause__ is error


def shared(index=0):
    return Found(index=index, name=f"card {index}", host_api="Windows WASAPI", n_inputs=2, n_outputs=2, rate_hz=48000.0)


ALONE = ("alone", True)


def test_a_host_api_that_can_be_asked_opens_the_card_alone():
    library = Library()
    made = streams(library, shared(1), shared(0))
    assert [options["extra_settings"] for _, options, _ in library.opened] == [ALONE, ALONE]
    assert (made.is_exact, made.refusal) == (True, "")
    library = Library()
    streams(library, shared(), shared())
    assert library.opened[0][1]["extra_settings"] == (ALONE, ALONE)
    library = Library()
    made = streams(library, card(), card())
    assert library.opened[0][1]["extra_settings"] is None
    assert (made.is_exact, made.refusal) == (False, "")


@pytest.mark.parametrize(("refused", "n_closed"), [("InputStream", 0), ("OutputStream", 1)])
def test_where_it_is_refused_the_card_is_shared_and_that_is_kept(refused, n_closed):
    library = Library(exact_fails_at=refused)
    made = streams(library, shared(1), shared(0))
    assert [name for name, *_ in library.done] == ["close"] * n_closed
    assert [options["extra_settings"] for _, options, _ in library.opened[n_closed:]] == [None, None]
    assert made.is_exact is False
    assert made.refusal == f"card {n_closed}: Device unavailable"
    made.start()
    assert [what[1] for what in library.done[n_closed:]] == ["InputStream", "OutputStream"]


def test_what_does_not_open_in_either_way_is_named():
    with pytest.raises(ChannelError, match="the output does not open"):
        streams(Library(exact_fails_at="InputStream", fails_at="OutputStream"), shared(1), shared(0))
