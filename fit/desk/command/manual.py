"""The command manual, as it is typed."""

from collections.abc import Iterator
from pathlib import Path

import click

from fit.desk.command.console import reader_may_leave
from fit.desk.command.near import Searched
from fit.desk.command.options import FILE, replace_option


@click.command(cls=Searched)
@click.argument("topic", required=False, metavar="[TOPIC]")
@click.option("--find", "words", metavar="WORD", help="Lines in which it stands, topic by topic, or in TOPIC alone.")
@click.option("--page", "page_file", type=FILE, metavar="FILE.html", help="For your browser.")
@replace_option
def manual(topic: str | None, *, words: str | None, page_file: Path | None, replace: bool) -> None:
    """Read the manual.

    Without TOPIC, all topics in one line each; TOPIC may also be the name of a command. With --page, all of it, or one topic, as
    one page for your browser, pictures included.
    """
    if page_file is not None:
        _write_page(page_file, topic, words, may_replace=replace)
        return
    with reader_may_leave():
        for line in _found(words, topic) if words is not None else _topic(topic):
            click.echo(line)


def _topic(word: str | None) -> Iterator[str]:
    from fit.desk.show.manual.lines import beside, lines
    from fit.desk.show.manual.topics import GROUPS, TOPICS, page, purpose, topic_of

    if word is not None:
        topic = topic_of(word)
        yield from lines(page(topic), topic)
        return
    width = max(map(len, TOPICS)) + 4
    for group, topics in GROUPS.items():
        yield from (group, *(line for topic in topics for line in beside(f"  {topic}", purpose(topic), width)), "")
    yield "coilsweep manual TOPIC shows one of these; --find WORD searches all of them;"
    yield "--page FILE.html writes them for your browser."


def _found(words: str, word: str | None) -> Iterator[str]:
    from itertools import groupby

    from fit.desk.show.manual.topics import TOPICS, find, topic_of

    if not words.strip():
        msg = "--find needs a word"
        raise ValueError(msg)
    topics = TOPICS if word is None else (topic_of(word),)
    hits = [(topic, list(found)) for topic, found in groupby(find(words, topics), key=lambda hit: hit.topic)]
    if not hits:
        yield f"The manual says nothing of “{words}”. coilsweep manual lists its topics."
    for at, (topic, found) in enumerate(hits):
        yield from ([""] if at else [])
        yield topic
        yield from (f"  {hit.line.strip()}" for hit in found)


def _write_page(file: Path, word: str | None, words: str | None, *, may_replace: bool) -> None:
    from fit.desk.book.output import made_by, require_free, require_page
    from fit.desk.show.manual.pages import manual_html
    from fit.desk.show.manual.topics import TOPICS, topic_of
    from measure.logbook.disk import replace_file

    if words is not None:
        msg = "--find and --page do not go together"
        raise ValueError(msg)
    require_page(file)
    require_free(file, may_replace=may_replace)
    topics = TOPICS if word is None else (topic_of(word),)
    replace_file(file, manual_html(topics, footer=made_by()).encode())
    click.echo(f"Written: {file}", err=True)
