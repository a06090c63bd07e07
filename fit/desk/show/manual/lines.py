"""Pages of the manual as lines for a terminal, 80 columns wide; what is typed or printed is left as it is."""

import re
import textwrap
from collections.abc import Iterable, Sequence
from itertools import zip_longest

from fit.desk.show.manual.markdown import Block, Code, Grid, Heading, Image, Items, Paragraph, Span, spans
from fit.desk.show.words import table_lines

WIDTH = 80  # columns
INDENT = "    "
GAP = 2  # columns between those of a table
NARROWEST = 14  # columns of one that is broken
STUCK = "\N{NO-BREAK SPACE}"
UNIT = re.compile(r"(?<=[\d±]) (?=%|°C|[np]F|[mk]?H\b|[kM]?Ω|[kM]?Hz|dB|m?V\b|[mc]m\b|\d)")


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


def beside(name: str, text: str, at: int) -> list[str]:
    """Put a name in front of a text that is broken from a column on."""
    told = _wrapped(text, width=WIDTH - at)
    return [f"{name if n == 0 else '':<{at}}{line}" for n, line in enumerate(told)]


def _wrapped(text: str, *, first: str = "", later: str = "", width: int = WIDTH) -> list[str]:
    told = textwrap.wrap(
        UNIT.sub(STUCK, text),
        width,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(STUCK, " ") for line in told] or [""]


def _grid_lines(grid: Grid, topic: str) -> list[str]:
    head, *rows = [tuple(plain(cell, topic) for cell in row) for row in (grid.head, *grid.rows)]
    shown = [head, *rows] if any(head) else rows
    widths = _column_widths(shown)
    if widths is None:
        return [line for row in rows for line in _below(row, head)]
    told: list[tuple[str, ...]] = []
    for row in shown:
        cells = [_wrapped(cell, width=width) for cell, width in zip(row, widths, strict=True)]
        told += zip_longest(*cells, fillvalue="")
    return table_lines(told, indent="")


def _column_widths(rows: Sequence[tuple[str, ...]]) -> list[int] | None:
    """Narrow the widest columns until a table fits; None where one becomes too narrow to be read."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    least = [max((len(word) for cell in column for word in cell.split()), default=0) for column in zip(*rows, strict=True)]
    while sum(widths) + GAP * (len(widths) - 1) > WIDTH:
        widest = widths.index(max(widths))
        widths[widest] -= 1
        if widths[widest] < max(NARROWEST, least[widest]):
            return None
    return widths


def _below(row: tuple[str, ...], head: tuple[str, ...]) -> list[str]:
    told = _wrapped(row[0])
    for name, cell in zip(head[1:], row[1:], strict=True):
        if cell:
            told += _wrapped(f"{name}: {cell}" if name else cell, first=INDENT, later=INDENT)
    return told
