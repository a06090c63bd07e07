"""What stands in a sheet: its blocks however deep, its tables, its words."""

from fit.desk.show.sheet import Picture, Section, Table
from fit.desk.show.terminal import lines

WIDE = 1000  # columns in which nothing is broken


def blocks_in(sheet):
    """Every block, sections before what they hold."""

    def walk(blocks):
        for block in blocks:
            yield block
            if isinstance(block, Section):
                yield from walk(block.blocks)

    return list(walk(sheet.blocks))


def headings(sheet):
    return [
        block.heading or block.label
        for block in blocks_in(sheet)
        if isinstance(block, Section) and (block.heading or block.label)
    ]


def pictures(sheet):
    return [block.name for block in blocks_in(sheet) if isinstance(block, Picture)]


def tables(sheet):
    return [block for block in blocks_in(sheet) if isinstance(block, Table)]


def said(sheet):
    """All of it, details too, as one line, as a terminal has it."""
    return " ".join(" ".join(lines(sheet, with_details=True, width=WIDE)).split())
