"""What a drifted kept coil means for other results."""

import pytest

from fit.desk.book.drift import drift_warnings
from measure.errors import FileError
from measure.logbook.drifts import CHECKED_FILE, DriftRecord, read_checked
from measure.logbook.store import open_logbook

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
