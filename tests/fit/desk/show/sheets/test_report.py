"""The report: what it holds, its headings, and that text from outside stays text."""

import re
from dataclasses import replace

import msgspec
import pytest

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.predict.at_jack import predict_at_jack
from fit.desk.questions.report import figures_of
from fit.desk.show.page import html
from fit.desk.show.sheet import Headlines, Meaning
from fit.desk.show.sheets.report import sheet_of_report
from measure.logbook.conditions import Conditions
from measure.logbook.take import Amendment, RecordingFile, Take
from measure.quantity import parse_quantity
from measure.response import Finding
from tests.answer_by_hand import answer, estimate
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.pages import read_page
from tests.sheet_parts import pictures

EVIL = '<script>alert("x")</script><img src=//evil.invalid/x.png onerror=alert(1)>'


def take(name="open", *, outcome="good", note=""):
    findings = (
        Finding(code="clipped", severity="reject" if outcome == "rejected" else "pass", text="Largest sample.", figure=0.51),
        Finding(code="buried-in-hum", severity="warn", text="Hum is 12 dB under the signal.", figure=-41.2, unit="dBFS"),
    )
    return Take(
        name=name,
        conditions=Conditions(added="1n ± 1%", note=note),
        time_utc="2026-01-31T12:00:00.000Z",
        rate_hz=96000,
        recordings=(RecordingFile(file="1.flac"),),
        outcome=outcome,
        findings=findings,
    )


def page(*, made_by="coilsweep 0.1.0", **changes):
    facts = {
        "takes": (take("open-loud", outcome="rejected"), take()),
        "rig": (("input.resistance", "1M ± 1%"), ("input.capacitance", "185p ± 3p")),
        "references": (("dcr", "6.35k ± 1%"),),
    } | changes
    found = facts.pop("answer", answer())
    return html(sheet_of_report(found, **facts), figures_of(found), footer=made_by)


@pytest.mark.long
def test_report_needs_nothing_from_elsewhere():
    text = page()
    said = read_page(text)
    references = [value for _, name, value in said.attributes if name == "href"]
    assert references
    assert "max-width:34rem" in text  # a phone
    assert "prefers-color-scheme:dark" in text
    assert text.count('<div class="wide">') == text.count("<table>")  # what is wider than a phone scrolls by itself
    assert "min-width" not in text


@pytest.mark.long
def test_the_answer_comes_first_then_the_picture_what_it_means_and_folded_all_the_rest():
    text = page()
    order = [text.index(piece) for piece in ('class="verdict good"', 'class="values"', "<svg", 'class="meaning"', "<details>")]
    assert order == sorted(order)
    assert "<details open" not in text
    outside = re.sub(r"<details>.*</details>", "", text, flags=re.DOTALL)
    assert outside.count("<svg") == 1
    assert "<table" not in outside
    assert text.count("<svg") == 3


def test_guitar_at_the_jack_is_with_its_controls_for_each_pickup():
    at_jack = predict_at_jack(INSTRUMENT, load=LOAD, measured=found_parts())
    found = replace(answer(), tapers={"volume": "audio"})
    sheet = sheet_of_report(found, takes=(), at_jack=at_jack, load=LOAD)
    assert "jack" in pictures(sheet)
    assert "loaded" not in pictures(sheet)
    (values,) = [block.values for block in sheet.blocks if isinstance(block, Headlines)]
    assert ("Peak at the jack", at_jack[0].curve.peak_frequency) in values
    assert not any("cable and input" in name for name, _ in values)  # without the controls, which is not what is heard
    (meaning,) = [block.text for block in sheet.blocks if isinstance(block, Meaning)]
    assert "every pot at 10" in meaning


@pytest.mark.long
def test_takes_left_out_share_one_table():
    others = tuple(take(f"loud-{k}", outcome="rejected") for k in range(7))
    text = page(takes=(take(), *others))
    assert text.count("Not used for the values: 7 takes") == 1
    part = text[text.index("Not used for the values") :]
    part = part[: part.index("</details>")]
    assert part.count("<table") == 1
    assert all(f"loud-{k}" in part for k in range(7))
    assert part.count("clipped: Largest sample.") == 7
    assert "loud-" not in text[: text.index("Not used for the values")]


@pytest.mark.long
def test_a_drawing_of_the_circuit_stands_between_the_meaning_and_the_details():
    from matplotlib.figure import Figure

    sheet = sheet_of_report(answer(), takes=())
    figures = {**figures_of(answer()), "circuit": lambda: Figure(figsize=(2, 1))}
    text = html(sheet, figures)
    assert text.index('class="meaning"') < text.index("How it is wired") < text.index("<details>")
    assert "How it is wired" not in html(sheet, figures_of(answer()))


