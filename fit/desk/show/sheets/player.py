"""What an answer means for who plays: where the peak lies, as a frequency, as a note and as a range; what a change does to it."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from fit.answers.confirm.confirmation import ConfirmAnswer
from fit.answers.digits import allowed_digits, spread_texts
from fit.answers.figures import Estimate
from fit.answers.pickup.answer import PickupAnswer
from fit.answers.predict.at_jack import AtJack
from fit.answers.predict.prediction import PickupCurve, PredictAnswer
from fit.desk.show.words import MINUS, headline_keys, note_name
from measure.quantity import Quantity, format_quantity

if TYPE_CHECKING:
    from fit.answers.compare.comparison import CompareAnswer  # loads what fits

DB_PER_NEPER = 20 / math.log(10)
# Names of ranges by where they begin, as players and engineers use them; the edges differ from one to the other (common practice,
# no source).
RANGES_HZ = {
    "bass": 0.0,
    "low middle": 250.0,
    "middle": 500.0,
    "upper middle": 2000.0,
    "presence": 4000.0,
    "brilliance": 6000.0,
}
HIGHEST_FRET_HZ = 1318.51  # [Hz] E6: the first string, E4, two octaves up at fret 24
FLAT_DB = 0.5  # [dB] a peak that stands out by less is none to the ear (common practice, no source)
LEAST_SEMITONES = 0.05
SEMITONES = 12.0  # in an octave


def range_name(frequency_hz: float) -> str:
    """Name the range of a frequency.

    Examples
    --------
    >>> range_name(3200.0), range_name(5200.0)
    ('upper middle', 'presence')
    """
    return [name for name, begin_hz in RANGES_HZ.items() if frequency_hz >= begin_hz][-1]


def place_text(frequency: Estimate) -> str:
    """Say where a frequency lies: in Hz, as a note, as a range.

    Parameters
    ----------
    frequency : Estimate
        [Hz]
    """
    return f"{hertz_text(frequency)} (near the note {note_name(frequency.value)}, {range_name(frequency.value)} range)"


def hertz_text(frequency: Estimate) -> str:
    """Write a frequency with three digits at most, and none finer than its interval."""
    half = (frequency.high - frequency.low) / 2
    return format_quantity(frequency.value, frequency.unit, allowed_digits(frequency.value, half, most=3))


def load_text(load: Mapping[str, Quantity]) -> str:
    """Say what the guitar is plugged into.

    Returns
    -------
    str
        For example ``"this cable and input (1 MΩ, 470 pF)"``.
    """
    keys = ("input.resistance", "input.capacitance")
    parts = [format_quantity(load[key].value, load[key].unit) for key in keys if key in load]
    return f"this cable and input ({', '.join(parts)})" if parts else "this cable and input"


def meaning_of_guitar(pickups: Sequence[AtJack], load: Mapping[str, Quantity]) -> str:
    """Say where each pickup's peak lies with the controls in place."""
    told = [_peak_text(one.pickup, one.curve, where=_position_text(one)) for one in pickups]
    turned = list(dict.fromkeys(text for one in pickups for text in _tone_texts(one.answer)))
    texts = [f"With {load_text(load)} and every pot at 10, {'; '.join(told)}.", *turned]
    return " ".join([*texts, *_overtones([one.curve for one in pickups])])


def meaning_of_pickup(answer: PickupAnswer, load: Mapping[str, Quantity]) -> str:
    """Say where the peak lies with cable and input on, of what is not in a guitar; empty where that is not told."""
    found = headline_keys(answer.quantities, ("resonance_loaded",))
    told = []
    for key in (key for key in found if key.endswith("resonance_loaded")):
        height = answer.quantities.get(f"{key.removesuffix('resonance_loaded')}peak_loaded")
        owner = key.removesuffix("resonance_loaded").rstrip(".") or "the pickup"
        above = "" if height is None else f", {_level_text(height)} above its low notes"
        told.append(f"{owner} peaks at {place_text(answer.quantities[key])}{above}")
    if not told:
        return ""
    return f"With {load_text(load)} and nothing else, {'; '.join(told)}. The pots of a guitar make that peak lower and broader."


def meaning_of_predict(answer: PredictAnswer, before: PredictAnswer | None) -> str:
    """Say where each pickup's peak lies at these settings, and how far a change moves it."""
    texts = []
    for name, curve in answer.pickups.items():
        old = None if before is None else before.pickups.get(name)
        if not curve.is_connected:
            continue
        texts.append(f"As set, {_peak_text(name, curve)}{_moved_text(curve, old)}.")
    if not texts:
        return "At these settings no pickup reaches the jack."
    return " ".join([*texts, *_tone_texts(answer), *_overtones([one for one in answer.pickups.values() if one.is_connected])])


