"""What listen has to say, for people and as the JSON document."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from msgspec import UNSET

from fit.answers.listen.impulse import Heard, ListenAnswer
from fit.answers.listen.minimum_phase import filter_gain
from fit.answers.parts.fitted import MeasuredParts
from fit.desk.show.document import guitar
from fit.desk.show.document.pieces import named_takes
from fit.desk.show.sheet import Block, Picture, Row, Section, Sheet, Table, Text, Verdict
from fit.desk.show.sheets.notices import CIRCUIT, simulated_notice, titled
from fit.desk.show.sheets.predict import control_settings, settings_text
from fit.desk.show.words import MINUS
from measure.quantity import format_quantity
from measure.response import ComplexArray, FloatArray

PICTURE = Picture(
    name="change",
    heading="Curves",
    caption="Above, the circuit as recorded and after the change; below, what the filter does, as it is and at equal loudness.",
)
SHOWN_HZ = (50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 3e3, 4e3, 5e3, 6e3, 8e3, 10e3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What a first pass through the recording told.

    Attributes
    ----------
    change : float
        Loudness after over that before, as an amplitude. [1]
    peak : float
        Largest sample after the filter, over full scale. [1]
    """

    n_frames: int
    n_channels: int
    change: float
    peak: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One file of the answer.

    Attributes
    ----------
    gain : float
        On top of the filter. [1]
    lowered : float
        Share of `gain` that was taken away so that nothing clips; 1 for none. [1]
    """

    path: Path
    level: str
    gain: float
    lowered: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Facts:
    """All of an answer.

    Attributes
    ----------
    changed : tuple of str
        As it was typed, safe to print.
    excite : str
        Pickup; empty for all.
    written : tuple of Written
        Files, the one at matched level first.
    """

    changed: tuple[str, ...]
    excite: str
    answer: ListenAnswer
    levels: Levels
    written: tuple[Written, ...]
    measured: MeasuredParts | None
    notes: tuple[str, ...]


def sheet_of_listen(facts: Facts, versus: Sequence[Facts] = ()) -> Sheet:
    """Lay out what was written, and what the change does.

    Parameters
    ----------
    versus : sequence of Facts
        Other changes that are heard beside the first.

    Returns
    -------
    Sheet
        What was changed and written, a table of the change, what it rests on.
    """
    answer, every = facts.answer, (facts, *versus)
    words = ("Changed", *("Versus" if len(versus) == 1 else f"Versus {number}" for number in range(1, len(versus) + 1)))
    head = [f"{word}: {', '.join(one.changed)}" for word, one in zip(words, every, strict=True)]
    head.append(f"Recorded at: {settings_text(answer.before.settings)}")
    heard = dict.fromkeys(settings_text(one.answer.after.settings) for one in every)
    if list(heard) != [settings_text(answer.before.settings)]:
        told_at = [settings_text(one.answer.after.settings) for one in (every if len(heard) > 1 else every[:1])]
        beside = ("", *(f", {word.lower()}" for word in words[1:]))
        head += [f"Heard at{word}: {text}" for word, text in zip(beside, told_at, strict=False)]
    sounding = dict.fromkeys(_pickups_text(one.excite, one.answer.before, one.answer.after) for one in every)
    head += [f"Pickups: {text}" for text in sounding]
    told = [_written_text(one) for own in every for one in own.written]
    names = ", ".join(own.written[0].path.name for own in every)
    told.append(f"In {names} the change of loudness is taken out, so that you judge the colour alone.")
    if len(facts.written) == 1:
        told.append("To hear it as loud as it would be, add --true-level FILE.wav.")
    notes = [f"Note: {text}." for text in dict.fromkeys(finding.text for own in every for finding in own.answer.findings)]
    louder = [_louder_text(own) for own in every]
    versus_text = "".join(f"; {word.lower()}: {text}" for word, text in zip(words[1:], louder[1:], strict=True))
    verdict = Verdict(f"The change makes it {louder[0]}{versus_text} (K-weighted, ITU-R BS.1770).", "good")
    simulated = is_simulated(facts, versus)
    blocks: tuple[Block, ...] = (
        verdict,
        *simulated_notice(is_simulated=simulated),
        PICTURE,
        CIRCUIT,
        *_texts(head),
        Section(_texts(told), label="What was written"),
        Section((Table(_change_rows(facts, versus)), *_texts(notes)), label="What the change does"),
        Section(_basis_blocks(facts, versus), label="What this rests on", is_folded=True),
    )
    return Sheet(title=titled("A change to be heard", is_simulated=simulated), blocks=blocks)


def _louder_text(facts: Facts) -> str:
    change_db = _db(facts.levels.change)
    return f"{abs(change_db):.1f} dB {'louder' if change_db > 0 else 'quieter'}"


def _texts(lines: Sequence[str]) -> tuple[Text, ...]:
    return tuple(Text((line,)) for line in lines)


def _basis_blocks(facts: Facts, versus: Sequence[Facts]) -> tuple[Block, ...]:
    blocks: list[Block] = [*_texts(facts.notes)]
    sides = [side for one in (facts, *versus) for side in (one.answer.before, one.answer.after)]
    measured = next((found for one in (facts, *versus) if (found := _measured_of(one)) is not None), None)
    if measured is not None:
        names = ", ".join(sorted({name for side in sides for name in side.measured}))
        blocks.append(Text((f"Measured, by the last fit (takes {', '.join(measured.takes)}): {names}",)))
    marked = sorted({name for side in sides for name in side.marked})
    if marked:
        blocks.append(Text((f"Only marked, not measured, so the change may turn out another: {', '.join(marked)}",)))
    return (*blocks, Text(("coilsweep predict says how sure the curves are.",)))


def _measured_of(facts: Facts) -> MeasuredParts | None:
    return facts.measured if facts.answer.before.measured or facts.answer.after.measured else None


def _pickups_text(excite: str, before: Heard, after: Heard) -> str:
    sounding = " and ".join(before.pickups)
    if before.pickups != after.pickups:
        sounding += f" before, {' and '.join(after.pickups)} after"
    if excite:
        return f"only {excite} sounds, as said by --excite"
    is_many = max(len(before.pickups), len(after.pickups)) > 1
    return sounding + (", as if the strings gave each the same voltage (--excite PICKUP for one alone)" if is_many else "")


def _written_text(one: Written) -> str:
    meaning = {"matched": "as loud as the recording", "true": "at the level that the change gives"}[one.level]
    line = f"Written: {one.path}, {meaning}"
    if one.lowered < 1:
        down = f"{-_db(one.lowered):.1f} dB"
        line += f", but lowered by {down} so that nothing clips: lower the recording by {down} too when you compare"
    return line


def _change_rows(facts: Facts, versus: Sequence[Facts]) -> tuple[Row, ...]:
    answer = facts.answer
    shown = np.array([one_hz for one_hz in SHOWN_HZ if one_hz <= answer.frequency_hz[-1]])
    head = ["", "change", "at equal loudness"]
    columns = [[_db_text(one) for one in _gain(facts, shown)]]
    columns.append([_db_text(one / facts.levels.change) for one in _gain(facts, shown)])
    for number, one in enumerate(versus, start=1):
        head.append("versus, at equal loudness" if len(versus) == 1 else f"versus {number}")
        columns.append([_db_text(each / one.levels.change) for each in _gain(one, shown)])
    names = [format_quantity(float(one_hz), "Hz") for one_hz in shown]
    return (tuple(head), *zip(names, *columns, strict=True))


def _gain(facts: Facts, shown_hz: FloatArray) -> list[float]:
    return [float(one) for one in np.abs(filter_gain(facts.answer.impulse, facts.answer.rate_hz, shown_hz))]


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio)


def _db_text(ratio: float) -> str:
    text = f"{_db(ratio):+.1f} dB"
    return "0.0 dB" if text[1:] == "0.0 dB" else text.replace("-", MINUS)


def is_simulated(facts: Facts, versus: Sequence[Facts] = ()) -> bool:
    """Tell whether an answer, or one of those beside it, rests on takes of the virtual bench."""
    found = [measured for one in (facts, *versus) if (measured := _measured_of(one)) is not None]
    return any(measured.simulated for measured in found)


def listen_document(facts: Facts, versus: Sequence[Facts] = (), *, source: str) -> guitar.ListenDocument:
    """Put the answer as ``listen --json`` states it."""
    answer, levels, measured = facts.answer, facts.levels, _measured_of(facts)
    return guitar.ListenDocument(
        sample_rate_hz=answer.rate_hz,
        channels=levels.n_channels,
        frames=levels.n_frames,
        changes=facts.changed,
        excite=facts.excite or None,
        before=_side(answer.before),
        after=_side(answer.after),
        written=tuple(str(one.path) for own in (facts, *versus) for one in own.written),
        sounds=_sounds(facts),
        level_change_db=_db(levels.change),
        frequency_hz=tuple(answer.frequency_hz.tolist()),
        asked_db=_decibels(answer.asked),
        given_db=_decibels(answer.given),
        impulse_samples=len(answer.impulse),
        limited_hz=answer.limited_hz,
        findings=_remarks(answer),
        simulated=is_simulated(facts, versus),
        takes=named_takes(() if measured is None else measured.takes, "fitted"),
        measured=tuple(sorted({*answer.before.measured, *answer.after.measured})),
        warnings=facts.notes,
        marked_only=tuple(sorted({*answer.before.marked, *answer.after.marked})),
        source=source,
        versus=tuple(map(_other, versus)) or UNSET,
    )


def _other(facts: Facts) -> guitar.OtherChange:
    answer = facts.answer
    return guitar.OtherChange(
        changes=facts.changed,
        after=_side(answer.after),
        sounds=_sounds(facts),
        level_change_db=_db(facts.levels.change),
        asked_db=_decibels(answer.asked),
        given_db=_decibels(answer.given),
        impulse_samples=len(answer.impulse),
        limited_hz=answer.limited_hz,
        findings=_remarks(answer),
        measured=tuple(sorted(answer.after.measured)),
        marked_only=tuple(sorted(answer.after.marked)),
    )


def _sounds(facts: Facts) -> tuple[guitar.WrittenSound, ...]:
    return tuple(
        guitar.WrittenSound(file=str(one.path), level=one.level, gain_db=_db(one.gain), lowered_db=max(0.0, -_db(one.lowered)))
        for one in facts.written
    )


def _remarks(answer: ListenAnswer) -> tuple[guitar.Remark, ...]:
    return tuple(guitar.Remark(name=one.code, text=one.text) for one in answer.findings)


def _decibels(gain: ComplexArray) -> tuple[float, ...]:
    return tuple(_db(float(one)) for one in np.abs(gain))


def _side(heard: Heard) -> guitar.Side:
    return guitar.Side(settings=control_settings(heard.settings), pickups=heard.pickups)
