"""Names of takes and of the files in the logbook: such as every system can keep."""

import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

from measure.logbook.disk import one_line

RECORDING_SUFFIXES = (".wav", ".flac", ".aiff", ".aif", ".aifc")
RESPONSE_SUFFIXES = (".csv", ".s1p", ".txt")

MAX_NAME, MAX_BYTES = 64, 200  # [characters], [bytes in UTF-8] most systems allow 255, and what is unfinished has a longer name

_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}  # devices on some systems
_MARKS = ("Mn", "Mc")  # stand above, below or beside a letter
_KINDS = ("Lu", "Ll", "Lt", "Lm", "Lo", "Nd", *_MARKS)
_BLANK = {
    chr(code)  # letters and marks without a shape of their own: two names would look the same
    for code in (0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x180B, 0x180C, 0x180D, 0x180F, 0x3164, 0xFFA0)
} | {chr(code) for code in (*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0))}


def usual_form(name: str) -> str:
    """Name in the one form in which it is kept: an accented letter typed as one character or as two is the same (NFC)."""
    return unicodedata.normalize("NFC", name)


def check_name(name: str) -> None:
    """See that a name may become a file or folder on every system, in any script's letters.

    Raises
    ------
    ValueError
        If it may not.
    """
    is_short = 0 < len(name) <= MAX_NAME and len(name.encode(errors="replace")) <= MAX_BYTES
    is_plain = is_short and all(_is_kept(char) for char in name) and name == usual_form(name)
    is_begun = is_plain and name[0] not in "-." and unicodedata.category(name[0]) not in _MARKS
    if not is_begun or name.endswith(".") or name.split(".")[0].casefold() in _RESERVED:
        shown = one_line(name, 40)
        msg = f'"{shown}" cannot be a name: expected 1 to 64 letters, digits, - _ and ., beginning with a letter or digit'
        raise ValueError(msg)


def alike_name(name: str, others: Iterable[str]) -> str | None:
    """Find a name that some system keeps in the same place: one that differs in small and capital letters alone.

    Returns
    -------
    str or None
        The first of `others` that is alike or equal.
    """
    folded = _folded(name)
    return next((other for other in others if _folded(other) == folded), None)


def _folded(name: str) -> str:
    return usual_form(usual_form(name).casefold())


def _is_kept(char: str) -> bool:
    return char in "-_." or (unicodedata.category(char) in _KINDS and char not in _BLANK)


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