def meaning_of_confirm(answer: ConfirmAnswer) -> str:
    """Say what a part's deviation from its marking does; empty where none was found."""
    if answer.deviation is None or answer.measured is None or answer.marked is None:
        return ""
    half = 100 * (answer.measured.high - answer.measured.low) / 2 / answer.marked.value
    off = spread_texts(100 * abs(answer.deviation), half, finest=-1)[0]
    way = "above" if answer.deviation > 0 else "below"
    text = f"It lies {off} % {way} what is marked."
    if answer.part.startswith("capacitor."):
        semitones = SEMITONES / 2 * abs(math.log2(1 + answer.deviation))
        lower = "lower" if answer.deviation > 0 else "higher"
        moved = f"{semitones:.1f} semitones {lower}" if semitones >= LEAST_SEMITONES else "in the same place"
        text += (
            f" With the tone control at 0 the peak goes with one over the root of the capacitance, so it lies {moved} "
            "than with a part that is exactly as marked."
        ).replace("in the same place than", "in the same place as")
    if answer.part.startswith("pot."):
        more = "less" if answer.deviation > 0 else "more"
        load = abs(1 / (1 + answer.deviation) - 1)
        text += (
            f" At 10 it loads the pickup {100 * load:.2g} % {more} than a part that is exactly as marked; a lighter load leaves "
            "the peak taller."
        )
    return text


def meaning_of_compare(parts: "CompareAnswer | None") -> str:
    """Say what a job did to the sound: where the response changed most, where the peak went; empty where neither is told."""
    if parts is None:
        return ""
    texts = []
    for pair in parts.responses:
        half = (pair.largest.high - pair.largest.low) / 2
        size, way = spread_texts(abs(pair.largest.value), half, finest=-1)[0], "louder" if pair.largest.value > 0 else "quieter"
        at_hz = float(f"{pair.at_hz:.3g}")
        where = f"{format_quantity(at_hz, 'Hz')} (near {note_name(at_hz)}, {range_name(at_hz)} range)"
        if pair.verdict == "changed":
            texts.append(f"Between {pair.before} and {pair.after} the sound changed most at {where}: {size} dB {way}.")
        else:
            texts.append(
                f"Between {pair.before} and {pair.after} no change of the sound was found; the largest is {size} dB at {where}."
            )
    for key, change in parts.quantities.items():
        if key.endswith("resonance_loaded") and change.verdict == "changed" and change.before and change.after:
            steps = SEMITONES * math.log2(change.after.value / change.before.value)
            owner = key.removesuffix("resonance_loaded").rstrip(".")
            texts.append(
                f"The peak{f' of {owner}' if owner else ''} with cable and input on went from {hertz_text(change.before)} to "
                f"{hertz_text(change.after)}, {_semitone_text(steps)}."
            )
    return " ".join(texts)


def _position_text(one: AtJack) -> str:
    text = ", ".join(f"{switch}={position}" for switch, position in one.positions.items())
    beside = f" with {' and '.join(one.beside)} beside it" if one.beside else ""
    return f" (at {text}{beside})" if text else ""


def _peak_text(name: str, curve: PickupCurve, *, where: str = "") -> str:
    peak, level = curve.peak_frequency, curve.peak_level
    if peak is not None and level is not None:
        lows_db = DB_PER_NEPER * math.log(abs(curve.gain[0]))
        above, _ = spread_texts(level.value - lows_db, (level.high - level.low) / 2, finest=-1)
        if level.value - lows_db >= FLAT_DB:
            return f"{name}{where} peaks at {place_text(peak)}, {above} dB above its low notes"
    if curve.corner is None:
        return f"{name}{where} has no peak and no loss of treble below 20 kHz"
    return f"{name}{where} has no peak; from {place_text(curve.corner)} upwards it is 3 dB or more below its low notes"


def _moved_text(curve: PickupCurve, old: PickupCurve | None) -> str:
    if old is None or not old.is_connected or curve.peak_frequency is None or old.peak_frequency is None:
        return ""
    steps = SEMITONES * math.log2(curve.peak_frequency.value / old.peak_frequency.value)
    if abs(steps) < LEAST_SEMITONES:
        return ", where it was before the change"
    return f"; before the change at {hertz_text(old.peak_frequency)}, so {_semitone_text(steps)}"


def _semitone_text(steps: float) -> str:
    return f"{abs(steps):.1f} semitones {'up' if steps > 0 else 'down'}"


def _tone_texts(answer: PredictAnswer) -> list[str]:
    texts = []
    for sweep in answer.tone_sweeps:
        end = sweep.steps[-1]
        if end.peak_hz is not None:
            half = 2 * end.peak_relative_std * end.peak_hz
            size = format_quantity(end.peak_hz, "Hz", allowed_digits(end.peak_hz, half, most=2))
            texts.append(f"Control {sweep.pot} at 0 moves the peak of {sweep.pickup} to {size} (near {note_name(end.peak_hz)}).")
    return texts


def _overtones(curves: Sequence[PickupCurve]) -> list[str]:
    peaks = [one.peak_frequency.value for one in curves if one.peak_frequency is not None]
    if not peaks or min(peaks) <= HIGHEST_FRET_HZ:
        return []
    octaves = math.log2(min(peaks) / HIGHEST_FRET_HZ)
    return [
        f"The highest fretted note of a guitar in standard tuning, E6 at fret 24, is {octaves:.1f} octaves below"
        f"{' the lowest of these peaks' if len(peaks) > 1 else ''}: what is lifted are overtones."
    ]


def _level_text(level: Estimate) -> str:
    value, _ = spread_texts(level.value, (level.high - level.low) / 2, finest=-1)
    return f"{value} dB".replace("-", MINUS)
