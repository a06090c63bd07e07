"""Frequencies as they are typed: 3k, or the note at that frequency."""

import re

from fit.desk.show.words import NOTES, note_frequency_hz
from measure.quantity import parse_quantity

FLATS = {"D♭": "C♯", "D♯": "E♭", "G♭": "F♯", "G♯": "A♭", "A♯": "B♭"}


def pitch_text(text: str) -> str:
    """Write a note or a frequency as it is told again: E♭2, 3k."""
    written = text.strip().replace("#", "♯")
    if re.fullmatch(r"[A-Ga-g]b\d", written):
        written = f"{written[0]}♭{written[2]}"
    note = written[:1].upper() + written[1:]
    return FLATS.get(note[:-1], note[:-1]) + note[-1] if _is_note(note) else written


def _is_note(text: str) -> bool:
    return text[-1:].isdecimal() and text[-1:].isascii() and FLATS.get(text[:-1], text[:-1]) in NOTES


def pitch_hz(text: str) -> float:
    """Frequency in hertz of a note such as E2, or as typed, 1 Hz to 1 MHz.

    Raises
    ------
    ValueError
        If it is neither.
    """
    written = pitch_text(text)
    frequency_hz = note_frequency_hz(written) if _is_note(written) else parse_quantity(written, "Hz").value
    if not 1 <= frequency_hz <= 1e6:
        msg = f"{text}: expected a note such as E2, or a frequency between 1 Hz and 1 MHz"
        raise ValueError(msg)
    return frequency_hz
