"""Hostile inputs of the day on every reader, those that once made something fall, and what judges them."""

import random

import pytest

from tests.draws import DAY
from tests.fuzz import Reader, attempt, bench, input_of, read_values, some_words, try_some

N = 2000


@pytest.fixture(scope="module")
def readers():
    with bench() as found:
        yield found


@pytest.mark.long
def test_inputs_that_are_called_sound_are_taken(readers):
    """What is refused before it is changed tries nothing but one refusal."""
    for reader in readers.values():
        for content in reader.seeds:
            reader.read(content)


@pytest.mark.long
def test_no_hostile_input_of_the_day_makes_a_reader_fall(readers):
    falls = [f"{fall.reader} {fall.number}: {fall.what}" for fall in try_some(readers, N, DAY)]
    assert falls == [], f"python -m tests.fuzz --seed {DAY} --n {N} draws them again; keep each as a test"


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("session", b"[" * 100_000),
        ("session", b'{"job": "pickup", "entries": [{"key": "take.bare", "answer": "gone"}]}'),  # of no question before it
        ("session", b'{"job": "pickup", "entries": [' + b",".join([b'{"key": "ready.a", "answer": "yes"}'] * 1999) + b"]}"),
        ("session", b'{"job": "pickup", "entries": [], "\\u202e\\u001b[31m": 1}'),
        ("session", b'{"job": "pickup", "entries' + b"h" * 1000 + b'": []}'),
        ("table", b"frequency_hz,\x1b[31mreal,standard_deviation\n1,2,3\n2,3,4\n"),
        ("table", b"frequency (kHz),real,imaginary\n1e306,1,1\n2e306,1,1\n"),
        ("touchstone", b"# GHz Z RI R 50\n1e300 1 0\n2e300 1 0\n"),
        ("values", b"(" * 30_000_000),  # took its length times a search
        ("values", b"100 \xc2\xb1 1% at 20C\n100 \xc2\xb1 1% at 20C"),
    ],
)
def test_what_once_fell_stands(readers, name, content):
    assert attempt(readers[name], content) == ""


def said(text):
    def read(_content):
        raise ValueError(text)

    return read


def hangs(_content):
    while True:
        pass


@pytest.mark.parametrize(
    ("read", "wrong"),
    [
        (lambda _content: None, ""),
        (said("take.json: no such key; remove it"), ""),
        (said("two\nlines of take.json"), "no printable line"),
        (said("take.json \x1b[31m"), "no printable line"),
        (said(""), "no printable line"),
        (said("wrong, somewhere"), "no place is named"),
        (lambda _content: {}["key"], "KeyError"),
        (lambda _content: b"\xff".decode(), "UnicodeDecodeError"),
    ],
)
def test_what_falls_is_seen(read, wrong):
    found = attempt(Reader("text", (b"",), read, "take.json"), b"")
    assert found.startswith(wrong)
    assert bool(found) == bool(wrong)


@pytest.mark.long
def test_what_hangs_is_seen(monkeypatch):
    monkeypatch.setattr("tests.fuzz.LIMIT_S", 0.2)
    assert attempt(Reader("text", (b"",), hangs), b"").startswith("hangs")


def test_an_input_is_drawn_from_its_number():
    reader = Reader("json", (b'{"a": [1, 2.5, "c"]}',), read_values)
    drawn = [input_of("one", reader, 7, number) for number in range(50)]
    assert drawn == [input_of("one", reader, 7, number) for number in range(50)]
    assert len(set(drawn)) > 30
    assert drawn != [input_of("one", reader, 8, number) for number in range(50)]


def test_no_word_that_is_tried_leads_out_of_its_folder():
    for number in range(300):
        for word in some_words(random.Random(number), is_run=True).decode("utf-8", "surrogateescape").split("\n"):
            assert not set(word) & set("/\\~")
            assert ".." not in word
