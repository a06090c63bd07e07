"""instrument.toml and rig.toml of a logbook, read for what is asked of them."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from measure.errors import FileError
from measure.logbook.conditions import Conditions
from measure.logbook.disk import read_small
from measure.logbook.rig import Rig, input_capacitance, input_resistance
from measure.logbook.store import Logbook, instrument_path
from measure.quantity import Quantity

if TYPE_CHECKING:
    from fit.circuit.instrument import Instrument

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
    instrument: "Instrument"
    is_untouched: bool

    @property
    def marked(self) -> dict[str, Quantity]:
        """Parts with what is printed on them; none of a file that nobody has changed."""
        if self.is_untouched:
            return {}
        from fit.circuit.instrument import stated_values

        stated = stated_values(self.instrument)
        return {key: one.quantity for key, one in stated.items() if one.is_marked and one.quantity is not None}


def open_instrument_file(path: Path) -> InstrumentFile:
    """Read and check an instrument.toml, and see whether it was changed since it was begun.

    Raises
    ------
    FileError
        If it is missing, not text, or not sound; one line that names file and place.
    """
    from fit.circuit.layouts import is_starting_text  # circuits are loaded where there is one to read
    from fit.circuit.reading import read_instrument

    content = read_small(path, LIMIT_BYTES)
    try:
        text = content.decode("utf-8-sig")
        return InstrumentFile(path=path, instrument=read_instrument(text), is_untouched=is_starting_text(text))
    except UnicodeDecodeError as err:
        msg = f"{path} is not UTF-8 text: byte {err.start} is {content[err.start]:#04x}"
    except ValueError as err:
        msg = f"{path}, {err}"
    raise FileError(msg)


def read_instrument_file(path: Path) -> "Instrument":
    """Read and check an instrument.toml; for the errors see `open_instrument_file`."""
    return open_instrument_file(path).instrument


def instrument_beside(logbook: Logbook) -> InstrumentFile | None:
    """Read the instrument.toml of a logbook; None where there is none."""
    path = instrument_path(logbook)
    return open_instrument_file(path) if path.exists() else None


def require_stated(logbook: Logbook, conditions: Conditions) -> None:
    """See that instrument.toml has the controls, positions and pickup that are stated of a take, before it is kept.

    Raises
    ------
    ValueError
        If it has not; the message names those that there are. Where no sound instrument.toml is there yet, nothing is refused.
    """
    path = instrument_path(logbook)
    if not path.exists():
        return
    try:
        instrument = read_instrument_file(path)
    except FileError:
        return  # fit, instrument and wiring say what is wrong with it
    from fit.circuit.controls import read_settings

    read_settings(instrument, conditions.controls)
    over = conditions.coil_over
    if over is not None and over not in instrument.pickup:
        msg = (
            f'there is no pickup "{over[:60]}" for the exciter to stand over, the instrument has: {", ".join(instrument.pickup)}'
        )
        raise ValueError(msg)


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
