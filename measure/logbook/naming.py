"""Names of takes and of the files in the logbook: such as every system can keep."""

import re
from pathlib import Path
from typing import Literal

from measure.logbook.disk import one_line

RECORDING_SUFFIXES = (".wav", ".flac", ".aiff", ".aif", ".aifc")
RESPONSE_SUFFIXES = (".csv", ".s1p", ".txt")

_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,63}")
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}  # devices on some systems


def check_name(name: str) -> None:
    """See that a name may become a file or folder on every system.

    Raises
    ------
    ValueError
        If it may not.
    """
    if not _NAME.fullmatch(name) or name.endswith(".") or name.split(".")[0].lower() in _RESERVED:
        shown = one_line(name, 40)
        msg = f'"{shown}" cannot be a name: expected 1 to 64 letters, digits, - _ and ., beginning with a letter or digit'
        raise ValueError(msg)


def kept_name(role: Literal["recording", "stimulus", "response"], source: Path, *, index: int = 1) -> str:
    """Name that a file gets in its take's folder.

    Parameters
    ----------
    source : Path
        Where it comes from; only its suffix counts.
    index : int
        Of a repeat, from 1.

    Returns
    -------
    str
        For example ``"recording.wav"``, ``"recording-2.wav"``.

    Raises
    ------
    ValueError
        If the suffix is not of a kind that can be kept.
    """
    suffix = source.suffix.lower()
    allowed = RESPONSE_SUFFIXES if role == "response" else RECORDING_SUFFIXES
    if suffix not in allowed:
        msg = f"{one_line(source.name)} cannot be kept as a {role}: expected a file that ends in {', '.join(allowed)}"
        raise ValueError(msg)
    return f"{role}{suffix}" if index == 1 else f"{role}-{index}{suffix}"
