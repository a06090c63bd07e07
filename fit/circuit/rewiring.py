"""Parts soldered in and leads moved, between points that a person can name: a pot's lugs, a pickup's ends, the jack, ground."""

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from fit.circuit.instrument import Ends, Instrument, Part, Pickup, Pot, SecondCoil, coils_of, lugs_of
from fit.circuit.lugs import COMMON, JACK
from fit.circuit.network import GROUND
from fit.circuit.soundness import check_wiring, every_join, part_ends

COIL_ENDS, PART_ENDS, LUGS = ("hot", "cold"), ("first", "second"), ("cw", "wiper", "ccw")
BETWEEN = ":"
NOTHING = "nothing"  # a lead that goes there is taken off
LOOSE = "loose "  # begins the name of the node at the end of such a lead
ADDED = "added-"  # begins the names of parts soldered in
MOST_ADDED = 20  # parts; nobody solders in more


def points_of(instrument: Instrument) -> dict[str, str]:
    """List the points of an instrument by the names that a person has for them.

    Returns
    -------
    dict
        ``"jack"``, ``"ground"``, ``"volume.wiper"``, ``"bridge.hot"``, ``"selector.common"``, ``"capacitor.tone.first"`` … to
        the node there; the nodes by their own names come last.
    """
    points = {JACK: instrument.output, GROUND: GROUND}
    for name, pot in instrument.pot.items():
        points |= {f"{name}.{lug}": node for lug, node in lugs_of(pot).items()}
    for name, switch in instrument.switch.items():
        shared = [{node for pair in joins for node in pair} for joins in switch.positions.values()]
        common = set.intersection(*shared)
        if len(common) == 1:
            points[f"{name}.{COMMON}"] = common.pop()
    for name, coil in coils_of(instrument).items():
        points |= {f"{name}.{end}": node for end, node in zip(COIL_ENDS, coil.ends, strict=True)}
    for kind, parts in (("capacitor", instrument.capacitor), ("resistor", instrument.resistor)):
        for name, part in parts.items():
            points |= {f"{kind}.{name}.{end}": node for end, node in zip(PART_ENDS, part.between, strict=True)}
    nodes = dict.fromkeys(node for ends in part_ends(instrument).values() for node in ends)
    nodes |= dict.fromkeys(node for _, pair in every_join(instrument) for node in pair)
    return points | {node: node for node in nodes if node not in points}


def leads_of(instrument: Instrument) -> tuple[str, ...]:
    """List the leads that can be soldered elsewhere, by the names of the points where they are."""
    return tuple(point for point in points_of(instrument) if point.rpartition(".")[2] in (*LUGS, *COIL_ENDS, *PART_ENDS))


def places_of(instrument: Instrument) -> dict[str, Ends]:
    """List what parts can lie across, by name."""
    out: dict[str, Ends] = {JACK: (instrument.output, GROUND)}
    for name, pot in instrument.pot.items():
        first, second, *_ = lugs_of(pot).values()  # cw and wiper, or the two that are used
        out[f"pot.{name}"] = (first, second)
    out |= {f"pickup.{name}": coil.ends for name, coil in coils_of(instrument).items()}
    out |= {f"capacitor.{name}": part.between for name, part in instrument.capacitor.items()}
    return out | {f"resistor.{name}": part.between for name, part in instrument.resistor.items()}


def find_point(instrument: Instrument, name: str) -> str:
    """Find the node at a point.

    Parameters
    ----------
    name : str
        As in `points_of`; pots and pickups with their kind before them too, ``"pot.volume.cw"``.

    Raises
    ------
    ValueError
        If there is no such point; the message lists those there are.
    """
    points = points_of(instrument)
    short = name.strip().removeprefix("pot.").removeprefix("pickup.").removeprefix("switch.")
    for asked in (name.strip(), short):
        if asked in points:
            return points[asked]
    msg = f'there is no point "{name.strip()[:60]}", the instrument has: {", ".join(points)}'
    raise ValueError(msg)


def ends_of(instrument: Instrument, place: str) -> Ends:
    """Find the two nodes of a place.

    Parameters
    ----------
    place : str
        Two points, ``"volume.cw:volume.wiper"``; or what the parts go across: a pot (from cw to wiper, where both are used), a
        pickup, ``"capacitor.tone"``, ``"jack"``.

    Raises
    ------
    ValueError
        If there is no such place, or both points are the same.
    """
    first, mark, second = place.partition(BETWEEN)
    if mark:
        ends = (find_point(instrument, first), find_point(instrument, second))
    else:
        across = places_of(instrument)
        thing = place.strip()
        known = next((across[one] for one in (thing, f"pot.{thing}", f"pickup.{thing}") if one in across), None)
        if known is None:
            msg = (
                f'there is no "{thing[:60]}" to put a part across: expected one of {", ".join(across)}, '
                f"or two points such as jack{BETWEEN}ground"
            )
            raise ValueError(msg)
        ends = known
    if ends[0] == ends[1]:
        msg = f'"{place[:80]}": both are the same point, {ends[0]}, so nothing would lie across'
        raise ValueError(msg)
    return ends


