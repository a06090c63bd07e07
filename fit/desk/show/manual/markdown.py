"""The few things of Markdown that the manual's pages use, read into blocks; whatever else there is, is a mistake and refused."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

FENCE = "```"
HEADING = re.compile(r"(#{1,3}) (.+)")
ITEM = re.compile(r"(- |\d+\. )(.+)")
IMAGE = re.compile(r"!\[([^\]]*)\]\(([^)\s]+)\)")
COMMENT = re.compile(r"<!--.*-->")
RULE = re.compile(r"\|(?: ?:?-+:? ?\|)+")
SPAN = re.compile(
    r"`(?P<code>[^`]+)`|\*\*(?P<strong>.+?)\*\*|(?<![\w*])\*(?P<em>[^*\s][^*]*)\*(?![\w*])"
    r"|\[(?P<link>[^\]]+)\]\((?P<target>[^)\s]+)\)"
)


@dataclass(frozen=True, slots=True)
class Heading:
    """A line of #, ## or ###."""

    level: int
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Lines up to an empty one, joined."""

    text: str


@dataclass(frozen=True, slots=True)
class Code:
    """What stands between fences, as it is.

    Attributes
    ----------
    language : str
        Behind the opening fence: console, python, json, drawing (in place of a picture), or empty.
    """

    language: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Attributes
    ----------
    head : tuple of str
        Its cells may all be empty.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Items:
    """A list.

    Attributes
    ----------
    items : tuple of (str, str)
        What stands in front of it, such as ``"-"`` or ``"2."``, and the item.
    """

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Image:
    """A picture, by the file's name beside the page."""

    text: str
    file: str


Block = Heading | Paragraph | Code | Grid | Items | Image


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of a line.

    Attributes
    ----------
    kind : str
        text, code, strong, em or link.
    target : str
        Where a link leads; empty for others.
    """

    kind: str
    text: str
    target: str = ""


def parse(text: str) -> tuple[Block, ...]:
    """Read a page.

    Raises
    ------
    ValueError
        If a fence is not closed, or a row has another number of cells than its table.
    """
    return tuple(_blocks(text.splitlines()))


def spans(text: str) -> Iterator[Span]:
    """Part a line into plain text, code, what is set off, and links."""
    end = 0
    for found in SPAN.finditer(text):
        if found.start() > end:
            yield Span("text", text[end : found.start()])
        kind = str(found.lastgroup)
        yield Span("link", found["link"], found["target"]) if kind == "target" else Span(kind, found[kind])
        end = found.end()
    if end < len(text):
        yield Span("text", text[end:])


def _blocks(lines: list[str]) -> Iterator[Block]:
    at = 0
    while at < len(lines):
        line = lines[at]
        end = _end(lines, at)
        if line.startswith(FENCE):
            if end > len(lines):
                msg = f"line {at + 1}: the fence is not closed"
                raise ValueError(msg)
            yield Code(line.removeprefix(FENCE).strip(), tuple(lines[at + 1 : end - 1]))
        elif line.startswith("    "):
            yield Code("", tuple(one[4:] for one in lines[at:end]))
        elif found := HEADING.fullmatch(line):
            yield Heading(len(found[1]), found[2])
        elif found := IMAGE.fullmatch(line):
            yield Image(found[1], found[2])
        elif line.startswith("|"):
            yield _grid(lines[at:end], at)
        elif ITEM.match(line):
            yield Items(tuple(_items(lines[at:end])))
        elif line.strip() and not COMMENT.fullmatch(line):
            yield Paragraph(" ".join(one.strip() for one in lines[at:end]))
        at = end


def _end(lines: list[str], at: int) -> int:
    """Tell behind which line a block ends that begins at a line; beyond the last where a fence is not closed."""
    line = lines[at]
    rest = range(at + 1, len(lines))
    if line.startswith(FENCE):
        return next((one + 1 for one in rest if lines[one].strip() == FENCE), len(lines) + 1)
    if not line.strip() or HEADING.fullmatch(line) or COMMENT.fullmatch(line) or IMAGE.fullmatch(line):
        return at + 1
    if line.startswith("|"):
        return next((one for one in rest if not lines[one].startswith("|")), len(lines))
    return next((one for one in rest if not lines[one].strip() or lines[one].startswith((FENCE, "|", "#", "<!--"))), len(lines))


def _items(lines: list[str]) -> Iterator[tuple[str, str]]:
    mark, parts = "", [""]
    for line in lines:
        found = ITEM.match(line)
        if found:
            if mark:
                yield mark, " ".join(parts)
            mark, parts = found[1].strip(), [line[found.end(1) :].strip()]
        else:
            parts.append(line.strip())
    yield mark, " ".join(parts)


def _grid(lines: list[str], at: int) -> Grid:
    if len(lines) < 2 or not RULE.fullmatch(lines[1]):
        msg = f"line {at + 1}: a table begins with its head and a rule below it"
        raise ValueError(msg)
    rows = [tuple(cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", line.strip()[1:-1])) for line in lines]
    if len({len(row) for row in rows}) > 1:
        msg = f"line {at + 1}: the rows of the table do not have the same number of cells"
        raise ValueError(msg)
    return Grid(rows[0], tuple(rows[2:]))
