"""The lines of a text sorted into traces: runs of numbers, and what stands above each."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass

COMMENT_SIGNS = ("#", "!", "%", "*", "//", ";")
SEPARATORS = ("\t", ";", ",")
SPACES = ""  # stands for a separator: any number of them

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eEdD][+-]?\d+)?", re.ASCII)
NOT_FINITE = re.compile(r"[+-]?(nan|inf|infinity)|[+-]?1\.#\w+", re.IGNORECASE)
_NAME = re.compile(r"[^\s(\[]+(?:\s*[(\[][^)\]]*[)\]])?")  # a word, and the unit in brackets behind it

Row = tuple[int, list[str]]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Trace:
    """A run of numbers.

    Attributes
    ----------
    rows : list of (int, list of str)
        Number of the line, from 1, and its cells.
    words, comments : list of (int, str)
        Lines since the trace before, comments without their sign.
    """

    rows: list[Row]
    words: list[tuple[int, str]]
    comments: list[tuple[int, str]]


def find_traces(text: str) -> tuple[list[Trace], str]:
    """Sort lines into traces.

    Returns
    -------
    traces : list of Trace
        In the order of the text; none where no line holds two numbers. What follows the last one is a remark.
    separator : str
        Between the cells; `SPACES` for spaces.
    """
    lines = [(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
    plain = (line for _, line in lines if not is_comment(line))
    separator = next((found for line in plain if (found := _separator(line)) is not None), SPACES)
    traces: list[Trace] = []
    words: list[tuple[int, str]] = []
    comments: list[tuple[int, str]] = []
    for number, line in lines:
        if is_comment(line):
            comments.append((number, line.strip().lstrip("#!%*/;")))
            continue
        cells = split_line(number, line, separator)
        width = len(traces[-1].rows[0][1]) if traces else 0
        if not _begins(cells) and not _goes_on(cells, width, is_inside=not words):
            words.append((number, line))
            continue
        if not traces or words:
            traces.append(Trace(rows=[], words=words, comments=comments))
            words = []
        traces[-1].rows.append((number, cells))
        comments = []
    return traces, separator


def is_comment(line: str) -> bool:
    """Tell a comment by its first sign."""
    return line.lstrip().startswith(COMMENT_SIGNS)


def split_line(number: int, line: str, separator: str) -> list[str]:
    """Split a line into cells.

    Raises
    ------
    ValueError
        If a quotation mark stands where none can.
    """
    if separator == SPACES:
        return line.replace('"', "").split()
    try:
        row = [cell.strip() for cell in next(csv.reader([line], delimiter=separator))]
    except (csv.Error, StopIteration) as err:
        msg = f"line {number}: cannot be split into columns ({err})"
        raise ValueError(msg) from None
    return row[:-1] if len(row) > 1 and not row[-1] else row  # some programs end every line with the separator


def split_names(number: int, line: str, separator: str) -> Iterator[list[str]]:
    """Split a line that may name columns, in each way that it may be meant: as the numbers are, and otherwise."""
    if separator != SPACES:
        yield split_line(number, line, separator)
    yield _NAME.findall(line)
    yield re.split(r"\t\s*|\s{2,}", line.strip())
    for sign in SEPARATORS:
        if sign in line and sign != separator:
            yield split_line(number, line, sign)


def is_number(cell: str) -> bool:
    """See whether a cell holds a number, be it one that is not finite; with a point or a comma."""
    return any(form.fullmatch(cell.replace(",", ".", 1)) for form in (NUMBER, NOT_FINITE))


def _separator(line: str) -> str | None:
    """Tell what stands between the cells of a line of numbers; None where it is no such line."""
    fitting: list[tuple[bool, int, str]] = []
    for sign in (*(one for one in SEPARATORS if one in line), SPACES):
        try:
            cells = split_line(0, line, sign)
        except ValueError:
            continue
        if _begins(cells):
            fitting.append((not all(is_number(cell) for cell in cells), len(fitting), sign))
    return min(fitting)[2] if fitting else None


def _begins(cells: list[str]) -> bool:
    """See whether a line is one of numbers: the first cell, and another."""
    return is_number(cells[0]) and any(is_number(cell) for cell in cells[1:]) if cells else False


# A line with a slip must not be taken for a remark, nor for the head of another trace.
def _goes_on(cells: list[str], width: int, *, is_inside: bool) -> bool:
    if not width or not is_inside or not cells:
        return False
    return is_number(cells[0]) or (len(cells) == width and any(is_number(cell) for cell in cells))
