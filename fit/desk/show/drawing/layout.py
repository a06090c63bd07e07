"""A drawing laid out: symbols at their places, bars of nodes in their columns, wires between, hops where they cross."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

from fit.answers.figures import Estimate
from fit.circuit.instrument import Instrument
from fit.desk.show.drawing.columns import assign_columns
from fit.desk.show.drawing.letters import label_box
from fit.desk.show.drawing.parts import Drawn, drawn_parts
from fit.desk.show.drawing.rows import Item, channel_widths, cost, find_rows, make_items, stack_rows
from fit.desk.show.drawing.symbols import EARTH_DEPTH, Point, Stroke, Symbol

TRACK_PITCH = 14.0  # [px] between bars of one column
MARGIN = 9.0  # [px] beside the bars of a column
CLEAR = 10.0  # [px] between two bars on one track
MOST_TRACKS = 5  # all orders of so many are tried
EDGE = 14.0  # [px] around the drawing
HOP = 4.5  # [px] radius
FRAME = 6.0  # [px] around two coils of one pickup


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A straight piece of wire.

    Attributes
    ----------
    hops : tuple of float
        Where a level one goes over bars that it is not joined to. [px]
    """

    node: str
    start: Point
    end: Point
    hops: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame around coils that are one pickup."""

    pickup: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """All of a drawing, in px from its upper left corner.

    Attributes
    ----------
    dots : tuple of (str, Point)
        Where three or more ways of a node meet.
    """

    symbols: tuple[Symbol, ...]
    runs: tuple[Run, ...]
    dots: tuple[tuple[str, Point], ...]
    frames: tuple[Frame, ...]
    width: float
    height: float


def lay_out(instrument: Instrument, measured: Mapping[str, Estimate]) -> Layout:
    """Lay out the drawing of an instrument; the same for each switch position."""
    parts = drawn_parts(instrument, measured)
    jack = parts[-1]
    columns = assign_columns(parts, output=instrument.output)
    items = make_items(columns, jack)
    rows = find_rows(items)
    flipped = _flips(rows, columns.through)
    if flipped:
        items = make_items(columns, jack, flipped=flipped)
        turned = find_rows(items)
        if cost(turned) < cost(rows):
            rows = turned
    return _place(rows, columns.level)


# Pots whose ends lie the other way round than their nodes do, so that their wires would cross.
def _flips(rows: Sequence[list[Item]], through: Sequence[Drawn]) -> frozenset[str]:
    heights: dict[str, list[float]] = {}
    for row in stack_rows(rows)[0]:
        for item, y in row:
            is_pot = len(item.block.symbols[0].drawn.lugs) == 3
            for node, dy, _ in () if is_pot else (*item.left, *item.right):
                heights.setdefault(node, []).append(y + dy)
    out = set()
    for part in through:
        cw, ccw = part.at("cw"), part.at("ccw")
        if len(part.lugs) == 3 and cw in heights and ccw in heights:
            is_lower = sum(heights[cw]) / len(heights[cw]) > sum(heights[ccw]) / len(heights[ccw])
            out |= {part.part} if is_lower else set()
    return frozenset(out)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Placed:
    """An item with the height of its row's wire; x is settled later."""

    item: Item
    y: float


def _place(rows: Sequence[list[Item]], level: Mapping[str, int]) -> Layout:
    stacked, depth = stack_rows(rows)
    placed = [[_Placed(item=item, y=y + EDGE) for item, y in row] for row in stacked]
    height = depth + 2 * EDGE
    ports = [
        (node, one.y + dy, side)
        for row in placed
        for one in row
        for side, ports in (("right", one.item.left), ("left", one.item.right))
        for node, dy, _ in ports
    ]
    tracks = {column: _tracks(column, ports, level) for column in range(max(level.values()) + 1)}
    widths = channel_widths(rows)
    bar_x, channel_x, width = _across(tracks, widths)
    return _draw(placed, bar_x=bar_x, channel_x=channel_x, widths=widths, size=(width, height))


def _tracks(column: int, ports: Sequence[tuple[str, float, str]], level: Mapping[str, int]) -> list[list[str]]:
    """Share out the bars of a column over as few tracks as they need, in the order that crosses least."""
    spans: dict[str, tuple[float, float]] = {}
    for node, y, _ in ports:
        if level[node] == column:
            low, high = spans.get(node, (y, y))
            spans[node] = min(low, y), max(high, y)
    tracks: list[list[str]] = []
    for node, (low, _) in sorted(spans.items(), key=lambda one: one[1]):
        free = next((track for track in tracks if spans[track[-1]][1] + CLEAR <= low), None)
        if free is None:
            tracks.append([node])
        else:
            free.append(node)
    if not 1 < len(tracks) <= MOST_TRACKS:
        return tracks
    own = [(node, y, side) for node, y, side in ports if level[node] == column]

    def crossings(order: Iterable[list[str]]) -> int:
        at = {node: i for i, track in enumerate(order) for node in track}
        return sum(
            spans[other][0] < y < spans[other][1] and (at[other] > at[node] if side == "right" else at[other] < at[node])
            for node, y, side in own
            for other in spans
        )

    return list(min(permutations(tracks), key=crossings))


def _across(
    tracks: Mapping[int, list[list[str]]], widths: Mapping[int, float]
) -> tuple[dict[str, float], dict[int, float], float]:
    """Find where bars and channels stand from left to right."""
    bar_x: dict[str, float] = {}
    channel_x = {-1: EDGE}
    x = EDGE + widths.get(-1, 0.0)
    for column in sorted(tracks):
        if tracks[column]:
            x += MARGIN
            for i, track in enumerate(tracks[column]):
                bar_x |= dict.fromkeys(track, x + i * TRACK_PITCH)
            x += (len(tracks[column]) - 1) * TRACK_PITCH + MARGIN
        channel_x[column] = x
        x += widths.get(column, 0.0)
    return bar_x, channel_x, x + EDGE


