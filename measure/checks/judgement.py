"""What the checks of a take came to."""

from dataclasses import dataclass

from measure.response import Finding, Outcome, Response, outcome


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Judgement:
    """Findings over a take, and its response where they allow one.

    Attributes
    ----------
    response : Response or None
        None where the take was rejected, or is of a kind without a response.
    """

    findings: tuple[Finding, ...]
    response: Response | None = None

    @property
    def outcome(self) -> Outcome:
        """By the worst of the findings."""
        return outcome(self.findings)
