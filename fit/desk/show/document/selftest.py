"""What the command selftest says as JSON."""

from typing import Literal

from fit.desk.show.document.pieces import Document, Number, Piece, Value


class RerunLine(Piece, frozen=True, kw_only=True):
    """One thing that was expected, and what was found.

    Attributes
    ----------
    case : str
        What was recorded.
    name : str
        Quantity, part or judgement.
    actual : float or None
        What the recordings were made from; null where a judgement is expected. [`unit`]
    found : Value or None
        What the program found; null where it told nothing, or where a judgement is expected.
    e_number : float or None
        Difference over the half of the 95 % interval; at most 1 where both agree. [1]
    difference_db : float or None
        Largest difference of a response from its formula. [dB]
    agrees : bool
        What was found is what was expected.
    """

    case: str
    name: str
    actual: Number
    found: Value | None
    e_number: Number
    difference_db: Number
    agrees: bool


class SelftestDocument(Document, frozen=True, kw_only=True, tag="coilsweep.selftest/1"):
    """What became of the reference recordings on this machine.

    Attributes
    ----------
    outcome : {"agrees", "does not agree"}
        The latter where one line does not.
    lines : tuple of RerunLine
        Case by case.
    versions : dict of str to str
        Of the program, its packages, and the system.
    simulated : bool
        Always true: node equations made the recordings.
    """

    outcome: Literal["agrees", "does not agree"]
    lines: tuple[RerunLine, ...]
    versions: dict[str, str]
    simulated: bool
