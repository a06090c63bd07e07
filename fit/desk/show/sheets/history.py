"""What was found of an item before, by date, for people."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fit.answers.figures import Estimate
from fit.desk.show.document.history import PastResult
from fit.desk.show.sheet import Block, Mark, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.notices import simulated_notice, titled, warnings_section
from fit.desk.show.sheets.take_sets import named
from fit.desk.show.words import PART_KINDS, in_order, plain_text, quantity_name, temperature_text, wrapped

AS_BEFORE, CHANGED = Mark("as before", "good"), Mark("changed", "look")
CHANGED_SINCE = Mark("changed since", "look")
RULE = (
    "changed: by more than both 95 % intervals allow for; a winding resistance by",
    "more than its temperature does, too. What both results rest on, such as an",
    "added part, is in both intervals, so that a small change may be missed.",
)
REST_WIDTH = 66  # [columns] of a terminal, behind a date
OWN = ("inductance", "winding_capacitance", "dc_resistance")  # of a pickup, whatever it is plugged into


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Earlier:
    """A result of a day before, beside the one of now.

    Attributes
    ----------
    values : dict of str to Estimate
        Of what both tell.
    changed : frozenset of str
        What differs by more than both intervals allow for.
    """

    result: PastResult
    values: dict[str, Estimate]
    changed: frozenset[str]


def sheet_of_history(
    results: Sequence[PastResult],
    changed: Mapping[str, Sequence[bool | None]],
    *,
    item: str | None,
    items: Sequence[str],
    doubtful: Sequence[str],
    values: Sequence[Mapping[str, Estimate]],
) -> Sheet:
    """Lay out what was found of an item, quantity by quantity.

    Parameters
    ----------
    changed : mapping
        Quantity to what its result was judged against the one before.
    items : sequence of str
        All that are stated in the logbook.
    values : sequence of mapping
        For each result its values.
    """
    title = item or "Nothing is stated of what was measured"
    blocks: list[Block] = [Text((title,))]
    if not results:
        blocks = [Text(("No good result is kept yet: coilsweep fit keeps one with every fit.",))]
    blocks += simulated_notice(is_simulated=any(one.simulated for one in results))
    for key in changed:
        rows: list[Row] = []
        for one, own, mark in zip(results, values, changed[key], strict=True):
            if key in own:
                said = "" if mark is None else CHANGED if mark else AS_BEFORE
                rows.append((one.measured_utc[:10], own[key], said))
        blocks.append(Section((Table(tuple(rows), has_head=False),), heading=quantity_name(key)))
    if len(results) > 1:
        blocks.append(Section((Text(RULE, is_note=True),)))
    if results:
        rests = []
        for one in results:
            warmth = temperature_text(one.temperature_c)
            first, *others = wrapped(plain_text(named(one.takes) + (f"; {warmth}" if warmth else "")), REST_WIDTH)
            rests += [(one.measured_utc[:10], first), *(("", other) for other in others)]
        blocks.append(Section((Table(tuple(rests), has_head=False),), heading="They rest on"))
    blocks += warnings_section(doubtful)
    others = [one for one in items if one != item]
    if others:
        blocks.append(Section((Text((f"Other items: {', '.join(others)}",)),)))
    is_simulated = any(one.simulated for one in results)
    return Sheet(title=titled(f"History: {item}" if item else "History", is_simulated=is_simulated), blocks=tuple(blocks))


def lasting(keys: Iterable[str]) -> list[str]:
    """Choose the quantities that belong to the item, not to cable, input or model, in the order in which people ask for them."""

    def is_own(key: str) -> bool:
        kind, _, rest = key.partition(".")
        return key.rpartition(".")[2] in OWN or (kind in PART_KINDS and "." not in rest and "@" not in rest)

    return [key for key in in_order(keys) if is_own(key)]


def earlier_section(earlier: Earlier | None) -> tuple[Section, ...]:
    """Say what was found of the same item on a day before; nothing where nothing was."""
    if earlier is None or not earlier.values:
        return ()
    rows = tuple(
        (quantity_name(key), earlier.values[key], CHANGED_SINCE if key in earlier.changed else AS_BEFORE)
        for key in earlier.values
    )
    result = earlier.result
    what = f"{result.item}, " if result.item else ""
    heading = f"Measured before: {what}{result.measured_utc[:10]}, {named(result.takes)}"
    return (Section((Table(rows, has_head=False),), heading=heading),)
