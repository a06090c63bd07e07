"""Which row each part stands in: parts of one row follow each other along one wire, from the left to the right.

Columns have even places (2 × level), the channels between them odd ones. A part takes the places from the leftmost column it is
joined to to the rightmost one, and two parts share a row only where these do not overlap, or meet in a column in the same node.
Rows are found by putting in one part after the other where it costs least, and moving parts while that helps: short bars, few
crossings, little height.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

from fit.circuit.network import GROUND
from fit.desk.show.drawing.columns import Columns
from fit.desk.show.drawing.parts import Drawn
from fit.desk.show.drawing.symbols import Block, across_block, half_width, hung_block, jack_block, pot_block

ROW_GAP = 8.0  # [px] between rows
WIRE = 4.0  # [px] free over and under a wire
CROSSING = 45.0  # [px] of bar that one crossing is worth
IN_COLUMN = 12.0  # [px] the same for a wire that may have to cross a bar of the column that it comes from
HEIGHT, WIDTH = 0.5, 0.35  # [1] px of bar that one px of the whole drawing is worth
NOTHING: Mapping[int, float] = MappingProxyType({})
STRAIGHT = 0.4  # [1] px of bar that one px off the straight way from coil to pot to jack is worth
ORDER = 60.0  # [px] coils not in the order of the file
APART = 250.0  # [px] the two coils of a pickup not in rows that follow each other
MOST_TRIALS = 2000  # costs worked out while parts are moved
MOST_REMEMBERED = 4096  # rows


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Item:
    """A block with the places that it takes.

    Attributes
    ----------
    channel : int
        Place of its symbol: right of the column of this level; −1 left of all columns.
    low, high : int
        First and last place.
    left, right : tuple of (str, float, int)
        Node, height over its row's wire (downwards) and level of each port at a side. [px]
    tap : str
        Node of a chain that hangs; empty for others.
    rank : int
        Of coils: position of the pickup in the file; −1 for others.
    number : int
        Of what hangs: position in the file.
    """

    block: Block
    channel: int
    low: int
    high: int
    left: tuple[tuple[str, float, int], ...]
    right: tuple[tuple[str, float, int], ...]
    tap: str = ""
    rank: int = -1
    number: int = 0
    room: dict[int, tuple[float, float]] = field(init=False)

    def __post_init__(self) -> None:
        """See how much room it takes over and under its wire at each place: its block in its channel, wires elsewhere."""
        heights = [dy for _, dy, _ in (*self.left, *self.right)]
        wires = (WIRE - min(heights), WIRE + max(heights))
        room = dict.fromkeys(range(self.low, self.high + 1), wires)
        room[2 * self.channel + 1] = (self.block.above, self.block.below)
        object.__setattr__(self, "room", room)

    @property
    def is_hung(self) -> bool:
        """Whether it hangs from a wire."""
        return bool(self.tap)


Row = list[Item]


def make_items(columns: Columns, jack: Drawn, *, flipped: frozenset[str] = frozenset()) -> list[Item]:
    """Make the block of every part, and see which places it takes.

    Parameters
    ----------
    flipped : frozenset of str
        Pots whose ccw end is to be above; an end on ground is below in any case.
    """
    level = columns.level
    items: list[Item] = []
    pickups = list(dict.fromkeys(_pickup_of(part) for part in columns.through if part.kind == "coil"))
    half: dict[int, float] = {}  # parts of one channel are made as wide as the widest of them, so that they stand in line
    across = [(part, *_sides(part, level)) for part in columns.through if len(part.lugs) == 2]
    for part, _, right in across:
        half[level[right]] = max(half.get(level[right], 0.0), half_width(part))
    for part, left, right in across:
        rank = pickups.index(_pickup_of(part)) if part.kind == "coil" else -1
        items.append(_across_item(part, left, right, level=level, half=half[level[right]], rank=rank))
    pots = [part for part in columns.through if len(part.lugs) == 3]
    rooms: dict[int, float] = {}
    for item in (_pot_item(part, level, is_flipped=part.part in flipped) for part in pots):
        rooms[item.channel] = max(rooms.get(item.channel, 0.0), item.block.width - item.block.axis)
    items += [_pot_item(part, level, is_flipped=part.part in flipped, right=rooms) for part in pots]
    for number, chain in enumerate(columns.hung):
        node = chain[0][0].at(chain[0][1]) or ""
        place = level[node]
        items.append(
            Item(
                block=hung_block(chain),
                channel=place,
                low=2 * place,
                high=2 * place + 1,
                left=((node, 0.0, place),),
                right=(),
                tap=node,
                number=number,
            )
        )
    tip = jack.at("tip") or ""
    last = max(level.values())
    items.append(Item(block=jack_block(jack), channel=last, low=2 * last, high=2 * last + 1, left=((tip, 0.0, last),), right=()))
    return items


def _sides(part: Drawn, level: dict[str, int]) -> tuple[str, str]:
    """Nodes at the left and at the right of a part with two lugs; ground is at the left."""
    (_, first), (_, second) = part.lugs
    if GROUND in (first, second):
        return GROUND, second if first == GROUND else first
    return (first, second) if level[first] < level[second] else (second, first)


def _across_item(part: Drawn, left: str, right: str, *, level: dict[str, int], half: float, rank: int) -> Item:
    lugs = {node: lug for lug, node in part.lugs}
    channel = level[right] - 1
    return Item(
        block=across_block(part, left=lugs[left], right=lugs[right], half=half),
        channel=channel,
        low=2 * channel + 1 if left == GROUND else 2 * level[left],
        high=2 * level[right],
        left=() if left == GROUND else ((left, 0.0, level[left]),),
        right=((right, 0.0, level[right]),),
        rank=rank,
    )


def _pickup_of(part: Drawn) -> str:
    return part.part.removesuffix(".second")


def _pot_item(part: Drawn, level: dict[str, int], *, is_flipped: bool, right: Mapping[int, float] = NOTHING) -> Item:
    nodes = dict(part.lugs)
    levels = {lug: level[node] for lug, node in part.lugs if node != GROUND}
    others = [one for lug, one in levels.items() if lug != "wiper"]
    wiper = levels.get("wiper")
    if wiper is None or not others:
        channel = max(levels.values()) - 1 if len(set(levels.values())) > 1 else max(levels.values())
    elif wiper > min(others):
        channel = wiper - 1
    else:
        channel = wiper if wiper < max(others) else wiper - 1
    left = frozenset(lug for lug, one in levels.items() if one <= channel)
    if nodes["cw"] == GROUND or nodes["ccw"] == GROUND:
        is_flipped = nodes["cw"] == GROUND
    block = pot_block(part, left=left, is_flipped=is_flipped, right=right.get(channel, 0.0))
    sides: dict[str, list[tuple[str, float, int]]] = {"left": [], "right": []}
    for port in block.ports:
        sides[port.side].append((port.node, port.at[1], level[port.node]))
    at_left = [one for _, _, one in sides["left"]]
    at_right = [one for _, _, one in sides["right"]]
    return Item(
        block=block,
        channel=channel,
        low=2 * min(at_left) if at_left else 2 * channel + 1,
        high=2 * max(at_right) if at_right else 2 * channel + 1,
        left=tuple(sides["left"]),
        right=tuple(sides["right"]),
    )


def can_share(one: Item, other: Item) -> bool:
    """Whether two items can stand in one row."""
    first, second = (one, other) if (one.low, one.high) <= (other.low, other.high) else (other, one)
    if first.high < second.low:
        return True
    if first.is_hung and second.is_hung:
        return first.tap == second.tap
    if first.is_hung or second.is_hung:
        hung, through = (first, second) if first.is_hung else (second, first)
        if through.low == hung.low:
            return len(through.left) == 1 and through.left[0][0] == hung.tap
    if first.high != second.low:
        return False
    right = [node for node, _, level in first.right if 2 * level == first.high]
    left = [node for node, _, level in second.left if 2 * level == second.low]
    return bool(set(right) & set(left)) and min(len(right), len(left)) == 1  # else wires of two nodes might meet at one height


def row_order(row: Row) -> list[tuple[Item, float]]:
    """Put the items of a row from left to right, each with its height over the row's first wire: wires go straight on."""
    out: list[tuple[Item, float]] = []
    at: dict[str, float] = {}
    for item in sorted(row, key=lambda item: (item.low, not item.is_hung, item.high, item.number)):
        shift = next((at[node] - dy for node, dy, level in item.left if 2 * level == item.low and node in at), 0.0)
        out.append((item, shift))
        for node, dy, level in item.left:
            if 2 * level == item.low:
                at.setdefault(node, shift + dy)
        for node, dy, level in item.right:
            if 2 * level == item.high:
                at.setdefault(node, shift + dy)
    return out


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Facts:
    """What a row is, whatever stands above it.

    Attributes
    ----------
    room : tuple of (int, float, float)
        At each place that it takes, over and under its first wire. [px]
    wires : tuple of (str, float, int, int, int)
        Node, height under the first wire, level of its bar, first and last column that are passed on the way to it.
    ends, pots : tuple of (str, float)
        Node and height of what the signal comes from and goes to, coils and jack; the same of pots with three lugs.
    widths : dict of int to float
        By channel. [px]
    """

    ordered: tuple[tuple[Item, float], ...]
    room: tuple[tuple[int, float, float], ...]
    wires: tuple[tuple[str, float, int, int, int], ...]
    ends: tuple[tuple[str, float], ...]
    pots: tuple[tuple[str, float], ...]
    widths: dict[int, float]


