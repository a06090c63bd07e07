"""An instrument.toml is begun or shown."""

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.instrument import read_instrument_file, show_instrument
from fit.desk.book.rig import rig_of
from fit.desk.show.document.guitar import LayoutsDocument
from fit.desk.show.words import table_lines
from measure.errors import FileError
from measure.logbook.disk import write_new
from measure.logbook.store import instrument_path, open_logbook


def show_or_write_instrument(desk: Desk, layout: str | None = None) -> Outcome:
    """Write a starting instrument.toml, or show and check the one there is.

    Parameters
    ----------
    layout : str or None
        Of the file to be written; None to show.

    Returns
    -------
    Outcome
        Parts, controls, and what is missing for a prediction.

    Raises
    ------
    FileError
        If there is an instrument.toml already, or it is not sound.
    """
    text = None if layout is None else layout_text(layout)
    logbook = open_logbook(desk.logbook, create=text is not None)
    path = instrument_path(logbook)
    if text is not None:
        try:
            write_new(path, text.encode())
        except FileExistsError:
            msg = f"{path} is there already and is never overwritten: change it, or move it away first"
            raise FileError(msg) from None
        desk.say(f"Written: {path}")
    if not path.exists():
        rows = [(name, meaning) for name, meaning in DESCRIPTIONS.items()]
        lines = ("No instrument is stated yet. Begin with coilsweep instrument --layout NAME:", *table_lines(rows))
        return Outcome(lines=lines, document=LayoutsDocument(instrument=None, layouts=dict(rows)))
    return show_instrument(path, read_instrument_file(path), rig_of(logbook))
