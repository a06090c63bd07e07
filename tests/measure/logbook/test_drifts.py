"""What checks of kept coils came to: kept, read again, and damaged."""

import pytest

from measure.errors import FileError
from measure.logbook.drifts import CHECKED_FILE, MAX_COILS, CheckedCoil, DriftRecord, keep_checked, read_checked
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


def test_what_was_found_of_one_coil_leaves_the_others_alone(tmp_path):
    logbook = open_logbook(tmp_path)
    one = CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=12, drifts={"resonance_loaded": RECORD})
    keep_checked(logbook, "drawer", one)
    keep_checked(logbook, "attic", CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=9))
    assert read_checked(logbook)["drawer"] == one
    assert read_checked(logbook)["attic"].drifts == {}
    with pytest.raises(ValueError, match="cannot be a name"):
        keep_checked(logbook, "../x", one)


def test_what_was_found_later_replaces_what_was_found_before(tmp_path):
    logbook = open_logbook(tmp_path)
    assert read_checked(logbook) == {}
    first = CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=9, drifts={"inductance": RECORD})
    later = CheckedCoil(judged_utc="2026-08-01T00:00:00.000Z", n_measurements=12, simulated=True)
    keep_checked(logbook, "drawer", first)
    assert keep_checked(logbook, "drawer", later) == tmp_path / "results" / "checks.json"
    assert read_checked(logbook) == {"drawer": later}


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("", "Input data was truncated"),
        ('{"schema": "coilsweep.checks/2"}', "schema: .*expected coilsweep.checks/1"),
        ('{"coils": {"drawer": {"n_measurements": "x", "judged_utc": ""}}}', "n_measurements: expected int, got str"),
        ('{"coils": {}, "more": 1}', "more: no such key"),
    ],
)
def test_damage_is_one_line_with_the_cure(tmp_path, content, reason):
    logbook = open_logbook(tmp_path)
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / CHECKED_FILE).write_text(content, encoding="utf-8")
    with pytest.raises(FileError, match=rf"checks\.json is damaged \(.*{reason}.*\): remove it") as caught:
        read_checked(logbook)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("field", ["since_utc", "good_until_utc"])
def test_times_are_times(field):
    whole = {name: getattr(RECORD, name) for name in RECORD.__struct_fields__}
    with pytest.raises(ValueError, match="yesterday"):
        DriftRecord(**(whole | {field: "yesterday"}))
    assert DriftRecord(**(whole | {"good_until_utc": ""})).good_until_utc == ""


def test_a_logbook_has_so_many_coils_at_most(tmp_path, monkeypatch):
    assert MAX_COILS == 1000
    monkeypatch.setattr("measure.logbook.drifts.MAX_COILS", 2)
    logbook = open_logbook(tmp_path)
    checked = CheckedCoil(judged_utc=RECORD.since_utc, n_measurements=9)
    for name in ("a", "b", "a"):
        keep_checked(logbook, name, checked)
    with pytest.raises(ValueError, match="3 kept coils: more than the 2"):
        keep_checked(logbook, "c", checked)
    assert set(read_checked(logbook)) == {"a", "b"}
