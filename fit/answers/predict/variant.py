"""An instrument as it would be after a change: other values, parts soldered in, leads moved, its parts in another layout."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import msgspec

from fit.answers.predict.prediction import read_changes
from fit.circuit.controls import split_settings
from fit.circuit.instrument import Instrument, Part, Pickup, Pot, coils_of
from fit.circuit.rewiring import add_chain, ends_of, loose_after, move_leads
from fit.circuit.soundness import check_wiring
from measure.marking import parse_parts
from measure.quantity import Quantity, refuse_decimal_comma

SERIES = re.compile(r"\+(?! ?/? ?[-\u2212])")  # between parts in series; +- stands for ±
KEPT = {  # what a part is, whatever wiring it stands in
    "pickup": ("dcr", "inductance", "winding_capacitance", "eddy_loops", "eddy_spreads"),
    "pot": ("value", "marked", "taper"),
    "capacitor": ("value", "marked", "kind"),
    "resistor": ("value", "marked"),
}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Variant:
    """An instrument with parts added, and the values that stand in for what is stated or measured.

    Attributes
    ----------
    changes : dict
        Name of a value to what it is changed to; those of added parts among them.
    added : dict
        Name of each added part's value to the two nodes it lies between.
    """

    instrument: Instrument
    changes: dict[str, Quantity] = field(default_factory=dict)
    added: dict[str, tuple[str, str]] = field(default_factory=dict)


def solder(variant: Variant, *, moves: Iterable[str] = (), additions: Iterable[str] = ()) -> Variant:
    """Move leads, then add parts.

    Parameters
    ----------
    moves : iterable of str
        LEAD=POINT, ``"tone.wiper=bridge.hot"``; all at once. ``"tone.wiper=nothing"`` takes a lead off.
    additions : iterable of str
        PLACE=PARTS, ``"volume=1n2"``, ``"jack:ground=470p ± 5%"``; of parts a comma stands between those in parallel, a plus
        between those in series: ``"volume=1n2 + 150k"``.

    Raises
    ------
    ValueError
        If a lead, point or part cannot be read, or what comes out is no circuit; one line.
    """
    instrument, changes, added = variant.instrument, dict(variant.changes), dict(variant.added)
    leads = split_settings(moves, "LEAD=POINT, expected for example tone.wiper=bridge.hot")
    loose = loose_after(instrument, leads)
    if leads:
        instrument = move_leads(instrument, leads)
    for text in additions:
        place, mark, typed = text.partition("=")
        if not (place.strip() and mark and typed.strip()):
            msg = f'"{text[:60]}" is not PLACE=PARTS, expected for example volume=1n2, jack=470p or "bridge.hot:ground=220k"'
            raise ValueError(msg)
        ends = ends_of(instrument, place)
        refuse_decimal_comma(typed)
        for chain in typed.split(","):
            parts = [parse_parts(one)[0] for one in SERIES.split(chain) if one.strip()]
            if not parts:
                msg = f'"{text[:60]}": a part is missing between two commas'
                raise ValueError(msg)
            kinds = [("capacitor" if part.unit == "F" else "resistor", part.text) for part in parts]
            instrument, keys = add_chain(instrument, ends, kinds)
            changes |= dict(zip(keys, parts, strict=True))
            added |= {key: instrument_part(instrument, key).between for key in keys}
    if added:
        check_wiring(instrument, loose=loose)
    return replace(variant, instrument=instrument, changes=changes, added=added)


def change_values(variant: Variant, texts: Iterable[str], *, losses_of: Instrument) -> Variant:
    """Change values; a pot whose marking tells its taper gets that too.

    Parameters
    ----------
    texts : iterable of str
        PART=VALUE, ``"capacitor.tone=103K"``.
    losses_of : Instrument
        The same with the losses that were measured, where any were.

    Raises
    ------
    ValueError
        If there is no such part, or the value is none; one line.
    """
    changes = read_changes(losses_of, texts)
    pots = dict(variant.instrument.pot)
    for key, quantity in changes.items():
        if quantity.taper is not None:
            name = key.removeprefix("pot.")
            pots[name] = msgspec.structs.replace(pots[name], taper=quantity.taper)
    instrument = msgspec.structs.replace(variant.instrument, pot=pots)
    return replace(variant, instrument=instrument, changes=variant.changes | changes)


def instrument_part(instrument: Instrument, key: str) -> Part:
    """Find a capacitor or resistor by the name of its value."""
    kind, _, name = key.partition(".")
    part: Part = getattr(instrument, kind)[name]
    return part


def carry_values(layout: Instrument, own: Instrument) -> tuple[Instrument, tuple[str, ...]]:
    """Put the parts of an instrument into another wiring, each where its name is the same.

    Parameters
    ----------
    layout : Instrument
        With usual values, as `fit.circuit.layouts` has them.

    Returns
    -------
    instrument : Instrument
        Wired as `layout`, with the parts of `own`.
    strange : tuple of str
        Parts of the layout that `own` has not: they keep what is usual.
    """
    sections: dict[str, dict[str, Pot | Part | Pickup]] = {}
    strange = []
    for kind, keys in KEPT.items():
        mine: Mapping[str, Pot | Part | Pickup] = getattr(own, kind)
        sections[kind] = dict(getattr(layout, kind))
        for name, part in sections[kind].items():
            theirs = mine.get(name)
            is_same = theirs is not None and (getattr(theirs, "second", None) is None) == (getattr(part, "second", None) is None)
            if is_same:
                sections[kind][name] = msgspec.structs.replace(part, **{key: getattr(mine[name], key) for key in keys})
            else:
                strange.append(f"{kind}.{name}")
    carried = msgspec.structs.replace(layout, **sections)
    for name, coil in coils_of(own).items():
        first = name.removesuffix(".second")
        second = carried.pickup[first].second if first in carried.pickup and name != first else None
        if second is not None:
            kept = {key: getattr(coil, key) for key in (*KEPT["pickup"], "coupling", "excitation")}
            pickup = msgspec.structs.replace(carried.pickup[first], second=msgspec.structs.replace(second, **kept))
            carried = msgspec.structs.replace(carried, pickup=dict(carried.pickup) | {first: pickup})
    return carried, tuple(strange)
