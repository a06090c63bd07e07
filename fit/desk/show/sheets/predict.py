"""A prediction, for people and as the JSON document."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import msgspec
import numpy as np
from msgspec import UNSET

from fit.answers.digits import allowed_digits, spread_texts
from fit.answers.figures import COVERAGE, Estimate
from fit.answers.predict.prediction import PickupCurve, PredictAnswer
from fit.answers.predict.tone import ToneStep, ToneSweep
from fit.circuit.controls import Settings
from fit.desk.show.document import guitar
from fit.desk.show.document.pieces import named_takes, value_or_none
from fit.desk.show.sheet import Block, Level, Meaning, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.basis import basis_section, known_value, sureness_text
from fit.desk.show.sheets.notices import CIRCUIT, simulated_notice, titled
from fit.desk.show.sheets.player import hertz_text, meaning_of_predict
from fit.desk.show.words import MINUS, estimate_texts, quantity_name
from measure.quantity import format_quantity
from measure.response import FloatArray

DB_PER_NEPER = 20 / math.log(10)
NOTHING = "–"
PICTURE = Picture(
    name="curves",
    heading="At the jack",
    caption="Voltage at the jack for a constant voltage in the winding, with bands of 95 %; dashed, where there is a change, "
    "what was before it.",
)
PHASE = Picture(
    name="phase",
    heading="",
    caption="Phase and group delay from winding to jack, with bands of 95 %; dashed what was before a change.",
)
TONE = Picture(
    name="tone",
    heading="",
    caption="The tone control turned down from 10 to 0, with the parts as they are known; below, its corner and its peak beside "
    "the textbook's corner.",
)
EXACT = 1e-9  # [1] of a value: an interval narrower than this is none
LEAST_DB = 0.05  # [dB] half of the last digit of the verdict: less is no change of it
MOST_DIGITS = 4  # of a frequency whose interval is not told


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Predicted:
    """A prediction with what was changed for it.

    Attributes
    ----------
    changes : tuple of str
        As they were typed, safe to print.
    understood : dict of str to str
        Name of a value to what its marking was taken for.
    notes : tuple of str
        What is odd or assumed of what was typed.
    """

    answer: PredictAnswer
    changes: tuple[str, ...] = ()
    understood: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def prediction(answer: PredictAnswer, at: Mapping[str, float]) -> guitar.Prediction:
    """Put a prediction as ``predict --json`` states it; `at` names the frequency of each chosen note [Hz]."""
    return guitar.Prediction(
        settings=control_settings(answer.settings),
        frequency_hz=tuple(answer.frequency_hz.tolist()),
        pickups={name: _pickup_curve(curve) for name, curve in answer.pickups.items()},
        figures={name: _curve_figures(curve, at) for name, curve in answer.pickups.items()},
        tone=tuple(_tone_sweep(sweep) for sweep in answer.tone_sweeps),
        simulated=answer.measured is not None and answer.measured.simulated,
        rests_on={name: known_value(basis) for name, basis in answer.basis.items()},
        takes=named_takes(() if answer.measured is None else answer.measured.takes, "fitted"),
        tolerance_counts=answer.with_tolerance,
        marked_only=answer.marked,
        taken_as_exact=answer.unbounded,
    )


def predict_document(
    first: Predicted,
    before: PredictAnswer | None,
    versus: Sequence[Predicted] = (),
    *,
    at: Mapping[str, float],
    notes: Sequence[str],
) -> guitar.PredictDocument:
    """Put a prediction, those of other changes and the one without any, as ``predict --json`` states them."""
    told = msgspec.structs.asdict(prediction(first.answer, at)) | _said(first)
    return guitar.PredictDocument(
        **told | {"warnings": (*notes, *first.notes)},
        before=UNSET if before is None else prediction(before, at),
        versus=tuple(msgspec.structs.replace(prediction(one.answer, at), **_said(one)) for one in versus) or UNSET,
    )


def _said(one: Predicted) -> dict[str, object]:
    understood = dict(one.understood) or UNSET
    return {"changes": one.changes, "understood": understood, "warnings": one.notes}


def sheet_of_predict(
    first: Predicted,
    before: PredictAnswer | None,
    versus: Sequence[Predicted] = (),
    *,
    name: str,
    at: Mapping[str, float],
    notes: Sequence[str] = (),
) -> Sheet:
    """Lay out what an instrument does, and what a change would do, or several side by side.

    Parameters
    ----------
    versus : sequence of Predicted
        Other changes, beside the first.
    at : mapping
        Name of each chosen note or frequency to its frequency. [Hz]
    notes : sequence of str
        What is to be said of the last fit.

    Returns
    -------
    Sheet
        Pickup by pickup, the tone controls, what it rests on.
    """
    answer = first.answer
    simulated = answer.measured is not None and answer.measured.simulated
    blocks: list[Block] = [
        _verdict(answer, before, (*_versus_lines(versus), *notes), is_doubtful=bool(notes)),
        *simulated_notice(is_simulated=simulated),
        PICTURE,
        Meaning(meaning_of_predict(answer, before)),
        CIRCUIT,
        Text((name,)),
    ]
    blocks += [Text((f"Changed: {', '.join(first.changes)}",))] if first.changes else []
    for word, one in zip(_words(versus), versus, strict=True):
        blocks.append(Text((f"{word.capitalize()}: {', '.join(one.changes) or 'as it is'}",)))
    told = dict.fromkeys((*first.notes, *(note for one in versus for note in one.notes)))
    blocks += [Text((note,)) for note in told]
    blocks.append(Text((f"Settings: {settings_text(answer.settings)}",)))
    for word, one in zip(_words(versus), versus, strict=True):
        if one.answer.settings != answer.settings:
            blocks.append(Text((f"Settings {word}: {settings_text(one.answer.settings)}",)))
    for pickup in dict.fromkeys((*answer.pickups, *(name for one in versus for name in one.answer.pickups))):
        old = before.pickups.get(pickup) if before is not None else None
        beside = {word: one.answer.pickups.get(pickup) for word, one in zip(_words(versus), versus, strict=True)}
        first_word = "changed" if first.changes or before is not None else "as it is" if versus else ""
        sides = {first_word: answer.pickups.get(pickup)} | beside
        block = _figures_block(sides, old, at=at, is_compared=before is not None)
        blocks.append(Section((block,), heading=f"Pickup {pickup}: output over the voltage in its winding"))
    blocks += [Section((PHASE,), label="Phase and group delay", is_folded=True)] if _heard(answer) else []
    blocks += [Section((TONE,), label="The tone control over its travel", is_folded=True)] if answer.tone_sweeps else []
    blocks += [_sweep_section(sweep, has_tapers=answer.with_tolerance) for sweep in answer.tone_sweeps]
    for word, one in zip(_words(versus), versus, strict=True):
        shown = {_sweep_figures(sweep) for sweep in answer.tone_sweeps}
        others = [sweep for sweep in one.answer.tone_sweeps if _sweep_figures(sweep) not in shown]
        sections = [_sweep_section(sweep, has_tapers=one.answer.with_tolerance) for sweep in others]
        blocks += [replace(section, heading=word.capitalize()) for section in sections]
    blocks.append(basis_section(answer))
    blocks += [basis_section(one.answer, beside=answer, word=word) for word, one in zip(_words(versus), versus, strict=True)]
    return Sheet(title=titled(f"Prediction: {name}", is_simulated=simulated), blocks=tuple(blocks))


def sheet_of_what_if(now: Predicted, held: Predicted | None = None, *, at: Mapping[str, float]) -> Sheet:
    """Lay out the figures of a prediction while somebody turns its controls, beside those of one that is held.

    Parameters
    ----------
    at : mapping
        Name of each chosen note or frequency to its frequency. [Hz]
    """
    old = None if held is None else held.answer
    blocks: list[Block] = [_verdict(now.answer, None, (), is_doubtful=False)]
    for pickup in dict.fromkeys((*now.answer.pickups, *(() if old is None else old.pickups))):
        sides = {"": now.answer.pickups.get(pickup)} | ({} if old is None else {"held": old.pickups.get(pickup)})
        if any(one is not None and one.is_connected for one in sides.values()):
            block = _figures_block(sides, None, at=at, is_compared=False)
            blocks.append(Section((block,), heading=f"Pickup {pickup}: output over the voltage in its winding"))
    return Sheet(title="What if", blocks=tuple(blocks))


def sheet_of_missing(names: Sequence[str]) -> Sheet:
    """Say on a page which values are missing for a curve."""
    line = f"No curve yet: no value is known of {', '.join(map(quantity_name, names))}."
    return Sheet(title="What if", blocks=(Verdict(line, "look", ("Type it beside its name, or fit takes that tell it.",)),))


def _heard(answer: PredictAnswer) -> dict[str, PickupCurve]:
    return {name: curve for name, curve in answer.pickups.items() if curve.is_connected}


def _versus_lines(versus: Sequence[Predicted]) -> tuple[str, ...]:
    """Say where each pickup's peak is after the other changes."""
    out = []
    for word, one in zip(_words(versus), versus, strict=True):
        told = "; ".join(f"{name} {_peak_text(curve)}" for name, curve in _heard(one.answer).items())
        out.append(f"{word.capitalize()}: {told or 'not heard, no pickup reaches the jack'}.")
    return tuple(out)


