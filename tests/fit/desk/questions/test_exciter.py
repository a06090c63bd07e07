"""The command exciter as it is typed: both directions, lines, document, defaults, wrong words."""

import json
import shlex

import pytest

from fit.answers.exciter.conductor import enamelled_diameter_m
from tests.desk_bench import run, run_json, run_plain
from tests.pages import read_page


@pytest.mark.long
def test_design_then_analysis_agree(capsys, tmp_path):
    asked = ["--former", "24x10", "--source-level", "4 dBu", "--source", "line", "--distance", "8", "--temperature", "25"]
    code, designed, _ = run_json(capsys, "exciter", "--logbook", tmp_path, *asked)
    assert (code, designed["mode"]) == (0, "design")
    _, out, _ = run(capsys, "exciter", "--logbook", tmp_path, *asked)
    printed = next(line for line in out.splitlines() if line.strip().startswith("coilsweep exciter"))
    code, analysed, _ = run_json(capsys, *shlex.split(printed)[1:], "--logbook", tmp_path)
    assert (code, analysed["mode"]) == (0, "analysis")
    for key in ("winding", "drive", "pickup", "quantities", "pickup_voltage", "checks"):
        assert analysed[key] == designed[key]


COIL = ("--turns", "100", "--wire", "AWG 32")


def test_document(capsys, tmp_path):
    code, document, err = run_json(capsys, "exciter", "--logbook", tmp_path, *COIL, "--at", "440", "--former", "20 mm ± 0.2 mm")
    assert (code, err, document["schema"]) == (0, "", "coilsweep.exciter/1")
    assert document["winding"]["wire_m"] == pytest.approx(0.2019e-3, abs=1e-7)
    assert document["winding"]["enamelled_m"] == pytest.approx(enamelled_diameter_m(document["winding"]["wire_m"]), rel=1e-12)
    units = {name: quantity["unit"] for name, quantity in document["quantities"].items()}
    assert units["inductance"] == "H"
    assert units["coil_power"] == "W"
    for quantity in (*document["quantities"].values(), *document["pickup_voltage"]):
        low, high = quantity["interval_95"]
        assert low < quantity["value"] < high
        assert quantity["standard_uncertainty"] > 0
    assert [voltage["frequency_hz"] for voltage in document["pickup_voltage"]] == [440.0]
    voltage = document["pickup_voltage"][0]
    assert voltage["interval_95"][1] / voltage["value"] == pytest.approx(2.0, abs=0.2)  # said to be within a factor of two
    assert [check["name"] for check in document["checks"]][:2] == ["fits", "output-load"]


@pytest.mark.long
def test_lines_for_people(capsys, tmp_path):
    code, out, err = run_plain(
        capsys, "exciter", "--logbook", tmp_path, *COIL, "--source", "line", "--page", tmp_path / "coil.html"
    )
    assert (code, err) == (0, f"Written: {tmp_path / 'coil.html'}\n")
    page = read_page((tmp_path / "coil.html").read_text(encoding="utf-8"))
    assert page.headings[:3] == ["An exciter", "To expect in the pickup", "What it does"]
    assert page.columns == ["value", "95 % interval"]
    assert "output overloaded" in page.said
    assert out.startswith("LOOK AT THIS: ")
    assert " Exciter: 100 turns of AWG 32 enamelled copper wire on a round former of 20 mm, no iron " in out
    assert "output overloaded: it would drive 103 Ω, less than the 600 Ω it is made for" in out
    assert "sense resistor 100 Ω (--sense-resistor)" in out
    assert "Sweeps are loud: monitors down" in out
    block = run_plain(capsys, "exciter", "--logbook", tmp_path, *COIL, "--former", "70×12")[1]
    assert "on a former of 70 × 12 mm" in block
    assert "Neumann's rectangles" in block


@pytest.mark.long
def test_the_rig_gives_the_sense_resistor(capsys, tmp_path):
    assert run(capsys, "rig", "--logbook", tmp_path, "--sense-resistor", "220 ± 1%")[0] == 0
    for words in (COIL, ()):
        document = run_json(capsys, "exciter", "--logbook", tmp_path, *words)[1]
        assert document["drive"]["sense_ohm"] == 220.0
        assert "sense resistor 220 ± 1% from rig.toml" in document["assumed"]
    assert run_json(capsys, "exciter", "--logbook", tmp_path, *COIL, "--sense-resistor", "47")[1]["drive"]["sense_ohm"] == 47.0


def test_stated_figures_leave_no_assumption(capsys, tmp_path):
    words = (
        *COIL, "--sense-resistor", "100 ± 1%", "--source-resistance", "0", "--minimum-load", "32", "--pickup-turns", "7500",
        "--pickup-size", "25", "--pickup-height", "9",
    )  # fmt: skip
    document = run_json(capsys, "exciter", "--logbook", tmp_path, *words)[1]
    assert document["assumed"] == []
    assert document["pickup"]["is_round"] is True
    assert document["drive"]["source_ohm"] == 0.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--turns", "100"), 'say of which wire the turns are: --wire "0.2 mm"'),
        (("--turns", "0", "--wire", "0.2"), "0 turns: expected 1 to 3000"),
        (("--turns", "10", "--wire", "32"), "for the gauge write AWG 32"),
        (("--turns", "10", "--wire", "AWG 77"), "AWG 77 is not a gauge"),
        (("--wire", "3", "--length", "2"), "has no room in a winding space of 2 mm by 3 mm"),
        (("--source-level", "-12 dBFS"), "dBFS says nothing of volts"),
        (("--source-level", "230 V"), "expected 0.001 to 30 V"),
        (("--former", "wide"), 'former "wide" is not a length'),
        (("--former", "20x"), 'former "" is not a length'),
        (("--distance", "5 ± 6"), "a bound smaller than the length"),
        (("--sense-resistor", "100n"), "is not a resistance"),
        (("--rating", "big"), 'rating "big" is not a power'),
        (("--pickup-turns", "nan"), "nan turns on the pickup: expected 1 to 100000"),
        (("--at", "treble"), "is not a frequency"),
        ((*COIL, "--current", "5m"), "--current is for a coil to wind: leave out --turns"),
        ((*COIL, "--pickup-voltage", "5m"), "--pickup-voltage is for a coil to wind"),
    ],
)
def test_wrong_words_are_answered_in_one_line(capsys, tmp_path, words, said):
    code, out, err = run(capsys, "exciter", "--logbook", tmp_path, *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    code, document, _ = run_json(capsys, "exciter", "--logbook", tmp_path, *words)
    assert (code, document["schema"]) == (2, "coilsweep.error/1")
    assert json.dumps(document)
