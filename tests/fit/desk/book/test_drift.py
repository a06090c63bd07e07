"""What a drifted kept coil means for other results."""

import msgspec
import pytest

from fit.desk.book.drift import drift_warnings
from measure.errors import FileError
from measure.logbook.drifts import CHECKED_FILE, CheckedCoil, DriftRecord, keep_checked, read_checked
from measure.logbook.store import open_logbook
from measure.logbook.take import RecordingFile, Take

RECORD = DriftRecord(
    centre=5900.0,
    size=-59.0,
    unit="Hz",
    since_take="drawer-10",
    since_utc="2026-07-06T17:00:00.000Z",
    good_until_utc="2026-06-22T17:00:00.000Z",
    is_lasting=True,
)


@pytest.mark.parametrize(
    "content", ["", "{", '{"schema": "coilsweep.checks/2"}', '{"coils": {"drawer": {"n_measurements": "x"}}}', "[" * 5000]
)
def test_a_damaged_file_is_a_warning_and_no_obstacle(tmp_path, content):
    logbook = open_logbook(tmp_path)
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / CHECKED_FILE).write_text(content, encoding="utf-8")
    with pytest.raises(FileError, match=r"checks\.json is damaged .*remove it"):
        read_checked(logbook)
    (warning,) = drift_warnings(logbook, ())
    assert "remove it" in warning
    assert "\n" not in warning


def take(time_utc):
    return Take(name="a", time_utc=time_utc, recordings=(RecordingFile(file="1.wav"),), rate_hz=48000)


def warned(folder, *times, **changes):
    logbook = open_logbook(folder)
    drifts = {"resonance_loaded": msgspec.structs.replace(RECORD, **changes)}
    keep_checked(logbook, "drawer", CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=12, drifts=drifts))
    keep_checked(logbook, "attic", CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=9))
    return drift_warnings(logbook, [take(time) for time in times])


@pytest.mark.parametrize(
    ("times", "n"),
    [
        (("2026-06-22T16:59:59.000Z",), 0),  # while the coil was still as before
        (("2026-06-22T17:00:01.000Z",), 1),  # nobody knows when it drifted: after it was last good
        (("2026-01-01T00:00:00.000Z", "2026-08-01T00:00:00.000Z"), 1),  # the youngest counts
        ((), 0),
    ],
)
def test_takes_made_since_it_was_last_good_are_warned(tmp_path, times, n):
    texts = warned(tmp_path, *times)
    assert len(texts) == n
    assert all(text.startswith("the kept coil drawer has drifted: ") for text in texts)


def test_a_coil_that_was_never_good_warns_every_take(tmp_path):
    assert len(warned(tmp_path, "2020-01-01T00:00:00.000Z", good_until_utc="")) == 1
