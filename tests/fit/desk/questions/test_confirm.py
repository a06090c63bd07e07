"""The command confirm: on recordings of an instrument, and on answers written down by hand."""

import re
from dataclasses import replace

import pytest

from fit.answers.figures import NextTake, NotIdentified
from fit.circuit.layouts import layout_text
from fit.desk.book.instrument import open_instrument_file
from fit.desk.questions.confirm import judge_part, ways_out
from measure.logbook.conditions import Conditions
from measure.quantity import parse_quantity
from measure.response import Finding
from tests.answer_by_hand import answer as answer_by_hand
from tests.answer_by_hand import estimate
from tests.desk_bench import run, run_json
from tests.pages import read_page
from tests.recorded import RECORDINGS

INSTRUMENT = """\
name = "one pickup"
output = "tip"
[pickup.bridge]
ends = ["bridge hot", "ground"]
[pot.volume]
marked = "500k"
taper = "audio"
cw = "bridge hot"
wiper = "tip"
ccw = "ground"
[pot.tone]
value = "500k ± 10%"
taper = "audio"
wiper = "bridge hot"
ccw = "tone link"
[capacitor.tone]
marked = "33n ± 10%"
between = ["tone link", "ground"]
"""


def beside(folder, text):
    (folder / "instrument.toml").write_text(text, encoding="utf-8")
    return open_instrument_file(folder / "instrument.toml")


MARKED = parse_quantity("33n ± 10%", "F")
TAKE = NextTake(add="", text="one more take with the controls set to tone=0", predicted_relative_std=0.004)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """The recordings of an instrument: tone up, with 1 nF added, tone down; its tone capacitor is 30.6 nF."""
    from fit.desk.command.main import main

    folder = tmp_path_factory.mktemp("confirm")
    at = ["--logbook", str(folder)]
    rig = ["--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--reference", "current"]
    assert main(["rig", *rig, "--sense-resistor", "100 ± 1%", *at]) == 0
    (folder / "instrument.toml").write_text(INSTRUMENT.replace("value =", "marked ="), encoding="utf-8")
    takes = {"tone-up": ["tone=10"], "tone-up-plus-1n": ["tone=10"], "tone-down": ["tone=0"]}
    for name, settings in takes.items():
        words = ["--set", "volume=10", "--set", *settings, *(["--add", "1n ± 1%"] if name.endswith("1n") else [])]
        file = RECORDINGS / "tone-capacitor" / f"{name}.flac"
        stimulus = RECORDINGS / "stimulus-48000.flac"
        assert main(["import", name, str(file), "--stimulus", str(stimulus), *words, *at]) == 0
    return folder


