"""Which column each node of an instrument stands in: pickups at the left, the jack at the right, ground nowhere.

What hangs from a node to ground is taken out first; the other nodes are numbered by their distance from the pickups, and no part
leads from a column to the same column.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fit.circuit.network import GROUND
from fit.desk.show.drawing.parts import Drawn

Link = tuple[Drawn, str, str]  # a part of a chain, its upper and its lower lug
LONGEST_CHAIN = 3  # parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Nodes by column, and what is drawn beside them.

    Attributes
    ----------
    level : dict of str to int
        Node to its column, from 0 at the left.
    hung : tuple of tuple of Link
        Chains of parts from a node down to ground, uppermost part first.
    through : tuple of Drawn
        Parts between columns: coils, parts with two lugs off ground, pots with three lugs.
    """

    level: dict[str, int]
    hung: tuple[tuple[Link, ...], ...]
    through: tuple[Drawn, ...]


def assign_columns(parts: Sequence[Drawn], *, output: str) -> Columns:
    """Find the column of each node."""
    hung, through = _take_out_chains(parts, output)
    edges = [edge for part in through for edge in _edges(part)]
    coils = [(part.at("-"), part.at("+")) for part in through if part.kind == "coil"]
    base = _coil_levels([(cold, hot) for cold, hot in coils if cold is not None and hot is not None])
    nodes = dict.fromkeys([*base, *(node for edge in edges for node in edge)])
    nodes |= dict.fromkeys(node for chain in hung for node in (chain[0][0].at(chain[0][1]),) if node is not None)
    nodes |= {output: None}
    distance = _distances(base, edges)
    far = max(distance.values(), default=0) + 1
    order = sorted(nodes, key=lambda node: (node == output, distance.get(node, far), list(nodes).index(node)))
    place = {node: i for i, node in enumerate(order)}
    level: dict[str, int] = {}
    for node in order:
        before = [level[other] for other in _neighbours(node, edges) if place[other] < place[node]]
        level[node] = max([base.get(node, 0), *(one + 1 for one in before)])
    level[output] = max(level.values())
    return Columns(level=level, hung=tuple(hung), through=tuple(through))


def _take_out_chains(parts: Sequence[Drawn], output: str) -> tuple[list[tuple[Link, ...]], list[Drawn]]:
    uses = Counter(node for part in parts for _, node in part.lugs)
    rest = [part for part in parts if part.kind != "jack"]
    two_lugs = [part for part in rest if part.kind != "coil" and len(part.lugs) == 2]
    hung = []
    for part in two_lugs:
        if not part.is_grounded:
            continue
        (first, node), (second, other) = part.lugs
        chain: tuple[Link, ...] = ((part, first, second),) if other == GROUND else ((part, second, first),)
        rest.remove(part)
        top = node if other == GROUND else other
        while top != output and uses[top] == 2 and len(chain) < LONGEST_CHAIN:
            above = [one for one in rest if one in two_lugs and one.touches(top) and not one.is_grounded]
            if not above:
                break
            link = above[0]
            (first, node), (second, other) = link.lugs
            chain = ((link, first, second), *chain) if other == top else ((link, second, first), *chain)
            rest.remove(link)
            top = node if other == top else other
        hung.append(chain)
    return hung, rest


def _edges(part: Drawn) -> Iterator[tuple[str, str]]:
    wiper = part.at("wiper")
    if len(part.lugs) == 3 and wiper is not None:
        pairs = [(node, wiper) for lug, node in part.lugs if lug != "wiper"]
    else:
        (_, first), (_, second) = part.lugs
        pairs = [(first, second)]
    yield from (pair for pair in pairs if GROUND not in pair)


def _neighbours(node: str, edges: Sequence[tuple[str, str]]) -> Iterator[str]:
    for first, second in edges:
        if node == first:
            yield second
        elif node == second:
            yield first


def _coil_levels(coils: Sequence[tuple[str, str]]) -> dict[str, int]:
    """Columns of the coils' ends, from the negative end to the positive one; coils in a ring begin anywhere."""
    level: dict[str, int] = {}
    for cold, hot in coils:
        if GROUND in (cold, hot):
            level.setdefault(hot if cold == GROUND else cold, 1)
        else:
            level.setdefault(cold, 0)
            level.setdefault(hot, 1)
    for _ in coils:
        for cold, hot in coils:
            if GROUND not in (cold, hot):
                level[hot] = min(max(level[hot], level[cold] + 1), len(coils))
    return level


def _distances(base: dict[str, int], edges: Sequence[tuple[str, str]]) -> dict[str, int]:
    distance = dict(base)
    for _ in range(len(edges)):
        is_done = True
        for first, second in (*edges, *((b, a) for a, b in edges)):
            step = distance[first] + 1 if first in distance else None
            if step is not None and second not in base and step < distance.get(second, step + 1):
                distance[second] = step
                is_done = False
        if is_done:
            break
    return distance
