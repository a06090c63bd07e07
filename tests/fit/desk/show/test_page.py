"""Pages: one file, well formed, needing nothing from elsewhere, every text from outside escaped; and what a report holds."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure.logbook.kept import findings_to_keep

from fit.answers.confirm.confirmation import confirm_part
from fit.answers.figures import Estimate
from fit.desk.questions.report import figures_of
from fit.desk.show.page import html
from fit.desk.show.sheet import Headlines, Listing, Mark, Notice, Picture, Section, Sheet, Table, Text
from fit.desk.show.sheets.report import sheet_of_report
from measure.logbook.take import RecordingFile, Take
from measure.quantity import parse_quantity
from measure.response import Finding
from tests.answer_by_hand import answer, estimate
from tests.pages import read_page

EVIL = '<script>alert("x")</script><img src=//evil.invalid/x.png onerror=alert(1)>'
ESTIMATE = Estimate(value=2.874, unit="H", standard_uncertainty=0.0157, low=2.843, high=2.905)


def take(name="open", *, outcome="good", note=""):
    findings = (
        Finding(code="clipped", severity="reject" if outcome == "rejected" else "pass", text="Largest sample.", figure=0.51),
        Finding(code="buried-in-hum", severity="warn", text="Hum is 12 dB under the signal.", figure=-41.2, unit="dBFS"),
    )
    return Take(
        name=name,
        added="1n ± 1%",
        note=note,
        time_utc="2026-01-31T12:00:00.000Z",
        rate_hz=96000,
        recordings=(RecordingFile(file="1.flac"),),
        outcome=outcome,
        findings=findings_to_keep(findings),
    )


def page(*, made_by="coilsweep 0.1.0", **changes):
    facts = {
        "takes": (take("open-loud", outcome="rejected"), take()),
        "rig": (("input.resistance", "1M ± 1%"), ("input.capacitance", "185p ± 3p")),
        "references": (("dcr", "6.35k ± 1%"),),
    } | changes
    found = facts.pop("answer", answer())
    return html(sheet_of_report(found, **facts), figures_of(found), footer=made_by)


def blocks_of(text):
    """One of each block, all saying the same."""
    plain = (
        Text((text, text)),
        Notice((text,), "bad"),
        Listing((text, (text, text))),
        Table((("", text), (text, Mark(text, "look")))),
        Headlines(text, ((text, ESTIMATE),), text),
    )
    return (*plain, Section(plain, heading=text, mark=Mark(text, "good")), Section(plain, label=text))


def test_every_block_has_its_element():
    sheet = Sheet(
        "Title",
        (
            Text(("two lines", "  of one paragraph")),
            Text(("small",), is_note=True),
            Notice(("grave",), "bad"),
            Table((("part", "value", "95 % interval"), ("Inductance", ESTIMATE), ("Verdict", Mark("within", "good"), ""))),
            Section((Section((Listing(("one", ("two", "of it"))),), heading="Inner"),), heading="Outer", mark=Mark("ok", "good")),
            Section((Text(("below",)),), label="Only here"),
        ),
    )
    text = html(sheet, footer="made by hand")
    for piece in (
        "<h1>Title</h1>",
        "<p>two lines of one paragraph</p>",
        '<p class="small">small</p>',
        '<div class="notice bad"><p>grave</p></div>',
        '<th scope="col">part</th><th scope="col">value</th>',
        '<th scope="row">Inductance</th><td class="figure">2.874 H</td><td class="figure">2.843 … 2.905 H</td>',
        '<td class="mark good">within</td>',
        '<h2>Outer <span class="mark good">ok</span></h2>\n<h3>Inner</h3>',
        '<li>two<p class="small">of it</p></li>',
        "<h2>Only here</h2>",
        '<footer class="small">made by hand</footer>',
    ):
        assert piece in text
    read_page(text)


def test_pictures_stand_where_the_sheet_has_them_and_a_missing_one_leaves_no_gap():
    from matplotlib.figure import Figure

    sheet = Sheet("T", (Picture("one", "First", "A line."), Text(("between",)), Picture("two", "Second", "Not drawn.")))
    text = html(sheet, {"one": lambda: Figure(figsize=(2, 1)), "other": lambda: pytest.fail("drawn for nothing")})
    said = read_page(text)
    assert said.headings == ["T", "First"]
    assert text.index("<svg") < text.index("between")
    assert ("svg", "aria-label", "First. A line.") in said.attributes


@given(st.text())
def test_any_text_is_text(text):
    page = read_page(html(Sheet(f"T{text}", blocks_of(text)), footer=text))
    assert set(page.tags) <= set(read_page(html(Sheet("T", blocks_of("x")), footer="x")).tags)


@pytest.mark.parametrize("text", [EVIL, "\"'&amp;<>", "a\x1b[31mb\x00c\u202ed\u2028e"])
def test_hostile_text_is_shown_as_text(text):
    page = read_page(html(Sheet(text, blocks_of(text)), footer=text))
    assert page.title == re.sub("[\x00\x1b\u202e\u2028]", "\N{REPLACEMENT CHARACTER}", text)
    assert page.said.count(page.title) > 20


def test_report_needs_nothing_from_elsewhere():
    text = page()
    said = read_page(text)
    references = [value for _, name, value in said.attributes if name == "href"]
    assert references
    assert "max-width:34rem" in text  # a phone
    assert "prefers-color-scheme:dark" in text
    assert text.count('<div class="wide">') == text.count("<table>") + text.count("<svg ")


def test_report_has_its_headings_and_columns():
    said = read_page(page())
    assert said.headings == [
        "A pickup, measured (simulated)",
        *("All values", "What a further take would tell", "Response", "At the jack", "What limits each value"),
        *("Model", "Agreement", "Takes and their checks", "open good", "open-loud rejected, not used for the values"),
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


def test_report_says_what_was_measured_with_intervals_budget_checks_rig_and_words():
    said = read_page(page()).said
    for text in (
        "2.874 H",
        "2.843 … 2.905 H",
        "91.3 pF",
        "added 1n in plus-1n (92 %)",
        "one coil, one eddy loop",
        "open-loud",
        "rejected, not used for the values",
        "added: 1n ± 1% · 2026-01-31T12:00:00.000Z · 96000 Hz",
        "1M ± 1%",
        "6.35k ± 1%",
        "both halves look alike from the jack",
        "lethal voltage",
        "What the words mean",
        "The coil seems to have moved",
    ):
        assert text in said


def test_marked_parts_come_with_rule_verdict_and_probability():
    marked = parse_quantity("33n ± 10%", "F")
    within = confirm_part("capacitor.tone", marked=marked, measured=estimate(30.6e-9, 1.5e-10, "F"))
    outside = confirm_part("capacitor.second", marked=marked, measured=estimate(36.2e-9, 2e-10, "F"))
    said = read_page(page(verdicts=(within, outside))).said
    for text in (
        "Marked parts",
        "guarded acceptance",
        "ISO/IEC 17025:2017, 7.8.6",
        "Tone capacitor  within marking",
        "Second capacitor  not resolved",
        "> 99.9 %",
        "69.1 %",
    ):
        assert text in said
    assert "Marked parts" not in page()


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


def test_simulated_data_is_said_at_the_top():
    top = page()[: page().index("<svg")]
    assert "A pickup, measured (simulated)" in top
    assert "virtual bench" in top
    assert "simulated" not in page(answer=answer(simulated=False), takes=()).lower()


def test_misfit_heads_the_page_and_stands_beside_each_value():
    text = page(answer=answer(outcome="misfit", floor=0.013))
    top = text[: text.index("<svg")]
    assert "INDICATIVE ONLY" in top
    assert "1.3 %" in top
    assert "8.10 kHz" in top
    assert top.count("indicative only") >= 6
    assert "INDICATIVE" not in page()
