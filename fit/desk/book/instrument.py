"""What an instrument.toml states, as a table, with what is missing and what each switch position connects."""

from dataclasses import dataclass
from pathlib import Path

from msgspec import UNSET

from fit.circuit.controls import read_settings
from fit.circuit.instrument import Instrument, Stated, stated_values
from fit.circuit.layouts import is_starting_text
from fit.circuit.lugs import Lug, contacts_of, wires_of
from fit.circuit.reading import read_instrument
from fit.circuit.soundness import part_ends
from fit.circuit.wiring import heard_coils
from fit.desk.book.desk import Outcome
from fit.desk.show.document import guitar
from fit.desk.show.words import plain_text, table_lines
from measure.errors import FileError
from measure.logbook.disk import read_small
from measure.logbook.rig import Rig, input_capacitance, input_resistance
from measure.logbook.store import Logbook, instrument_path
from measure.marking import read_value
from measure.quantity import Quantity

BARE_UNITS = ("H", "Hz")  # people leave them out in instrument.toml, so the table adds them


def show_instrument(path: Path, instrument: Instrument, rig: Rig) -> Outcome:
    """Show an instrument.

    Parameters
    ----------
    rig : Rig
        For what the jack sees.

    Returns
    -------
    Outcome
        Parts, controls, positions, what is missing for a prediction.
    """
    values, heard = stated_values(instrument), heard_pickups(instrument)
    absent = [key for key, stated in values.items() if stated.quantity is None]
    jack = {"input.resistance": input_resistance(rig), "input.capacitance": input_capacitance(rig)}
    absent += [key for key, quantity in jack.items() if quantity is None]
    lines = [f"Instrument in {path}: {plain_text(instrument.name)}", *table_lines(_part_rows(instrument, values))]
    if instrument.pot:
        pots = [(f"{name} = 0 … 10", f"{pot.taper} taper") for name, pot in instrument.pot.items()]
        lines += ["", "Pots", *table_lines(pots)]
    if instrument.switch:
        lines += [
            "",
            "Switch positions, and the pickups that reach the output",
            "(pots at 10, other switches in their first position)",
        ]
        rows = [(f"{switch} = {position}", ", ".join(pickups) or "none") for (switch, position), pickups in heard.items()]
        lines += table_lines(rows)
    doubts = {key: stated.quantity.doubt for key, stated in values.items() if stated.quantity is not None}
    lines += [f"look: {key}: {plain_text(doubt)}" for key, doubt in doubts.items() if doubt]
    lines += [f"look: {text}" for text in _other_tapers(instrument)]
    lines += ["", f"Missing for predict: {', '.join(absent)}" if absent else "Nothing is missing for predict."]
    document = guitar.InstrumentDocument(
        file=str(path),
        instrument=instrument.name,
        parts={key: _stated_part(stated) for key, stated in values.items()},
        kinds={f"capacitor.{name}": part.kind for name, part in instrument.capacitor.items() if part.kind is not None},
        controls={name: ("0…10",) for name in instrument.pot}
        | {name: tuple(switch.positions) for name, switch in instrument.switch.items()},
        heard=tuple(
            guitar.HeardAt(switch=switch, position=one, pickups=tuple(pickups)) for (switch, one), pickups in heard.items()
        ),
        missing=tuple(absent),
        connections=tuple(
            guitar.Connection(node=wire.first.node, first=_lug(wire.first), second=_lug(wire.second))
            for wire in wires_of(instrument)
        ),
        contacts=tuple(
            guitar.SwitchContact(switch=one.switch, nodes=one.ends, closed_in=one.closed_in) for one in contacts_of(instrument)
        ),
    )
    return Outcome(lines=tuple(lines), document=document)


def _lug(lug: Lug) -> guitar.LugOfPart:
    return guitar.LugOfPart(part=lug.part, lug=lug.lug)


# A marking may tell another taper than the file states; the file counts.
def _other_tapers(instrument: Instrument) -> list[str]:
    out = []
    for name, pot in instrument.pot.items():
        text = pot.marked or pot.value
        printed = None if text is None else read_value(text, "pot").taper
        if printed is not None and printed != pot.taper:
            out.append(f'pot.{name}: "{plain_text(text or "")}" says {printed}; taper = "{pot.taper}" is stated and counts')
    return out


