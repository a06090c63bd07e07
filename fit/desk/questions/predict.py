"""The instrument as the logbook states it, and what it is predicted to do."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.prediction import PredictAnswer, predict_instrument
from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument
from fit.desk.book.bounds import assumption
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.book.kept_fit import LastFit, last_fit
from fit.desk.book.rig import rig_of
from fit.desk.book.variant import Change, read_change
from fit.desk.show.figures.predict import predict_figure
from fit.desk.show.sheets.predict import PICTURE, Predicted, predict_document, sheet_of_predict
from fit.desk.show.words import NOTES, note_frequency_hz, plain_text
from measure.errors import FileError
from measure.kinds import kind_of
from measure.logbook.store import instrument_path, open_logbook
from measure.quantity import Quantity, parse_quantity

DEFAULT_NOTES = ("E2", "A2", "E4", "A4", "D6", "E7")
FLATS = {"D♭": "C♯", "D♯": "E♭", "G♭": "F♯", "G♯": "A♭", "A♯": "B♭"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictWish:
    """What is to be predicted, as it was typed.

    Attributes
    ----------
    change : Change
        Settings, and what is changed of the instrument.
    versus : tuple of Change
        Other changes, to be set beside the first.
    excite : str
        Pickup; empty for all.
    stated : bool
        From instrument.toml alone, whatever was measured.
    tolerance : bool
        Count what is printed on parts that are only marked, and how tapers differ.
    """

    change: Change = field(default_factory=Change)
    versus: tuple[Change, ...] = ()
    excite: str = ""
    at: tuple[str, ...] = ()
    stated: bool = False
    tolerance: bool = True


def predict_curves(desk: Desk, wish: PredictWish) -> Outcome:
    """Predict what the instrument does, and what a change would do.

    Returns
    -------
    Outcome
        Figures and curves; beside those before the change, where there is one, and those of other changes.

    Raises
    ------
    ValueError
        If a setting, part, lead or value is wrong or missing.
    FileError
        If there is no instrument.toml, or it is not sound.
    """
    logbook = open_logbook(desk.logbook)
    own = instrument_path(logbook)
    if wish.change.instrument is None and not own.exists():
        msg = f"{own} is not there: begin one with coilsweep instrument --layout NAME, or name another by --instrument"
        raise FileError(msg)
    load = load_of_rig(rig_of(logbook))
    fit = LastFit() if wish.stated else last_fit(logbook, own, load=load)
    at = {_at_text(text): _at_hz(text) for text in wish.at or DEFAULT_NOTES}
    here = read_instrument_file(own) if own.exists() else None
    question = _Question(load=load, tolerance=wish.tolerance, at_hz=tuple(at.values()), excite=wish.excite)
    try:
        sides = [_side(change, here, question, fit.parts) for change in (wish.change, *_with_settings(wish))]
        before = _before(desk, here, question, fit.parts, wish=wish)
    except ValueError as err:
        if fit.parts is None and fit.notes:  # why what was measured is missing
            msg = f"{err}. {' '.join(fit.notes)}"
            raise ValueError(msg) from None
        raise
    first, *versus = sides
    document = predict_document(first, before, versus, at=at, notes=fit.notes)
    path = wish.change.instrument or own
    name = read_instrument_file(path).name or path.name
    sheet = sheet_of_predict(first, before, versus, name=name, at=at, notes=fit.notes)
    draw = partial(predict_figure, first.answer, before, [side.answer for side in versus])
    return Outcome(document=document, sheet=sheet, figures={PICTURE.name: draw})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    """What is asked of every instrument alike."""

    load: dict[str, Quantity]
    tolerance: bool
    at_hz: tuple[float, ...]
    excite: str


# Other changes stand at the settings of the first, where they do not say otherwise.
def _with_settings(wish: PredictWish) -> Iterator[Change]:
    for change in wish.versus:
        own = split_settings(change.settings)
        shared = [text for text in wish.change.settings if text.partition("=")[0].strip() not in own]
        yield replace(change, settings=(*shared, *change.settings))


def _side(change: Change, here: Instrument | None, question: _Question, parts: MeasuredParts | None) -> Predicted:
    made = read_change(change, here, parts)
    answer = _predict(made.variant.instrument, question, made.parts, controls=change.settings, changes=made.variant.changes)
    notes = made.notes
    for key, one in made.variant.changes.items():
        if key not in answer.basis:
            notes = (*notes, f"{plain_text(key)} makes no difference at these settings")
        elif question.tolerance and answer.basis[key].is_assumed:
            notes = (*notes, plain_text(assumption(one, key, kind_of(key))))
    return Predicted(answer=answer, changes=change.told, understood=made.understood, notes=notes)


def _predict(
    instrument: Instrument,
    question: _Question,
    parts: MeasuredParts | None,
    *,
    controls: tuple[str, ...],
    changes: dict[str, Quantity] | None = None,
) -> PredictAnswer:
    return predict_instrument(
        instrument,
        split_settings(controls),
        load=question.load,
        changes=changes,
        measured=parts,
        with_tolerance=question.tolerance,
        excite=question.excite,
        at_hz=question.at_hz,
    )


# The instrument in the logbook at the same settings, as far as it has these controls.
def _before(
    desk: Desk, instrument: Instrument | None, question: _Question, parts: MeasuredParts | None, *, wish: PredictWish
) -> PredictAnswer | None:
    if instrument is None or not wish.change.told:
        return None
    if not wish.change.is_rewired:
        return _predict(instrument, question, parts, controls=wish.change.settings)
    has = {*instrument.pot, *instrument.switch}
    shared = tuple(text for text in wish.change.settings if text.partition("=")[0].strip() in has)
    excite = question.excite if question.excite in instrument.pickup else ""
    try:
        return _predict(instrument, replace(question, excite=excite), parts, controls=shared)
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
