"""From files and the logbook to recordings and their checks; what may not be fitted."""

import pytest

from fit.desk.book.take import RejectedError, join_findings, kept_recordings, take_to_fit
from measure.checks.judgement import Judgement
from measure.errors import FileError
from measure.response import Finding
from tests.kept_takes import keep, new_book


@pytest.fixture
def book(tmp_path):
    return new_book(tmp_path)


def test_rejected_take_is_refused_with_its_reasons(book):
    findings = (Finding(code="clipped", severity="reject", text="Input clipped: 37 samples."),)
    keep(book, "loud", outcome="rejected", findings=findings)
    with pytest.raises(RejectedError, match="37 samples"):
        take_to_fit(book, "loud")


def test_changed_recording_is_not_read(book):
    take = keep(book, "open")
    path = book.path / "takes" / "open" / "recording.wav"
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.chmod(0o644)
    path.write_bytes(content)
    with pytest.raises(FileError, match="has changed"):
        kept_recordings(book, take)


def test_worst_of_several_findings_counts():
    judgement = Judgement(findings=())
    found = [Finding(code="unplugged", severity=severity, text=severity) for severity in ("pass", "reject", "warn")]
    joined = join_findings(judgement, found)
    assert (joined.outcome, [finding.severity for finding in joined.findings]) == ("rejected", ["reject"])
    assert join_findings(judgement, found[:1]).outcome == "good"
