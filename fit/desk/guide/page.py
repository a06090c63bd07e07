"""The answer of a guide as one page: what it says, its picture, and the takes that it rests on."""

import base64
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from importlib import metadata
from pathlib import Path

from fit.desk.book.desk import Outcome
from fit.desk.guide.scene import Scene
from fit.desk.guide.session import Deed, Done, Step
from fit.desk.show.page import STYLE
from measure.logbook.disk import replace_file
from measure.logbook.store import list_takes
from measure.logbook.take import time_now

ANSWER_FILE = "answer.html"
PAGE_COLUMNS = 92
PRE = "pre{font-size:.82rem;line-height:1.45;overflow-x:auto;background:var(--card);padding:1rem}img{max-width:100%}"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Asked:
    """What a guide asks at its end.

    Attributes
    ----------
    title : str
        Of the page.
    picture : str
        Name of the picture's file in the logbook.
    is_whole : bool
        The page is all there is: no report of a fit follows.
    """

    title: str
    picture: str
    is_whole: bool = False


def answer_stage(scene: Scene, asked: Asked, ask: Callable[[Path], Outcome]) -> Step | None:
    """Answer the question of the guide, and keep the answer as a page.

    Parameters
    ----------
    scene : Scene
        What is settled.
    asked : Asked
        Which question.
    ask : callable
        Path of the picture to be written to the answer.

    Returns
    -------
    Deed or None
        None when it is answered.
    """
    if scene.settled("answered"):
        return None

    def run() -> Done:
        folder = scene.logbook().path
        outcome = ask(folder / asked.picture)
        file = folder / ANSWER_FILE
        replace_file(file, answer_html(scene, asked, outcome.lines).encode())
        told = ("", f"The answer as a page, for your browser: {file}")
        entries = {"report": str(file)} if asked.is_whole else {}
        return Done(lines=("", *outcome.lines, *told), entries=entries, document=outcome.document)

    return Deed(key="answered", run=run)


def answer_html(scene: Scene, asked: Asked, lines: tuple[str, ...]) -> str:
    """Make the page.

    Parameters
    ----------
    scene : Scene
        What is settled.
    asked : Asked
        Which question.
    lines : tuple of str
        The answer.

    Returns
    -------
    str
        A whole HTML document.
    """
    made = {entry.answer for entry in scene.memory.entries if entry.key.startswith("take.")}
    takes = [take for take in list_takes(scene.logbook()).takes if take.name in made]
    title = asked.title + (" (simulated)" if any(take.simulated for take in takes) else "")
    picture = base64.b64encode((scene.logbook().path / asked.picture).read_bytes()).decode()
    rows = "".join(
        f"<tr><td>{escape(take.name)}</td><td>{escape(take.conditions.added)}</td>"
        f"<td>{escape(', '.join(f'{name}={value}' for name, value in take.conditions.controls.items()))}</td>"
        f"<td>{escape(take.conditions.coil_over or '')}</td><td>{escape(take.time_utc)}</td><td>{take.outcome}</td></tr>"
        for take in takes
    )
    heads = "".join(f"<th>{head}</th>" for head in ("take", "added", "controls", "coil over", "made", "outcome"))
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    head = (
        f'<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}"><title>{escape(title)}</title>'
        f"<style>{STYLE}{PRE}</style>"
    )
    text = escape("\n".join(part for line in lines for part in wrapped(line, PAGE_COLUMNS)))
    body = (
        f"<h1>{escape(title)}</h1>\n<pre>{text}</pre>\n"
        f'<figure><img alt="Picture of the answer" src="data:image/png;base64,{picture}"></figure>\n'
        f'<h2>Takes</h2><div class="wide"><table><tr>{heads}</tr>{rows}</table></div>\n'
        f'<footer class="small">coilsweep {escape(metadata.version("coilsweep"))}, {time_now()}</footer>'
    )
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{body}\n</body></html>\n'


def wrapped(line: str, width: int) -> list[str]:
    """Break prose between words; tables, with their runs of spaces, are left as they are.

    Parameters
    ----------
    line : str
        Perhaps indented, perhaps an item of a list.
    width : int
        Most characters.

    Returns
    -------
    list of str
        With the same indent.
    """
    text = line.lstrip()
    if len(line) <= width or "  " in text:
        return [line]
    indent = " " * (len(line) - len(text))
    hanging = indent + ("  " if text.startswith("- ") else "")
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=hanging, break_on_hyphens=False)
