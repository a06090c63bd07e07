"""Pages of the manual as lines for a terminal, 80 columns wide; what is typed or printed is left as it is."""

import textwrap
from collections.abc import Iterable

from fit.desk.show.manual.markdown import Block, Code, Grid, Heading, Image, Items, Paragraph, Span, spans
from fit.desk.show.words import table_lines

WIDTH = 80  # columns
INDENT = "    "
GAP = 2  # columns between those of a table
MOST_NAMES = 30  # columns of a table's first, where the second is broken beside it


def lines(page: Iterable[Block], topic: str) -> list[str]:
    """Lay out a page.

    Parameters
    ----------
    topic : str
        Whose page it is: links within it need no name.

    Returns
    -------
    list of str
        Lines, an empty one between blocks.
    """
    told: list[str] = []
    for block in page:
        told += [*([""] if told else []), *block_lines(block, topic)]
    return told


def block_lines(block: Block, topic: str) -> list[str]:
    """Lay out one block."""
    match block:
        case Heading(level, text):
            shown = plain(text, topic)
            return [shown.upper()] if level == 1 else [shown, ("=" if level == 2 else "-") * len(shown)]
        case Paragraph(text):
            return _wrapped(plain(text, topic))
        case Code():
            return [f"{INDENT}{line}".rstrip() for line in block.lines]
        case Items():
            return [line for mark, text in block.items for line in beside(mark, plain(text, topic), len(mark) + 1)]
        case Grid():
            return _grid_lines(block, topic)
        case Image(text, _):
            return _wrapped(f"[Picture: {text}]")


def plain(text: str, topic: str = "") -> str:
    """Text without marks; the topic that a link leads to behind it, where the link's text does not say so."""
    return "".join(_shown(span, topic) for span in spans(text))


def _shown(span: Span, topic: str) -> str:
    target = span.target.partition("#")[0].removesuffix(".md")
    is_said = not target or target == topic or not topic or target in span.text.replace(" ", "-").lower()
    return span.text if is_said else f"{span.text} (topic {target})"


def _wrapped(text: str, *, first: str = "", later: str = "", width: int = WIDTH) -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    ) or [""]


def _grid_lines(grid: Grid, topic: str) -> list[str]:
    rows = [tuple(plain(cell, topic) for cell in row) for row in (grid.head, *grid.rows)]
    rows = rows if any(rows[0]) else rows[1:]
    whole = table_lines(rows, indent="")
    if max(map(len, whole)) <= WIDTH:
        return whole
    names = max(len(row[0]) for row in rows)
    if len(rows[0]) == 2 and names <= MOST_NAMES:
        return [line for row in rows for line in beside(row[0], row[1], names + GAP)]
    return [line for row in rows[1 if any(grid.head) else 0 :] for line in _below(row, rows[0] if any(grid.head) else ())]


def beside(name: str, text: str, at: int) -> list[str]:
    """Put a name in front of a text that is broken from a column on."""
    told = _wrapped(text, width=WIDTH - at)
    return [f"{name if n == 0 else '':<{at}}{line}" for n, line in enumerate(told)]


def _below(row: tuple[str, ...], head: tuple[str, ...]) -> list[str]:
    told = _wrapped(row[0])
    for name, cell in zip(head[1:] or ("",) * len(row[1:]), row[1:], strict=True):
        if cell:
            told += _wrapped(f"{name}: {cell}" if name else cell, first=INDENT, later=INDENT)
    return told
