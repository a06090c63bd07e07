"""How wide words come out in a drawing: an estimate on the safe side, so that none touches another, whatever the typeface."""

from dataclasses import dataclass
from typing import Literal

Css = Literal["name", "value", "lug", "title", "note"]
Anchor = Literal["start", "middle", "end"]
SIZES: dict[Css, float] = {"title": 15.0, "name": 12.0, "value": 11.0, "note": 11.0, "lug": 9.0}  # [px]
LINE = 14.0  # [px] from one line to the next
ASCENT, DESCENT = 0.8, 0.24  # [1] of the size, above and below the line that letters stand on
# Width over size of the letters of one of the widest common sans-serif faces (DejaVu Sans, by a browser), rounded up.
SHARES = {
    0.30: "ijlI'",
    0.35: "f,./:;\\| ·",
    0.40: "rt()-[]",
    0.50: "!`–♯",
    0.55: 'csz?"*',
    0.60: "kvxyFL_“”",
    0.65: "0123456789abdeghnopquEJPSTY${}",
    0.70: "BKRVXZ",
    0.75: "ACNU",
    0.80: "DGHOQ&Ω",
    0.90: "wM#+<=>^~−±×",
    1.00: "m%@…",
    1.05: "W",
}
BOLD = 0.1  # [1] more for each letter of a bold text
OTHER, WIDE = 0.85, 1.05  # letters of other scripts; those of East Asia
_SHARE = {char: share for share, chars in SHARES.items() for char in chars}


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
    extra = BOLD if css in ("name", "title") else 0.0
    return SIZES[css] * sum(_SHARE.get(char, WIDE if ord(char) > 0x2E7F else OTHER) + extra for char in text)


def label_box(label: Label) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a label. [px]."""
    width, size = text_width(label.text, label.css), SIZES[label.css]
    left = label.x - {"start": 0.0, "middle": width / 2, "end": width}[label.anchor]
    return left, label.y - ASCENT * size, left + width, label.y + DESCENT * size
