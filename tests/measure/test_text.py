"""What must not reach a terminal does not, in lines, in messages, and in JSON."""

import json
import sys

import pytest

from measure.text import plain_json, plain_lines, plain_text

HARM = [
    "\x1b",
    "\x00",
    "\x07",
    "\r",
    "\x7f",
    "\x9b",
    "\u200b",
    "\u202e",
    "\u2066",
    "\u2028",
    "\u2029",
    "\ufeff",
    "\ud800",
    "\U000e0041",
]


@pytest.mark.parametrize("char", HARM)
def test_what_does_something_is_replaced(char):
    assert plain_text(f"a{char}b") == "a\N{REPLACEMENT CHARACTER}b"
    assert plain_text(f"a{char}b", "?") == "a?b"
    assert plain_lines(f"a\n{char}b\n") == "a\n\N{REPLACEMENT CHARACTER}b\n"


@pytest.mark.parametrize("text", ["", "bare coil", "1 kΩ ± 5 %", "4k7\N{NO-BREAK SPACE}Ω", "Übung", "テスト", "C♯"])
def test_what_is_only_seen_stays(text):
    assert plain_text(text) == plain_lines(text) == plain_json(text) == text


@pytest.mark.parametrize("char", HARM)
def test_json_means_the_same_and_holds_nothing_raw(char):
    document = {f"key{char}": [f"{char}text Ω", 1.5]}
    text = plain_json(json.dumps(document, ensure_ascii=False, indent=1))
    assert json.loads(text) == document
    assert char not in text
    assert "Ω" in text


def test_no_letter_of_any_script_is_lost_from_json():
    letters = "".join(chr(code) for code in range(32, sys.maxunicode, 97) if not 0xD800 <= code < 0xE000)
    assert json.loads(plain_json(json.dumps(letters, ensure_ascii=False))) == letters