# The recording's own file states 30.6 nF: 33 nF ± 10 % allows 29.7 to 36.3.
@pytest.mark.long
def test_a_tone_capacitor_within_its_marking(book, capsys, tmp_path):
    words = ["tone-up", "tone-up-plus-1n", "tone-down", "--dcr", "7150 ± 1%", "--logbook", book]
    code, document, _ = run_json(
        capsys, "confirm", "capacitor.tone", *words, "--plot", tmp_path / "c.png", "--page", tmp_path / "c.html"
    )
    assert code == 0
    page = read_page((tmp_path / "c.html").read_text(encoding="utf-8"))
    assert str(tmp_path / "c.html") in document["written"]
    assert page.headings == [
        *("Tone capacitor: within marking", "Measured and marked", "The circuit", "Connections", "What was found"),
        "What makes it uncertain (95 %, share of the variance)",
    ]
    assert ("div", "class", "verdict good") in page.attributes
    assert document["schema"] == "coilsweep.confirm/1"
    assert document["verdict"] == "within marking"
    assert document["measured"]["value"] == pytest.approx(30.6e-9, rel=0.01)
    low, high = document["measured"]["interval_95"]
    assert low < 30.6e-9 < high
    assert high - low < 0.04 * 30.6e-9
    assert (document["nearest_preferred"], document["code"]) == ("33 nF (E6)", "333K")
    assert document["budget"]
    assert document["next_take"] is None
    rule = document["decision_rule"]
    assert (rule["side"], rule["guard_band"]["unit"], rule["guard_band"]["scale"]) == ("inside", "F", "logarithmic")
    assert rule["guard_band"]["value"] == pytest.approx((high - low) / 2)
    assert rule["limits"] == pytest.approx([29.7e-9, 36.3e-9])
    # the guard band is a factor: each limit is moved by as much as the interval's end lies off the value
    assert rule["acceptance"] == pytest.approx([29.7e-9 * 30.6e-9 / low, 36.3e-9 * 30.6e-9 / high], rel=0.01)
    assert rule["acceptance"][0] < document["measured"]["value"] < rule["acceptance"][1]
    assert document["conformance_probability"] > 0.999
    assert document["specific_risk"] == pytest.approx(1 - document["conformance_probability"], abs=1e-12)
    assert (tmp_path / "c.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.long
def test_without_the_tone_down_take_it_is_not_resolved(book, capsys):
    words = ["tone-up", "tone-up-plus-1n", "--dcr", "7150 ± 1%", "--logbook", book]
    code, out, _ = run(capsys, "confirm", "capacitor.tone", *words, "--marked", "473J")
    assert code == 0
    assert "47 nF ± 5 %, from 473 and J  44.65 nF … 49.35 nF allowed" in out  # what is typed goes before instrument.toml
    assert "NOT RESOLVED" in out
    assert "tone=0" in out
    assert "measured" not in out
    assert "accepted" not in out


@pytest.mark.long
def test_without_a_scale_the_multimeter_is_named(book, capsys):
    words = ["confirm", "capacitor.tone", "tone-up", "tone-down", "--logbook", book]
    code, out, _ = run(capsys, *words)
    assert (code, "NOT RESOLVED" in out) == (0, True)
    ways = " ".join(out[out.index("What may tell it") :].split())
    assert 'one more take with a known part across the jack, for example --add "1n ± 1%", the exciter left where it is' in ways
    assert 'the resistance of the winding by a multimeter, for example --dcr "6.35k ± 1%"' in ways
    document = run_json(capsys, *words)[1]
    assert [text.partition(": ")[0] for text in document["warnings"][:2]] == ["What may tell it"] * 2
    assert "NOT RESOLVED" not in run(capsys, *words, "--dcr", "7150 ± 1%")[1]


@pytest.mark.parametrize(
    ("added", "dcr", "ways"),
    [
        ("", None, ["one more take with a known part", "the resistance of the winding"]),
        ("1n", None, ["the resistance of the winding"]),
        ("", "7k", ["one more take with a known part"]),
        ("1n", "7k", ["one more take with another known part"]),
    ],
)
def test_what_is_not_resolved_always_has_a_way_out(tmp_path, added, dcr, ways):
    fitted = answer_by_hand()
    judged = judge_part("capacitor.tone", MARKED, fitted)  # which these takes do not tell
    made = [Conditions(), Conditions(added=added)]
    found = ways_out(judged, fitted, beside(tmp_path, INSTRUMENT), made=made, dcr=dcr)
    assert [any(way.startswith(begun) for way in found) for begun in ways] == [True] * len(ways)
    assert len(found) == len(ways)
    helped = replace(judged, next_take=TAKE)
    assert ways_out(helped, fitted, beside(tmp_path, INSTRUMENT), made=made, dcr=dcr) == ()
    misfit = replace(fitted, outcome="misfit")  # which says itself what to look at
    assert ways_out(judged, misfit, beside(tmp_path, INSTRUMENT), made=made, dcr=dcr) == ()


@pytest.mark.long
# A starting file's markings are usual ones that nobody has read off a part: neither answer judges by them.
def test_an_untouched_starting_file_is_no_marking_here_nor_in_the_report(book, capsys, tmp_path):
    own = (book / "instrument.toml").read_text(encoding="utf-8")
    words = ["tone-up", "tone-up-plus-1n", "tone-down", "--dcr", "7150 ± 1%", "--logbook", book]
    try:
        (book / "instrument.toml").write_text(layout_text("one-pickup"), encoding="utf-8")
        code, out, _ = run(capsys, "confirm", "capacitor.tone", *words)
        assert (code, "NOT RESOLVED: nothing is marked on it that could be tested" in out) == (0, True)
        assert "measured           30.5" in out
        assert "for example --marked 223K, or written into" in out
        assert "only usual ones as long as nobody has changed it" in " ".join(out.split())
        assert "one more take" not in out
        assert "WITHIN MARKING" in run(capsys, "confirm", "capacitor.tone", *words, "--marked", "333K")[1]
        _, out, _ = run(capsys, "fit", *words)
        assert f"Next: coilsweep report --logbook {book}" in out
        assert run(capsys, "report", tmp_path / "report.html", "--logbook", book)[0] == 0
        assert "How marked parts were judged" not in (tmp_path / "report.html").read_text(encoding="utf-8")
        (book / "instrument.toml").write_text(layout_text("one-pickup").replace("22n", "33n"), encoding="utf-8")
        assert "WITHIN MARKING" in run(capsys, "confirm", "capacitor.tone", *words)[1]
    finally:
        (book / "instrument.toml").write_text(own, encoding="utf-8")


@pytest.mark.long
def test_the_report_judges_every_marked_part_that_is_told(book, capsys, tmp_path):
    words = ["tone-up", "tone-up-plus-1n", "tone-down", "--logbook", book]
    assert run(capsys, "fit", *words, "--dcr", "7150 ± 1%")[0] == 0
    assert run(capsys, "report", tmp_path / "report.html", "--logbook", book)[0] == 0
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert re.search(r"[1-3] of 3 marked parts within their marking", page[: page.index("<svg")])
    marked = page[page.index("<h2>How marked parts were judged</h2>") :]
    marked = marked[: marked.index("</details>")]
    assert 'Tone capacitor <span class="mark good">within marking</span>' in marked
    assert marked.count("guard band w = U") == marked.count("<h3>") + 1 == 4  # once as the rule, and by how much for each part
    assert "&gt; 99.9 %" in marked


def test_what_cannot_be_confirmed_is_refused(book, capsys, tmp_path):
    code, _, err = run(capsys, "confirm", "capacitor.bass", "tone-up", "--logbook", book)
    assert code == 2
    assert 'no part "capacitor.bass" in instrument.toml, expected one of pot.volume, pot.tone, capacitor.tone' in err
    code, _, err = run(capsys, "confirm", "capacitor.tone", "tone-up", "--plot", "c.pdf", "--logbook", book)
    assert code == 2
    assert "give a name that ends in .png" in err
    code, _, err = run(capsys, "confirm", "capacitor.tone", "tone-up", "--marked", "big", "--logbook", book)
    assert code == 2
    assert '"big" is not a capacitance' in err
    code, _, err = run(capsys, "confirm", "pot.tone", "tone-up", "--logbook", tmp_path)
    assert code == 2


def test_a_known_value_is_no_claim_to_be_tested(tmp_path, capsys):
    run(capsys, "rig", "--sense-resistor", "100", "--logbook", tmp_path)
    code, _, err = run(capsys, "confirm", "pot.tone", "tone-up", "--logbook", tmp_path)
    assert code == 2
    assert "instrument.toml is not there" in err
    (tmp_path / "instrument.toml").write_text(INSTRUMENT, encoding="utf-8")
    code, _, err = run(capsys, "confirm", "pot.tone", "tone-up", "--logbook", tmp_path)
    assert code == 2
    assert 'states pot.tone as known, so the fit relies on it and cannot test it: write marked = "500k ± 10%" for value' in err


def fitted(**changes):
    return replace(answer_by_hand(), **changes)


def test_the_reason_and_the_missing_take_come_from_the_fit():
    untold = NotIdentified(quantity="capacitor.tone", why="a pot hides it", next_take=TAKE)
    judged = judge_part("capacitor.tone", MARKED, fitted(not_identified=(untold,)))
    assert (judged.verdict, judged.why, judged.next_take) == ("not resolved", "a pot hides it", TAKE)
    nowhere = judge_part("capacitor.tone", MARKED, fitted(not_identified=()))
    assert (nowhere.verdict, nowhere.next_take) == ("not resolved", None)


def test_a_misfit_gives_no_verdict():
    quantities = {"capacitor.tone": estimate(33e-9, 1e-10, "F")}
    assert judge_part("capacitor.tone", MARKED, fitted(quantities=quantities)).verdict == "within marking"
    helpful = {"capacitor.tone": (TAKE,)}
    judged = judge_part("capacitor.tone", MARKED, fitted(quantities=quantities, outcome="misfit", next_takes=helpful))
    assert (judged.verdict, judged.next_take) == ("not resolved", None)
    assert judged.why == "the value is indicative only: model and measurement do not go together"
    doubt = Finding(code="pull", severity="reject", text="dcr as stated lies 9 σ from what the takes say")
    judged = judge_part("capacitor.tone", MARKED, fitted(quantities=quantities, outcome="misfit", findings=(doubt,)))
    assert judged.why == "the value is indicative only: dcr as stated lies 9 σ from what the takes say"
