"""What a fit found, as a sheet."""

from dataclasses import replace

from fit.answers.figures import FloorAnswer
from fit.desk.show.sheets.fit import (
    agreement_rows,
    candidate_rows,
    limiting_source,
    misfit_lines,
    not_told,
    quantity_rows,
    sheet_of_fit,
)
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


def test_what_limits_a_value_may_stand_beside_it():
    plain, beside = (sheet_of_fit(answer(), warnings=(), with_limits=one) for one in (False, True))
    assert "What limits each value most" in headings(plain)
    assert "What limits each value most" not in headings(beside)
    (values, *_), (wider, *_) = tables(plain), tables(beside)
    assert [row[:-1] for row in wider.rows] == list(values.rows)
    assert wider.rows[0][-1] == "limited most by"