def _verdict(answer: PredictAnswer, before: PredictAnswer | None, notes: tuple[str, ...], *, is_doubtful: bool) -> Verdict:
    """Where each pickup's peak is, and was; below it the other changes, and why that does not rest on the last fit."""
    level: Level = "bad" if not _heard(answer) else "look" if is_doubtful else "good"
    return Verdict(verdict_text(answer, before), level, notes)


def verdict_text(answer: PredictAnswer, before: PredictAnswer | None = None) -> str:
    """Say in one sentence where each pickup's peak is, and was."""
    told = []
    for name, curve in _heard(answer).items():
        old = None if before is None else before.pickups.get(name)
        told.append(f"{name} {_peak_text(curve)}{_was_text(curve, old)}")
    return f"{'; '.join(told)}." if told else "Not heard: no pickup reaches the jack at these settings."


def _was_text(curve: PickupCurve, old: PickupCurve | None) -> str:
    if old is None or old.peak_frequency is None or old.peak_level is None:
        return ""
    if curve.peak_frequency is not None and curve.peak_level is not None:
        is_level_same = abs(curve.peak_level.value - old.peak_level.value) < LEAST_DB
        if is_level_same and hertz_text(curve.peak_frequency) == hertz_text(old.peak_frequency):
            return ", as before"
    return f" (before: {_peak_text(old)})"


