"""What pages send: all of it typed, all of it limited; ten thousand messages that mean no good leave the server as it was."""

import json

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fit.desk.window.messages import MAX_MESSAGE_BYTES, Asked, FromPage, GuideAnswer, LevelStart, WhatIfSet, kind_of
from tests.window_server import Server

KINDS = sorted(kind_of(one.__name__) for one in msgspec.inspect.type_info(FromPage).types for one in [one.cls])
AT_ONCE = 20


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    server = Server(tmp_path_factory.mktemp("book"), "--virtual")
    yield server
    server.end()


def read(text):
    return msgspec.json.decode(text, type=FromPage)


def test_each_kind_is_read_as_its_own_type():
    assert read('{"kind":"level_start","id":3,"what":"quiet"}') == LevelStart(id=3, what="quiet")
    assert read('{"kind":"guide_answer","key":"level","text":"0.1"}') == GuideAnswer(key="level", text="0.1")
    assert read('{"kind":"what_if_set","set":{"tone":"3"}}').set == {"tone": "3"}
    assert issubclass(WhatIfSet, Asked)
    assert {"alive", "stop", "card_take", "guide_open", "book_open"} <= set(KINDS)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        '"alive"',
        "{}",
        '{"kind":"alive","more":1}',
        '{"kind":"none"}',
        '{"kind":["alive"]}',
        '{"kind":"alive","id":-1}',
        '{"kind":"alive","id":1e400}',
        '{"kind":"alive","id":"1"}',
        '{"kind":"guide_open"}',
        '{"kind":"guide_open","job":"bass"}',
        '{"kind":"level_start","what":"music"}',
        '{"kind":"guide_answer","key":"a","text":"' + "x" * 1001 + '"}',
        '{"kind":"what_if_set","solder":[' + ",".join(['"a"'] * 65) + "]}",
        '{"kind":"sound","rate_hz":1}',
        "[" * 100_000,
    ],
)
def test_what_does_not_fit_is_refused(text):
    with pytest.raises((msgspec.MsgspecError, RecursionError)):
        read(text)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=40),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=8,
)
FIELDS = (
    "id",
    "key",
    "text",
    "job",
    "what",
    "set",
    "change",
    "solder",
    "takes",
    "before",
    "name",
    "note",
    "edge",
    "rate_hz",
    "at",
)
WORDS = st.sampled_from(["pickup", "tone", "low", "../../etc/passwd", "\x00", "\ud800", "LONG", "%s%n", "<script>", "10n", "-1"])
AIMED = st.fixed_dictionaries(
    {"kind": st.sampled_from([kind for kind in KINDS if kind != "book_open"])},
    optional=dict.fromkeys(FIELDS, st.deferred(lambda: JSON | WORDS)),
)
# Of folders, only those that are none: what is opened is worked in.
FOLDERS = st.builds(lambda text: {"kind": "book_open", "folder": f"{text}/none/such"}, st.text(max_size=400) | WORDS)
HOSTILE = (
    st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace").decode())
    | (JSON | AIMED | FOLDERS).map(lambda value: json.dumps(value).replace("LONG", 2000 * "a"))
    | st.sampled_from(["[" * 300, '{"kind":' * 50, "9" * 600, '{"kind":"alive","id":' + "1" * 500 + "}", "\ufeff{}", "\x00"])
    | st.binary(max_size=200)
)


@pytest.mark.long
@pytest.mark.parametrize("times", [40, pytest.param(500, marks=pytest.mark.slow)])
def test_hostile_messages_leave_no_trace(server, times):
    """Ten thousand of them; also those that happen to be right: levels are looked at, guides begun, the card taken."""
    n_sent = []

    @settings(max_examples=times, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(st.lists(HOSTILE, min_size=AT_ONCE, max_size=AT_ONCE))
    def send(texts):
        for number, text in enumerate(texts):
            pages[number % 2].socket.send(text)
        n_sent.append(len(texts))
        for page in pages:
            assert page.ask("stop")["kind"] == "card"

    with server.page() as one, server.page() as other:
        pages = (one, other)
        send()
    assert sum(n_sent) >= AT_ONCE * times
    assert server.ask("/")[0] == 200
    assert server.complaints == ["Only this machine can open it. Ctrl-C ends it."]


def test_what_is_refused_is_told_in_one_line(server):
    with server.page() as page:
        for text in ('{"kind":"none"}', "{", "\n\n", '{"kind":"alive","x":"\\n"}', b"\x00\xff", "[" * 60_000, "9" * 60_000):
            page.socket.send(text)
            told = page.next("refused")
            assert told["text"]
            assert "\n" not in told["text"]


def test_a_message_that_is_too_long_ends_its_page_and_no_other(server):
    with server.page() as one, server.page() as other:
        one.socket.send('{"kind":"alive","id":"' + "x" * MAX_MESSAGE_BYTES + '"}')
        with pytest.raises(Exception, match=r"1009|too big"):
            one.next("card_of_nobody", limit_s=5.0)
        assert other.ask("stop")["kind"] == "card"
