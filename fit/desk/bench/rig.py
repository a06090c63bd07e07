"""The rig as the logbook states it, and the sweep as a file."""

from collections.abc import Mapping
from pathlib import Path

import msgspec

from fit.answers.calibrate.input import doubt_input
from fit.desk.book.bounds import remarks
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.output import require_free
from fit.desk.book.rig import RIG_OPTIONS, rig_of, rig_rows
from fit.desk.show.document.bench import RigDocument, StimulusDocument
from fit.desk.show.sheets.bench import sheet_of_rig, sheet_of_stimulus
from fit.desk.show.words import SWEEP_CAUTION
from measure.kinds import Kind
from measure.logbook.disk import replaced_file
from measure.logbook.rig import Rig, exciter_corner, input_capacitance, input_resistance, missing, write_rig
from measure.logbook.store import open_logbook, rig_path
from measure.marking import read_value
from measure.quantity import Quantity

DEFAULT_RATE_HZ = 96000


def show_or_write_rig(desk: Desk, changes: Mapping[str, str | int]) -> Outcome:
    """Write what is stated of the rig, and show it with what is missing.

    Parameters
    ----------
    changes : mapping
        Name of an option to its value; empty to show only.
    """
    logbook = open_logbook(desk.logbook, create=bool(changes))
    if changes:
        keys = {option.removeprefix("--").replace("-", "_"): key for key, option in RIG_OPTIONS.items()} | {
            "rate_hz": "interface.rate_hz"
        }
        stated: dict[str, str | int | float] = {keys[name]: value for name, value in changes.items()}
        if "exciter.corner_hz" in stated:
            corner = read_value(str(stated["exciter.corner_hz"]), "corner")
            stated["exciter.corner_hz"] = corner.value if corner.bound is None else corner.text
        rig = write_rig(rig_path(logbook), stated)
        desk.say(f"Written: {rig_path(logbook)}")
    else:
        rig = rig_of(logbook)
    open_keys = missing(rig)
    resistance = input_resistance(rig)
    low = None if resistance is None else doubt_input(resistance.value)
    odd = ([] if low is None else [low.text]) + _remarks(rig)
    sheet = sheet_of_rig(
        rig_path(logbook),
        rig_rows(rig),
        [(key, RIG_OPTIONS[key], meaning) for key, meaning in open_keys.items()],
        odd,
    )
    written = (str(rig_path(logbook)),) if changes else ()
    return Outcome(sheet=sheet, document=RigDocument(rig=rig, missing=tuple(open_keys), written=written))


def _remarks(rig: Rig) -> list[str]:
    """Say what is odd about the values that a fit rests on, and which tolerance it would assume."""
    values: dict[Kind, Quantity | None] = {
        "input resistance": input_resistance(rig),
        "input capacitance": input_capacitance(rig),
        "corner": exciter_corner(rig) if rig.reference.kind in ("loopback", "none") else None,
    }
    return [line for kind, value in values.items() if value is not None for line in remarks(value, kind, kind)]


def write_stimulus(desk: Desk, file: Path, numbers: Mapping[str, float], *, replace: bool = False) -> Outcome:
    """Write the sweep as an audio file.

    Parameters
    ----------
    desk : Desk
        Its rig may state the rate.
    file : Path
        To be written.
    replace : bool
        It may be there already.

    Raises
    ------
    ValueError
        If the sweep cannot be made so.
    FileError
        If something is there already that may not be replaced, or it cannot be written.
    """
    from measure.signal.stimulus import Sweep, sweep_samples
    from measure.source.files import create_blocks

    require_free(file, may_replace=replace)
    stated = dict(numbers)
    rate = stated.pop("rate_hz", None)
    if rate is None and desk.logbook.is_dir():
        rate = rig_of(open_logbook(desk.logbook)).interface.rate_hz
    rate_hz = int(rate or DEFAULT_RATE_HZ)
    if stated.get("stop_hz", 0) >= rate_hz / 2 or stated.get("start_hz", 0) >= stated.get("stop_hz", rate_hz * 0.46):
        msg = f"the sweep must rise and end below half the sample rate, {rate_hz / 2:g} Hz: choose --start, --stop or --rate"
        raise ValueError(msg)
    sweep = Sweep(rate_hz=rate_hz, **stated)
    samples = sweep_samples(sweep)
    with (
        replaced_file(file) as unfinished,
        create_blocks(unfinished, rate_hz=rate_hz, n_channels=1, n_frames=len(samples), suffix=file.suffix) as write,
    ):
        write(samples[:, None])
    desk.say(SWEEP_CAUTION)
    seconds = len(samples) / rate_hz
    document = StimulusDocument(file=str(file), written=(str(file),), length_s=seconds, bits=24, **msgspec.structs.asdict(sweep))
    return Outcome(sheet=sheet_of_stimulus(file, sweep, seconds=seconds), document=document)