def _peak_text(curve: PickupCurve) -> str:
    if curve.peak_frequency is None or curve.peak_level is None:
        return "has no peak"
    level, _ = spread_texts(curve.peak_level.value, (curve.peak_level.high - curve.peak_level.low) / 2, finest=-1)
    return f"peaks at {hertz_text(curve.peak_frequency)}, {level} dB"


def settings_text(settings: Settings) -> str:
    """Put where the controls stand for people.

    Returns
    -------
    str
        For example ``"volume=7 (47.2 %), selector=both"``.
    """
    pots = [
        f"{name}={pot.label}" + ("" if pot.label.endswith("%") else f" ({100 * pot.fraction:.3g} %)")
        for name, pot in settings.pots.items()
    ]
    return ", ".join([*pots, *(f"{name}={position}" for name, position in settings.switches.items())]) or "no controls"


def control_settings(settings: Settings) -> dict[str, guitar.ControlSetting]:
    """Put where the controls stand for programs."""
    pots = {name: guitar.ControlSetting(setting=pot.label, fraction=pot.fraction) for name, pot in settings.pots.items()}
    return pots | {name: guitar.ControlSetting(setting=position) for name, position in settings.switches.items()}


# What other changes are called beside the first.
def _words(versus: Sequence[Predicted]) -> tuple[str, ...]:
    return ("versus",) if len(versus) == 1 else tuple(f"versus {number}" for number in range(1, len(versus) + 1))


