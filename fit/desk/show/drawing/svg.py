"""The drawing of an instrument as SVG: text as text, light and dark, each symbol with its part and its nodes."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from fit.answers.figures import Estimate
from fit.circuit.controls import read_settings
from fit.circuit.instrument import Instrument
from fit.circuit.wiring import heard_coils
from fit.desk.show.drawing.layout import EDGE, HOP, Layout, Run, lay_out
from fit.desk.show.drawing.letters import LINE, SIZES, Css, Label, text_width
from fit.desk.show.drawing.symbols import EARTH, Point, Stroke, Symbol
from fit.desk.show.words import plain_text

Theme = Literal["auto", "light", "dark"]
LIGHT = {"ink": "#1d242b", "soft": "#a7adb2", "note": "#56616b", "paper": "#fbfaf7", "on": "#0b62a8"}
DARK = {"ink": "#e6e3db", "soft": "#667079", "note": "#a8afb5", "paper": "#15191d", "on": "#6cb8f0"}
FONT = "system-ui,sans-serif"
POT_LEGEND = "Pot lugs: 1 is reached at 0, 2 is the wiper, 3 is reached at 10."
COIL_LEGEND = "+ is the end at which a coil counts as positive."
HEIGHTS: dict[Css, float] = {"title": 20.0}  # [px] of lines that are not of the usual height
DOT = 2.6  # [px] radius
LEAST_WIDTH = 420.0  # [px] of the drawing, for its legend


def drawing_svg(
    instrument: Instrument,
    *,
    at: Mapping[str, str] | None = None,
    is_each: bool = False,
    measured: Mapping[str, Estimate] | None = None,
    theme: Theme = "auto",
    notes: Sequence[str] = (),
    asked: str = "",
    is_inline: bool = False,
) -> str:
    """Draw an instrument.

    Parameters
    ----------
    at : mapping of str to str, optional
        Control to setting: contacts that are open there are grey, closed ones marked; what is not named stands in its first
        position. Without it every contact is drawn open, with the positions in which it closes.
    is_each : bool
        One drawing below the other for each position of each switch, the others in their first.
    measured : mapping of str to Estimate, optional
        What a fit gave, by the names of `fit.circuit.instrument.stated_values`.
    theme : {"auto", "light", "dark"}
        Colours; "auto" follows the reader's.
    notes : sequence of str
        Said below its name.
    asked : str
        A part that is to be marked, such as ``"capacitor.tone"``.
    is_inline : bool
        For a page that has its own background.

    Returns
    -------
    str
        An ``svg`` element.

    Raises
    ------
    ValueError
        If there is no such control or position.
    """
    layout = lay_out(instrument, measured or {})
    scenes = _scenes(instrument, at, is_each=is_each)
    title = plain_text(instrument.name) or "Instrument"
    legend = f"{POT_LEGEND} {COIL_LEGEND}" if instrument.pot else COIL_LEGEND
    heads: list[tuple[str, Css]] = [] if is_inline else [(title, "title")]
    heads += [(plain_text(text), "note") for text in (*notes, *_switch_texts(instrument))]
    captions: list[tuple[str, Css]] = [(scene.caption, "name") for scene in scenes]
    width = max(layout.width, LEAST_WIDTH, *(_least_width(text, css) for text, css in (*heads, *captions)))
    body: list[str] = []
    y = EDGE / 2 if is_inline else EDGE

    def write(text: str, css: Css) -> None:
        nonlocal y
        for line in _wrapped(text, css, width) if text else ():
            y += HEIGHTS.get(css, LINE)
            body.append(_text(Label(x=EDGE, y=y, text=line, css=css)))

    for text, css in heads:
        write(text, css)
        y += 4 if css == "title" else 0
    for scene in scenes:
        y += 12 if scene.caption else 0
        write(scene.caption, "name")
        y += EDGE / 2
        body.append(_scene(layout, scene, dy=y - EDGE / 2, asked=asked))
        y += layout.height - EDGE
    write(legend, "note")
    height = y + EDGE
    colours = DARK if theme == "dark" else LIGHT
    back = "" if is_inline else f'<rect class="paper" width="100%" height="100%" fill="{colours["paper"]}"/>'
    sizes = f'width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}"'
    least = (
        f' style="min-width:min(46rem,{width:.0f}px)"' if is_inline else ""
    )  # on a phone it is moved sideways, not made smaller
    name = "" if is_inline else f' xmlns="http://www.w3.org/2000/svg" font-family="{FONT}"'
    said = "" if is_inline else f"<title>{_safe(title)}</title>"
    head = f'<svg{name} class="schematic {theme}" role="img" aria-label="{_safe(f"Circuit: {title}")}" {sizes}{least}>'
    drawn = "\n".join(body)
    return f"{head}{said}<style>{_style(theme)}</style>{back}\n{drawn}\n</svg>"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scene:
    """One drawing of several of the same instrument.

    Attributes
    ----------
    switches : dict or None
        Where each stands; None where all contacts are drawn open.
    heard : frozenset of str
        Coils that reach the jack; of no meaning without `switches`.
    """

    caption: str = ""
    switches: dict[str, str] | None = None
    heard: frozenset[str] = frozenset()


def _scenes(instrument: Instrument, at: Mapping[str, str] | None, *, is_each: bool) -> list[_Scene]:
    if at is not None:
        return [_scene_at(instrument, at)]
    if not is_each or not instrument.switch:
        return [_Scene()]
    first = {name: next(iter(switch.positions)) for name, switch in instrument.switch.items()}
    settings = [first | {name: position} for name, switch in instrument.switch.items() for position in switch.positions]
    distinct = {tuple(one.items()): one for one in settings}
    return [_scene_at(instrument, one) for one in distinct.values()]


def _scene_at(instrument: Instrument, at: Mapping[str, str]) -> _Scene:
    settings = read_settings(instrument, at)
    shown = settings.switches | {name: settings.pots[name].label for name in at if name in settings.pots}
    coils = heard_coils(instrument, settings)
    pickups = list(dict.fromkeys(coil.removesuffix(".second") for coil in coils))
    caption = ", ".join(f"{name} = {value}" for name, value in shown.items())
    heard = f"heard: {', '.join(pickups)}" if pickups else "nothing is heard"
    return _Scene(
        caption=plain_text(f"{caption} ({heard})" if caption else heard),
        switches=settings.switches,
        heard=frozenset(coils),
    )


def _switch_texts(instrument: Instrument) -> list[str]:
    texts = []
    for name, switch in instrument.switch.items():
        numbered = ", ".join(f"{i} = {plain_text(position)}" for i, position in enumerate(switch.positions, 1))
        texts.append(f"{plain_text(name)}: {numbered}")
    return texts


def _least_width(text: str, css: Css) -> float:
    return max(text_width(word, css) for word in text.split(" ")) + 2 * EDGE


def _wrapped(text: str, css: Css, width: float) -> list[str]:
    lines, line = [], ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, css) > width - 2 * EDGE:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line]


def _scene(layout: Layout, scene: _Scene, *, dy: float, asked: str) -> str:
    out = [
        f'<rect class="frame" data-kind="frame" x="{_n(one.left)}" y="{_n(one.top + dy)}" width="{_n(one.right - one.left)}" '
        f'height="{_n(one.bottom - one.top)}" rx="4" fill="none" stroke="{LIGHT["note"]}" stroke-dasharray="4 3"/>'
        for one in layout.frames
    ]
    for run in layout.runs:
        path = _run_path(run, dy)
        out.append(f'<path class="wire" data-node="{_safe(run.node)}" d="{path}" fill="none" stroke="{LIGHT["ink"]}"/>')
    out += [_symbol(symbol, scene, dy, is_asked=symbol.drawn.part == asked) for symbol in layout.symbols]
    out += [
        f'<circle class="dot" data-node="{_safe(node)}" cx="{_n(x)}" cy="{_n(y + dy)}" r="{DOT}" fill="{LIGHT["ink"]}"/>'
        for node, (x, y) in layout.dots
    ]
    said = "" if scene.switches is None else f' data-at="{_safe(json.dumps(scene.switches, ensure_ascii=False))}"'
    inside = "\n".join(out)
    return f'<g class="scene"{said}>\n{inside}\n</g>'


def _run_path(run: Run, dy: float) -> str:
    (x0, y0), (x1, y1) = run.start, run.end
    if x0 == x1:
        return f"M{_n(x0)} {_n(y0 + dy)}V{_n(y1 + dy)}"
    hops = "".join(f"H{_n(x - HOP)}a{HOP} {HOP} 0 0 1 {2 * HOP:g} 0" for x in run.hops)
    return f"M{_n(x0)} {_n(y0 + dy)}{hops}H{_n(x1)}"


def _symbol(symbol: Symbol, scene: _Scene, dy: float, *, is_asked: bool) -> str:
    drawn = symbol.drawn
    state = ""
    if drawn.kind == "contact" and scene.switches is not None:
        is_closed = scene.switches[drawn.part.removeprefix("switch.")] in drawn.closed_in
        state = "closed" if is_closed else "open"
    if drawn.kind == "coil" and scene.switches is not None:
        state = "heard" if drawn.part.removeprefix("pickup.") in scene.heard else "silent"
    data = {
        "part": drawn.part,
        "kind": drawn.kind,
        "nets": json.dumps(dict(drawn.lugs), ensure_ascii=False),
        "pins": json.dumps({lug: [round(x, 2), round(y + dy, 2)] for lug, (x, y) in symbol.pins}),
        **({"closed-in": json.dumps(drawn.closed_in, ensure_ascii=False)} if drawn.closed_in else {}),
        **({"state": state} if state else {}),
    }
    attributes = " ".join(f'data-{key}="{_safe(value)}"' for key, value in data.items())
    left_out = "open" if state == "closed" else "closed"
    out = [_stroke(stroke, dy) for stroke in symbol.strokes if stroke.pen != left_out]
    out += [
        f'<circle class="lug" cx="{_n(x)}" cy="{_n(y + dy)}" r="2" stroke="{LIGHT["ink"]}" fill="none"/>' for x, y in symbol.dots
    ]
    out += [_ground(drawn.part, lug, (x, y + dy)) for lug, (x, y) in symbol.grounds]
    out += [_text(label, dy) for label in symbol.labels]
    css = f"part {drawn.kind}{f' {state}' if state else ''}{' asked' if is_asked else ''}"
    return f'<g class="{css}" {attributes}>{"".join(out)}</g>'


def _stroke(stroke: Stroke, dy: float) -> str:
    (x, y), *rest = stroke.points
    path = f"M{_n(x)} {_n(y + dy)}"
    if stroke.pen == "coil":
        for px, py in rest:
            radius = abs(px - x) / 2
            path += f"A{_n(radius)} {_n(radius)} 0 0 1 {_n(px)} {_n(py + dy)}"
            x = px
    else:
        path += "".join(f"L{_n(px)} {_n(py + dy)}" for px, py in rest)
    is_filled = stroke.pen == "solid" and len(stroke.points) > 2
    fill = LIGHT["ink"] if is_filled else "none"
    return f'<path class="{stroke.pen}{" filled" if is_filled else ""}" d="{path}" fill="{fill}" stroke="{LIGHT["ink"]}"/>'


def _ground(part: str, lug: str, at: Point) -> str:
    x, y = at
    path = f"M{_n(x)} {_n(y)}V{_n(y + EARTH[0][0])}"
    path += "".join(f"M{_n(x - half)} {_n(y + depth)}H{_n(x + half)}" for depth, half in EARTH)
    data = f'data-kind="ground" data-part="{_safe(part)}" data-lug="{_safe(lug)}" data-at="[{_n(x)}, {_n(y)}]"'
    return f'<path class="line" {data} d="{path}" fill="none" stroke="{LIGHT["ink"]}"/>'


def _text(label: Label, dy: float = 0.0) -> str:
    weight = ' font-weight="600"' if label.css in ("name", "title") else ""
    place = f'x="{_n(label.x)}" y="{_n(label.y + dy)}" font-size="{SIZES[label.css]:g}"{weight}'
    anchor = "" if label.anchor == "start" else f' text-anchor="{label.anchor}"'
    return f'<text class="{label.css}" {place}{anchor} fill="{LIGHT["ink"]}">{_safe(label.text)}</text>'


# Of a contact, and of a coil that is not heard, the body alone is coloured: leads look like the wires that they go on in.
def _style(theme: Theme) -> str:
    colours = DARK if theme == "dark" else LIGHT
    scheme = "light dark" if theme == "auto" else theme
    rules = f".schematic.{theme}{{font-family:{FONT};{_variables(colours)};color-scheme:{scheme}}}"
    if theme == "auto":
        rules += f"@media screen and (prefers-color-scheme:dark){{.schematic.auto{{{_variables(DARK)}}}}}"
    return rules + (
        ".schematic path,.schematic .lug{stroke:var(--ink);stroke-width:1.3;stroke-linecap:round;stroke-linejoin:round}"
        ".schematic .solid{stroke-width:2}.schematic .filled{fill:var(--ink);stroke-width:1}"
        ".schematic .paper{fill:var(--paper)}.schematic .dot{fill:var(--ink)}.schematic .lug{fill:var(--paper)}"
        ".schematic text{fill:var(--ink);font-size:11px}.schematic text.value{fill:var(--note)}"
        ".schematic text.note{fill:var(--note)}.schematic text.lug{fill:var(--note);font-size:9px;stroke:none}"
        ".schematic text.name{font-size:12px;font-weight:600}.schematic text.title{font-size:15px;font-weight:600}"
        ".schematic .frame{stroke:var(--note);stroke-dasharray:4 3;fill:none}"
        ".schematic g.open .open,.schematic g.open .lug,.schematic g.silent .coil{stroke:var(--soft)}"
        ".schematic g.open text,.schematic g.silent text{fill:var(--note)}"
        ".schematic g.closed .closed{stroke:var(--on);stroke-width:3.2}"
        ".schematic g.asked path{stroke:var(--on);stroke-width:2}.schematic g.asked .filled{fill:var(--on)}"
        ".schematic g.asked text.name{fill:var(--on)}"
        ".schematic g.closed .lug{stroke:var(--on);fill:var(--on)}.schematic g.closed text{fill:var(--on)}"
    )


def _variables(colours: Mapping[str, str]) -> str:
    return ";".join(f"--{name}:{value}" for name, value in colours.items())


def _safe(text: str) -> str:
    return escape(plain_text(text))


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
