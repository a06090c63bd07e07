"""The drawing of a logbook's instrument, with what the last fit measured of it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from fit.answers.figures import COVERAGE, Estimate
from fit.answers.parts.fitted import MeasuredParts, is_signed
from fit.circuit.instrument import Instrument, stated_values
from fit.desk.book.instrument import read_instrument_file
from fit.desk.book.kept_fit import last_fit
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.drawing import drawing_of, with_drawing
from fit.desk.show.words import SIMULATED_TEXT
from measure.logbook.store import Logbook, instrument_path
from measure.quantity import Quantity, format_quantity


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """What a fit measured, as a drawing has it.

    Attributes
    ----------
    measured : dict of str to Estimate
        By the names of `fit.circuit.instrument.stated_values`.
    notes : tuple of str
        What is to be said of it.
    """

    measured: dict[str, Estimate] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def found_parts(instrument: Instrument, parts: MeasuredParts | None) -> Found:
    """Take what a fit measured for a drawing."""
    if parts is None:
        return Found()
    units = {key: stated.unit for key, stated in stated_values(instrument).items()}
    std = dict(zip(parts.names, np.sqrt(np.diag(parts.log_covariance)), strict=True))
    measured = {}
    for name, value in parts.values.items():
        if name in units and not is_signed(name):
            reach = math.exp(COVERAGE * float(std[name]))
            measured[name] = Estimate(
                value=value,
                unit=units[name],
                standard_uncertainty=value * float(std[name]),
                low=value / reach,
                high=value * reach,
            )
    notes = [f"Measured values: {SIMULATED_TEXT}."] if parts.simulated else []
    if parts.outcome != "good":
        notes.append("Measured values are indicative only: the fit misfits.")
    return Found(measured=measured, notes=tuple(notes))


def last_found(logbook: Logbook, instrument: Instrument) -> Found:
    """Take what the last fit of a logbook measured of its instrument; why it is not used is said."""
    fit = last_fit(logbook, instrument_path(logbook), load={})
    found = found_parts(instrument, fit.parts)
    return found if fit.parts is not None else Found(notes=tuple(f"{note}." for note in fit.notes))


def page_with_drawing(
    sheet: Sheet,
    path: Path,
    *,
    at: Mapping[str, str] | None = None,
    asked: str = "",
    parts: MeasuredParts | None = None,
    notes: tuple[str, ...] = (),
) -> Sheet:
    """Put the drawing of an instrument into the sheet of a page, where there is one.

    Parameters
    ----------
    path : Path
        Of its file; it need not be there.
    asked : str
        The part that the page is about, such as ``"capacitor.tone"``.
    """
    if not path.exists():
        return sheet
    return with_instrument(sheet, read_instrument_file(path), at=at, asked=asked, parts=parts, notes=notes)


def with_instrument(
    sheet: Sheet,
    instrument: Instrument,
    *,
    at: Mapping[str, str] | None = None,
    asked: str = "",
    parts: MeasuredParts | None = None,
    notes: tuple[str, ...] = (),
    changes: Mapping[str, Quantity] | None = None,
) -> Sheet:
    """Put the drawing of an instrument into the sheet of a page, as `page_with_drawing`.

    Parameters
    ----------
    changes : mapping of str to Quantity
        Values that stand in for what is stated or measured.
    """
    changed = changes or {}
    found = found_parts(instrument, parts)
    measured = {name: estimate for name, estimate in found.measured.items() if name not in changed}
    drawing = drawing_of(_changed(instrument, changed), at=at, measured=measured, notes=(*found.notes, *notes), asked=asked)
    return with_drawing(sheet, drawing)


def _changed(instrument: Instrument, changes: Mapping[str, Quantity]) -> Instrument:
    """Instrument with pots, capacitors and resistors of changed values, which then carry no marking."""
    kinds: dict[str, dict[str, Any]] = {kind: dict(getattr(instrument, kind)) for kind in ("pot", "capacitor", "resistor")}
    for key, value in changes.items():
        kind, _, name = key.partition(".")
        if name in kinds.get(kind, {}):
            text = format_quantity(value.value, value.unit, 4)
            kinds[kind][name] = msgspec.structs.replace(kinds[kind][name], value=text, marked=None)
    return msgspec.structs.replace(instrument, **kinds)
