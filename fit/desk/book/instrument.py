"""instrument.toml and rig.toml of a logbook, read for what is asked of them."""

from pathlib import Path

from fit.circuit.instrument import Instrument
from fit.circuit.reading import read_instrument
from measure.errors import FileError
from measure.logbook.disk import read_small
from measure.logbook.rig import Rig, input_capacitance, input_resistance
from measure.quantity import Quantity

LIMIT_BYTES = 200_000


def read_instrument_file(path: Path) -> Instrument:
    """Read and check an instrument.toml.

    Raises
    ------
    FileError
        If it is missing, not text, or not sound; one line that names file and place.
    """
    content = read_small(path, LIMIT_BYTES)
    try:
        return read_instrument(content.decode("utf-8-sig"))
    except UnicodeDecodeError as err:
        msg = f"{path} is not UTF-8 text: byte {err.start} is {content[err.start]:#04x}"
    except ValueError as err:
        msg = f"{path}, {err}"
    raise FileError(msg)


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