@lru_cache(maxsize=MOST_REMEMBERED)
def _facts_of(row: frozenset[Item]) -> _Facts:
    ordered = row_order(list(row))
    room: dict[int, tuple[float, float]] = {}
    widths: dict[int, float] = {}
    wires, ends, pots = [], [], []
    for item, shift in ordered:
        heights = [(node, shift + dy) for node, dy, _ in (*item.left, *item.right)]
        kind = item.block.symbols[0].drawn.kind
        if kind in ("coil", "jack"):
            ends += heights
        elif kind == "pot" and len(heights) > 1:
            pots += heights
        widths[item.channel] = widths.get(item.channel, 0.0) + item.block.width
        for place, (above, below) in item.room.items():
            over, under = room.get(place, (above - shift, below + shift))
            room[place] = max(over, above - shift), max(under, below + shift)
        wires += [(node, shift + dy, level, level + 1, item.channel) for node, dy, level in item.left]
        wires += [(node, shift + dy, level, item.channel + 1, level - 1) for node, dy, level in item.right]
    return _Facts(
        ordered=tuple(ordered),
        room=tuple((place, above, below) for place, (above, below) in room.items()),
        wires=tuple(wires),
        ends=tuple(ends),
        pots=tuple(pots),
        widths=widths,
    )


