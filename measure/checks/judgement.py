"""Recordings of a take with the judgement over them."""

from dataclasses import dataclass

from measure.response import Finding, Response


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Looked:
    """What a look at the recordings of a take gave.

    Attributes
    ----------
    findings : tuple of Finding
        All checks.
    outcome : str
        "good", "usable" or "rejected".
    response : Response or None
        None where it was rejected, or is of a kind without a response.
    """

    findings: tuple[Finding, ...]
    outcome: str
    response: Response | None
