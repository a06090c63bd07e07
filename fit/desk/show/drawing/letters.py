"""How wide words come out in a drawing: an estimate on the safe side, so that none touches another, whatever the typeface."""

from dataclasses import dataclass
from typing import Literal

Css = Literal["name", "value", "lug", "title", "note"]
Anchor = Literal["start", "middle", "end"]
SIZES: dict[Css, float] = {"title": 15.0, "name": 12.0, "value": 11.0, "note": 11.0, "lug": 9.0}  # [px]
LINE = 14.0  # [px] from one line to the next
ASCENT, DESCENT = 0.8, 0.24  # [1] of the size, above and below the line that letters stand on
# Width over size in common sans-serif faces, the widest of them, upwards rounded; bold ones are 7 % wider.
NARROW, USUAL, WIDE, WIDEST = 0.36, 0.62, 0.78, 1.02
BOLD = 1.07
_NARROW = frozenset("ijlrtfI.,:;|!'`()[]{}/-· ")
_WIDE = frozenset("mwMWΩ%@…+=<>±–—GOQNDHUÄÖÜABCEKRVXY&")
_WIDEST = frozenset("mMW@…—%")


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words at a place.

    Attributes
    ----------
    x, y : float
        Where the anchor of the first letter's foot stands. [px]
    anchor : {"start", "middle", "end"}
        Which point of the words stands there.
    """

    x: float
    y: float
    text: str
    css: Css = "value"
    anchor: Anchor = "start"


def text_width(text: str, css: Css) -> float:
    """Width that a text will not exceed.

    Returns
    -------
    float
        [px]
    """
    size = SIZES[css] * (BOLD if css in ("name", "title") else 1.0)
    return size * sum(_share(char) for char in text)


def label_box(label: Label) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a label. [px]."""
    width, size = text_width(label.text, label.css), SIZES[label.css]
    left = label.x - {"start": 0.0, "middle": width / 2, "end": width}[label.anchor]
    return left, label.y - ASCENT * size, left + width, label.y + DESCENT * size


def _share(char: str) -> float:
    if char in _NARROW:
        return NARROW
    if char in _WIDEST or ord(char) > 0x2E7F:
        return WIDEST
    return WIDE if char in _WIDE else USUAL
