"""Symbols in the manner of IEC 60617: resistors and tracks as rectangles, coils as half circles, an arrow for a wiper.

A symbol is made along its own axis from lug to lug, and then laid across (a part between two nodes) or hung (a part to ground).
Places are in px from the symbol's own corner: x to the right, y downwards, y = 0 on the wire that it lies on.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from fit.circuit.network import GROUND
from fit.desk.show.drawing.letters import LINE, SIZES, Anchor, Label, label_box, text_width
from fit.desk.show.drawing.parts import Drawn

Point = tuple[float, float]
Pen = Literal["line", "solid", "open", "closed", "coil"]
Side = Literal["left", "right", "tap"]
LEAD = 8.0  # [px] of wire before a body
BODY = 30.0  # [px] length of a resistor
THICK = 12.0  # [px] across a resistor or a track
TRACK = 40.0  # [px] length of a pot's track
BUMP = 11.0  # [px] of one half circle of a coil
N_BUMPS = 4
GAP = 6.0  # [px] between the plates of a capacitor
PLATE = 20.0  # [px] across
BLADE = 22.0  # [px] of a switch contact
LIFT = 12.0  # [px] of an open one
EARTH = ((6.0, 9.0), (10.0, 5.5), (14.0, 2.0))  # [px] depth and half length of each line of a ground symbol
EARTH_DEPTH = 15.0
PAD = 9.0  # [px] free on either side of a part
BESIDE = 15.0  # [px] from an upright part's axis to its words
ROUND = 24.0  # [px] from an end of a track to where its wiper's wire comes round
DROP = 3.0  # [px] from a wire to the words of what hangs there
TAP = 22.0  # [px] from the wire of a wiper to its track
LUG_NUMBERS = {"ccw": "1", "wiper": "2", "cw": "3"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line from point to point; of a coil, a half circle over each step."""

    points: tuple[Point, ...]
    pen: Pen = "line"


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol:
    """One part as it is drawn.

    Attributes
    ----------
    pins : tuple of (str, Point)
        Where a wire meets each lug that is not on ground.
    grounds : tuple of (str, Point)
        Where a ground symbol hangs.
    """

    drawn: Drawn
    pins: tuple[tuple[str, Point], ...]
    grounds: tuple[tuple[str, Point], ...]
    strokes: tuple[Stroke, ...]
    dots: tuple[Point, ...] = ()
    labels: tuple[Label, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """Where a wire comes to a block.

    Attributes
    ----------
    side : {"left", "right", "tap"}
        From where; a tap lies on the wire.
    """

    node: str
    side: Side
    at: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Symbols that are placed as one.

    Attributes
    ----------
    width : float
        From 0 to the right. [px]
    above, below : float
        Room over and under the wire. [px]
    axis : float
        Of an upright pot: where its track stands. [px]
    """

    symbols: tuple[Symbol, ...]
    ports: tuple[Port, ...]
    width: float
    above: float
    below: float
    axis: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Body:
    """A two-lug part along its axis: u from the first lug, v to the left of that way."""

    length: float
    strokes: tuple[Stroke, ...]
    dots: tuple[Point, ...] = ()
    left: float = THICK / 2  # how far it reaches at v > 0
    right: float = THICK / 2


def half_width(drawn: Drawn) -> float:
    """Room on either side of the middle of a part that is laid across. [px]."""
    words = _words_across(drawn)
    length = TRACK + 2 * ROUND if drawn.kind == "pot" else _body(drawn).length
    return max(length, *(text_width(word, "name" if i == 0 else "value") for i, word in enumerate(words))) / 2 + PAD


def across_block(drawn: Drawn, *, left: str, right: str, half: float) -> Block:
    """Lay a part with two lugs between a node at its left and one at its right; a coil may have ground at its left.

    Parameters
    ----------
    half : float
        At least `half_width`; the same for all that is to stand in line. [px]
    """
    if drawn.kind == "pot":
        return _across_pot(drawn, left=left, right=right, half=half)
    body, words = _body(drawn), _words_across(drawn)
    earth = 2 * EARTH[0][1] + 6 if GROUND in (drawn.at(left), drawn.at(right)) else 0.0
    middle, width = earth + half, earth + 2 * half
    start = middle - body.length / 2
    begin = EARTH[0][1] + 2 if earth else 0.0
    strokes = [_moved(stroke, start, 0, is_hung=False) for stroke in body.strokes]
    strokes += [Stroke(points=((begin, 0), (start, 0))), Stroke(points=((start + body.length, 0), (width, 0)))]
    labels = [Label(x=middle, y=-body.left - 6, text=words[0], css="name", anchor="middle")]
    labels += [
        Label(x=middle, y=body.right + SIZES["value"] + 3 + i * LINE, text=word, anchor="middle")
        for i, word in enumerate(words[1:])
    ]
    if drawn.kind == "coil":
        is_plus_left = left == "+"
        plus_x = start + 3 if is_plus_left else start + body.length - 3
        labels.append(Label(x=plus_x, y=-4, text="+", css="value", anchor="middle"))
    pins = [(right, (width, 0.0))]
    grounds: list[tuple[str, Point]] = []
    ports = [Port(node=_node(drawn, right), side="right", at=(width, 0.0))]
    if earth:
        grounds.append((left, (begin, 0.0)))
    else:
        pins.append((left, (0.0, 0.0)))
        ports.append(Port(node=_node(drawn, left), side="left", at=(0.0, 0.0)))
    symbol = Symbol(
        drawn=drawn,
        pins=tuple(pins),
        grounds=tuple(grounds),
        strokes=tuple(strokes),
        dots=tuple((start + u, -v) for u, v in body.dots),
        labels=tuple(labels),
    )
    return _block([symbol], ports, width)


def hung_block(chain: Sequence[tuple[Drawn, str, str]]) -> Block:
    """Hang parts in series from a wire down to ground.

    Parameters
    ----------
    chain : sequence of (Drawn, str, str)
        Each with its upper and its lower lug.
    """
    has_bracket = any(drawn.kind == "pot" and "wiper" in (upper, lower) for drawn, upper, lower in chain)
    axis = PAD + (TAP if has_bracket else PLATE / 2)
    first, upper, _ = chain[0]
    tap_x = axis - TAP if first.kind == "pot" and upper == "wiper" else axis
    at: Point = (tap_x, 0.0)
    symbols = []
    for i, (drawn, upper, lower) in enumerate(chain):
        symbol, at = _hung(drawn, upper, lower, at=at, axis=axis, drop=DROP if i == 0 else 0.0)
        symbols.append(symbol)
    last = chain[-1]
    symbols[-1] = replace(symbols[-1], grounds=((last[2], at),), pins=symbols[-1].pins[:1])
    boxes = [label_box(label) for symbol in symbols for label in symbol.labels]
    width = max(box[2] for box in boxes) + PAD
    return _block(symbols, [Port(node=_node(first, chain[0][1]), side="tap", at=(tap_x, 0.0))], width)


def pot_block(drawn: Drawn, *, left: frozenset[str], is_flipped: bool, right: float = 0.0) -> Block:
    """Stand a pot upright, the end of its track and its wiper to the left or to the right; an end on ground is below.

    Parameters
    ----------
    left : frozenset of str
        Lugs whose nodes lie to the left.
    is_flipped : bool
        The ccw end is above.
    right : float
        Least room at the right of its track, the same for all that are to stand in line. [px]
    """
    top, bottom = ("ccw", "cw") if is_flipped else ("cw", "ccw")
    y_top, y_wiper, y_bottom = 0.0, 14 + TRACK / 2, 28 + TRACK
    is_right = {lug: lug not in left and node != GROUND for lug, node in drawn.lugs}
    is_wiper_grounded = drawn.at("wiper") == GROUND
    side = _words_side(is_bottom_left=bottom in left, is_bottom_right=is_right[bottom], is_wiper_grounded=is_wiper_grounded)
    widest = max(text_width(word, "name" if i == 0 else "value") for i, word in enumerate(drawn.words))
    axis = PAD + (BESIDE + widest if side == "left" else widest / 2 if side == "below" else TAP)
    axis = max(axis, PAD + TAP)
    width = axis + PAD + (BESIDE + widest if side == "right" else max(TAP, widest / 2) if side == "below" else TAP)
    width = max(width, axis + TAP + PAD, axis + right)
    strokes = [
        Stroke(points=_rectangle(axis - THICK / 2, y_top + 14, axis + THICK / 2, y_bottom - 14)),
        Stroke(points=((axis, y_top), (axis, y_top + 14))),
        Stroke(points=((axis, y_bottom - 14), (axis, y_bottom))),
    ]
    pins: list[tuple[str, Point]] = []
    grounds: list[tuple[str, Point]] = []
    ports: list[Port] = []
    for lug, y in ((top, y_top), ("wiper", y_wiper), (bottom, y_bottom)):
        inner = axis if lug != "wiper" else axis - THICK / 2 if lug in left else axis + THICK / 2
        if drawn.at(lug) == GROUND:
            place = (axis + TAP, y) if lug == "wiper" else (axis, y)
            grounds.append((lug, place))
            if lug == "wiper":
                strokes.append(Stroke(points=((inner, y), place)))
        else:
            x = 0.0 if lug in left else width
            pins.append((lug, (x, y)))
            ports.append(Port(node=_node(drawn, lug), side="left" if lug in left else "right", at=(x, y)))
            strokes.append(Stroke(points=((inner, y), (x, y))))
        if lug == "wiper":
            strokes.append(_arrow((inner, y), (1, 0) if lug in left else (-1, 0)))
    opposite = -1 if side == "right" else 1
    wiper_x = axis + (-1 if "wiper" in left else 1) * (THICK / 2 + 11)
    labels = [
        Label(x=axis + 4 * opposite, y=y_top + 11, text=LUG_NUMBERS[top], css="lug", anchor="start" if opposite > 0 else "end"),
        Label(x=wiper_x, y=y_wiper - 4, text="2", css="lug", anchor="middle"),
        Label(
            x=axis + 4 * opposite, y=y_bottom - 4, text=LUG_NUMBERS[bottom], css="lug", anchor="start" if opposite > 0 else "end"
        ),
    ]
    is_wiper_there = ("wiper" in left) == (side == "left")
    base = y_bottom + SIZES["name"] + 2 if side == "below" else y_wiper + SIZES["name"] + 2 if is_wiper_there else y_top + 24
    if side == "below" and drawn.at(bottom) == GROUND:
        base += EARTH_DEPTH
    places: dict[str, tuple[float, Anchor]] = {
        "right": (axis + BESIDE, "start"),
        "left": (axis - BESIDE, "end"),
        "below": (axis, "middle"),
    }
    x, anchor = places[side]
    labels += [
        Label(x=x, y=base + i * LINE, text=word, css="name" if i == 0 else "value", anchor=anchor)
        for i, word in enumerate(drawn.words)
    ]
    symbol = Symbol(drawn=drawn, pins=tuple(pins), grounds=tuple(grounds), strokes=tuple(strokes), labels=tuple(labels))
    return replace(_block([symbol], ports, width), axis=axis)


def jack_block(drawn: Drawn) -> Block:
    """Draw the jack: the tip's spring, and the sleeve on ground."""
    spring = Stroke(points=((0, 0), (30, 0), (37, 8), (44, 0)))
    sleeve = Stroke(points=_rectangle(52, -16, 60, 12))
    down = Stroke(points=((56, 12), (56, 18)))
    labels = (
        Label(x=46, y=-22, text=drawn.words[0], css="name", anchor="middle"),
        Label(x=20, y=-4, text="tip", css="lug", anchor="middle"),
        Label(x=46, y=22, text="sleeve", css="lug", anchor="end"),
    )
    symbol = Symbol(
        drawn=drawn,
        pins=(("tip", (0.0, 0.0)),),
        grounds=(("sleeve", (56.0, 18.0)),),
        strokes=(spring, sleeve, down),
        labels=labels,
    )
    return _block([symbol], [Port(node=_node(drawn, "tip"), side="left", at=(0.0, 0.0))], 68.0)


def _node(drawn: Drawn, lug: str) -> str:
    return dict(drawn.lugs)[lug]


def _words_side(*, is_bottom_left: bool, is_bottom_right: bool, is_wiper_grounded: bool) -> Literal["left", "right", "below"]:
    if not is_bottom_right and not is_wiper_grounded:
        return "right"
    return "below" if is_bottom_left else "left"


def _block(symbols: Sequence[Symbol], ports: Sequence[Port], width: float) -> Block:
    tops, bottoms = [-4.0], [4.0]
    for symbol in symbols:
        ys = [y for stroke in symbol.strokes for _, y in stroke.points]
        boxes = [label_box(label) for label in symbol.labels]
        tops += [min(ys), *(box[1] for box in boxes)]
        bottoms += [max(ys), *(box[3] for box in boxes), *(y + EARTH_DEPTH for _, (_, y) in symbol.grounds)]
    return Block(symbols=tuple(symbols), ports=tuple(ports), width=width, above=-min(tops), below=max(bottoms))


def _body(drawn: Drawn) -> _Body:
    if drawn.kind == "coil":
        length = 2 * LEAD + N_BUMPS * BUMP
        points = tuple((LEAD + i * BUMP, 0.0) for i in range(N_BUMPS + 1))
        strokes = (_straight(0, LEAD), Stroke(points=points, pen="coil"), _straight(length - LEAD, length))
        return _Body(length=length, strokes=strokes, left=BUMP / 2 + 5, right=2)
    if drawn.kind == "capacitor":
        first, second = LEAD + 5, LEAD + 5 + GAP
        plates = [Stroke(points=((u, -PLATE / 2), (u, PLATE / 2)), pen="solid") for u in (first, second)]
        return _Body(
            length=first + second,
            strokes=(_straight(0, first), *plates, _straight(second, first + second)),
            left=PLATE / 2,
            right=PLATE / 2,
        )
    if drawn.kind == "contact":
        length = 2 * LEAD + BLADE
        open_ = Stroke(points=((LEAD, 0), (length - LEAD - 1, LIFT)), pen="open")
        closed = Stroke(points=((LEAD, 0), (length - LEAD, 0)), pen="closed")
        return _Body(
            length=length,
            strokes=(_straight(0, LEAD), open_, closed, _straight(length - LEAD, length)),
            dots=((LEAD, 0), (length - LEAD, 0)),
            left=LIFT,
            right=4,
        )
    length = 2 * LEAD + BODY
    body = Stroke(points=_rectangle(LEAD, -THICK / 2, length - LEAD, THICK / 2))
    return _Body(length=length, strokes=(_straight(0, LEAD), body, _straight(length - LEAD, length)))


def _straight(start: float, end: float) -> Stroke:
    return Stroke(points=((start, 0.0), (end, 0.0)))


def _rectangle(left: float, top: float, right: float, bottom: float) -> tuple[Point, ...]:
    return (left, top), (right, top), (right, bottom), (left, bottom), (left, top)


# The head of an arrow that points along `way`, its tip at `at`.
def _arrow(at: Point, way: tuple[int, int]) -> Stroke:
    (x, y), (dx, dy) = at, way
    back = (x - 7 * dx, y - 7 * dy)
    first, second = (back[0] - 3 * dy, back[1] - 3 * dx), (back[0] + 3 * dy, back[1] + 3 * dx)
    return Stroke(points=(at, first, second, at), pen="solid")


def _moved(stroke: Stroke, x: float, y: float, *, is_hung: bool) -> Stroke:
    """Put a stroke along the wire (u to the right, v upwards) or down from it (u downwards, v to the right)."""
    points = tuple((x + v, y + u) if is_hung else (x + u, y - v) for u, v in stroke.points)
    return replace(stroke, points=points)


def _hung(drawn: Drawn, upper: str, lower: str, *, at: Point, axis: float, drop: float) -> tuple[Symbol, Point]:
    if drawn.kind == "pot":
        return _hung_pot(drawn, upper, lower, at=at, axis=axis)
    x, y = at
    strokes = []
    if x != axis:  # below a wiper's wire
        strokes.append(Stroke(points=((x, y), (x, y + 4), (axis, y + 4))))
        y += 4
    elif drop:
        strokes.append(Stroke(points=((x, y), (x, y + drop))))
        y += drop
    body = _body(drawn)
    room = max(body.length, len(drawn.words) * LINE + 2)
    start = y + (room - body.length) / 2
    end: Point = (axis, y + room)
    strokes += [_moved(stroke, axis, start, is_hung=True) for stroke in body.strokes]
    strokes += [Stroke(points=((axis, y), (axis, start))), Stroke(points=((axis, start + body.length), end))]
    symbol = Symbol(
        drawn=drawn,
        pins=((upper, at), (lower, end)),
        grounds=(),
        strokes=tuple(strokes),
        dots=tuple((axis + v, start + u) for u, v in body.dots),
        labels=_words_beside(drawn, axis + BESIDE, y + room / 2),
    )
    return symbol, end


def _hung_pot(drawn: Drawn, upper: str, lower: str, *, at: Point, axis: float) -> tuple[Symbol, Point]:
    x, y = at
    top = y + 20
    middle, bottom = top + TRACK / 2, top + TRACK
    end_y = bottom + 12
    upper_end = upper if upper != "wiper" else next(one for one in ("cw", "ccw") if one != lower)
    lower_end = lower if lower != "wiper" else next(one for one in ("ccw", "cw") if one != upper_end)
    strokes = [Stroke(points=_rectangle(axis - THICK / 2, top, axis + THICK / 2, bottom))]
    tap, touch = axis - TAP, (axis - THICK / 2, middle)
    dots: list[Point] = []
    end: Point = (axis, end_y)
    if upper == "wiper":
        strokes.append(Stroke(points=((x, y), (tap, y), (tap, middle), touch) if x != tap else ((x, y), (tap, middle), touch)))
        strokes.append(Stroke(points=((axis, top - 6), (axis, top))))
        dots.append((axis, top - 8))
    else:
        first = ((x, y), (axis, y)) if x != axis else ((x, y),)
        strokes.append(Stroke(points=(*first, (axis, top))))
    if lower == "wiper":
        end = (tap, end_y)
        strokes += [Stroke(points=(touch, (tap, middle), end)), Stroke(points=((axis, bottom), (axis, bottom + 6)))]
        dots.append((axis, bottom + 8))
    else:
        strokes.append(Stroke(points=((axis, bottom), end)))
    strokes.append(_arrow(touch, (1, 0)))
    if "wiper" not in (upper, lower):
        strokes.append(Stroke(points=((axis - TAP / 2 - 4, middle), touch)))
    labels = (
        Label(x=axis + 5, y=top - 3, text=LUG_NUMBERS[upper_end], css="lug"),
        Label(x=tap + 7, y=middle - 6, text="2", css="lug", anchor="middle"),
        Label(x=axis + 5, y=bottom + 9, text=LUG_NUMBERS[lower_end], css="lug"),
        *_words_beside(drawn, axis + BESIDE, middle),
    )
    symbol = Symbol(
        drawn=drawn, pins=((upper, at), (lower, end)), grounds=(), strokes=tuple(strokes), dots=tuple(dots), labels=labels
    )
    return symbol, end


def _words_beside(drawn: Drawn, x: float, middle: float) -> tuple[Label, ...]:
    first = middle - (len(drawn.words) - 1) * LINE / 2 + 4
    return tuple(
        Label(x=x, y=first + i * LINE, text=word, css="name" if i == 0 else "value") for i, word in enumerate(drawn.words)
    )


def _words_across(drawn: Drawn) -> tuple[str, ...]:
    return (" ".join(drawn.words),) if drawn.kind == "contact" else drawn.words


def _across_pot(drawn: Drawn, *, left: str, right: str, half: float) -> Block:
    width = 2 * half
    middle = width / 2
    start, end = middle - TRACK / 2, middle + TRACK / 2
    strokes = [Stroke(points=_rectangle(start, -THICK / 2, end, THICK / 2))]
    dots: list[Point] = []
    left_end = left if left != "wiper" else next(one for one in ("cw", "ccw") if one != right)
    right_end = right if right != "wiper" else next(one for one in ("ccw", "cw") if one != left_end)
    touch = (middle, -THICK / 2)
    for lug, inner, outer, way in ((left, start, 0.0, -1), (right, end, width, 1)):
        if lug == "wiper":
            corner = middle + way * (TRACK / 2 + ROUND - 8)
            strokes.append(Stroke(points=((outer, 0), (corner, 0), (corner, -20), (middle, -20), touch)))
            strokes.append(Stroke(points=((inner, 0), (inner + 6 * way, 0))))
            dots.append((inner + 8 * way, 0))
        else:
            strokes.append(Stroke(points=((inner, 0), (outer, 0))))
    if "wiper" not in (left, right):
        strokes.append(Stroke(points=((middle, -18), touch)))
    strokes.append(_arrow(touch, (0, 1)))
    labels = [
        Label(x=start - 4, y=13, text=LUG_NUMBERS[left_end], css="lug", anchor="end"),
        Label(x=middle + 7, y=-10, text="2", css="lug"),
        Label(x=end + 4, y=13, text=LUG_NUMBERS[right_end], css="lug"),
        Label(x=middle, y=-26, text=drawn.words[0], css="name", anchor="middle"),
    ]
    labels += [
        Label(x=middle, y=THICK / 2 + 9 + SIZES["value"] + i * LINE, text=word, anchor="middle")
        for i, word in enumerate(drawn.words[1:])
    ]
    symbol = Symbol(
        drawn=drawn,
        pins=((left, (0.0, 0.0)), (right, (width, 0.0))),
        grounds=(),
        strokes=tuple(strokes),
        dots=tuple(dots),
        labels=tuple(labels),
    )
    ports = [
        Port(node=_node(drawn, left), side="left", at=(0.0, 0.0)),
        Port(node=_node(drawn, right), side="right", at=(width, 0.0)),
    ]
    return _block([symbol], ports, width)