def stack_rows(rows: Sequence[Row]) -> tuple[list[list[tuple[Item, float]]], float]:
    """Put rows one below the other, each as high as what stands above it in the same places leaves room.

    Returns
    -------
    list of list of (Item, float)
        Row by row from left to right, with the height of each item's own wire. [px]
    float
        Height of all. [px]
    """
    facts = [_facts_of(frozenset(row)) for row in rows]
    lines, height = _heights(facts)
    return [[(item, line + shift) for item, shift in one.ordered] for one, line in zip(facts, lines, strict=True)], height


def _heights(facts: Sequence[_Facts]) -> tuple[list[float], float]:
    depth: dict[int, float] = {}
    lines = []
    for one in facts:
        line = max([depth.get(place, 0.0) + above for place, above, _ in one.room])
        for place, _, below in one.room:
            depth[place] = line + below + ROW_GAP
        lines.append(line)
    return lines, max(depth.values()) - ROW_GAP


def channel_widths(rows: Sequence[Row]) -> dict[int, float]:
    """Width of each channel, by the row that needs most. [px]."""
    return _widths([_facts_of(frozenset(row)) for row in rows])


def _widths(facts: Sequence[_Facts]) -> dict[int, float]:
    widths: dict[int, float] = {}
    for one in facts:
        for channel, width in one.widths.items():
            if width > widths.get(channel, 0.0):
                widths[channel] = width
    return widths


