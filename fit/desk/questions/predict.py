"""The instrument as the logbook states it, and what it is predicted to do."""

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.prediction import MissingValuesError, PredictAnswer, predict_instrument
from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument
from fit.desk.book.bounds import assumption
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.instrument import load_of_rig, read_instrument_file
from fit.desk.book.kept_fit import LastFit, last_fit
from fit.desk.book.pitch import pitch_hz, pitch_text
from fit.desk.book.rig import rig_of
from fit.desk.book.variant import Change, Changed, ChangeWish, carry_settings, read_change, with_change
from fit.desk.show.figures.predict import phase_figure, predict_figure, tone_figure
from fit.desk.show.sheets.predict import PHASE, PICTURE, TONE, Predicted, predict_document, sheet_of_predict
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.kinds import kind_of
from measure.logbook.store import instrument_path, open_logbook
from measure.quantity import Quantity

DEFAULT_NOTES = ("E2", "A2", "E4", "A4", "D6", "E7")


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictWish(ChangeWish):
    """What is to be predicted, as it was typed.

    Attributes
    ----------
    at : tuple of str
        Where the gain is told as well.
    tolerance : bool
        Count what is printed on parts that are only marked, and how tapers differ.
    """

    at: tuple[str, ...] = ()
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
    stand = stand_of(desk.logbook, stated=wish.stated, other=wish.change.instrument)
    at = {pitch_text(text): pitch_hz(text) for text in wish.at or DEFAULT_NOTES}
    question = Question(tolerance=wish.tolerance, at_hz=tuple(at.values()), excite=wish.excite)
    with _why_missing(stand):
        made = read_change(wish.change, stand.instrument, stand.fit.parts)
        first = predict_made(stand, wish.change, made, question)
        shared = split_settings(wish.change.settings)
        versus = [predict_side(stand, change, question, shared=shared) for change in wish.versus]
        before = _before(desk, stand, question, wish=wish)
    fit, here = stand.fit, stand.instrument
    document = predict_document(first, before, versus, at=at, notes=fit.notes)
    name = made.variant.instrument.name if here is None or wish.change.instrument is not None else here.name
    name = name or (wish.change.instrument or stand.file).name
    sheet = sheet_of_predict(first, before, versus, name=name, at=at, notes=fit.notes)
    others = [side.answer for side in versus]
    figures = {
        PICTURE.name: partial(predict_figure, first.answer, before, others),
        PHASE.name: partial(phase_figure, first.answer, before, others),
        TONE.name: partial(tone_figure, first.answer),
    }
    return Outcome(document=document, sheet=sheet, figures=figures, page=partial(with_change, sheet, wish.change, made))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Stand:
    """What predictions of a logbook rest on, read once.

    Attributes
    ----------
    file : Path
        The instrument.toml of the logbook, whether it is there or not.
    instrument : Instrument or None
        What it states; None where it is not there.
    load : dict
        ``"input.resistance"`` and ``"input.capacitance"``, cable included.
    """

    file: Path
    instrument: Instrument | None
    load: dict[str, Quantity]
    fit: LastFit


def stand_of(folder: Path, *, stated: bool = False, other: Path | None = None) -> Stand:
    """Read what predictions of a logbook rest on.

    Parameters
    ----------
    stated : bool
        From instrument.toml alone, whatever was measured.
    other : Path or None
        Another instrument.toml that is asked about, so that the logbook need not have one.

    Raises
    ------
    ValueError
        If the rig does not state cable and input.
    FileError
        If there is no instrument.toml, or it is not sound.
    """
    logbook = open_logbook(folder)
    own = instrument_path(logbook)
    if other is None and not own.exists():
        msg = f"{own} is not there: begin one with coilsweep instrument --layout NAME, or name another by --instrument"
        raise FileError(msg)
    load = load_of_rig(rig_of(logbook))
    fit = LastFit() if stated else last_fit(logbook, own, load=load)
    return Stand(file=own, instrument=read_instrument_file(own) if own.exists() else None, load=load, fit=fit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of every instrument alike.

    Attributes
    ----------
    at_hz : tuple of float
        Where the level is told. [Hz]
    is_gain_alone : bool
        As for `predict_instrument`.
    """

    at_hz: tuple[float, ...]
    tolerance: bool = True
    excite: str = ""
    is_gain_alone: bool = False


# Why what was measured is missing.
@contextlib.contextmanager
def _why_missing(stand: Stand) -> Iterator[None]:
    try:
        yield
    except MissingValuesError as err:
        if stand.fit.parts is None and stand.fit.notes:
            msg = f"{err}. {' '.join(stand.fit.notes)}"
            raise ValueError(msg) from None
        raise


# Another change stands at the settings of the first, where it does not say otherwise and has these controls.
def predict_side(stand: Stand, change: Change, question: Question, *, shared: Mapping[str, str] | None = None) -> Predicted:
    """Predict what a change does.

    Parameters
    ----------
    shared : mapping or None
        Settings of the first change, where this is another.

    Raises
    ------
    ValueError
        If a setting, part, lead or value is wrong or missing.
    """
    return predict_made(stand, change, read_change(change, stand.instrument, stand.fit.parts), question, shared=shared)


def predict_made(
    stand: Stand, change: Change, made: Changed, question: Question, *, shared: Mapping[str, str] | None = None
) -> Predicted:
    """Predict what a change does that was read before."""
    controls = carry_settings(shared or {}, made.variant.instrument) | split_settings(change.settings)
    answer = _predict(stand, made.variant.instrument, question, made.parts, controls=controls, changes=made.variant.changes)
    notes = made.notes
    for key, one in made.variant.changes.items():
        if key not in answer.basis:
            notes = (*notes, f"{plain_text(key)} makes no difference at these settings")
        elif question.tolerance and answer.basis[key].is_assumed:
            notes = (*notes, plain_text(assumption(one, key, kind_of(key))))
    return Predicted(answer=answer, changes=change.told, understood=made.understood, notes=notes)


def _predict(
    stand: Stand,
    instrument: Instrument,
    question: Question,
    parts: MeasuredParts | None,
    *,
    controls: dict[str, str],
    changes: dict[str, Quantity] | None = None,
) -> PredictAnswer:
    return predict_instrument(
        instrument,
        controls,
        load=stand.load,
        changes=changes,
        measured=parts,
        with_tolerance=question.tolerance,
        excite=question.excite,
        at_hz=question.at_hz,
        is_gain_alone=question.is_gain_alone,
    )


# The instrument in the logbook at the same settings, as far as it has these controls.
def _before(desk: Desk, stand: Stand, question: Question, *, wish: PredictWish) -> PredictAnswer | None:
    instrument, parts = stand.instrument, stand.fit.parts
    if instrument is None or not wish.change.told:
        return None
    controls = split_settings(wish.change.settings)
    if not wish.change.is_rewired:
        return _predict(stand, instrument, question, parts, controls=controls)
    excite = question.excite if question.excite in instrument.pickup else ""
    try:
        asked = replace(question, excite=excite)
        return _predict(stand, instrument, asked, parts, controls=carry_settings(controls, instrument))
    except ValueError as err:
        desk.say(f"No comparison with the instrument in the logbook: {err}")
        return None
