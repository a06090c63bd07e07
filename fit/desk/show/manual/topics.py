"""The topics of the manual: their order, their pages, what each is for, and where a word stands."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from fit.desk.show.manual.lines import block_lines, plain
from fit.desk.show.manual.markdown import Block, Grid, Heading, Paragraph, parse

GROUPS = {
    "Before you begin": ("bench", "cautions", "exciter", "systems", "guide", "window", "sound-card", "recordings", "calibrate"),
    "A pickup, a guitar": ("pickup", "guitar", "tapers", "real-parts", "references"),
    "Questions": ("confirm", "wiring", "compare", "quiet", "plate", "impedance"),
    "Before you solder": ("drawing", "predict", "listen"),
    "Your bench over time": ("takes", "repeat"),
    "Looking up": ("reading", "troubleshooting", "glossary", "markings", "instrument-file", "limits"),
    "For programs": ("commands", "pages", "export", "measured-elsewhere", "python", "json"),
}
TOPICS = tuple(topic for group in GROUPS.values() for topic in group)
COMMANDS = "commands"  # the topic whose tables name all commands, and the topic of each


@dataclass(frozen=True, slots=True)
class Hit:
    """Where a word stands.

    Attributes
    ----------
    line : str
        As a terminal shows it.
    """

    topic: str
    line: str


@cache
def page(topic: str) -> tuple[Block, ...]:
    """Give the page of a topic.

    Raises
    ------
    ValueError
        If there is no such topic; the nearest one is named.
    """
    if topic not in TOPICS:
        raise ValueError(_no_such(topic))
    return parse((files("fit.desk.show.manual") / f"{topic}.md").read_text(encoding="utf-8"))


def title(topic: str) -> str:
    """Heading of a topic's page."""
    return next(block.text for block in page(topic) if isinstance(block, Heading))


def purpose(topic: str) -> str:
    """Sentence that says what a topic's page is for: its first."""
    first = next(block.text for block in page(topic) if isinstance(block, Paragraph))
    return plain(re.split(r"(?<=[.?!]) (?=[A-Z`\"])", first)[0])


def topic_of(word: str) -> str:
    """Topic by its name, or by that of a command.

    Raises
    ------
    ValueError
        If it is neither.
    """
    wanted = word.strip().lower().removesuffix(".md").replace(" ", "-")
    if wanted in TOPICS:
        return wanted
    told = command_topics()
    if wanted not in told:
        raise ValueError(_no_such(word))
    return told[wanted]


@cache
def command_topics() -> dict[str, str]:
    """Topic of each command, by the tables of the page that lists them."""
    told = {}
    for block in page(COMMANDS):
        if isinstance(block, Grid) and block.head[0] == "command":
            for name, *_, where in block.rows:
                told[plain(name).split(maxsplit=1)[0]] = re.findall(r"\]\(([a-z-]+)\.md", where)[0]
    return told


def find(words: str, topics: Iterable[str] = TOPICS) -> Iterator[Hit]:
    """Find the lines in which words stand, in any letters' case, also across the end of a line."""
    wanted = " ".join(words.split()).casefold()
    for topic in topics:
        for block in page(topic):
            lines = block_lines(block, topic)
            texts = [" ".join(line.split()).casefold() for line in lines]
            found = {at for at, text in enumerate(texts) if wanted in text}
            for at in range(len(texts) - 1):
                if wanted in f"{texts[at]} {texts[at + 1]}" and not {at, at + 1} & found:
                    found |= {at, at + 1}
            yield from (Hit(topic, lines[at]) for at in sorted(found))


def _no_such(word: str) -> str:
    from difflib import get_close_matches

    near = get_close_matches(word.lower(), TOPICS, n=1)
    hint = f" Do you mean {near[0]}?" if near else ""
    return f'the manual has no topic "{word}".{hint} coilsweep manual lists them, coilsweep manual --find WORD searches'
