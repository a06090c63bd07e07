"""The drawing of an instrument with what is soldered to what, as a piece of any sheet."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from fit.answers.figures import Estimate
from fit.circuit.instrument import Instrument
from fit.circuit.lugs import COMMON, JACK, Lug, all_lugs, contacts_of, wires_of
from fit.desk.show.drawing.svg import drawing_svg
from fit.desk.show.drawing.symbols import LUG_NUMBERS
from fit.desk.show.sheet import Block, Drawing, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.notices import CIRCUIT
from fit.desk.show.words import MINUS, PART_KINDS

HEADING = "The circuit"
CAPTION = "From instrument.toml."
CONTACTS = "Beside each contact of a switch stand the positions in which it is closed."
CONTACTS_AT = "As it is set here: contacts that are closed are marked, open ones grey."
ANY_TREE = (
    "Each line is a lead from lug to lug. Where several meet in one point, any",
    "other way through the same lugs is as good.",
)
POT_LUGS = (
    "Lugs of a pot: 1 is where the wiper (2) stands at 0, 3 where it stands at 10",
    "(common practice, no source); from the back, lugs down, they are 3, 2, 1 from",
    "the left to the right.",
)


def drawing_of(
    instrument: Instrument,
    *,
    at: Mapping[str, str] | None = None,
    measured: Mapping[str, Estimate] | None = None,
    notes: tuple[str, ...] = (),
    asked: str = "",
) -> Drawing:
    """Draw an instrument for a page.

    Parameters
    ----------
    at, measured, notes, asked
        As for `fit.desk.show.drawing.svg.drawing_svg`.
    """
    svg = drawing_svg(instrument, at=at, measured=measured, notes=notes, asked=asked, is_inline=True)
    return Drawing(
        heading=HEADING,
        caption=" ".join((CAPTION, *([CONTACTS if at is None else CONTACTS_AT] if instrument.switch else []))),
        svg=svg,
        details="What is soldered to what",
        inside=connection_blocks(instrument),
    )


def with_drawing(sheet: Sheet, drawing: Drawing) -> Sheet:
    """Put a drawing where a sheet has a place for it; at its end, where it has none."""
    blocks = sheet.blocks if CIRCUIT in sheet.blocks else (*sheet.blocks, CIRCUIT)
    place = blocks.index(CIRCUIT)
    return replace(sheet, blocks=(*blocks[:place], drawing, *blocks[place + 1 :]))


def connection_blocks(instrument: Instrument) -> tuple[Block, ...]:
    """List which lug is soldered to which, and what each contact of a switch joins."""
    commons = _commons(instrument)
    pairs = [name for name, pickup in instrument.pickup.items() if pickup.second is not None]
    rows: list[Row] = [("point", "from", "to")]
    for wire in wires_of(instrument):
        first, second = (lug_text(one, n_commons=commons, pairs=pairs) for one in (wire.first, wire.second))
        rows.append((wire.first.node, first, second))
    blocks: list[Block] = [Section((Table(tuple(rows)),), heading="Connections", is_apart=False)]
    contacts = contacts_of(instrument)
    if contacts:
        joined: list[Row] = [("switch", "joins", "in position")]
        joined += [(one.switch, " – ".join(one.ends), ", ".join(one.closed_in)) for one in contacts]
        blocks.append(Section((Table(tuple(joined)),), heading="Contacts"))
    notes = [Text(ANY_TREE, is_note=True)]
    if instrument.pot:
        notes.append(Text(POT_LUGS, is_note=True))
    return (*blocks, Section(tuple(notes)))


def lug_text(lug: Lug, *, n_commons: Mapping[str, int], pairs: Collection[str] = ()) -> str:
    """Name a lug as one solders.

    Parameters
    ----------
    n_commons : mapping of str to int
        How many common lugs each switch has; of several each is told by its node.
    pairs : collection of str
        Pickups of which both coils are led out.

    Returns
    -------
    str
        For example ``"volume pot, lug 3"`` or ``"selector common"``.
    """
    kind, _, name = lug.part.partition(".")
    if lug.part == JACK:
        return f"jack {lug.lug}"
    if kind == "pot":
        return f"{name} pot, lug {LUG_NUMBERS[lug.lug]}"
    if kind == "pickup":
        pickup, _, second = name.partition(".")
        coil = f", coil {2 if second else 1}" if second or pickup in pairs else ""
        return f"{pickup} pickup{coil} {'+' if lug.lug == '+' else MINUS}"
    if kind == "switch":
        if lug.lug == COMMON and n_commons[lug.part] == 1:
            return f"{name} common"
        return f"{name} {lug.lug} “{lug.node}”"
    return f"{name} {PART_KINDS[kind]}"


def _commons(instrument: Instrument) -> dict[str, int]:
    out: dict[str, int] = {}
    for lug in all_lugs(instrument):
        if lug.lug == COMMON:
            out[lug.part] = out.get(lug.part, 0) + 1
    return out
