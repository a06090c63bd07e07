"""Inputs that mean no good: bytes, texts, JSON and typed words, each made from a sound one by chance that a seed fixes."""

import json
import random
import re
import struct

NUMBERS = (
    "0", "-0", "-1", "1", "1e-400", "1e400", "-1e308", "1e20", "nan", "inf", "-inf", "0x7f", "1_0", "1,5",
    "1.5.2", "2**64", "\u0661", "9" * 30, "9" * 5000, "4294967296", "2147483648", "18446744073709551616",
    "-9223372036854775809", "0.1" + "0" * 400, "null", "true",
)  # fmt: skip
TEXTS = (
    "", " ", "\0", "\x1b[31m", "\x1b]0;x\x07", "\u202e", "\ufeff", "\u2028", "\r", "\n", "\t", "e\u0301", "ﬃ",
    "Ω", "\u00b5", "±", "%s%n", "{0}", "{}", "\\", '"', "'", "`", "$(x)", ";", "#", "!", "../../x", "nul", "-",
    "--", "--json", "=", "==", "a=b=c", "<script>", "x" * 300, "x" * 100_000, "[" * 3000, "{" * 3000,
    "(" * 3000, "1n ± 1%", "4k7", "2A333K", "100 ± 1% at 24C", "500k", "± %", "1 ± nan", "1e-3000 F",
    "9" * 400 + "k", "½", "1/0", "10 at 1e9C", "-5n", "0 ± 0", "1n ± 200%", "\ud7ff", "\U0010ffff", "A1", "E5",
    "440", "1k–2k",
)  # fmt: skip
MOST_BYTES = 30 << 20  # of one input; more than any reader takes of a text
VALUES = (
    None,
    True,
    False,
    0,
    -1,
    1,
    2**31,
    2**53,
    2**63,
    -(2**63),
    2**64,
    1e-320,
    1e20,
    1e308,
    0.5,
    "",
    [],
    {},
    [[]],
    [None],
    {"": 0},
)
WORDS32 = (0, 1, 2, 3, 7, 8, 16, 24, 255, 256, 44100, 65535, 65536, 192_000, 2**24, 2**31 - 1, 2**31, 2**32 - 2, 2**32 - 1)


def changed(seed: bytes, rng: random.Random, form: str, others: tuple[bytes, ...] = ()) -> bytes:
    """Change a sound input of a form: "json", "toml", "table", "sound", "pack" or "text"."""
    content = bytes(seed)
    for _ in range(rng.choice((1, 1, 1, 2, 2, 3, 5, 9))):
        ways = [_bytes]
        if form == "json":
            ways = [_json, _json, _json, _text, _bytes]
        elif form == "sound":
            ways = [_header, _header, _bytes]
        elif form in ("toml", "table", "text"):
            ways = [_line, _line, _text, _bytes]
        content = rng.choice(ways)(content, rng)
        if others and rng.random() < 0.05:
            other = rng.choice(others)
            content = content[: rng.randrange(len(content) + 1)] + other[rng.randrange(len(other) + 1) :]
        content = content[:MOST_BYTES]
    return content


def some_text(rng: random.Random) -> str:
    """A number, an awkward text, or signs by chance."""
    way = rng.random()
    if way < 0.35:
        return rng.choice(NUMBERS)
    if way < 0.8:
        return rng.choice(TEXTS)
    return "".join(
        chr(rng.choice((rng.randrange(32, 127), rng.randrange(0xD800), rng.randrange(0xE000, 0x110000)))) for _ in range(9)
    )


