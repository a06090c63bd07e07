"""Pictures and pages of an outcome, as files: their names are checked before the work, each is written in one step."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from fit.desk.book.desk import Desk, Outcome, lines_of
from fit.desk.show.sheet import Sheet, Text
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.disk import replace_file
from measure.logbook.take import time_now
from measure.version import VERSION

if TYPE_CHECKING:
    from fit.desk.show.figures.style import Draw

PICTURES, PAGES = (".png", ".svg"), (".html", ".htm")


def require_picture(file: Path) -> None:
    """See that a picture can be written under a name.

    Raises
    ------
    ValueError
        If it ends in anything else than .png or .svg.
    FileError
        If its folder is not there.
    """
    if file.suffix.lower() not in PICTURES:
        msg = f"{plain_text(str(file))}: the picture is written as PNG or SVG, give a name that ends in .png or .svg"
        raise ValueError(msg)
    require_folder(file)


def require_page(file: Path) -> None:
    """See that a page can be written under a name.

    Raises
    ------
    ValueError
        If it ends in anything else than .html or .htm.
    FileError
        If its folder is not there.
    """
    if file.suffix.lower() not in PAGES:
        msg = f"{plain_text(str(file))}: the page is written as HTML, give a name that ends in .html"
        raise ValueError(msg)
    require_folder(file)


def require_folder(file: Path) -> None:
    """See that the folder of a file is there.

    Raises
    ------
    FileError
        If it is not.
    """
    if not file.parent.is_dir():
        folder = plain_text(str(file.parent))
        msg = f"{plain_text(str(file))}: there is no folder {folder}; make it, or choose another place"
        raise FileError(msg)


def require_free(file: Path, *, may_replace: bool) -> None:
    """See that nothing is written over that nobody said may be.

    Raises
    ------
    FileError
        If something is there.
    """
    if file.exists() and not may_replace:
        msg = f"{plain_text(str(file))} is there already and is not overwritten: choose another name, or add --replace"
        raise FileError(msg)


def write_figure(desk: Desk, draw: "Draw", file: Path) -> None:
    """Draw a figure on white, and say where it is."""
    save_figure(draw, file)
    desk.say(f"Written: {file}")


def save_figure(draw: "Draw", file: Path) -> None:
    """Draw a figure on white; an older file is replaced in one step."""
    from fit.desk.show.figures.style import picture_bytes

    replace_file(file, picture_bytes(draw(), kind="svg" if file.suffix.lower() == ".svg" else "png"))


def write_page(desk: Desk, outcome: Outcome, file: Path) -> Outcome:
    """Write an outcome as a page, say where it is, and name it in its document."""
    save_page(outcome, file)
    desk.say(f"Written: {file}")
    return with_written(outcome, file)


def with_written(outcome: Outcome, file: Path) -> Outcome:
    """Name a file that was written in an outcome's document."""
    written = (*outcome.document.written, str(file))
    return replace(outcome, document=msgspec.structs.replace(outcome.document, written=written))


def save_page(outcome: Outcome, file: Path) -> None:
    """Write an outcome as a page; an older one is replaced in one step."""
    from fit.desk.show.page import html

    sheet = outcome.page() if outcome.page is not None else outcome.sheet
    if sheet is None:
        sheet = Sheet(title="coilsweep", blocks=tuple(Text((line,)) for line in lines_of(outcome)))
    replace_file(file, html(sheet, outcome.figures, footer=made_by()).encode())


def made_by() -> str:
    """Name program, version and time."""
    return f"coilsweep {VERSION}, {time_now()}"
