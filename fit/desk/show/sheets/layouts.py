"""The common wirings to choose from: a few letters each for a terminal, drawn for a page."""

from dataclasses import replace

from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.desk.show.sheet import Block, Section, Sheet, Sketch, Table
from fit.desk.show.sheets.drawing import drawing_of

TITLE = "Which wiring is nearest to yours?"
CAPTION = "Values are usual ones; the wiring is what counts."
TONE = "tone -- capacitor -- ground"
SKETCHES: dict[str, tuple[str, ...]] = {
    "one-pickup": (
        "bridge --+-- volume -- jack",
        f"         +-- {TONE}",
    ),
    "three-singles": (
        "bridge --+",
        "middle --+-- selector (5) --+-- volume -- jack",
        "neck ----+                  |",
        "            middle: tone-2 -+- neck: tone-1 -- one capacitor -- ground",
    ),
    "three-singles-bridge-tone": (
        "bridge --+",
        "middle --+-- selector (5) --+-- volume -- jack",
        "neck ----+                  |",
        "            bridge: tone-2 -+- neck: tone-1 -- one capacitor -- ground",
    ),
    "three-singles-blend": (
        "bridge --+                  +-- volume -- jack",
        "middle --+-- selector (5) --+",
        f"neck ----+                  +-- {TONE}",
        "            blend adds the neck to the bridge, or the bridge to the neck",
    ),
    "two-pickups-blend": (
        "bridge --+           +-- volume -- jack",
        "         +-- blend --+",
        f"neck ----+           +-- {TONE}",
    ),
    "two-pickups-tone-before": (
        "bridge --+-- bridge-volume --+",
        "         +-- bridge-tone     +-- selector (3) -- jack",
        "neck ----+-- neck-volume ----+",
        "         +-- neck-tone",
    ),
    "two-pickups-tone-after": (
        "bridge -- bridge-volume --+--------------+",
        "                          + bridge-tone  +-- selector (3) -- jack",
        "neck ---- neck-volume ----+--------------+",
        "                          + neck-tone",
    ),
    "two-pickups-series": (
        "bridge --+                  +-- volume -- jack",
        "         +-- selector (4) --+",
        f"neck ----+                  +-- {TONE}",
        "            bridge, parallel, neck, series",
    ),
    "humbucker-modes": (
        "bridge, first coil --+              +-- volume -- jack",
        "                     +-- mode (3) --+",
        f"bridge, other coil --+              +-- {TONE}",
        "                        series, split, parallel",
    ),
    "treble-bleed": (
        "bridge --+-- volume, capacitor and resistor across it -- jack",
        f"         +-- {TONE}",
    ),
}


def sheet_of_sketches(other: str = "") -> Sheet:
    """Lay the wirings out for a terminal, by number.

    Parameters
    ----------
    other : str
        What it means to take none of them; empty where that is no choice.
    """
    blocks: list[Block] = []
    for number, name in enumerate(DESCRIPTIONS, start=1):
        blocks.append(Section((Sketch(SKETCHES[name]),), heading=f"{number}  {name}: {DESCRIPTIONS[name]}", is_apart=False))
    if other:
        blocks.append(Table(((f"{len(DESCRIPTIONS) + 1}", "none", other),), has_head=False))
    return Sheet(title=TITLE, blocks=tuple(blocks))


def sheet_of_layouts() -> Sheet:
    """Lay the wirings out as a page, each drawn, with what is soldered to what."""
    blocks: list[Block] = []
    for number, (name, meaning) in enumerate(DESCRIPTIONS.items(), start=1):
        drawing = drawing_of(read_instrument(layout_text(name)))
        blocks.append(replace(drawing, heading=f"{number}  {name}: {meaning}", caption=CAPTION))
    return Sheet(title=TITLE, blocks=tuple(blocks))