def _bytes(content: bytes, rng: random.Random) -> bytes:
    """Flip, cut, double or put in bytes."""
    at = rng.randrange(len(content) + 1)
    some = rng.choice((1, 2, 4, 8, 64, 1000))
    way = rng.randrange(7)
    if way == 0 and at < len(content):
        return content[:at] + bytes([content[at] ^ 1 << rng.randrange(8)]) + content[at + 1 :]
    if way == 1:
        return content[:at]
    if way == 2:
        return content[:at] + content[at + some :]
    if way == 3:
        return content[:at] + content[at : at + some] * rng.choice((2, 3, 50)) + content[at + some :]
    if way == 4:
        return content[:at] + rng.randbytes(min(some, 64)) + content[at + some :]
    if way == 5:
        return content[:at] + rng.randbytes(1) * some + content[at:]
    return content[at:] + content[:at] if rng.random() < 0.2 else content[:at] + some_text(rng).encode() + content[at:]


def _header(content: bytes, rng: random.Random) -> bytes:
    """Put another number in the first bytes of a sound file, or cut it."""
    if rng.random() < 0.2 or len(content) < 8:
        return content[: rng.randrange(len(content) + 1)]
    at = rng.randrange(min(len(content) - 4, 64))
    width, form = rng.choice(((4, "I"), (2, "H"), (1, "B")))
    number = rng.choice(WORDS32) & (256**width - 1)
    return content[:at] + struct.pack(rng.choice("<>") + form, number) + content[at + width :]


def _text(content: bytes, rng: random.Random) -> bytes:
    """Put something in place of a number or a word."""
    found = list(re.finditer(rb"-?\d[\d.eE+-]*|[A-Za-z_]+|\"[^\"]*\"", content[:200_000]))
    if not found:
        return content + some_text(rng).encode()
    place = rng.choice(found)
    return content[: place.start()] + some_text(rng).encode() + content[place.end() :]


def _line(content: bytes, rng: random.Random) -> bytes:
    """Leave out, double, move or break a line, or give its key another value."""
    lines = content.split(b"\n")
    at, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    way = rng.randrange(6)
    if way == 0:
        del lines[at]
    elif way == 1:
        lines.insert(to, lines[at])
    elif way == 2:
        lines[at], lines[to] = lines[to], lines[at]
    elif way == 3:
        key, sign, _ = lines[at].partition(b"=")
        value = some_text(rng) if rng.random() < 0.6 else json.dumps(rng.choice((some_text(rng), *VALUES[3:])))
        lines[at] = key + (sign or b",") + b" " + value.encode()
    elif way == 4:
        lines[at] = lines[at].replace(rng.choice((b",", b";", b" ", b".", b"=")), rng.choice((b"", b",", b";", b"\t", b"..")))
    else:
        lines[at : at + 1] = [lines[at]] * rng.choice((2, 3000))
    return b"\n".join(lines)


def _json(content: bytes, rng: random.Random) -> bytes:
    """Put another value, key or depth at a place of a document."""
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        return _bytes(content, rng)
    places = list(_places(document))
    if not places:
        return json.dumps(some_value(rng)).encode()
    inside, key = rng.choice(places)
    way = rng.randrange(6)
    if way == 0:
        del inside[key]
    elif way == 1 and isinstance(inside, dict):
        inside[some_text(rng)] = inside[key]
    elif way == 2:
        inside[key] = [inside[key]]
    elif way == 3 and isinstance(inside[key], list):
        inside[key] = inside[key] * rng.choice((0, 2, 400))
    elif way == 4:
        other, other_key = rng.choice(places)
        inside[key] = json.loads(json.dumps(other[other_key]))
    else:
        inside[key] = some_value(rng)
    text = json.dumps(document)
    if rng.random() < 0.05:
        deep = rng.choice((500, 100_000))
        text = text.replace("null", "[" * deep + "]" * deep, 1)
    return text.encode("utf-8", "replace")


def some_value(rng: random.Random) -> object:
    return rng.choice(VALUES) if rng.random() < 0.5 else some_text(rng)


def _places(document: object):
    """Every place in a document, as what holds it and its key; of long lists the first few."""
    entries = document.items() if isinstance(document, dict) else enumerate(document[:6]) if isinstance(document, list) else ()
    for key, value in entries:
        yield document, key
        yield from _places(value)
