"""The drawing of what is clipped where for one take, in large letters: interface, exciter, what is measured, the added part.

It has no colours of its own: the page that shows it colours its classes, in light and in dark.
"""

from collections.abc import Iterable
from html import escape
from textwrap import wrap

from fit.desk.show.words import plain_text

WIDTH, HEIGHT = 760, 520  # [px] of its own grid; a page scales it
LETTERS, MOST_LINES = 26, 2  # [characters] of a line in the added part's box, and how many of them
SHORTEST = 60  # [characters] of a name


def hookup_svg(
    *,
    method: str = "exciter",
    added: str = "",
    coil_over: str = "",
    is_guitar: bool = False,
    is_moved: bool = False,
) -> str:
    """Draw how a take is connected.

    Parameters
    ----------
    method : {"exciter", "quiet"}
        Nothing is driven for ``"quiet"``: the exciter lies aside.
    added : str
        Parts across the jack, as written; empty for none.
    coil_over : str
        Pickup that the exciter lies on, where there are several.
    is_guitar : bool
        A guitar at its jack; otherwise a pickup by its two wires.
    is_moved : bool
        The exciter is laid on anew; otherwise it stays where it is.

    Returns
    -------
    str
        An ``svg`` element whose name says the same in words.
    """
    is_driven = method != "quiet"
    parts = plain_text(added)
    what = "guitar" if is_guitar else "pickup"
    over = f"the {plain_text(coil_over)[:SHORTEST]} pickup" if coil_over else "the pickup"
    coil = f"exciter on {over}" if is_driven else "exciter off, aside"
    stays = ("lay it on, fix it" if is_moved else "leave it where it is") if is_driven else ""
    said = [
        f"{coil}; {stays}" if stays else coil,
        f"{what} to input 1",
        f"{parts} across tip and sleeve" if parts else "nothing added",
    ]
    rest = "nothing else at the jack" if is_guitar else "nothing else at its wires"
    body = [
        *_interface(),
        *(_drive() if is_driven else _aside()),
        *_words(746, 36, coil, end=True),
        *_words(746, 60, stays, css="small", end=True),
        *_measured(is_guitar=is_guitar),
        *(_exciter() if is_driven else ()),
        *(_added(parts) if parts else _words(250, 452, rest, css="small")),
    ]
    name = escape(". ".join(text[:1].upper() + text[1:] for text in said), quote=True)
    return f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{name}">{"".join(body)}</svg>'


def _interface() -> Iterable[str]:
    yield f'<rect class="box" x="14" y="20" width="190" height="{HEIGHT - 60}" rx="12"/>'
    yield from _words(34, 50, "interface")
    for y, name, kind in ((90, "output", ""), (215, "input 2", "line"), (385, "input 1", "instrument")):
        yield f'<circle class="hole" cx="204" cy="{y}" r="13"/>'
        yield from _words(184, y + 6, name, end=True)
        yield from _words(184, y + 28, kind, css="small", end=True)


# Output through the exciter and the sense resistor to the sleeve; input 2 across the resistor.
def _drive() -> Iterable[str]:
    yield '<path class="drive" d="M217 84H596V192M684 192V140H330V152M330 222V246H240V98H217"/>'
    yield '<rect class="box" x="316" y="152" width="28" height="70" rx="3"/>'
    yield '<path class="sense" d="M217 208H232A8 8 0 0 1 248 208H280V140H330M217 222H240"/>'
    yield "".join(f'<circle class="dot" cx="{x}" cy="{y}" r="5"/>' for x, y in ((330, 140), (240, 222)))
    yield from _words(354, 184, "sense")
    yield from _words(354, 206, "resistor")


def _exciter() -> Iterable[str]:
    yield '<rect class="coil" x="566" y="192" width="148" height="44" rx="8"/>'
    turns = "".join(f"M{x} 196V232" for x in range(582, 706, 14))
    yield f'<path class="drive" d="{turns}"/>'


def _aside() -> Iterable[str]:
    yield '<rect class="off" x="566" y="84" width="148" height="44" rx="8"/>'


def _measured(*, is_guitar: bool) -> Iterable[str]:
    if is_guitar:
        yield (
            '<path class="box" d="M548 196C566 150 716 150 732 196C744 232 716 250 724 282C734 318 752 334 744 380'
            'C734 436 546 436 536 380C528 334 546 318 556 282C564 250 536 232 548 196Z"/>'
        )
        for y in (204, 262, 300):
            yield f'<rect class="hole" x="586" y="{y}" width="108" height="22" rx="8"/>'
        yield from _words(640, 362, "guitar", middle=True)
        yield '<circle class="hole" cx="542" cy="388" r="11"/>'
        yield from _words(520, 356, "jack", css="small", end=True)
        yield '<path class="heard" d="M217 380H531M217 396H531"/>'
    else:
        yield '<rect class="box" x="540" y="238" width="200" height="86" rx="18"/>'
        poles = "".join(f'<circle class="dot" cx="{x}" cy="262" r="6"/>' for x in range(575, 720, 26))
        yield poles
        yield from _words(640, 306, "pickup", middle=True)
        yield '<path class="heard" d="M217 380H480V272H540M217 396H500V292H540"/>'
    yield from _words(236, 368, "tip", css="small")
    yield from _words(236, 420, "sleeve", css="small")


def _added(parts: str) -> Iterable[str]:
    yield '<path class="clipped" d="M350 380V388A8 8 0 0 1 350 404V440M440 396V440"/>'
    yield '<circle class="dot" cx="350" cy="380" r="6"/><circle class="dot" cx="440" cy="396" r="6"/>'
    lines = wrap(parts, LETTERS) or [""]
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], f"{lines[MOST_LINES - 1]} …"]
    yield f'<rect class="box" x="250" y="440" width="290" height="{24 + 22 * len(lines)}" rx="8"/>'
    for number, line in enumerate(lines):
        yield from _words(395, 465 + 22 * number, line, css="new", middle=True)


def _words(x: float, y: float, text: str, *, css: str = "", end: bool = False, middle: bool = False) -> Iterable[str]:
    if text:
        anchor = ' text-anchor="end"' if end else ' text-anchor="middle"' if middle else ""
        look = f' class="{css}"' if css else ""
        yield f'<text x="{x}" y="{y}"{look}{anchor}>{escape(text)}</text>'
