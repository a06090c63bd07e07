"""A sheet as lines for a terminal."""

from collections.abc import Iterator

from fit.answers.figures import Estimate
from fit.desk.show.sheet import (
    Block,
    Cell,
    Drawing,
    Headlines,
    Listing,
    Mark,
    Meaning,
    Notice,
    Picture,
    Section,
    Sheet,
    Sketch,
    Table,
    Text,
    Verdict,
)
from fit.desk.show.words import estimate_texts, plain_text, table_lines

INDENT = "  "


def lines(sheet: Sheet) -> list[str]:
    """Lines of a sheet, without its title and its pictures.

    Returns
    -------
    list of str
        Each safe to print: control characters are replaced.
    """
    return list(_block_lines(sheet.blocks))


def _block_lines(blocks: tuple[Block, ...]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Section():
                yield from _section_lines(block)
            case Table():
                yield from table_lines([_cell_texts(row) for row in block.rows], indent=INDENT)
            case Listing():
                yield from _item_lines(block)
            case Text() | Notice():
                indent = INDENT if isinstance(block, Text) and block.is_note else ""
                yield from (indent + plain_text(line) for line in block.lines)
            case Verdict():
                yield from (plain_text(line) for line in (block.text, *block.lines))
            case Sketch():
                yield from (INDENT + plain_text(line) for line in block.lines)
            case Headlines() | Picture() | Meaning() | Drawing():
                pass


def _section_lines(section: Section) -> Iterator[str]:
    inside = list(_block_lines(section.blocks))
    if not inside and not section.heading:
        return
    if section.is_apart:
        yield ""
    if section.heading:
        yield plain_text(section.heading)
    yield from inside


def _item_lines(listing: Listing) -> Iterator[str]:
    for item in listing.items:
        first, *others = (item,) if isinstance(item, str) else item
        yield INDENT + plain_text(first)
        yield from (2 * INDENT + plain_text(other) for other in others)


def _cell_texts(row: tuple[Cell, ...]) -> tuple[str, ...]:
    texts: list[str] = []
    for cell in row:
        if isinstance(cell, Estimate):
            texts += estimate_texts(cell)
        else:
            texts.append(plain_text(cell.text if isinstance(cell, Mark) else cell))
    return tuple(texts)
