"""Stimulus and findings: from the types of measure to the form that takes keep, and back."""

import math
from collections.abc import Iterable

import msgspec

from measure.logbook.take import FindingRecord, SweepStimulus, Take
from measure.response import Finding
from measure.signal.stimulus import Sweep


def stimulus_of_sweep(sweep: Sweep) -> SweepStimulus:
    """Sweep in the form that takes keep.

    Parameters
    ----------
    sweep : Sweep
        That was played.

    Returns
    -------
    SweepStimulus
        The same numbers.
    """
    return SweepStimulus(**{name: getattr(sweep, name) for name in SweepStimulus.__struct_fields__})


def sweep_of_take(take: Take) -> Sweep | None:
    """Sweep that a take was made with.

    Parameters
    ----------
    take : Take
        Kept.

    Returns
    -------
    Sweep or None
        None where a file, nothing, or something unknown was played.
    """
    return Sweep(**msgspec.structs.asdict(take.stimulus)) if isinstance(take.stimulus, SweepStimulus) else None


def findings_to_keep(findings: Iterable[Finding]) -> tuple[FindingRecord, ...]:
    """Put findings in the form that takes keep.

    Parameters
    ----------
    findings : iterable of Finding
        From the checks.

    Returns
    -------
    tuple of FindingRecord
        The same; a figure that is not finite becomes None.
    """
    return tuple(
        FindingRecord(
            name=finding.code,
            outcome=finding.severity,
            figure=float(finding.figure) if finding.figure is not None and math.isfinite(finding.figure) else None,
            unit=finding.unit,
            advice=finding.text,
        )
        for finding in findings
    )


def findings_of_take(take: Take) -> tuple[Finding, ...]:
    """Get the findings that a take keeps.

    Parameters
    ----------
    take : Take
        Kept.

    Returns
    -------
    tuple of Finding
        In the order kept.
    """
    return tuple(
        Finding(code=kept.name, severity=kept.outcome, text=kept.advice, figure=kept.figure, unit=kept.unit)
        for kept in take.findings
    )
