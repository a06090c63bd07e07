"""What a job needs on the bench: the list, the exciter, the drawing."""

from dataclasses import replace

import pytest

from fit.desk.guide.needs import coil_to_wind
from fit.desk.show.page import html
from fit.desk.show.sheets.needs import BENCH, TIMES, sheet_of_needs
from fit.desk.show.terminal import lines
from tests.desk_bench import run


@pytest.mark.parametrize("job", TIMES)
def test_all_that_is_needed_is_listed_with_the_time(job):
    text = " ".join(" ".join(lines(sheet_of_needs(job, coil_to_wind(), virtual=False))).split())
    for word in ("audio interface", "cable", "exciter", "sense resistor", "multimeter", TIMES[job]):
        assert word in text
    assert ("about 1 nF" in text) is (job != "wiring")
    assert "virtual" not in text
    assert any("nothing of it has to be there" in line for line in lines(sheet_of_needs(job, coil_to_wind(), virtual=True)))


@pytest.mark.parametrize("job", TIMES)
def test_the_interface_stands_upright_within_80_columns(job):
    drawn = [line for line in lines(sheet_of_needs(job, coil_to_wind(), virtual=False)) if line.endswith(("|", "+"))]
    assert len(drawn) == len(BENCH) - 1
    assert {len(line) for line in drawn} == {len(drawn[0])}
    assert {line[44] for line in drawn} == {"|", "+"}
    assert max(map(len, drawn)) < 80


@pytest.mark.long
def test_the_exciter_is_the_one_that_the_command_proposes(capsys, tmp_path):
    coil = coil_to_wind()
    _, out, _ = run(capsys, "exciter", "--logbook", tmp_path)
    said = " ".join(out.split())
    assert f"Wind {coil.turns} turns of {coil.wire} enamelled copper wire on a round former of 20 mm" in said
    assert f"a sense resistor of {coil.sense_ohm:.0f} Ω" in said
    other = "\n".join(lines(sheet_of_needs("pickup", replace(coil, turns=77, wire="0.1 mm"), virtual=False)))
    assert "77 turns of 0.1 mm" in other


def test_a_page_keeps_the_columns_of_the_drawing():
    page = html(sheet_of_needs("guitar", coil_to_wind(), virtual=False))
    assert "<pre>" in page
    assert "+---------------------+" in page.partition("<pre>")[2].partition("</pre>")[0]