def find_rows(items: Sequence[Item]) -> list[Row]:
    """Put items into rows."""
    rows: list[Row] = [[item] for item in items if item.rank >= 0]
    rest = [item for item in items if item.rank < 0]
    rest.sort(key=lambda item: (item.is_hung, item.low, item.high))
    trials = 0
    for item in rest:
        trials += _put(item, rows)
    while trials < MOST_TRIALS:
        before = cost(rows)
        for item in items:
            _take(item, rows)
            trials += _put(item, rows)
            if trials > MOST_TRIALS:
                break
        trials += _swap_rows(rows)
        if cost(rows) >= before - 1e-6:
            break
    return rows


def _take(item: Item, rows: list[Row]) -> None:
    row = next(row for row in rows if any(one is item for one in row))
    row[:] = [one for one in row if one is not item]
    if not row:
        rows[:] = [one for one in rows if one]


def _put(item: Item, rows: list[Row]) -> int:
    """Put an item where it costs least: into a row, or into a new one."""
    best: tuple[float, int, bool] | None = None
    trials = 0
    for index, row in enumerate(rows):
        if all(can_share(item, one) for one in row):
            row.append(item)
            price = cost(rows)
            row.pop()
            trials += 1
            if best is None or price < best[0] - 1e-9:
                best = (price, index, True)
    for index in range(len(rows) + 1):
        rows.insert(index, [item])
        price = cost(rows)
        del rows[index]
        trials += 1
        if best is None or price < best[0] - 1e-9:
            best = (price, index, False)
    assert best is not None
    if best[2]:
        rows[best[1]].append(item)
    else:
        rows.insert(best[1], [item])
    return trials


def _swap_rows(rows: list[Row]) -> int:
    price = cost(rows)
    for index in range(len(rows) - 1):
        rows[index], rows[index + 1] = rows[index + 1], rows[index]
        other = cost(rows)
        if other < price - 1e-9:
            price = other
        else:
            rows[index], rows[index + 1] = rows[index + 1], rows[index]
    return len(rows)


def cost(rows: Sequence[Row]) -> float:
    """Work out what an arrangement is worth, in px of bar; less is better."""
    facts = [_facts_of(frozenset(row)) for row in rows]
    lines, height = _heights(facts)
    total = HEIGHT * height + WIDTH * sum(_widths(facts).values()) + _order_cost(facts)
    spans: dict[str, tuple[float, float, int]] = {}
    wires = []
    for one, line in zip(facts, lines, strict=True):
        for node, dy, own, first, last in one.wires:
            at = line + dy
            low, high, _ = spans.get(node, (at, at, own))
            spans[node] = (at if at < low else low, at if at > high else high, own)
            wires.append((node, at, own, first, last))
    total += STRAIGHT * _detours(facts, lines)
    bars: dict[int, list[tuple[str, float, float]]] = {}
    for node, (low, high, own) in spans.items():
        if high > low:
            total += high - low
            bars.setdefault(own, []).append((node, low, high))
    for node, at, own, first, last in wires:
        for level in range(first, last + 1):
            for _, low, high in bars.get(level, ()):
                if low < at < high:
                    total += CROSSING
        for other, low, high in bars.get(own, ()):
            if low < at < high and other != node:
                total += IN_COLUMN
    return total


def _detours(facts: Sequence[_Facts], lines: Sequence[float]) -> float:
    """Add up how far coils and jack stand from the height of the nearest pot on their node. [px]."""
    pots: dict[str, list[float]] = {}
    for one, line in zip(facts, lines, strict=True):
        for node, dy in one.pots:
            pots.setdefault(node, []).append(line + dy)
    return sum(
        min(abs(line + dy - at) for at in pots[node])
        for one, line in zip(facts, lines, strict=True)
        for node, dy in one.ends
        if node in pots
    )


def _order_cost(facts: Sequence[_Facts]) -> float:
    """Count coils that are not in the order of the file, or those of one pickup not beside each other. [px]."""
    total, last = 0.0, -1
    row_of: dict[int, int] = {}
    for number, one in enumerate(facts):
        for item, _ in one.ordered:
            if item.rank >= 0:
                total += ORDER * (item.rank < last) + APART * (number - row_of.setdefault(item.rank, number) > 1)
                last = item.rank
    return total
