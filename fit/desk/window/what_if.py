"""Controls, parts, leads and layouts to a gain curve with its 95 % band: what ``predict`` computes, quick enough for a slider."""

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fit.answers.figures import COVERAGE
from fit.answers.predict.carry_over import adopt_losses
from fit.answers.predict.prediction import LOAD_UNITS, MissingValuesError, PickupCurve
from fit.answers.predict.tone import textbook_corners
from fit.circuit.controls import Settings, read_settings, split_settings
from fit.circuit.instrument import Instrument, stated_values
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.rewiring import ADDED, leads_of, places_of, points_of
from fit.desk.bench.virtual import rehearsal_load
from fit.desk.book.kept_fit import LastFit
from fit.desk.book.pitch import pitch_hz, pitch_text
from fit.desk.book.rig import rig_of
from fit.desk.book.variant import Change, Changed, carry_settings, read_change
from fit.desk.questions.predict import DEFAULT_NOTES, Question, Stand, predict_made, stand_of
from fit.desk.show.page import fragment
from fit.desk.show.sheet import Verdict
from fit.desk.show.sheets.predict import Predicted, settings_text, sheet_of_missing, sheet_of_what_if, verdict_text
from fit.desk.show.words import command_text, plain_text, quantity_name
from fit.desk.window import messages
from fit.desk.window.computed import DECIMALS, Board, Control, Corner, PartValue, WhatIf
from fit.desk.window.messages import Curve
from measure.kinds import KINDS, kind_of
from measure.logbook.store import Logbook, instrument_path
from measure.quantity import format_quantity
from measure.response import FloatArray

DB_PER_NEPER = 20 / np.log(10)
VIRTUAL = "three-singles"  # layout on the virtual bench
MOST_HELD = 16  # pages of which something is held
CABLE = "input.capacitance"
FACTORS = {"H": 3.0, "Hz": 4.0, "F": 20.0, "Ω": 10.0, "": 3.0}  # ends of a slider over the value as it is
CABLE_F = (10e-12, 3e-9)  # [F] from none to some tens of metres
ORIGINS = {"measured": "measured", "changed": "changed", "stated": "stated", "marked": "only marked", "": "not known"}


@dataclass(slots=True, eq=False, kw_only=True)
class Opened:
    """An instrument on the page, read once.

    Attributes
    ----------
    held : dict of int to Predicted
        What each page keeps to compare with.
    """

    folder: Path
    stand: Stand
    held: dict[int, Predicted] = field(default_factory=dict)


def open_what_if(folder: Path, *, is_virtual: bool = False) -> Opened:
    """Read what the curves rest on.

    Parameters
    ----------
    is_virtual : bool
        On the virtual bench: where no instrument is stated, one of the common wirings with usual values stands in for it.

    Raises
    ------
    ValueError
        If the rig does not state cable and input.
    FileError
        If there is no instrument.toml, or it is not sound.
    """
    logbook = Logbook(path=folder)  # a folder that is not there yet states nothing
    if is_virtual and not instrument_path(logbook).exists():
        note = (
            f"No instrument.toml is there: {plain_text(DESCRIPTIONS[VIRTUAL])}, all values usual ones. Begin your own with "
            f"{command_text(('instrument', '--layout', VIRTUAL), folder)}"
        )
        instrument, load = read_instrument(layout_text(VIRTUAL)), rehearsal_load(rig_of(logbook))
        fit = LastFit(notes=(note,))
        return Opened(folder=folder, stand=Stand(file=instrument_path(logbook), instrument=instrument, load=load, fit=fit))
    return Opened(folder=folder, stand=stand_of(folder))


