"""Limits of an exciter: each is found where it is passed, and the cure that is named helps."""

from dataclasses import replace

import pytest

from fit.answers.exciter.limits import Strain, check_exciter
from fit.answers.exciter.rating import analyse_exciter
from tests.exciter_setups import DRIVE, SETUP, driven, warned, wound

QUIET = replace(SETUP, drive=replace(DRIVE, level_v=0.1))


@pytest.mark.parametrize(
    ("code", "good", "bad"),
    [
        ("fits", wound(turns=455), wound(turns=456)),
        ("output-load", driven(minimum_load_ohm=100.0), driven(minimum_load_ohm=110.0)),
        ("resistor-power", driven(level_v=4.5), driven(level_v=12.0)),
        ("coil-warmth", driven(level_v=5.0), replace(wound(wire_m=5e-5), drive=replace(DRIVE, level_v=20.0, sense_ohm=10.0))),
        ("corner", SETUP, wound(turns=400)),
        ("pickup-level", QUIET, driven(level_v=5.0)),
        ("pickup-level", QUIET, driven(level_v=2e-3)),
    ],
)
def test_each_limit_is_found_and_only_where_it_is_passed(code, good, bad):
    assert code not in warned(good)
    assert code in warned(bad)


def test_the_cures_that_are_named_work():
    texts = {f.code: f.text for f in analyse_exciter(driven(level_v=12.0, minimum_load_ohm=600.0), bounds={}, at_hz=()).findings}
    needed_ohm = float(texts["output-load"].split("resistor of ")[1].split(" Ω")[0])
    assert "output-load" not in warned(driven(minimum_load_ohm=600.0, sense_ohm=needed_ohm))
    assert "output-load" in warned(driven(minimum_load_ohm=600.0, sense_ohm=needed_ohm - 2))
    level_v = float(texts["resistor-power"].split("down to ")[1].split(" V")[0])
    assert "resistor-power" not in warned(driven(level_v=0.97 * level_v))  # printed with two digits
    begin_v = float(texts["pickup-level"].split("output at ")[1].split(" V")[0])
    assert "pickup-level" not in warned(driven(level_v=begin_v))


SOUND = Strain(
    turns=60, most_turns=455, level_v=1.0, source_ohm=30.0, sense_ohm=100.0, load_ohm=120.0, minimum_load_ohm=16.0,
    sense_power_w=0.06, rating_w=0.25, coil_rise_k=1.0, corner_hz=25e3, emf_v=0.01,
)  # fmt: skip
CODES = ("fits", "output-load", "resistor-power", "coil-warmth", "corner", "pickup-level")


def found(code, **changes):
    findings = check_exciter(replace(SOUND, **changes))
    assert tuple(finding.code for finding in findings) == CODES
    return findings[CODES.index(code)]


# What is just allowed, and what no longer is: half the rating, 20 K, 20 kHz, a peak of 1 V = √2 · 10 · 70.7 mV, 3 mV.
@pytest.mark.parametrize(
    ("code", "good", "bad", "said"),
    [
        ("fits", {"turns": 455}, {"turns": 456}, "456 turns do not fit: room is for 455"),
        ("output-load", {"load_ohm": 16.0}, {"load_ohm": 15.9}, "it would drive 15.9 Ω, less than the 16 Ω"),
        ("resistor-power", {"sense_power_w": 0.125}, {"sense_power_w": 0.126}, "resistor hot: the sense resistor takes 126 mW"),
        ("resistor-power", {"sense_power_w": 0.1}, {"sense_power_w": 0.251}, "resistor overloaded: "),
        ("coil-warmth", {"coil_rise_k": 20.0}, {"coil_rise_k": 20.1}, "coil overheats: about 20 K above the room (limit 20 K)"),
        ("corner", {"corner_hz": 20e3}, {"corner_hz": 19.9e3}, "the corner, 19.9 kHz, lies below 20 kHz"),
        ("pickup-level", {"emf_v": 0.0707}, {"emf_v": 0.0708}, "many inputs take 1 V"),
        ("pickup-level", {"emf_v": 3e-3}, {"emf_v": 2.9e-3}, "gives only 3 mV at 5 kHz"),
    ],
)  # fmt: skip
def test_edges_of_each_limit(code, good, bad, said):
    assert found(code, **good).severity == "pass"
    assert found(code, **bad).severity == "warn"
    assert said in found(code, **bad).text
    assert said not in found(code, **good).text
    assert [finding.code for finding in check_exciter(replace(SOUND, **bad)) if finding.severity == "warn"] == [code]


def test_cures_by_hand():
    # 110 Ω are 490 Ω short of 600 Ω: 100 + 490
    assert "sense resistor of 590 Ω or more" in found("output-load", load_ohm=110.0, minimum_load_ohm=600.0).text
    assert "sense resistor of 591 Ω or more" in found("output-load", load_ohm=109.5, minimum_load_ohm=600.0).text
    # power goes with the square of the level: a quarter of 0.5 W is half of 0.25 W
    assert "down to 2 V rms, or take a resistor rated 1 W" in found("resistor-power", sense_power_w=0.5, level_v=4.0).text
    # to 10 K, half of what is allowed
    assert "down to 1.5 V rms" in found("coil-warmth", coil_rise_k=40.0, level_v=3.0).text
    # a peak of 10 V: a tenth of 5 V, and half of that
    loud = found("pickup-level", emf_v=1 / 2**0.5, level_v=5.0).text
    assert "at 5 V rms its peak may reach 10 V" in loud
    assert "begin with the output at 0.2 V rms" in loud  # 0.25, of which one digit is shown


def test_figures_and_units():
    figures = {finding.code: (finding.figure, finding.unit) for finding in check_exciter(SOUND)}
    assert figures == {
        "fits": (455.0, "turns"),
        "output-load": (120.0, "Ω"),
        "resistor-power": (0.06, "W"),
        "coil-warmth": (1.0, "K"),
        "corner": (25e3, "Hz"),
        "pickup-level": (0.01, "V"),
    }