def add_chain(instrument: Instrument, ends: Ends, parts: Sequence[tuple[str, str]]) -> tuple[Instrument, tuple[str, ...]]:
    """Put parts in series between two nodes.

    Parameters
    ----------
    parts : sequence of (str, str)
        ``"capacitor"`` or ``"resistor"``, and the value as it was typed, from the first node to the second.

    Returns
    -------
    instrument : Instrument
        With a capacitor or resistor more for each of them.
    keys : tuple of str
        How their values are called, such as ``"capacitor.added-1"``.

    Raises
    ------
    ValueError
        If there are too many of them.
    """
    sections = {"capacitor": dict(instrument.capacitor), "resistor": dict(instrument.resistor)}
    names = {name for section in sections.values() for name in section}
    count = sum(name.startswith(ADDED) for name in names) + len(parts)
    if count > MOST_ADDED:
        msg = f"{count} added parts are too many, expected at most {MOST_ADDED}"
        raise ValueError(msg)
    free = (name for name in map(f"{ADDED}{{}}".format, itertools.count(1)) if name not in names)
    keys = []
    node = ends[0]
    for place, ((kind, text), name) in enumerate(zip(parts, free, strict=False), start=1):
        after = ends[1] if place == len(parts) else f"behind {kind}.{name}"
        sections[kind][name] = Part(between=(node, after), value=text)
        keys.append(f"{kind}.{name}")
        node = after
    return msgspec.structs.replace(instrument, **sections), tuple(keys)


def move_leads(instrument: Instrument, moves: Mapping[str, str]) -> Instrument:
    """Solder leads to other points, all at once.

    Parameters
    ----------
    moves : mapping
        Lead, ``"tone.wiper"``, ``"bridge.hot"``, ``"capacitor.tone.first"``, to the point it goes to (`find_point`), as it was
        before any lead moved; to ``"nothing"``, unless a point is called so, where it is taken off.

    Returns
    -------
    Instrument
        Sound: what a switch joined to a point that nothing is left at is gone with it.

    Raises
    ------
    ValueError
        If there is no such lead or point, or what is left is no circuit; one line.
    """
    points = points_of(instrument)
    moved, left = instrument, set()
    for lead, point in moves.items():
        node = f"{LOOSE}{_short(lead)}" if _is_taken_off(points, point) else find_point(instrument, point)
        before = points.get(_short(lead))
        if before is not None:
            left.add(before)
        moved = _with_lead(moved, _short(lead), node)
    moved = _without_idle_joins(moved, left)
    check_wiring(moved, loose=loose_after(instrument, moves))
    return moved


def loose_after(instrument: Instrument, moves: Mapping[str, str]) -> frozenset[str]:
    """List the nodes that may go nowhere once leads have moved: the ends of those taken off, and where they were.

    Parameters
    ----------
    instrument : Instrument
        As it was before.
    moves : mapping
        As of `move_leads`.
    """
    points = points_of(instrument)
    leads = [_short(lead) for lead, point in moves.items() if _is_taken_off(points, point)]
    return frozenset(node for lead in leads for node in (f"{LOOSE}{lead}", points.get(lead, lead)))


def _is_taken_off(points: Mapping[str, str], point: str) -> bool:
    return point.strip() == NOTHING and NOTHING not in points


def _short(lead: str) -> str:
    return lead.strip().removeprefix("pot.").removeprefix("pickup.")


def _with_lead(instrument: Instrument, lead: str, node: str) -> Instrument:
    owner, _, end = lead.rpartition(".")
    kind, _, name = owner.partition(".")
    if owner in instrument.pot and end in LUGS:
        return _replaced(instrument, "pot", owner, **{end: node})
    if kind in ("capacitor", "resistor") and name in getattr(instrument, kind) and end in PART_ENDS:
        between = getattr(instrument, kind)[name].between
        return _replaced(instrument, kind, name, between=_with_end(between, PART_ENDS.index(end), node))
    coils = coils_of(instrument)
    if owner in coils and end in COIL_ENDS:
        ends = _with_end(coils[owner].ends, COIL_ENDS.index(end), node)
        coil = coils[owner]
        if isinstance(coil, SecondCoil):
            second = msgspec.structs.replace(coil, ends=ends)
            return _replaced(instrument, "pickup", owner.removesuffix(".second"), second=second)
        return _replaced(instrument, "pickup", owner, ends=ends)
    msg = f'there is no lead "{lead[:60]}", expected one of {", ".join(leads_of(instrument))}'
    raise ValueError(msg)


def _replaced(instrument: Instrument, kind: str, name: str, **fields: Any) -> Instrument:
    section: dict[str, Pot | Part | Pickup] = dict(getattr(instrument, kind))
    section[name] = msgspec.structs.replace(section[name], **fields)
    return msgspec.structs.replace(instrument, **{kind: section})


def _with_end(ends: Ends, place: int, node: str) -> Ends:
    return (node, ends[1]) if place == 0 else (ends[0], node)


# A contact of a switch to which nothing leads any more joins nothing.
def _without_idle_joins(instrument: Instrument, left: set[str]) -> Instrument:
    touched = {node for ends in part_ends(instrument).values() for node in ends} | {instrument.output, GROUND}
    partners: dict[str, set[str]] = {}
    for _, (first, second) in every_join(instrument):
        partners.setdefault(first, set()).add(second)
        partners.setdefault(second, set()).add(first)
    idle = {node for node in left - touched if len(partners.get(node, ())) < 2}
    switches = {
        name: msgspec.structs.replace(
            switch,
            positions={
                position: tuple(pair for pair in joins if not idle & set(pair)) for position, joins in switch.positions.items()
            },
        )
        for name, switch in instrument.switch.items()
    }
    return msgspec.structs.replace(instrument, switch=switches)