def _figures_block(
    curves: Mapping[str, PickupCurve | None], old: PickupCurve | None, *, at: Mapping[str, float], is_compared: bool
) -> Table | Text:
    if not any(one is not None and one.is_connected for one in curves.values()):
        return Text(("not heard at these settings",), is_note=True)
    was = {} if old is None or not old.is_connected else _figures(old, at)
    sides = [_figures(one, at) if one is not None and one.is_connected else {} for one in curves.values()]
    head = [cell for word in curves for cell in (word, "95 % interval")]
    rows: list[Row] = [("", *head, *(("before",) if is_compared else ()))]
    for label in next(side for side in sides if side):
        cells = [cell for side in sides for cell in _cells(side, label)]
        beside = [side[label] for side in sides if label in side]
        more = (_earlier_text(was.get(label), beside),) if is_compared else ()
        rows.append((label, *cells, *more))
    return Table(tuple(rows))


def _cells(side: Mapping[str, Estimate | None], label: str) -> tuple[str, str]:
    if label not in side:
        return "not heard", ""
    estimate = side[label]
    return ("none", "") if estimate is None else _texts(estimate)


def _figures(curve: PickupCurve, at: Mapping[str, float]) -> dict[str, Estimate | None]:
    figures = {"Peak at": curve.peak_frequency, "Peak level": curve.peak_level, "3 dB below 20 Hz at": curve.corner}
    for name, frequency_hz in at.items():
        is_named = not name[:1].isdigit()
        label = f"Level at {name} ({format_quantity(frequency_hz, 'Hz')})" if is_named else f"Level at {name}"
        figures[label] = curve.levels[frequency_hz]
    return figures


def _texts(estimate: Estimate) -> tuple[str, str]:
    is_exact = estimate.standard_uncertainty <= EXACT * max(abs(estimate.value), 1.0)
    if not is_exact:
        return estimate_texts(estimate)
    is_level = estimate.unit == "dB"
    text = f"{estimate.value:.2f} dB" if is_level else format_quantity(estimate.value, estimate.unit, MOST_DIGITS)
    return text.replace("-", MINUS), NOTHING


# No finer than what stands beside it, since its own interval is not told.
def _earlier_text(earlier: Estimate | None, beside: Sequence[Estimate | None]) -> str:
    if earlier is None:
        return NOTHING
    halves = [(one.high - one.low) / 2 for one in (earlier, *beside) if one is not None]
    half = max(halves)
    if earlier.unit == "Hz":
        return format_quantity(earlier.value, "Hz", allowed_digits(earlier.value, half, most=MOST_DIGITS))
    return _texts(replace(earlier, standard_uncertainty=half / COVERAGE, low=earlier.value - half, high=earlier.value + half))[0]


def _sweep_section(sweep: ToneSweep, *, has_tapers: bool) -> Section:
    what = f"Tone control {sweep.pot} turned down, {sweep.pickup} heard"
    text = (
        f"{what}. Textbook: 1/(2πRC) of pot.{sweep.pot} and capacitor.{sweep.capacitor} alone,",
        "right for a resistor that feeds a capacitor, far off here: the pickup is the source, the pot is in series with it",
    )
    blocks: list[Block] = [Text(text)]
    if not has_tapers:
        blocks.append(Text(("Where a rotation stands on the track is by the nominal taper unless measured: not in the 95 %",)))
    head = ("", "in series", "3 dB down at", "95 %", "peak at", "95 %", "peak level", "textbook")
    return Section((*blocks, Table((head, *(_step_row(step) for step in sweep.steps)))), label=what, is_folded=True)


