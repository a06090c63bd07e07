"""What checks of a take come to, by the worst of them."""

import pytest

from measure.checks.judgement import Judgement
from measure.response import Finding


@pytest.mark.parametrize(
    ("severities", "outcome"),
    [
        ((), "good"),
        (("pass", "pass"), "good"),
        (("pass", "warn", "pass"), "usable"),
        (("warn", "reject", "pass"), "rejected"),
        (("reject", "warn"), "rejected"),
    ],
)
def test_the_worst_finding_counts_wherever_it_stands(severities, outcome):
    findings = tuple(Finding(code=f"check-{index}", severity=one, text="") for index, one in enumerate(severities))
    judged = Judgement(findings=findings)
    assert judged.outcome == outcome
    assert judged.response is None