def heard_pickups(instrument: Instrument) -> dict[tuple[str, str], list[str]]:
    """Find which pickups reach the output at each position of each switch, the other switches in their first one.

    Returns
    -------
    dict
        Switch and position to pickups, pots at 10.
    """
    out = {}
    for name, switch in instrument.switch.items():
        for position in switch.positions:
            coils = heard_coils(instrument, read_settings(instrument, {name: position}))
            out[name, position] = list(dict.fromkeys(coil.removesuffix(".second") for coil in coils))
    return out


def _part_rows(instrument: Instrument, values: dict[str, Stated]) -> list[tuple[str, ...]]:
    ends = part_ends(instrument)
    kinds = {f"capacitor.{name}": part.kind for name, part in instrument.capacitor.items()}
    rows: list[tuple[str, ...]] = []
    for key, stated in values.items():
        coil = key.removesuffix(".inductance")
        nodes = ends.get(key, ends.get(f"pickup.{coil}", ()) if coil != key else ())
        text = "" if stated.quantity is None else _with_unit(stated.quantity)
        dielectric = kinds.get(key)
        text += f"{', ' if text else ''}{dielectric}" if dielectric else ""
        rows.append((key, text, _how_known(stated), plain_text(" – ".join(nodes))))
    return rows


def _how_known(stated: Stated) -> str:
    if stated.quantity is None:
        return "missing"
    if stated.is_marked:
        return "marked"
    return "stated, no bound" if stated.quantity.bound is None else "known"


def _with_unit(quantity: Quantity) -> str:
    if quantity.understood:
        return plain_text(quantity.understood)
    is_bare = quantity.unit in BARE_UNITS and quantity.unit not in quantity.text
    return plain_text(f"{quantity.text} {quantity.unit}" if is_bare else quantity.text)


def _stated_part(stated: Stated) -> guitar.Stated | None:
    if stated.quantity is None:
        return None
    return guitar.Stated(
        value=stated.quantity.value,
        unit=stated.unit,
        standard_uncertainty=None if stated.is_marked else stated.quantity.standard_uncertainty,
        marked=stated.is_marked,
        text=stated.quantity.text,
        understood=stated.quantity.understood or UNSET,
    )


LIMIT_BYTES = 200_000


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InstrumentFile:
    """An instrument.toml as it was read.

    Attributes
    ----------
    is_untouched : bool
        It is still as `coilsweep instrument --layout` wrote it: nobody has read its markings off a part.
    """

    path: Path
    instrument: Instrument
    is_untouched: bool

    @property
    def marked(self) -> dict[str, Quantity]:
        """Parts with what is printed on them; none of a file that nobody has changed."""
        if self.is_untouched:
            return {}
        stated = stated_values(self.instrument)
        return {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}


def open_instrument_file(path: Path) -> InstrumentFile:
    """Read and check an instrument.toml, and see whether it was changed since it was begun.

    Raises
    ------
    FileError
        If it is missing, not text, or not sound; one line that names file and place.
    """
    content = read_small(path, LIMIT_BYTES)
    try:
        text = content.decode("utf-8-sig")
        return InstrumentFile(path=path, instrument=read_instrument(text), is_untouched=is_starting_text(text))
    except UnicodeDecodeError as err:
        msg = f"{path} is not UTF-8 text: byte {err.start} is {content[err.start]:#04x}"
    except ValueError as err:
        msg = f"{path}, {err}"
    raise FileError(msg)


def read_instrument_file(path: Path) -> Instrument:
    """Read and check an instrument.toml; for the errors see `open_instrument_file`."""
    return open_instrument_file(path).instrument


def instrument_beside(logbook: Logbook) -> InstrumentFile | None:
    """Read the instrument.toml of a logbook; None where there is none."""
    path = instrument_path(logbook)
    return open_instrument_file(path) if path.exists() else None


def load_of_rig(rig: Rig) -> dict[str, Quantity]:
    """Read what the jack sees, cable included.

    Returns
    -------
    dict
        ``"input.resistance"`` and ``"input.capacitance"``.

    Raises
    ------
    ValueError
        If the rig does not state both; the message says how to.
    """
    resistance, capacitance = input_resistance(rig), input_capacitance(rig)
    if resistance is None or capacitance is None:
        options = [
            option
            for quantity, option in ((resistance, "--input-resistance"), (capacitance, "--input-capacitance"))
            if quantity is None
        ]
        msg = f"the rig does not state what the jack sees, cable included: coilsweep rig {' … '.join(options)} …"
        raise ValueError(msg)
    return {"input.resistance": resistance, "input.capacitance": capacitance}