def _sweep_figures(sweep: ToneSweep) -> tuple[tuple[str, ...], ...]:
    return (sweep.pickup, sweep.pot), *(_step_row(step) for step in sweep.steps)


def _step_row(step: ToneStep) -> tuple[str, ...]:
    return (
        str(step.rotation),
        format_quantity(step.resistance_ohm, "Ω", 2),
        _hz_text(step.corner_hz, step.corner_relative_std),
        NOTHING if step.corner_hz is None else sureness_text(COVERAGE * step.corner_relative_std),
        _hz_text(step.peak_hz, step.peak_relative_std),
        NOTHING if step.peak_hz is None else sureness_text(COVERAGE * step.peak_relative_std),
        NOTHING if step.peak_db is None else f"{step.peak_db:.1f} dB".replace("-", MINUS),
        NOTHING if step.textbook_hz is None else format_quantity(step.textbook_hz, "Hz", 2),
    )


def _hz_text(frequency_hz: float | None, relative_std: float = 0.0) -> str:
    if frequency_hz is None:
        return NOTHING
    return format_quantity(frequency_hz, "Hz", allowed_digits(frequency_hz, COVERAGE * relative_std * frequency_hz, most=3))


def _pickup_curve(curve: PickupCurve) -> guitar.PickupCurve:
    is_sound = np.abs(curve.gain) > 0
    level_db = DB_PER_NEPER * np.log(np.where(is_sound, np.abs(curve.gain), 1.0))
    phase_degree = np.degrees(np.unwrap(np.angle(curve.gain)))
    return guitar.PickupCurve(
        connected=curve.is_connected,
        gain_db=_numbers(level_db, is_sound),
        gain_db_standard_uncertainty=_numbers(curve.gain_db_std, is_sound),
        phase_degree=_numbers(phase_degree, is_sound),
        phase_degree_standard_uncertainty=_numbers(np.degrees(curve.phase_std), is_sound),
        group_delay_s=_numbers(curve.group_delay_s, is_sound),
        group_delay_s_standard_uncertainty=_numbers(curve.group_delay_std_s, is_sound),
    )


# JSON knows no infinity: where nothing is heard stands null.
def _numbers(values: FloatArray, is_sound: np.ndarray) -> tuple[float | None, ...]:
    return tuple(float(value) if sound else None for value, sound in zip(values, is_sound, strict=True))


def _curve_figures(curve: PickupCurve, at: Mapping[str, float]) -> guitar.CurveFigures:
    return guitar.CurveFigures(
        peak=guitar.Peak(frequency=value_or_none(curve.peak_frequency), level=value_or_none(curve.peak_level)),
        minus_3_db=value_or_none(curve.corner),
        levels={
            name: guitar.LevelAt(frequency_hz=frequency_hz, level=value_or_none(curve.levels.get(frequency_hz)))
            for name, frequency_hz in at.items()
        },
    )


def _tone_sweep(sweep: ToneSweep) -> guitar.ToneSweep:
    return guitar.ToneSweep(
        pot=sweep.pot,
        capacitor=sweep.capacitor,
        pickup=sweep.pickup,
        steps=tuple(
            guitar.ToneStep(
                rotation=step.rotation,
                resistance_ohm=step.resistance_ohm,
                minus_3_db_hz=step.corner_hz,
                minus_3_db_hz_standard_uncertainty=_times(step.corner_hz, step.corner_relative_std),
                peak_hz=step.peak_hz,
                peak_hz_standard_uncertainty=_times(step.peak_hz, step.peak_relative_std),
                peak_db=step.peak_db,
                textbook_hz=step.textbook_hz,
            )
            for step in sweep.steps
        ),
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
