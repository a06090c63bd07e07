"""The instrument after a change as a person typed it: values, parts soldered in, leads moved, another layout or file."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.predict.carry_over import adopt_losses, shared_parts
from fit.answers.predict.variant import Variant, carry_values, change_values, solder
from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.rewiring import NOTHING
from fit.desk.book.drawing import with_instrument
from fit.desk.book.instrument import read_instrument_file
from fit.desk.show.sheet import Sheet
from fit.desk.show.words import plain_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is changed, as it was typed.

    Attributes
    ----------
    settings, changes, added, moved : tuple of str
        CONTROL=VALUE, PART=VALUE, PLACE=PARTS that are soldered in, LEAD=POINT that are soldered elsewhere.
    layout : str or None
        Another wiring, with the parts of the logbook's instrument.
    instrument : Path or None
        Another instrument.toml, in place of the logbook's.
    """

    settings: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    layout: str | None = None
    instrument: Path | None = None

    @property
    def told(self) -> tuple[str, ...]:
        """What is changed beside settings, one after the other, safe to print."""
        other = [f"wired as {self.layout}"] if self.layout is not None else []
        other += [f"wiring as in {self.instrument}"] if self.instrument is not None else []
        moved = [_moved(text) for text in self.moved]
        added = [f"added {text}" for text in self.added]
        return tuple(plain_text(text) for text in (*other, *moved, *added, *self.changes))

    @property
    def is_rewired(self) -> bool:
        """Another wiring is named."""
        return self.layout is not None or self.instrument is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeWish:
    """Which changes are asked about, and of what, as it was typed.

    Attributes
    ----------
    change : Change
        Settings, and what is changed of the instrument.
    versus : tuple of Change
        Other changes, each beside the first.
    excite : str
        Pickup; empty for all.
    stated : bool
        From instrument.toml alone, whatever was measured.
    """

    change: Change = field(default_factory=Change)
    versus: tuple[Change, ...] = ()
    excite: str = ""
    stated: bool = False


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Changed:
    """An instrument after a change, and what is known of its parts.

    Attributes
    ----------
    parts : MeasuredParts or None
        What a fit measured of the parts that are still the same.
    notes : tuple of str
        What markings were taken for, what is odd, what could not be carried over.
    understood : dict of str to str
        Name of a value to what its marking was taken for.
    """

    variant: Variant
    parts: MeasuredParts | None
    notes: tuple[str, ...]
    understood: dict[str, str]


def read_change(change: Change, own: Instrument | None, parts: MeasuredParts | None) -> Changed:
    """Read a change of an instrument.

    Parameters
    ----------
    own : Instrument or None
        That of the logbook; None where there is none.
    parts : MeasuredParts or None
        From a fit of `own`.

    Raises
    ------
    ValueError
        If a part, point, lead, layout or value is wrong; one line.
    FileError
        If the other instrument.toml is not there or not sound.
    """
    instrument, notes = _wired(change, own)
    variant = solder(Variant(instrument=instrument), moves=change.moved, additions=change.added)
    known = parts if parts is None or own is None or not change.is_rewired else shared_parts(parts, own, variant.instrument)
    lossy = variant.instrument if known is None else adopt_losses(variant.instrument, known)
    variant = change_values(variant, change.changes, losses_of=lossy)
    for key, quantity in variant.changes.items():
        notes += [plain_text(f"{key}: {text}") for text in (quantity.understood, quantity.doubt) if text]
    understood = {key: quantity.understood for key, quantity in variant.changes.items() if quantity.understood}
    return Changed(variant=variant, parts=known, notes=tuple(notes), understood=understood)


def with_change(sheet: Sheet, change: Change, made: Changed) -> Sheet:
    """Put the drawing of the instrument as it would be into the sheet of a page."""
    return with_instrument(
        sheet,
        made.variant.instrument,
        at=split_settings(change.settings),
        parts=made.parts,
        asked=change.changes[0].partition("=")[0].strip() if change.changes else "",
        notes=(f"As predicted, with {', '.join(change.told)}.",) if change.told else (),
        changes=made.variant.changes,
    )


def _moved(text: str) -> str:
    lead, _, point = text.partition("=")
    return f"{lead.strip()} taken off" if point.strip() == NOTHING else f"moved {text}"


def carry_settings(settings: Mapping[str, str], instrument: Instrument) -> dict[str, str]:
    """Keep the settings of those controls that an instrument has; another wiring may lack some."""
    return {control: value for control, value in settings.items() if control in instrument.pot or control in instrument.switch}


def _wired(change: Change, own: Instrument | None) -> tuple[Instrument, list[str]]:
    if change.layout is not None and change.instrument is not None:
        msg = "--layout and --instrument both name a wiring: choose one"
        raise ValueError(msg)
    if change.layout is not None:
        layout = read_instrument(layout_text(change.layout))
        if own is None:
            return layout, ["no instrument.toml is there, so all values are the layout's usual ones"]
        carried, strange = carry_values(layout, own)
        told = f"not in your instrument, so the layout's usual values count: {', '.join(strange)}"
        return carried, [told] if strange else []
    if change.instrument is not None or own is None:
        if change.instrument is None:
            msg = "there is no instrument to change"
            raise ValueError(msg)
        return read_instrument_file(change.instrument), []
    return own, []
