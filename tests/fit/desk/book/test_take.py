"""From files and the logbook to recordings and their checks; what may not be fitted."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from fit.desk.book.take import RejectedError, join_findings, kept_recordings, look_at, take_to_fit
from measure.checks.judgement import Judgement
from measure.errors import FileError
from measure.response import Finding
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.virtual import Faults
from tests.faulty_takes import BENCH, STIMULUS, coil, take
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


MEMORY_PROGRAM = """
import sys
from pathlib import Path
import numpy, scipy.fft, soundfile
import measure.checks.recording, measure.checks.repeats, measure.transfer.response
from fit.desk.book.take import look_at
from measure.source.files import read_recording
def peak():  # of this program alone; ru_maxrss also holds that of the one that started it
    return next(int(line.split()[1]) for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))

before = peak()
recording = read_recording(sys.argv[1])
looked = look_at([recording], stimulus=None)
assert looked.response is not None, looked.findings
print(1024 * (peak() - before) / (recording.samples.size * 2))
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="peak memory is read the Linux way")
@pytest.mark.parametrize("duration_s", [30.0, 60.0, 120.0])
def test_memory_of_checks_and_response(tmp_path, duration_s: float) -> None:
    # 16 bits are the hard case, since samples are kept as 32-bit floats: these alone are twice the recording.
    sweep = Sweep(rate_hz=48000, duration_s=duration_s - 1.2, before_s=0.7, after_s=0.5)
    reference = sweep_samples(sweep)
    samples = np.stack([0.2 * reference, reference], axis=1)
    samples += 1e-4 * np.random.default_rng(3).normal(size=samples.shape)
    soundfile.write(tmp_path / "long.wav", samples, sweep.rate_hz, subtype="PCM_16")
    command = [sys.executable, "-c", MEMORY_PROGRAM, str(tmp_path / "long.wav")]
    run = subprocess.run(command, capture_output=True, text=True, check=True, timeout=300)
    assert float(run.stdout) < 6
