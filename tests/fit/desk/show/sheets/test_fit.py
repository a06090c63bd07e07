"""What the sheet of a fit says of checks."""

from fit.desk.show.document.pieces import checks_of
from fit.desk.show.sheets.fit import checks_told
from measure.checks.judgement import Judgement
from measure.response import Finding


def test_checks_that_were_not_made_are_not_counted_as_passed() -> None:
    findings = (
        Finding(code="clipped", severity="pass", text="no flat tops", figure=0.0),
        Finding(code="swapped", severity="pass", text="not judged: no stimulus known"),
        Finding(code="low-level", severity="pass", text="not judged: no stimulus known"),
        Finding(code="dc-offset", severity="warn", text="an offset", figure=0.02),
    )
    lines = checks_told(False, Judgement(findings=findings))
    checks = checks_of(findings)
    assert lines == ["Outcome: usable (1 of 4 checks passed, 2 not judged: no stimulus known)"]
    assert [check.outcome for check in checks] == ["pass", "pass", "pass", "warn"]
    assert checks[1].advice.startswith("not judged")
