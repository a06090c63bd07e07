"""What the last fit of a logbook measured, for predictions: found, checked, and told apart from other instruments and rigs."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from fit.answers.parts.fitted import MeasuredParts, keep_parts, read_measured
from fit.circuit.realparts import owner_of
from fit.desk.book.derived import stated_sha256
from fit.desk.book.fits import LIMIT_BYTES, RESULT_FILE
from measure.errors import FileError
from measure.logbook.disk import read_small
from measure.logbook.store import Logbook, list_takes
from measure.quantity import Quantity

SAME = 1e-9  # [1] of a value that a rig states


@dataclass(frozen=True, slots=True, kw_only=True)
class LastFit:
    """Measured values, and why there are none or not all.

    Attributes
    ----------
    parts : MeasuredParts or None
        None where there are none to be used.
    """

    parts: MeasuredParts | None = None
    notes: tuple[str, ...] = ()


def text_sha256(content: bytes) -> str:
    """Fingerprint of an instrument.toml, kept beside what was measured of it.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    return hashlib.sha256(content).hexdigest()


def fingerprints(logbook: Logbook) -> dict[str, str]:
    """Fingerprint every take of a logbook as it is now, by its name."""
    return {take.name: stated_sha256(take) for take in list_takes(logbook).takes}


def changed_takes(now: Mapping[str, str], stated: object) -> str:
    """Name the takes that are not what they were when a result was kept; empty where all are, or that was not kept with it.

    Parameters
    ----------
    now : mapping of str to str
        As `fingerprints` gives them: read once, whatever the number of results.
    stated : dict or None
        Name of each take to its fingerprint then.
    """
    if not isinstance(stated, dict):
        return ""
    return ", ".join(f"take {name}" for name, sha256 in stated.items() if now.get(name) != sha256)


def last_fit(logbook: Logbook, instrument_file: Path, *, load: Mapping[str, Quantity]) -> LastFit:
    """Find what the last fit measured of the instrument in a logbook.

    Parameters
    ----------
    instrument_file : Path
        Of the logbook; it need not be there.
    load : mapping
        ``"input.resistance"`` and ``"input.capacitance"`` as the rig states them now.

    Returns
    -------
    LastFit
        Empty without notes where nothing was fitted yet, or no instrument.

    Raises
    ------
    FileError
        If the file of the last fit is damaged.
    """
    path = logbook.path / "results" / RESULT_FILE
    if not path.is_file() or not instrument_file.is_file():
        return LastFit()
    try:
        document = json.loads(read_small(path, LIMIT_BYTES, below=logbook.path))
        section = document.get("parts") if isinstance(document, dict) else None
        parts = None if section is None else read_measured(section)
    except (ValueError, RecursionError) as err:
        msg = f"{path}: {err}; run coilsweep fit again, or predict --stated"
        raise FileError(msg) from None
    if parts is None or not parts.instrument_sha256:
        return LastFit()
    takes = ", ".join(parts.takes)
    if parts.instrument_sha256 != text_sha256(read_small(instrument_file, LIMIT_BYTES)):
        note = f"The last fit (takes {takes}) is of another instrument.toml and is not used: run coilsweep fit again"
        return LastFit(notes=(note,))
    other = changed_takes(fingerprints(logbook), document.get("stated"))
    if other:
        note = f"The last fit (takes {takes}) is not used: {other} was amended or removed since; run coilsweep fit again"
        return LastFit(notes=(note,))
    notes = []
    if parts.outcome != "good":
        notes.append(f"The last fit (takes {takes}) misfits: what rests on its values is indicative only")
    if any(abs(load[name].value - value) > SAME * abs(value) for name, value in parts.input_stated.items() if name in load):
        parts = keep_parts(parts, [name for name in parts.names if owner_of(name) not in load])
        notes.append("The rig states another input or cable than at the last fit: that of the rig counts")
    return LastFit(parts=parts, notes=tuple(notes))
