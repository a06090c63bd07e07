"""The report: one file, well formed, needing nothing from elsewhere, every text from outside escaped."""

import re
from html.parser import HTMLParser

import pytest

from fit.answers.confirm.confirmation import confirm_part
from fit.desk.show.page import Sheet, TakeSheet, report_html
from measure.quantity import parse_quantity
from measure.response import Finding
from tests.answer_by_hand import answer, estimate

EVIL = '<script>alert("x")</script><img src=http://evil.invalid/x.png onerror=alert(1)>'
VOID = {"meta", "br", "img", "hr", "input", "link"}


class Reader(HTMLParser):
    """Collects tags, attributes and text, and sees that what opens is closed."""

    def __init__(self):
        super().__init__()
        self.stack, self.tags, self.attributes, self.texts = [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]

    def handle_endtag(self, tag):
        assert self.stack.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data):
        self.texts.append(data)


def take_sheet(name="open", *, outcome="good", note="", is_fitted=True):
    findings = (
        Finding(code="clipped", severity="reject" if outcome == "rejected" else "pass", text="Largest sample.", figure=0.51),
        Finding(code="buried-in-hum", severity="warn", text="Hum is 12 dB under the signal.", figure=-41.2, unit="dBFS"),
    )
    return TakeSheet(
        name=name,
        added="1n ± 1%",
        controls="",
        note=note,
        made="2026-01-31T12:00:00.000Z",
        sound="96000 Hz",
        outcome=outcome,
        findings=findings,
        is_fitted=is_fitted,
    )


def page(**changes):
    facts = {
        "answer": answer(),
        "takes": (take_sheet(), take_sheet("open-loud", outcome="rejected", is_fitted=False)),
        "rig": (("input.resistance", "1M ± 1%"), ("input.capacitance", "185p ± 3p")),
        "references": (("dcr", "6.35k ± 1%"),),
        "warnings": (),
        "made_by": "coilsweep 0.1.0",
    }
    return report_html(Sheet(**(facts | changes)))


def read(text):
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.stack == []
    return reader


def test_page_is_well_formed_and_needs_nothing_from_elsewhere():
    text = page()
    reader = read(text)
    assert text.startswith("<!doctype html>")
    assert not {"script", "link", "iframe", "img", "object", "embed", "base", "form"} & set(reader.tags)
    references = [value for _, name, value in reader.attributes if name in ("href", "src", "xlink:href", "srcset", "action")]
    assert references
    assert all(value.startswith("#") for value in references)
    assert "http:" not in text
    assert "https:" not in text
    assert "@import" not in text
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", text))
    ids = [value for _, name, value in reader.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    assert ("meta", "name", "viewport") in reader.attributes


def test_page_says_what_was_measured_with_intervals_budget_checks_rig_and_words():
    said = " ".join(read(page()).texts)
    for text in (
        "2.874 H",
        "2.843 … 2.905 H",
        "91.3 pF",
        "added 1n in plus-1n (92 %)",
        "one coil, one eddy loop",
        "open-loud",
        "rejected, not used for the values",
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
    said = " ".join(read(page(verdicts=(within, outside))).texts)
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
def test_text_from_outside_is_escaped(where):
    changes = {
        "take": {"takes": (take_sheet(EVIL),), "answer": answer(take_name=EVIL)},
        "note": {"takes": (take_sheet(note=EVIL),)},
        "warning": {"warnings": (EVIL,)},
        "rig": {"rig": (("interface.device", EVIL),)},
        "device": {"made_by": EVIL},
    }[where]
    reader = read(page(**changes))
    assert "script" not in reader.tags
    assert "img" not in reader.tags
    assert not [name for _, name, _ in reader.attributes if name.startswith("on")]
    assert 'alert("x")' in "".join(reader.texts)


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
