"""The instrument as the logbook states it, and what it is predicted to do."""

import re
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.carry_over import adopt_losses, shared_parts
from fit.answers.predict.prediction import PredictAnswer, predict_instrument, read_changes
from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.book.kept_fit import LastFit, last_fit
from fit.desk.book.rig import rig_of
from fit.desk.show.figures.predict import phase_figure, predict_figure, tone_figure
from fit.desk.show.sheets.predict import PHASE, PICTURE, TONE, predict_document, sheet_of_predict
from fit.desk.show.words import NOTES, note_frequency_hz
from measure.errors import FileError
from measure.logbook.store import instrument_path, open_logbook
from measure.quantity import Quantity, parse_quantity

DEFAULT_NOTES = ("E2", "A2", "E4", "A4", "D6", "E7")
FLATS = {"D♭": "C♯", "D♯": "E♭", "G♭": "F♯", "G♯": "A♭", "A♯": "B♭"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictWish:
    """What is to be predicted, as it was typed.

    Attributes
    ----------
    settings, changes : tuple of str
        As typed, CONTROL=VALUE and PART=VALUE.
    excite : str
        Pickup; empty for all.
    stated : bool
        From instrument.toml alone, whatever was measured.
    tolerance : bool
        Count what is printed on parts that are only marked, and how tapers differ.
    """

    settings: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    instrument: Path | None = None
    excite: str = ""
    at: tuple[str, ...] = ()
    stated: bool = False
    tolerance: bool = True


def predict_curves(desk: Desk, wish: PredictWish) -> Outcome:
    """Predict what the instrument does, and what a change would do.

    Returns
    -------
    Outcome
        Figures and curves; beside those before the change, where there is one.

    Raises
    ------
    ValueError
        If a setting, part or value is wrong or missing.
    FileError
        If there is no instrument.toml, or it is not sound.
    """
    logbook = open_logbook(desk.logbook)
    own = instrument_path(logbook)
    if wish.instrument is None and not own.exists():
        msg = f"{own} is not there: begin one with coilsweep instrument --layout NAME, or name another by --instrument"
        raise FileError(msg)
    load = load_of_rig(rig_of(logbook))
    fit = LastFit() if wish.stated else last_fit(logbook, own, load=load)
    at = {_at_text(text): _at_hz(text) for text in wish.at or DEFAULT_NOTES}
    question = _Question(controls=split_settings(wish.settings), load=load, tolerance=wish.tolerance, at_hz=tuple(at.values()))
    try:
        answer, before = _answers(desk, question, wish, own=own, fit=fit)
    except ValueError as err:
        if fit.parts is None and fit.notes:  # why what was measured is missing
            msg = f"{err}. {' '.join(fit.notes)}"
            raise ValueError(msg) from None
        raise
    document = predict_document(answer, before, at=at, changes=wish.changes, notes=fit.notes)
    name = read_instrument_file(wish.instrument or own).name or (wish.instrument or own).name
    sheet = sheet_of_predict(answer, before, name=name, at=at, changes=wish.changes, notes=fit.notes)
    figures = {
        PICTURE.name: partial(predict_figure, answer, before),
        PHASE.name: partial(phase_figure, answer, before),
        TONE.name: partial(tone_figure, answer),
    }
    return Outcome(document=document, sheet=sheet, figures=figures)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    """What is asked of every instrument alike."""

    controls: dict[str, str]
    load: dict[str, Quantity]
    tolerance: bool
    at_hz: tuple[float, ...]


def _answers(
    desk: Desk, question: _Question, wish: PredictWish, *, own: Path, fit: LastFit
) -> tuple[PredictAnswer, PredictAnswer | None]:
    """Predict with what is changed, and without."""
    here = read_instrument_file(own) if own.exists() else None
    asked = read_instrument_file(wish.instrument or own)
    parts = fit.parts
    if here is not None and wish.instrument is not None and parts is not None:
        parts = shared_parts(parts, here, asked)
    changes = read_changes(asked if parts is None else adopt_losses(asked, parts), wish.changes)
    answer = _predict(asked, question, parts, changes=changes, excite=wish.excite)
    before = None
    if wish.instrument is None and changes:
        before = _predict(asked, question, parts, excite=wish.excite)
    elif wish.instrument is not None and here is not None:
        before = _before(desk, here, question, wish.excite, parts=fit.parts)
    return answer, before


def _predict(
    instrument: Instrument,
    question: _Question,
    parts: MeasuredParts | None,
    *,
    changes: dict[str, Quantity] | None = None,
    excite: str,
) -> PredictAnswer:
    return predict_instrument(
        instrument,
        question.controls,
        load=question.load,
        changes=changes,
        measured=parts,
        with_tolerance=question.tolerance,
        excite=excite,
        at_hz=question.at_hz,
    )


# The instrument in the logbook at the same settings, as far as it has these controls.
def _before(
    desk: Desk, instrument: Instrument, question: _Question, excite: str, *, parts: MeasuredParts | None
) -> PredictAnswer | None:
    has = {*instrument.pot, *instrument.switch}
    shared = replace(question, controls={name: value for name, value in question.controls.items() if name in has})
    try:
        return _predict(instrument, shared, parts, excite=excite if excite in instrument.pickup else "")
    except ValueError as err:
        desk.say(f"No comparison with the instrument in the logbook: {err}")
        return None


def _at_text(text: str) -> str:
    written = text.strip().replace("#", "♯")
    if re.fullmatch(r"[A-Ga-g]b\d", written):
        written = f"{written[0]}♭{written[2]}"
    note = written[:1].upper() + written[1:]
    return FLATS.get(note[:-1], note[:-1]) + note[-1] if _is_note(note) else written


def _is_note(text: str) -> bool:
    return text[-1:].isdecimal() and text[-1:].isascii() and FLATS.get(text[:-1], text[:-1]) in NOTES


def _at_hz(text: str) -> float:
    written = _at_text(text)
    frequency_hz = note_frequency_hz(written) if _is_note(written) else parse_quantity(written, "Hz").value
    if not 1 <= frequency_hz <= 1e6:
        msg = f"{text}: expected a note such as E2, or a frequency between 1 Hz and 1 MHz"
        raise ValueError(msg)
    return frequency_hz
