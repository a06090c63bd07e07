"""An instrument.toml is begun, shown or drawn."""

import dataclasses
from dataclasses import dataclass
from pathlib import Path

import msgspec

from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.drawing import Found, last_found
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.output import require_folder, require_free
from fit.desk.book.rig import rig_of
from fit.desk.questions.instrument import show_instrument
from fit.desk.show.document.guitar import LayoutsDocument
from fit.desk.show.drawing.svg import Theme, drawing_svg
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.drawing import connection_blocks
from fit.desk.show.words import plain_text, table_lines
from measure.errors import FileError
from measure.logbook.disk import create_file, replace_file
from measure.logbook.store import Logbook, instrument_path, open_logbook
from measure.logbook.writers import one_writer


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingWish:
    """A drawing that is asked for, as it was typed.

    Attributes
    ----------
    file : Path
        To be written; its name ends in ``.svg``.
    settings : tuple of str
        CONTROL=VALUE; empty for one drawing for each position of each switch.
    stated : bool
        From instrument.toml alone, whatever was measured.
    replace : bool
        An older file may be written over.
    """

    file: Path
    settings: tuple[str, ...] = ()
    theme: Theme = "auto"
    stated: bool = False
    replace: bool = False


def wish_for_drawing(
    file: Path | None, *, settings: tuple[str, ...], theme: Theme, stated: bool, replace: bool
) -> DrawingWish | None:
    """Read the options about a drawing; without a file there is none.

    Raises
    ------
    ValueError
        If an option is about a drawing and no file is named.
    """
    if file is not None:
        return DrawingWish(file=file, settings=settings, theme=theme, stated=stated, replace=replace)
    said = {"--set": bool(settings), "--theme": theme != "auto", "--stated": stated, "--replace": replace}
    needless = [flag for flag, is_said in said.items() if is_said]
    if needless:
        msg = f"{needless[0]} is about the drawing: name its file, --drawing FILE.svg"
        raise ValueError(msg)
    return None


def show_or_write_instrument(
    desk: Desk, layout: str | None = None, *, drawing: DrawingWish | None = None, with_connections: bool = False
) -> Outcome:
    """Write a starting instrument.toml, or show and check the one there is; draw it where that is asked for.

    Parameters
    ----------
    layout : str or None
        Of the file to be written; None to show.
    with_connections : bool
        What is soldered to what is shown instead of the parts.

    Returns
    -------
    Outcome
        Parts, controls, and what is missing for a prediction.

    Raises
    ------
    ValueError
        If the drawing's name does not end in .svg, or it is asked for at a setting that there is not.
    FileError
        If there is an instrument.toml already, or it is not sound, or the drawing cannot be written.
    """
    if drawing is not None:
        _require_drawing(drawing)
    text = None if layout is None else layout_text(layout)
    logbook = open_logbook(desk.logbook, create=text is not None)
    path = instrument_path(logbook)
    if text is not None:
        try:
            with one_writer(logbook.path):
                create_file(path, text.encode())
        except FileExistsError:
            msg = f"{path} is there already and is never overwritten: change it, or move it away first"
            raise FileError(msg) from None
        desk.say(f"Written: {path}")
    if not path.exists() and (drawing is not None or with_connections):
        msg = f"{path} is not there: begin one with coilsweep instrument --layout NAME"
        raise FileError(msg)
    if not path.exists():
        rows = [(name, meaning) for name, meaning in DESCRIPTIONS.items()]
        lines = ("No instrument is stated yet. Begin with coilsweep instrument --layout NAME:", *table_lines(rows))
        return Outcome(lines=lines, document=LayoutsDocument(instrument=None, layouts=dict(rows)))
    instrument = read_instrument_file(path)
    outcome = show_instrument(path, instrument, rig_of(logbook))
    if with_connections:
        title = instrument.name or path.name
        outcome = dataclasses.replace(outcome, lines=(), sheet=Sheet(title=title, blocks=connection_blocks(instrument)))
    if drawing is None:
        return outcome
    _draw(desk, logbook, instrument, drawing)
    return dataclasses.replace(outcome, document=msgspec.structs.replace(outcome.document, drawing=str(drawing.file)))


def _require_drawing(wish: DrawingWish) -> None:
    if wish.file.suffix.lower() != ".svg":
        msg = f"{plain_text(str(wish.file))}: the drawing is written as SVG, give a name that ends in .svg"
        raise ValueError(msg)
    require_folder(wish.file)
    require_free(wish.file, may_replace=wish.replace)


def _draw(desk: Desk, logbook: Logbook, instrument: Instrument, wish: DrawingWish) -> None:
    found = Found() if wish.stated else last_found(logbook, instrument)
    at = split_settings(wish.settings) if wish.settings else None
    svg = drawing_svg(instrument, at=at, is_each=at is None, measured=found.measured, theme=wish.theme, notes=found.notes)
    replace_file(wish.file, svg.encode())
    desk.say(f"Written: {wish.file}")