def answer_what_if(opened: Opened, asked: messages.Change, *, page: int = 0, is_held: bool = False) -> WhatIf:
    """Predict what is asked for, beside what the page holds.

    Parameters
    ----------
    is_held : bool
        This is kept to compare with from now on.

    Raises
    ------
    ValueError
        If a setting, part, lead or value is wrong or missing; one line.
    """
    stand = opened.stand
    change, told = change_of(stand, asked)
    made = read_change(change, stand.instrument, stand.fit.parts)
    at = {pitch_text(text): pitch_hz(text) for text in asked.at or DEFAULT_NOTES}
    question = Question(at_hz=tuple(at.values()), excite=asked.pickup, is_gain_alone=True)
    try:
        now = predict_made(stand, change, made, question)
    except MissingValuesError as err:
        return _without_curve(opened, asked, change, made, told=told, missing=err.names)
    if is_held:
        _keep(opened, page, now)
    held = opened.held.get(page)
    instrument, answer = made.variant.instrument, now.answer
    values = {key: one.value for key, one in answer.basis.items()}
    return WhatIf(
        name=plain_text(instrument.name) or stand.file.name,
        frequency_hz=hertz(answer.frequency_hz),
        curves=tuple(_curve(name, one) for name, one in answer.pickups.items() if one.is_connected),
        corners=tuple(
            Corner(hz=hz, label=f"1/(2πRC) of {plain_text(pot)} alone")
            for pot, hz in textbook_corners(instrument, answer.settings, values).items()
        ),
        verdict=verdict_text(answer),
        sheet_html=fragment(sheet_of_what_if(now, None if is_held else held, at=at)),
        notes=tuple(dict.fromkeys((*stand.fit.notes, *told, *now.notes))),
        controls=_controls(instrument, answer.settings),
        parts=_parts(stand, made, answer.basis),
        board=_board(instrument),
        command=command_of(asked, change, opened.folder),
        simulated=answer.measured is not None and answer.measured.simulated,
        is_held=is_held,
    )


# Where a value is missing, the page asks for it.
def _without_curve(
    opened: Opened, asked: messages.Change, change: Change, made: Changed, *, told: tuple[str, ...], missing: tuple[str, ...]
) -> WhatIf:
    stand, instrument = opened.stand, made.variant.instrument
    sheet = sheet_of_missing(missing)
    return WhatIf(
        name=plain_text(instrument.name) or stand.file.name,
        frequency_hz=(),
        curves=(),
        corners=(),
        verdict=next(block.text for block in sheet.blocks if isinstance(block, Verdict)),
        sheet_html=fragment(sheet),
        notes=tuple(dict.fromkeys((*stand.fit.notes, *told, *made.notes))),
        controls=_controls(instrument, read_settings(instrument, split_settings(change.settings))),
        parts=_parts(stand, made, missing),
        board=_board(instrument),
        command=command_of(asked, change, opened.folder),
        simulated=False,
    )


def change_of(stand: Stand, asked: messages.Change) -> tuple[Change, tuple[str, ...]]:
    """Put what a page asks for as what is typed behind ``predict``.

    Returns
    -------
    change : Change
        Under another layout without the controls and parts that it has not.
    told : tuple of str
        What was left out so, one line each.
    """
    settings, changes = dict(asked.set), dict(asked.change)
    if asked.cable:
        changes[CABLE] = asked.cable
    change = Change(added=asked.solder, moved=asked.move, layout=asked.layout or None)
    told: list[str] = []
    if change.layout is not None:
        other = read_change(replace(change, added=(), moved=()), stand.instrument, None).variant.instrument
        kept = carry_settings(settings, other)
        known = {*stated_values(other), *LOAD_UNITS}
        told += [f"{plain_text(key)} is not in this wiring" for key in settings if key not in kept]
        told += [f"{plain_text(key)} is not in this wiring" for key in changes if key not in known]
        settings, changes = kept, {key: text for key, text in changes.items() if key in known}
    pairs = [tuple(f"{key}={text}" for key, text in one.items()) for one in (settings, changes)]
    return replace(change, settings=pairs[0], changes=pairs[1]), tuple(told)


def command_of(asked: messages.Change, change: Change, folder: Path, *, words: tuple[str, ...] = ("predict",)) -> str:
    """Command line that gives the same as a page."""
    options: list[tuple[str, tuple[str, ...]]] = [("--layout", (change.layout,))] if change.layout is not None else []
    options += [("--move", change.moved), ("--solder", change.added), ("--change", change.changes), ("--set", change.settings)]
    options += [("--excite", (asked.pickup,))] if asked.pickup else []
    options += [("--at", asked.at)] if words == ("predict",) else []
    typed = [word for option, texts in options for text in texts for word in (option, text)]
    return command_text((*words, *typed), folder)


