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
from fit.desk.show.words import WIDTH, estimate_texts, in_middle, is_paragraph, plain_text, prose_lines, table_lines

INDENT = "  "
DETAILS = "--details"


def lines(sheet: Sheet, *, with_details: bool = False, width: int = WIDTH) -> list[str]:
    """Lines of a sheet, without its title and its pictures.

    Parameters
    ----------
    with_details : bool
        Print what a page folds away as well.
    width : int
        Columns at most, but for what is to be typed, and for words that are wider by themselves.

    Returns
    -------
    list of str
        Each safe to print: control characters are replaced.
    """
    return list(_block_lines(sheet.blocks, with_details=with_details, width=width))


def details_lines(sheet: Sheet) -> list[str]:
    """Say what else there is behind ``--details``; nothing where there is nothing."""
    names = dict.fromkeys(_folded_names(sheet.blocks))
    return ["", *prose_lines(f"More with {DETAILS}: {'; '.join(names)}")] if names else []


def _folded_names(blocks: tuple[Block, ...]) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Section):
            if not block.is_folded:
                yield from _folded_names(block.blocks)
            elif any(_block_lines(block.blocks, with_details=True, width=WIDTH)):
                yield in_middle(plain_text(block.heading or block.label))


def _block_lines(blocks: tuple[Block, ...], *, with_details: bool, width: int) -> Iterator[str]:
    for block in blocks:
        match block:
            case Section():
                yield from _section_lines(block, with_details=with_details, width=width)
            case Table():
                yield from table_lines([_cell_texts(row) for row in block.rows], indent=INDENT, width=width)
            case Listing():
                yield from _item_lines(block, width)
            case Text() | Notice():
                indent = INDENT if isinstance(block, Text) and block.is_note else ""
                told = [plain_text(line) for line in block.lines]
                if isinstance(block, Text) and is_paragraph(told, width=width):
                    told = [" ".join(line.strip() for line in told)]
                for line in told:
                    yield from prose_lines(line, first=indent, later=indent, width=width)
            case Verdict():
                for line in (block.text, *block.lines):
                    yield from prose_lines(plain_text(line), width=width)
            case Sketch():
                yield from (INDENT + plain_text(line) for line in block.lines)
            case Headlines() | Picture() | Meaning() | Drawing():
                pass


def _section_lines(section: Section, *, with_details: bool, width: int) -> Iterator[str]:
    if section.is_folded and not with_details:
        return
    inside = list(_block_lines(section.blocks, with_details=with_details, width=width))
    if not inside and not section.heading:
        return
    if section.is_apart:
        yield ""
    if section.heading:
        yield from prose_lines(plain_text(section.heading), width=width)
    yield from inside


def _item_lines(listing: Listing, width: int) -> Iterator[str]:
    for item in listing.items:
        first, *others = (item,) if isinstance(item, str) else item
        yield from prose_lines(plain_text(first), first=INDENT, later=2 * INDENT, width=width)
        for other in others:
            yield from prose_lines(plain_text(other), first=2 * INDENT, later=3 * INDENT, width=width)


def _cell_texts(row: tuple[Cell, ...]) -> tuple[str, ...]:
    texts: list[str] = []
    for cell in row:
        if isinstance(cell, Estimate):
            texts += estimate_texts(cell)
        else:
            texts.append(plain_text(cell.text if isinstance(cell, Mark) else cell))
    return tuple(texts)
