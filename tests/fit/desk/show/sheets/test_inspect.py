"""The checks of a take, its hum and noise, as a sheet."""

import msgspec

from fit.desk.show.document.bench import Noise
from fit.desk.show.document.pieces import checks_of
from fit.desk.show.sheet import Mark
from fit.desk.show.sheets.inspect import check_rows, checks_told, sheet_of_inspect, take_heading
from measure.checks.judgement import Judgement
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, Take
from measure.response import Finding
from tests.sheet_parts import said, tables


def judged(*severities, text="t"):
    return Judgement(findings=tuple(Finding(code=f"c{n}", severity=one, text=text) for n, one in enumerate(severities)))


TAKE = Take(
    name="open",
    conditions=Conditions(temperature_c=24.0),
    time_utc="2026-01-31T12:00:00.000Z",
    recordings=(RecordingFile(file="1.wav"),),
    rate_hz=48000,
)


def test_a_take_is_headed_by_when_and_how_warm():
    assert take_heading(TAKE) == "Take open, made 2026-01-31T12:00:00.000Z, winding at 24 °C"


def test_checks_are_coloured_and_counted():
    assert [row[1] for row in check_rows(judged("pass", "warn", "reject").findings)[1:]] == [
        Mark("good", "good"),
        Mark("look", "look"),
        Mark("REJECT", "bad"),
    ]
    lines = checks_told(True, judged("pass", "warn"))
    assert lines[1] == "Outcome: usable (1 of 2 checks passed)"


def test_a_check_that_could_not_be_made_did_not_pass():
    (_, row) = check_rows(judged("pass", text="not judged: too short").findings)
    assert row[1].text == "-"
    lines = checks_told(False, judged("pass", text="not judged: too short"))
    assert lines == ["Outcome: good (0 of 1 checks passed, 1 not judged: too short)"]


def test_noise_is_told_with_what_was_found():
    hum = {"hum_dbfs": -60.0, "hum_std_db": 0.5, "hum_hz": 50.0, "hum_limit_dbfs": None}
    floor = {"floor_dbfs": -100.0, "floor_std_db": 0.001, "band_hz": (20.0, 20000.0)}
    noise = Noise(**hum, **floor, silence_s=1.0, lines=(), third_octaves=())
    sheet = sheet_of_inspect(TAKE, judged("pass"), noise=noise)
    hum, floor = tables(sheet)[-1].rows
    assert hum[1] == "−60.0 dBFS ± 1.0 dB, mains at 50.00 Hz"
    assert floor[1] == "−100.0 dBFS, 20 Hz to 20 kHz without mains lines"
    quiet = sheet_of_inspect(
        TAKE, judged("pass"), noise=msgspec.structs.replace(noise, hum_dbfs=None, hum_limit_dbfs=-90.0, floor_dbfs=None)
    )
    assert "none found; a line above −90 dBFS would have been" in said(quiet)
    assert "not measured" in said(quiet)


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
