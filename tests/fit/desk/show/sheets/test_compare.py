"""What a comparison found, as a sheet: parts, responses, hum and noise, a foil's signal, each where it is told."""

from dataclasses import replace

import pytest

from fit.desk.show.sheet import Mark, Verdict
from fit.desk.show.sheets.compare import is_drawn, sheet_of_compare, verdict_mark
from measure.response import Finding
from tests.changes_by_hand import changed_foil, changed_noise, changed_parts, misfit
from tests.sheet_parts import headings, pictures, said, tables


def sheet(parts=None, noise=None, shielding=None, *, simulated=False, warnings=()):
    return sheet_of_compare(parts, noise, shielding, simulated=simulated, warnings=warnings)


def test_parts_stand_before_and_after_with_their_verdicts():
    rows = tables(sheet(changed_parts()))[0].rows
    assert [row[0] for row in rows] == ["", "Inductance", "Winding capacitance"]
    assert rows[1][2] == ""  # not there after the job
    assert rows[2][1:3] == ("100 pF", "160 pF")
    assert rows[1][-1] == "not resolved"
    assert rows[2][-1] == Mark("changed", "look")
    assert "changed: beyond 2.6 standard uncertainties" in said(sheet(changed_parts()))


def test_what_is_not_told_is_named_but_not_what_a_part_has_beside_its_value():
    text = said(sheet(changed_parts()))
    assert "Winding resistance (dcr): the takes do not tell it" in text
    assert "not at 0" not in text


def test_responses_name_where_they_changed_most():
    assert "before-1 to after-1: most at 15.0 kHz, −6.00 dB (−6.20 … −5.80 dB): changed" in said(sheet(changed_parts()))


def test_a_misfit_heads_the_parts():
    found = sheet(changed_parts(outcome="misfit", findings=(misfit(),)))
    verdict = found.blocks[0]
    assert verdict == Verdict(
        "INDICATIVE ONLY: what was measured and what was stated do not go together.", "bad", ("dcr as stated lies 9 σ off",)
    )


def test_the_verdict_names_what_changed_before_all_else():
    verdict = sheet(changed_parts(), noise=changed_noise()).blocks[0]
    assert isinstance(verdict, Verdict)
    assert verdict.text.startswith("CHANGED: ")
    assert "hum −14.00 dB" in verdict.text
    assert "values changed by more than chance" in verdict.lines[0]


def test_a_foil_alone_gives_its_own_verdict():
    verdict = sheet(shielding=changed_foil()).blocks[0]
    assert verdict.text.startswith("Foil near the wiring: ")


def test_where_nothing_changed_that_is_said():
    assert sheet().blocks[0] == Verdict("NOTHING CHANGED that these takes can tell.", "good")


def test_hum_that_is_known_and_noise_that_is_bounded():
    (table,) = tables(sheet(noise=changed_noise()))
    hum, noise = table.rows[1:]
    assert hum[:3] == ("Hum", "−60.0 dBFS", "−74.0 dBFS")
    assert hum[3].value == -14.0
    assert noise == ("Noise without it", "−60.0 dBFS", "none found", "at least −6.0 dB", "", "at least")
    assert said(sheet(noise=changed_noise())).count("one take a side") == 1


def test_bands_of_a_foil_and_its_capacitance():
    found = sheet(shielding=changed_foil())
    (table,) = tables(found)
    assert [row[0] for row in table.rows] == ["band", "100 Hz", "1.00 kHz"]  # none near 10 kHz
    assert table.rows[1][1:] == ("−20.0 dB or more", "", "at least")
    assert "capacitance between foil and wiring before: 2.000 pF" in said(found)
    assert "wiring after" not in said(found)


@pytest.mark.parametrize(
    ("parts", "shielding", "expected"),
    [
        (None, None, False),
        (changed_parts(), None, True),
        (changed_parts(responses=0), None, False),
        (None, changed_foil(), True),
        (changed_parts(responses=0), changed_foil(), True),
    ],
)
def test_there_is_a_picture_where_there_is_a_response_on_both_sides(parts, shielding, expected):
    assert is_drawn(parts, shielding) is expected
    assert pictures(sheet(parts, shielding=shielding)) == (["change", "circuit"] if expected else ["circuit"])


def test_what_was_noticed_is_said_once_and_what_is_simulated_too():
    warned = changed_parts(findings=(Finding(code="x", severity="warn", text="look here"),))
    found = sheet(warned, simulated=True, warnings=("look here", "and there"))
    assert said(found).count("look here") == 1
    assert "and there" in said(found)
    assert found.title == "What the job changed (simulated)"
    assert headings(sheet(noise=changed_noise())) == ["Hum and noise"]


def test_only_a_change_is_coloured():
    assert verdict_mark("changed") == Mark("changed", "look")
    assert verdict_mark("not resolved") == "not resolved"


def test_no_heading_stands_over_nothing():
    whole, bare = changed_parts(), replace(changed_parts(), responses=())
    assert "Response at the jack, for the same field" in headings(sheet(whole))
    assert "Response at the jack, for the same field" not in headings(sheet(bare))
