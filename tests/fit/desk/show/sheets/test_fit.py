"""What a fit found, and the checks of a take, as sheets."""

from dataclasses import replace

import msgspec

from fit.answers.figures import FloorAnswer
from fit.desk.show.document.bench import Noise
from fit.desk.show.document.pieces import checks_of
from fit.desk.show.sheet import Mark
from fit.desk.show.sheets.fit import (
    agreement_rows,
    candidate_rows,
    check_rows,
    checks_told,
    limiting_source,
    misfit_lines,
    not_told,
    quantity_rows,
    sheet_of_fit,
    sheet_of_inspect,
    take_heading,
)
from measure.checks.judgement import Judgement
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, Take
from measure.response import Finding
from tests.answer_by_hand import answer, estimate
from tests.sheet_parts import headings, said, tables


def test_limiting_source_is_the_largest_share_of_the_variance():
    assert limiting_source(answer(), "inductance") == "added 1n in plus-1n (92 %)"
    assert limiting_source(answer(), "q_unloaded") == ""


def test_what_is_not_told_comes_with_its_next_take():
    ((names, why, following),) = not_told(answer())
    assert names == "Sharing"
    assert why == "both halves look alike from the jack"
    assert following == "a take with 470p ± 1% across the jack; it would tell sharing to ± 0.78 %"


TAKE = Take(
    name="open",
    conditions=Conditions(temperature_c=24.0),
    time_utc="2026-01-31T12:00:00.000Z",
    recordings=(RecordingFile(file="1.wav"),),
    rate_hz=48000,
)


def judged(*severities, text="t"):
    return Judgement(findings=tuple(Finding(code=f"c{n}", severity=one, text=text) for n, one in enumerate(severities)))


def test_a_good_fit_has_no_heading_of_doubt():
    text = said(sheet_of_fit(answer(), warnings=("noticed",)))
    assert "INDICATIVE ONLY" not in text
    assert "smooth difference: 0.04 % (values are good below 0.5 %)" in text
    assert "noticed" in text
    assert "The exciter seems to have moved" in text


def test_a_misfit_heads_the_values_and_says_where_it_is():
    doubtful = answer(outcome="misfit", floor=0.02)
    assert misfit_lines(doubtful)[1].startswith("Model and measurement differ by 2 % beside the noise, most near 8.1")
    assert "at least 3 %" in misfit_lines(answer(outcome="misfit", floor=0.03))[1]
    sheet = sheet_of_fit(doubtful, warnings=())
    assert said(sheet).index("INDICATIVE ONLY") < said(sheet).index("Inductance")
    assert "values are good below" not in said(sheet)


def test_statements_that_do_not_go_together_are_named_where_the_model_fits():
    finding = Finding(code="pull", severity="reject", text="dcr lies 9 σ off")
    small = FloorAnswer(value=1e-4, correlation_octaves=0.7, common=True, worst_hz=8100.0)
    lines = misfit_lines(replace(answer(outcome="misfit"), floor=small, findings=(finding,)))
    assert lines == ["INDICATIVE ONLY: what was measured and what was stated do not go together.", "dcr lies 9 σ off"]


def test_a_taper_has_a_table_of_its_own():
    tapered = replace(
        answer(),
        quantities=answer().quantities | {"pot.tone@5": estimate(0.12, 0.01, "1")},
        tapers={"tone": "audio"},
    )
    assert not any("tone" in str(row[0]).lower() for row in quantity_rows(tapered))
    sheet = sheet_of_fit(tapered, warnings=())
    assert "Tapers, share of the track" in headings(sheet)
    assert sheet.title == "A guitar, measured (simulated)"


def test_models_are_ranked_from_the_best():
    head, best, other = candidate_rows(answer(), head="tried")
    assert head[0] == "tried"
    assert best[:2] == ("one coil, one eddy loop", "0.0")
    assert other[1] == "3591.2"
    assert candidate_rows(replace(answer(), candidates=()), head="tried") == ()


def test_agreement_is_told_for_each_take():
    assert agreement_rows(answer())[1:] == tuple((name, "0.002 dB", "0.007 dB", "0.01°") for name in ("open", "plus-1n"))


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


def test_what_limits_a_value_may_stand_beside_it():
    plain, beside = (sheet_of_fit(answer(), warnings=(), with_limits=one) for one in (False, True))
    assert "What limits each value most" in headings(plain)
    assert "What limits each value most" not in headings(beside)
    (values, *_), (wider, *_) = tables(plain), tables(beside)
    assert [row[:-1] for row in wider.rows] == list(values.rows)
    assert wider.rows[0][-1] == "limited most by"
