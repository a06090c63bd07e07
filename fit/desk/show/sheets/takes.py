"""The takes of a logbook, day by day, and what was mended of one, for people."""

from collections.abc import Mapping, Sequence

from fit.desk.show.document.takes import MendedDocument
from fit.desk.show.sheet import Block, Level, Listing, Mark, Notice, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.notices import next_section
from fit.desk.show.words import plain_text, temperature_text, text_width, wrapped
from measure.logbook.conditions import Conditions
from measure.logbook.take import Amendment, Take

WIDTH = 80  # [columns] of a terminal
MOST_NAME = 24  # [columns] of a name that the others line up with
GAPS = 8  # [columns] before the first column of a table, and between its four
OUTCOMES: dict[str, Level] = {"good": "good", "usable": "look", "rejected": "bad"}
KEYS = {
    "name": "name",
    "added": "added",
    "controls": "set",
    "coil_over": "coil over",
    "coil_moved": "coil moved",
    "series_resistor": "series resistor",
    "temperature_c": "temperature",
    "item": "item",
    "operator": "operator",
    "note": "note",
}


def stated_text(stated: Conditions) -> str:
    """Say in one line what is stated of a take, but for what it is of and who made it."""
    facts = [", ".join(f"{name}={value}" for name, value in stated.controls.items())]
    facts += [f"added {stated.added}"] if stated.added else []
    facts += [f"over {stated.coil_over}"] if stated.coil_over is not None else []
    facts += ["coil moved"] if stated.coil_moved else []
    facts += [f"method {stated.method}"] if stated.method != "exciter" else []
    facts += [f"through {stated.series_resistor}"] if stated.series_resistor is not None else []
    facts += [temperature_text(stated.temperature_c), "after the job" if stated.is_after else ""]
    return "; ".join(fact for fact in facts if fact) or "nothing set or added"


def sheet_of_takes(
    days: Sequence[tuple[str, Sequence[Take]]], *, damaged: Mapping[str, str], removed: Sequence[str], path: str
) -> Sheet:
    """Lay out the takes of a logbook, day by day.

    Parameters
    ----------
    days : sequence of (str, sequence of Take)
        Date and takes of each.
    removed : sequence of str
        Takes that can be restored.
    """
    blocks: list[Block] = [
        Section((Table(_rows(takes), has_head=False),), heading=_heading(date, takes), is_apart=place > 0)
        for place, (date, takes) in enumerate(days)
    ]
    if not days:
        blocks.append(Text((f"No take is kept in {path} yet.",)))
    if damaged:
        lines = tuple(f"{name}: {reason}" for name, reason in damaged.items())
        blocks.append(Section((Listing(lines),), heading="Cannot be read"))
    if removed:
        names = ", ".join(removed)
        blocks.append(Section((Text((f"Removed, and can be restored: {names}",), is_note=False),)))
    return Sheet(title="Takes", blocks=tuple(blocks))


# What all takes of a day share is said once, above them.
def _heading(date: str, takes: Sequence[Take]) -> str:
    shared = [f"{date}, UTC", *(f"{label}{value}" for label, value in _shared(takes).values())]
    return "; ".join([*shared, *(["simulated"] if all(take.simulated for take in takes) else [])])


def _shared(takes: Sequence[Take]) -> dict[str, tuple[str, str]]:
    found = {}
    for key, label in (("item", ""), ("operator", "by ")):
        values = {getattr(take.conditions, key) for take in takes}
        if len(values) == 1 and None not in values:
            found[key] = (label, str(values.pop()))
    return found


def _rows(takes: Sequence[Take]) -> tuple[Row, ...]:
    shared = _shared(takes)
    is_mixed = not all(take.simulated for take in takes)
    name_width = min(max(text_width(take.name) for take in takes), MOST_NAME)
    width = WIDTH - GAPS - name_width - len("00:00") - len("rejected")
    rows: list[Row] = []
    for take in takes:
        stated = take.conditions
        facts = [stated.item or ""] if "item" not in shared else []
        facts += [f"by {stated.operator}"] if stated.operator and "operator" not in shared else []
        facts += ["simulated"] if take.simulated and is_mixed else []
        facts += ["measured elsewhere"] if take.kind == "response" else []
        facts += ["amended"] if take.amended else []
        said = " ".join(stated.note.split())
        facts += [f'"{said}"'] if said else []
        text = "; ".join([stated_text(stated), *(fact for fact in facts if fact)])
        first, *others = wrapped(plain_text(text), width)
        name, *more = wrapped(plain_text(take.name), name_width)
        outcome = Mark(take.outcome, OUTCOMES[take.outcome])
        rows.append((name, take.time_utc[11:16], first, outcome))
        n_more = max(len(more), len(others))
        rows += [
            ((*more, *[""] * n_more)[at], "", (*others, *[""] * n_more)[at], "")
            for at in range(n_more)
        ]  # fmt: skip
    return tuple(rows)


def sheet_of_mended(found: MendedDocument, *, following: str = "", back: str = "") -> Sheet:
    """Lay out what was done to a take.

    Parameters
    ----------
    following, back : str
        Command lines: to type next, and to undo it; empty where there is none.
    """
    done = {
        "amended": "Amended: take {0}; its recordings are untouched",
        "unchanged": "Nothing changed: so it is stated of take {0} already",
        "renamed": "Renamed: take {0}",
        "removed": "Removed: take {0}, kept in {1}",
        "restored": "Restored: take {0}",
    }[found.done].format(found.take, found.kept)
    blocks: list[Block] = [Text((done,))]
    if found.changes:
        blocks.append(Table(change_rows(found.changes)))
    blocks += [Text((f"Updated: {file}",)) for file in found.updated]
    blocks += [Text((f"{file} rests on the take as it was before.",)) for file in found.stale]
    blocks += [Notice((note,)) for note in found.notes]
    blocks += [Text((f"To bring it back: {back}",))] if back else []
    return Sheet(title=f"Take {found.take} {found.done}", blocks=(*blocks, *next_section(following)))


def change_rows(changes: Sequence[Amendment], *, with_time: bool = False) -> tuple[Row, ...]:
    """Rows of what was stated before and is now; the first row is the heading."""
    head: Row = (*(("when",) if with_time else ()), "", "before", "now")
    rows: list[Row] = [head]
    for one in changes:
        when = (one.time_utc,) if with_time else ()
        rows.append((*when, KEYS.get(one.key, one.key), _value_text(one.key, one.before), _value_text(one.key, one.after)))
    return tuple(rows)


def _value_text(key: str, value: str | float | bool | dict[str, str] | None) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name}={setting}" for name, setting in value.items()) or "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return temperature_text(value) if key == "temperature_c" else f"{value:g}"
    return " ".join((value or "").split()) or "-"
