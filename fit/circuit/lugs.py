"""Where one solders: the lugs of every part, the contacts of every switch, and which wires join them."""

from dataclasses import dataclass
from itertools import pairwise

from fit.circuit.instrument import Ends, Instrument, coils_of, lugs_of
from fit.circuit.network import GROUND

JACK = "jack"
COMMON = "common"
WAYS_OF_A_COMMON = 2  # nodes that one lug of a switch is joined to at least, to be called a common one


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Two nodes that a switch joins in some of its positions.

    Attributes
    ----------
    switch : str
        Name of the switch.
    closed_in : tuple of str
        Positions in which it is closed, in the order of the file; never empty.
    """

    switch: str
    ends: Ends
    closed_in: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lug:
    """One place of a part where a lead is soldered.

    Attributes
    ----------
    part : str
        ``"pickup.bridge"``, ``"pickup.bridge.second"``, ``"pot.volume"``, ``"switch.selector"``, ``"capacitor.tone"``,
        ``"resistor.bleed"`` or ``"jack"``.
    lug : str
        ``"+"`` or ``"-"`` of a coil, towards the end that its EMF is positive at; ``"cw"``, ``"wiper"``, ``"ccw"`` of a pot;
        ``"tip"``, ``"sleeve"`` of the jack; ``"1"``, ``"2"`` of a capacitor or resistor; of a switch ``"common"`` or
        ``"throw"``.
    node : str
        What it is joined to.
    """

    part: str
    lug: str
    node: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """A lead from one lug to another."""

    first: Lug
    second: Lug


def contacts_of(instrument: Instrument) -> tuple[Contact, ...]:
    """List the contacts of all switches; a pair of nodes that a switch joins in several positions is one contact."""
    out = []
    for name, switch in instrument.switch.items():
        closed: dict[frozenset[str], tuple[Ends, list[str]]] = {}
        for position, joins in switch.positions.items():
            for pair in joins:
                positions = closed.setdefault(frozenset(pair), (pair, []))[1]
                if position not in positions:
                    positions.append(position)
        out += [Contact(switch=name, ends=ends, closed_in=tuple(positions)) for ends, positions in closed.values()]
    return tuple(out)


def all_lugs(instrument: Instrument) -> tuple[Lug, ...]:
    """List every lug in use: pickups, switches, pots, capacitors, resistors, jack; a lug of a switch once for each node."""
    out = []
    for name, coil in coils_of(instrument).items():
        out += [Lug(part=f"pickup.{name}", lug=lug, node=node) for lug, node in zip("+-", coil.ends, strict=True)]
    contacts = contacts_of(instrument)
    for name in instrument.switch:
        ways: dict[str, int] = {}
        for contact in contacts:
            if contact.switch == name:
                for node in contact.ends:
                    ways[node] = ways.get(node, 0) + 1
        for node, count in ways.items():
            out.append(Lug(part=f"switch.{name}", lug=COMMON if count >= WAYS_OF_A_COMMON else "throw", node=node))
    for name, pot in instrument.pot.items():
        out += [Lug(part=f"pot.{name}", lug=lug, node=node) for lug, node in lugs_of(pot).items()]
    for kind, parts in (("capacitor", instrument.capacitor), ("resistor", instrument.resistor)):
        for name, part in parts.items():
            out += [Lug(part=f"{kind}.{name}", lug=str(i + 1), node=node) for i, node in enumerate(part.between)]
    return (*out, Lug(part=JACK, lug="tip", node=instrument.output), Lug(part=JACK, lug="sleeve", node=GROUND))


def wires_of(instrument: Instrument) -> tuple[Wire, ...]:
    """List the leads to be soldered: at every node from lug to lug, at ground from each lug to the jack's sleeve.

    Returns
    -------
    tuple of Wire
        Node by node in the order of the file, ground last.

    Notes
    -----
    Any other tree over the same lugs is the same circuit; whoever solders takes the shortest way.
    """
    by_node: dict[str, list[Lug]] = {}
    for lug in all_lugs(instrument):
        by_node.setdefault(lug.node, []).append(lug)
    ground = by_node.pop(GROUND)
    wires = [Wire(first=first, second=second) for lugs in by_node.values() for first, second in pairwise(lugs)]
    return (*wires, *(Wire(first=lug, second=ground[-1]) for lug in ground[:-1]))
