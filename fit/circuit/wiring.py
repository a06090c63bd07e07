"""From an instrument and its settings to the network that matters at the output.

Switches that are closed make two nodes one; so does a pot at an end of its travel, unless the ohms left at its stop are asked
for. What is left is cut down to the parts that the output can feel: those in one mesh with it, and what is magnetically coupled
to them.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from fit.circuit.controls import Settings
from fit.circuit.instrument import Instrument, lugs_of
from fit.circuit.network import GROUND, Network, build_network

TRAVEL_END = 1e-9  # [1] of the track; nearer to an end a pot counts as standing there
# "ccw", "cw": segment of a track beside the wiper; "stop": the ohms left at the end where the wiper stands, "rest": the track
# without them; "": all of the part
Side = str


@dataclass(frozen=True, slots=True, kw_only=True)
class Passive:
    """A capacitor or a resistor between two nodes.

    Attributes
    ----------
    key : str
        Name of its value, for example ``"pot.volume"``.
    side : str
        ``"ccw"`` or ``"cw"`` for the segment of a pot beside its wiper, ``"stop"`` and ``"rest"`` where it stands at an end,
        empty for a whole part.
    stop : str
        Name of the ohms left at the end where the pot stands, ``"pot.tone.stop_0"``; empty for other parts.
    """

    key: str
    is_capacitor: bool
    ends: tuple[str, str]
    side: Side = ""
    stop: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Wiring:
    """What is connected to the output at some settings.

    Attributes
    ----------
    network : Network or None
        Nodes that are left; None where nothing can reach the output: it is shorted, or no coil is connected.
    branches : tuple of tuple of Passive
        Parts in parallel in each branch of the network; the first branch holds those across the jack.
    coils : tuple of str
        Name of each coil of the network.
    pairs : tuple of (int, int)
        Coils that are magnetically coupled.
    signature : tuple
        Equal for settings with the same network, which can then be solved together; the load may differ.
    """

    network: Network | None
    branches: tuple[tuple[Passive, ...], ...]
    coils: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]
    signature: tuple[object, ...]


SILENT = Wiring(network=None, branches=(), coils=(), pairs=(), signature=())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edge:
    """Parts and coils between the same two nodes; a coil always stands alone."""

    ends: tuple[str, str]
    parts: tuple[Passive, ...] = ()
    coil: str = ""


def wire_instrument(
    instrument: Instrument, settings: Settings, *, load: Sequence[Passive], has_stops: bool | Collection[str] = False
) -> Wiring:
    """Find the network at some settings.

    Parameters
    ----------
    load : sequence of Passive
        What is connected across the jack; at least one part.
    has_stops : bool or collection of str
        Ohms are left between wiper and lug at the ends of every pot's travel, or at those named (``"pot.tone.stop_0"``);
        otherwise these are joined.

    Returns
    -------
    Wiring
        Without the parts that the output cannot feel.
    """
    joined = joined_nodes(instrument, settings, has_stops=has_stops is not True and has_stops)
    if joined.get(instrument.output) == GROUND:
        return SILENT
    if has_stops is True:
        joined = joined_nodes(instrument, settings, has_stops=True)
    passives = passives_of(instrument, settings, has_stops=has_stops)
    edges = _edges(instrument, [*load, *passives], joined)
    kept = _felt_blocks(instrument, edges, _blocks(edges))
    branches: list[tuple[Passive, ...]] = []
    branch_ends: list[tuple[str, str]] = []
    coils: list[str] = []
    coil_ends: list[tuple[str, str]] = []
    for block, reference in kept:
        for index in sorted(block):
            ends = _named_ends(edges[index].ends, reference)
            if edges[index].coil:
                coils.append(edges[index].coil)
                coil_ends.append(ends)
            elif ends[0] != ends[1]:
                branches.append(edges[index].parts)
                branch_ends.append(ends)
    if not coils:
        return SILENT
    pairs = tuple(
        (coils.index(name), coils.index(f"{name}.second"))
        for name in instrument.pickup
        if name in coils and f"{name}.second" in coils
    )
    # with stops, which part of a track lies where tells no networks apart: its value is asked for take by take
    is_by_take = has_stops is True
    parts = tuple(
        tuple((part.key, "" if is_by_take else part.side) for part in branch if part not in load) for branch in branches
    )
    return Wiring(
        network=build_network(branch_ends, coil_ends, joined.get(instrument.output, instrument.output), coupled=pairs),
        branches=tuple(branches),
        coils=tuple(coils),
        pairs=pairs,
        signature=(parts, tuple(branch_ends), tuple(coils), tuple(coil_ends)),
    )


def heard_coils(instrument: Instrument, settings: Settings) -> tuple[str, ...]:
    """List the coils that reach the output at some settings, or are coupled to one that does.

    Returns
    -------
    tuple of str
        ``"bridge"``, ``"bridge.second"`` …
    """
    load = Passive(key="input.resistance", is_capacitor=False, ends=(instrument.output, GROUND))
    return wire_instrument(instrument, settings, load=(load,)).coils


def joined_nodes(instrument: Instrument, settings: Settings, *, has_stops: bool | Collection[str] = False) -> dict[str, str]:
    """Find which nodes closed switches and pots at an end of their travel make one.

    Parameters
    ----------
    has_stops : bool or collection of str
        Pots join nothing where ohms are left at the ends of their travel: of all pots, or at the stops named.

    Returns
    -------
    dict of str to str
        Node to the one that stands for all that it is joined to; nodes that are joined to nothing may be absent.
    """
    joined: dict[str, str] = {}

    def root(node: str) -> str:
        while joined.setdefault(node, node) != node:
            node = joined[node]
        return node

    pairs = [pair for name, position in settings.switches.items() for pair in instrument.switch[name].positions[position]]
    for name, pot in instrument.pot.items():
        fraction = settings.pots[name].fraction
        if _has_stop(f"pot.{name}", fraction, has_stops):
            continue
        end = pot.ccw if fraction < TRAVEL_END else pot.cw if fraction > 1 - TRAVEL_END else None
        if end is not None and pot.wiper is not None:
            pairs.append((end, pot.wiper))
    for first, second in pairs:
        first, second = root(first), root(second)
        if GROUND in (first, second):
            joined[first] = joined[second] = GROUND
        else:
            joined[second] = first
    return {node: root(node) for node in list(joined)}


def passives_of(instrument: Instrument, settings: Settings, *, has_stops: bool | Collection[str] = False) -> Iterator[Passive]:
    """Go through pots, capacitors and resistors as they stand; a pot is up to two resistors.

    Parameters
    ----------
    has_stops : bool or collection of str
        At an end of its travel a pot is the ohms left there, and the rest of its track: every pot, or at the stops named.
    """
    for name, pot in instrument.pot.items():
        lugs, key, fraction = lugs_of(pot), f"pot.{name}", settings.pots[name].fraction
        if "wiper" not in lugs:
            yield Passive(key=key, is_capacitor=False, ends=(lugs["cw"], lugs["ccw"]))
            continue
        if _has_stop(key, fraction, has_stops):
            near, far = ("ccw", "cw") if fraction < TRAVEL_END else ("cw", "ccw")
            stop = stop_key(key, fraction)
            for lug, side in ((near, "stop"), (far, "rest")):
                if lug in lugs:
                    yield Passive(key=key, is_capacitor=False, ends=(lugs["wiper"], lugs[lug]), side=side, stop=stop)
            continue
        if "ccw" in lugs and fraction >= TRAVEL_END:
            side = "" if fraction > 1 - TRAVEL_END else "ccw"
            yield Passive(key=key, is_capacitor=False, ends=(lugs["wiper"], lugs["ccw"]), side=side)
        if "cw" in lugs and fraction <= 1 - TRAVEL_END:
            side = "" if fraction < TRAVEL_END else "cw"
            yield Passive(key=key, is_capacitor=False, ends=(lugs["cw"], lugs["wiper"]), side=side)
    for name, part in instrument.capacitor.items():
        yield Passive(key=f"capacitor.{name}", is_capacitor=True, ends=part.between)
    for name, part in instrument.resistor.items():
        yield Passive(key=f"resistor.{name}", is_capacitor=False, ends=part.between)


def is_at_stop(fraction: float) -> bool:
    """Say whether a pot stands at an end of its travel.

    Parameters
    ----------
    fraction : float
        Electrical, from ccw to wiper. [1]

    Returns
    -------
    bool
        At 0 or at 10.
    """
    return fraction < TRAVEL_END or fraction > 1 - TRAVEL_END


def stop_key(key: str, fraction: float) -> str:
    """Name the ohms left where a pot stands at an end of its travel.

    Parameters
    ----------
    key : str
        ``"pot.tone"``.
    fraction : float
        0 or 1. [1]

    Returns
    -------
    str
        ``"pot.tone.stop_0"`` or ``"pot.tone.stop_10"``.
    """
    return f"{key}.stop_{0 if fraction < 0.5 else 10}"


def _has_stop(key: str, fraction: float, has_stops: bool | Collection[str]) -> bool:
    if not has_stops or not is_at_stop(fraction):
        return False
    return has_stops is True or stop_key(key, fraction) in has_stops


def _coils(instrument: Instrument) -> Iterator[tuple[str, tuple[str, str]]]:
    for name, pickup in instrument.pickup.items():
        yield name, pickup.ends
        if pickup.second is not None:
            yield f"{name}.second", pickup.second.ends


# The load comes first; parts in parallel are one edge.
def _edges(instrument: Instrument, passives: list[Passive], joined: dict[str, str]) -> list[_Edge]:
    coils = list(_coils(instrument))
    passives = passives + [Passive(key=f"{name}.winding_capacitance", is_capacitor=True, ends=ends) for name, ends in coils]
    parallel: dict[tuple[str, str], list[Passive]] = {}
    for part in passives:
        ends = (joined.get(part.ends[0], part.ends[0]), joined.get(part.ends[1], part.ends[1]))
        if ends[0] != ends[1]:
            parallel.setdefault(ends if ends[::-1] not in parallel else ends[::-1], []).append(part)
    edges = [_Edge(ends=ends, parts=tuple(parts)) for ends, parts in parallel.items()]
    for name, ends in coils:
        edges.append(_Edge(ends=(joined.get(ends[0], ends[0]), joined.get(ends[1], ends[1])), coil=name))
    return edges


def _blocks(edges: Sequence[_Edge]) -> list[set[int]]:
    """Edges by mesh: two are in one block where a closed path runs through both (Hopcroft and Tarjan, 1973)."""
    at: dict[str, list[int]] = {}
    for index, edge in enumerate(edges):
        for node in set(edge.ends):
            at.setdefault(node, []).append(index)
    blocks = [{index} for index, edge in enumerate(edges) if edge.ends[0] == edge.ends[1]]
    depth: dict[str, int] = {}
    waiting: list[int] = []

    def visit(node: str, came_by: int) -> int:
        depth[node] = lowest = len(depth)
        for index in at[node]:
            first, second = edges[index].ends
            other = second if node == first else first
            if index == came_by or other == node:
                continue
            if other not in depth:
                size = len(waiting)
                waiting.append(index)
                low = visit(other, index)
                lowest = min(lowest, low)
                if low >= depth[node]:
                    blocks.append(set(waiting[size:]))
                    del waiting[size:]
            elif depth[other] < depth[node]:
                waiting.append(index)
                lowest = min(lowest, depth[other])
        return lowest

    for node in at:
        if node not in depth:
            visit(node, -1)
    return blocks


def _felt_blocks(instrument: Instrument, edges: Sequence[_Edge], blocks: Sequence[set[int]]) -> list[tuple[set[int], str]]:
    """Blocks that the output feels, each with the node that is taken as its ground; empty for the output's own block.

    No current runs between blocks that meet in one node, so a block that is coupled by its field alone may be solved
    with any of its nodes on ground.
    """
    partner = {name: f"{name}.second" for name, pickup in instrument.pickup.items() if pickup.second is not None}
    partner |= {second: first for first, second in partner.items()}
    coil_block = {edges[index].coil: number for number, block in enumerate(blocks) for index in block if edges[index].coil}
    first = next(number for number, block in enumerate(blocks) if 0 in block)
    kept, waiting = [first], [first]
    while waiting:
        for index in blocks[waiting.pop()]:
            other = coil_block.get(partner.get(edges[index].coil, ""))
            if other is not None and other not in kept:
                kept.append(other)
                waiting.append(other)
    return [(blocks[number], "" if number == first else _reference(edges, blocks[number])) for number in kept]


def _reference(edges: Sequence[_Edge], block: set[int]) -> str:
    nodes = [node for index in sorted(block) for node in edges[index].ends]
    return GROUND if GROUND in nodes else nodes[0]


# Nodes of a block beside the output's own are told apart by its reference, behind a line break, which no node's name has.
def _named_ends(ends: tuple[str, str], reference: str) -> tuple[str, str]:
    if not reference:
        return ends
    first, second = (GROUND if node == reference else f"{node}\n{reference}" for node in ends)
    return first, second
