"""The instrument as the logbook states it, and what it is predicted to do."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.prediction import PredictAnswer, predict_instrument
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

UNKNOWN = "no value is known"
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
    logbook = open_logbook(desk.logbook)
    own = instrument_path(logbook)
    if wish.change.instrument is None and not own.exists():
        msg = f"{own} is not there: begin one with coilsweep instrument --layout NAME, or name another by --instrument"
        raise FileError(msg)
    load = load_of_rig(rig_of(logbook))
    fit = LastFit() if wish.stated else last_fit(logbook, own, load=load)
    at = {pitch_text(text): pitch_hz(text) for text in wish.at or DEFAULT_NOTES}
    here = read_instrument_file(own) if own.exists() else None
    question = _Question(load=load, tolerance=wish.tolerance, at_hz=tuple(at.values()), excite=wish.excite)
    try:
        made = read_change(wish.change, here, fit.parts)
        first = _side(wish.change, made, question)
        shared = split_settings(wish.change.settings)
        versus = [_side(change, read_change(change, here, fit.parts), question, shared=shared) for change in wish.versus]
        before = _before(desk, here, question, fit.parts, wish=wish)
    except ValueError as err:
        if fit.parts is None and fit.notes and UNKNOWN in str(err):  # why what was measured is missing
            msg = f"{err}. {' '.join(fit.notes)}"
            raise ValueError(msg) from None
        raise
    document = predict_document(first, before, versus, at=at, notes=fit.notes)
    name = made.variant.instrument.name if here is None or wish.change.instrument is not None else here.name
    name = name or (wish.change.instrument or own).name
    sheet = sheet_of_predict(first, before, versus, name=name, at=at, notes=fit.notes)
    others = [side.answer for side in versus]
    figures = {
        PICTURE.name: partial(predict_figure, first.answer, before, others),
        PHASE.name: partial(phase_figure, first.answer, before, others),
        TONE.name: partial(tone_figure, first.answer),
    }
    return Outcome(document=document, sheet=sheet, figures=figures, page=partial(with_change, sheet, wish.change, made))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Question:
    """What is asked of every instrument alike."""

    load: dict[str, Quantity]
    tolerance: bool
    at_hz: tuple[float, ...]
    excite: str


# Another change stands at the settings of the first, where it does not say otherwise and has these controls.
def _side(change: Change, made: Changed, question: _Question, *, shared: Mapping[str, str] | None = None) -> Predicted:
    controls = carry_settings(shared or {}, made.variant.instrument) | split_settings(change.settings)
    answer = _predict(made.variant.instrument, question, made.parts, controls=controls, changes=made.variant.changes)
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
    controls: dict[str, str],
    changes: dict[str, Quantity] | None = None,
) -> PredictAnswer:
    return predict_instrument(
        instrument,
        controls,
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
    controls = split_settings(wish.change.settings)
    if not wish.change.is_rewired:
        return _predict(instrument, question, parts, controls=controls)
    excite = question.excite if question.excite in instrument.pickup else ""
    try:
        return _predict(instrument, replace(question, excite=excite), parts, controls=carry_settings(controls, instrument))
    except ValueError as err:
        desk.say(f"No comparison with the instrument in the logbook: {err}")
        return None