def _draw(
    placed: Sequence[Sequence[_Placed]],
    *,
    bar_x: Mapping[str, float],
    channel_x: Mapping[int, float],
    widths: Mapping[int, float],
    size: tuple[float, float],
) -> Layout:
    symbols: list[Symbol] = []
    flat: dict[tuple[str, float, bool], tuple[float, float]] = {}  # node, height, to the right of its bar: from … to
    ends: list[tuple[str, Point]] = []
    for row in placed:
        used: dict[int, float] = {}
        for one in row:
            item = one.item
            x = _item_x(item, used, channel_x[item.channel], widths[item.channel])
            symbols += [_shifted(symbol, x, one.y) for symbol in item.block.symbols]
            for port in item.block.ports:
                at = (x + port.at[0], one.y + port.at[1])
                ends.append((port.node, at))
                key = (port.node, at[1], at[0] > bar_x[port.node])
                low, high = flat.get(key, (bar_x[port.node], bar_x[port.node]))
                flat[key] = min(low, at[0]), max(high, at[0])
    bars: dict[str, tuple[float, float]] = {}
    for node, y, _ in flat:
        low, high = bars.get(node, (y, y))
        bars[node] = min(low, y), max(high, y)
    runs = [Run(node=node, start=(bar_x[node], low), end=(bar_x[node], high)) for node, (low, high) in bars.items() if high > low]
    for (node, y, _), (left, right) in flat.items():
        hops = sorted(
            bar_x[other]
            for other, (low, high) in bars.items()
            if other != node and low < y < high and left < bar_x[other] < right
        )
        runs.append(Run(node=node, start=(left, y), end=(right, y), hops=tuple(hops)))
    return Layout(
        symbols=tuple(symbols),
        runs=tuple(runs),
        dots=tuple(_dots(runs, ends)),
        frames=tuple(_frames(symbols)),
        width=size[0],
        height=size[1],
    )


# What hangs stands at the left of its channel, one beside the other; what leads on stands at the right.
def _item_x(item: Item, used: dict[int, float], left: float, width: float) -> float:
    if item.is_hung or not (item.right or item.block.symbols[0].drawn.kind == "jack"):
        x = left + used.get(item.channel, 0.0)
        used[item.channel] = used.get(item.channel, 0.0) + item.block.width
        return x
    return left + width - item.block.width


def _shifted(symbol: Symbol, x: float, y: float) -> Symbol:
    return replace(
        symbol,
        pins=tuple((lug, (px + x, py + y)) for lug, (px, py) in symbol.pins),
        grounds=tuple((lug, (px + x, py + y)) for lug, (px, py) in symbol.grounds),
        strokes=tuple(Stroke(points=tuple((px + x, py + y) for px, py in one.points), pen=one.pen) for one in symbol.strokes),
        dots=tuple((px + x, py + y) for px, py in symbol.dots),
        labels=tuple(replace(one, x=one.x + x, y=one.y + y) for one in symbol.labels),
    )


def _dots(runs: Sequence[Run], ends: Sequence[tuple[str, Point]]) -> list[tuple[str, Point]]:
    """Find where three ways or more meet: a wire's end counts once, a wire that passes twice, a lug once."""
    ways: Counter[tuple[str, Point]] = Counter(ends)
    for run in runs:
        ways[run.node, run.start] += 1
        ways[run.node, run.end] += 1
    for node, point in list(ways):
        for run in runs:
            if run.node == node and point not in (run.start, run.end) and _is_on(point, run):
                ways[node, point] += 2
    return [place for place, count in ways.items() if count > 2]


def _is_on(point: Point, run: Run) -> bool:
    (x, y), (x0, y0), (x1, y1) = point, run.start, run.end
    return (y == y0 == y1 and x0 < x < x1) or (x == x0 == x1 and y0 < y < y1)


def _frames(symbols: Sequence[Symbol]) -> list[Frame]:
    """Frame the coils of a pickup that has two, where nothing else stands between them."""
    boxes = {symbol.drawn.part: _coil_box(symbol) for symbol in symbols if symbol.drawn.kind == "coil"}
    others = [symbol_box(symbol) for symbol in symbols]
    out = []
    for part, box in boxes.items():
        second = boxes.get(f"{part}.second")
        if second is None:
            continue
        left, top = min(box[0], second[0]) - FRAME, min(box[1], second[1]) - FRAME
        right, bottom = max(box[2], second[2]) + FRAME, max(box[3], second[3]) + FRAME
        inside = [one for one in others if one[0] < right and one[2] > left and one[1] < bottom and one[3] > top]
        if len(inside) == 2:
            out.append(Frame(pickup=part, left=left, top=top, right=right, bottom=bottom))
    return out


def _coil_box(symbol: Symbol) -> tuple[float, float, float, float]:
    """Box of a coil and its words, without the leads."""
    return symbol_box(replace(symbol, strokes=tuple(one for one in symbol.strokes if one.pen == "coil"), grounds=()))


def symbol_box(symbol: Symbol) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a symbol with its words and its ground. [px]."""
    points = [point for stroke in symbol.strokes for point in stroke.points]
    points += [(x + dx, y) for _, (x, y) in symbol.grounds for dx in (-9, 9)]
    points += [(x, y + EARTH_DEPTH) for _, (x, y) in symbol.grounds]
    boxes = [label_box(label) for label in symbol.labels]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (
        min([*xs, *(box[0] for box in boxes)]),
        min([*ys, *(box[1] for box in boxes)]),
        max([*xs, *(box[2] for box in boxes)]),
        max([*ys, *(box[3] for box in boxes)]),
    )