@pytest.mark.long
def test_report_has_its_headings_and_columns():
    said = read_page(page())
    assert said.headings == [
        *("Measurement report: a pickup (simulated)", "At the jack", "All values", "What a further take would tell"),
        *("Every take with its model", "Agreement", "What limits each value", "Model"),
        *("Takes and their checks", "open good", "Not used for the values: 1 take"),
        *("The measurement", "Measurands", "Equipment", "Uncertainty", "Decision rule"),
        *("Rig and references", "Cautions", "What the words mean"),
    ]
    for column in (
        "95 % interval",
        "limited most by",
        "BIC above the best",
        "phase rms",
        "what was found",
        "stated",
        "reference",
    ):
        assert column in said.columns


@pytest.mark.long
def test_report_says_what_was_measured_with_intervals_budget_checks_rig_and_words():
    said = read_page(page()).said
    for text in (
        "2.874 H",
        "2.843 … 2.905 H",
        "91.3 pF",
        "added 1n in plus-1n (92 %)",
        "one coil, one eddy loop",
        "open-loud",
        "Not used for the values: 1 take",
        "added: 1n ± 1% · 2026-01-31T12:00:00.000Z · 96000 Hz",
        "1M ± 1%",
        "6.35k ± 1%",
        "both halves look alike from the jack",
        "lethal voltage",
        "What the words mean",
        "The exciter seems to have moved",
    ):
        assert text in said


@pytest.mark.long
def test_marked_parts_come_with_rule_verdict_and_probability():
    marked = parse_quantity("33n ± 10%", "F")
    within = confirm_part("capacitor.tone", marked=marked, measured=estimate(30.6e-9, 1.5e-10, "F"))
    outside = confirm_part("capacitor.second", marked=marked, measured=estimate(36.2e-9, 2e-10, "F"))
    said = read_page(page(verdicts=(within, outside))).said
    for text in (
        "How marked parts were judged",
        "1 of 2 marked parts within their marking; second capacitor not resolved.",
        "guarded acceptance",
        "ISO/IEC 17025:2017, 7.8.6",
        "Tone capacitor  within marking",
        "Second capacitor  not resolved",
        "> 99.9 %",
        "69.1 %",
    ):
        assert text in said
    assert "marked part" not in page().lower()


@pytest.mark.long
@pytest.mark.parametrize("where", ["take", "note", "warning", "rig", "device"])
def test_text_from_outside_is_escaped_in_a_report(where):
    changes = {
        "take": {"answer": answer(take_name=EVIL)},
        "note": {"takes": (take(note=f"two\n{EVIL}"),)},
        "warning": {"warnings": (EVIL,)},
        "rig": {"rig": (("interface.device", EVIL),)},
        "device": {"made_by": EVIL},
    }[where]
    assert 'alert("x")' in read_page(page(**changes)).said


@pytest.mark.long
def test_simulated_data_is_said_at_the_top():
    top = page()[: page().index("<svg")]
    assert "Measurement report: a pickup (simulated)" in top
    assert "virtual bench" in top
    told = page(answer=answer(simulated=False), takes=()).partition("What the words mean")[0]
    assert "simulated" not in told.lower()


@pytest.mark.long
def test_misfit_heads_the_page_and_stands_beside_each_value():
    text = page(answer=answer(outcome="misfit", floor=0.013))
    top = text[: text.index("<svg")]
    assert "INDICATIVE ONLY" in top
    assert "1.3 %" in top
    assert "8.10 kHz" in top
    assert top.count("indicative only") >= 6
    assert "INDICATIVE" not in page()


@pytest.mark.long
def test_item_operator_and_what_was_amended_are_told_of_a_take():
    amended = (Amendment(time_utc="2026-02-01T12:00:00.000Z", key="added", before="2n", after="1n ± 1%"),)
    stated = Conditions(added="1n ± 1%", item="red one", operator="me")
    said = read_page(page(takes=(msgspec.structs.replace(take(), conditions=stated, amended=amended),)))
    assert said.headings[0] == "Measurement report: red one (simulated)"
    assert "red one · added: 1n ± 1% · by me · 2026-01-31T12:00:00.000Z" in said.said
    assert "before" in said.columns
    assert "2n" in said.said


@pytest.mark.long
def test_references_with_their_source_and_date():
    rows = (("dcr", "6.35k ± 1%", "meter no. 3", "2026-03-01"), ("input.resistance", "1M ± 1%", "", ""))
    said = read_page(page(references=rows))
    assert {"source", "date"} <= set(said.columns)
    assert "meter no. 3" in said.said
    assert "source" not in read_page(page(references=tuple(row[:2] for row in rows))).columns
