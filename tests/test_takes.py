"""Recordings looked at before they become a take: repeats compared, and checks that were not made told apart from passed ones."""

from dataclasses import replace

import pytest

from fit.desk.screen import checks_told
from fit.desk.takes import Looked, look_at
from measure.response import Finding
from measure.source.virtual import Faults
from tests.test_checks import BENCH, STIMULUS, coil, take


@pytest.mark.parametrize(
    ("change", "severity", "result"), [(1.0, "pass", "good"), (1.01, "warn", "usable"), (1.06, "reject", "rejected")]
)
def test_repeats_are_compared(change: float, severity: str, result: str) -> None:
    second = take(replace(BENCH, seed=2, pickup=lambda f: coil()(f) * change))
    looked = look_at([take(), second], stimulus=STIMULUS)
    moved = [finding for finding in looked.findings if finding.code == "coil-moved"]
    assert [finding.severity for finding in moved] == [severity]
    assert looked.outcome == result
    assert (looked.response is None) == (result == "rejected")


def test_a_faulty_repeat_is_named_and_not_compared() -> None:
    looked = look_at([take(), take(faults=Faults(is_swapped=True))], stimulus=STIMULUS)
    assert looked.outcome == "rejected"
    assert {finding.code for finding in looked.findings if finding.severity == "reject"} == {"swapped"}
    assert "coil-moved" not in {finding.code for finding in looked.findings}


def test_checks_that_were_not_made_are_not_counted_as_passed() -> None:
    findings = (
        Finding(code="clipped", severity="pass", text="no flat tops", figure=0.0),
        Finding(code="swapped", severity="pass", text="not judged: no stimulus known"),
        Finding(code="low-level", severity="pass", text="not judged: no stimulus known"),
        Finding(code="dc-offset", severity="warn", text="an offset", figure=0.02),
    )
    lines, document = checks_told(False, Looked(findings=findings, outcome="usable", response=None), noise=None)
    assert lines == ["Outcome: usable (1 of 4 checks passed, 2 not judged: no stimulus known)"]
    assert [check["outcome"] for check in document["checks"]] == ["pass", "pass", "pass", "warn"]
    assert document["checks"][1]["advice"].startswith("not judged")