def levels(db: FloatArray) -> tuple[float | None, ...]:
    """Round levels for a page; None where there is none."""
    rounded = np.round(db, DECIMALS)
    if np.isfinite(rounded).all():
        return tuple(rounded.tolist())
    return tuple(value if np.isfinite(value) else None for value in rounded.tolist())


def hertz(frequency_hz: FloatArray) -> tuple[float, ...]:
    """Round frequencies for a page."""
    return tuple(np.round(frequency_hz, DECIMALS).tolist())


def _keep(opened: Opened, page: int, now: Predicted) -> None:
    opened.held.pop(page, None)
    if len(opened.held) >= MOST_HELD:
        del opened.held[next(iter(opened.held))]
    opened.held[page] = now


def _curve(name: str, curve: PickupCurve) -> Curve:
    db = DB_PER_NEPER * np.log(np.abs(curve.gain))
    half = COVERAGE * curve.gain_db_std
    return Curve(label=plain_text(name), db=levels(db), low_db=levels(db - half), high_db=levels(db + half))


def _controls(instrument: Instrument, settings: Settings) -> tuple[Control, ...]:
    pots = [
        Control(
            name=name, positions=(), at=setting.label, text=settings_text(replace(settings, pots={name: setting}, switches={}))
        )
        for name, setting in settings.pots.items()
    ]
    switches = [
        Control(name=name, positions=tuple(instrument.switch[name].positions), at=at, text=f"{plain_text(name)}={plain_text(at)}")
        for name, at in settings.switches.items()
    ]
    return (*switches, *pots)


def _parts(stand: Stand, made: Changed, heard: Collection[str]) -> tuple[PartValue, ...]:
    out = []
    instrument, changes = made.variant.instrument, made.variant.changes
    measured = {} if made.parts is None else made.parts.values
    lossy = instrument if made.parts is None else adopt_losses(instrument, made.parts)
    stated = {key: one for key, one in stated_values(lossy).items() if not key.partition(".")[2].startswith(ADDED)}
    units = {key: one.unit for key, one in stated.items()} | LOAD_UNITS
    for key, unit in units.items():
        quantity = stand.load.get(key) if key in stand.load else stated[key].quantity
        own = measured.get(key, None if quantity is None else quantity.value)
        value = changes[key].value if key in changes else own
        known = "marked" if key in stated and stated[key].is_marked else "stated"
        origin = "changed" if key in changes else "measured" if key in measured else known if quantity is not None else ""
        out.append(
            PartValue(
                key=key,
                kind=_kind(key, instrument),
                label=plain_text(quantity_name(key.replace(".dcr", ".dc_resistance"))),
                unit=unit,
                value=value,
                ends=_ends(key, unit, own),
                text="" if value is None else format_quantity(value, unit, 4),
                origin=ORIGINS[origin],
                is_changed=key in changes,
                is_heard=key in heard,
            )
        )
    return tuple(out)


def _kind(key: str, instrument: Instrument) -> str:
    kind = key.partition(".")[0]
    if kind == "input":
        return "cable"
    return "pickup" if kind in instrument.pickup else kind


def _ends(key: str, unit: str, value: float | None) -> tuple[float, float]:
    if key == CABLE:
        return CABLE_F
    if not value or value < 0:
        kind = kind_of(key)
        return (0.0, 0.0) if kind is None else KINDS[kind].usual  # one that is typed may be anywhere
    if unit == "" and key.endswith(".coupling"):
        return (0.0, 0.95)
    factor = FACTORS[unit] if not key.startswith("pot.") else 4.0
    factor = 3.0 if key.endswith((".dcr", ".winding_capacitance")) else factor
    return (value / factor, value * factor)


def _board(instrument: Instrument) -> Board:
    points = tuple(points_of(instrument))
    return Board(
        layouts=dict(DESCRIPTIONS),
        leads=leads_of(instrument),
        points=points,
        places=tuple(places_of(instrument)),
        pickups=tuple(instrument.pickup),
    )
