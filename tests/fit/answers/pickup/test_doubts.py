"""What is said of statements that the takes contradict: found, in figures, with a cure, in one line."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.pickup import doubts
from fit.answers.pickup.characterisation import answer_of
from fit.answers.pickup.contradictions import released_of
from fit.estimate.ladder import choose_model
from fit.estimate.parameters import ACROSS_UNIT_S, Parameter
from measure.quantity import parse_quantity
from tests.guitar_cases import THREE_TAKES, draw_one_pickup
from tests.guitar_evidence import evidence_of_guitar
from tests.recorded import evidence_of

TAKES = ["open", "plus-1n"]
LONGEST = 210  # characters of the longest line that a terminal is asked to show


def changed(evidence, change):
    """Evidence with each response changed: value and rate to value."""
    takes = []
    for take in evidence.takes:
        response = take.response
        value = response.value * change(2j * np.pi * response.frequency_hz, response.origin.rate_hz)
        takes.append(replace(take, response=replace(response, value=value)))
    return replace(evidence, takes=tuple(takes))


def fitted(evidence):
    choice = choose_model(evidence)
    return choice, {finding.code: finding for finding in answer_of(choice).findings}


def is_one_readable_line(text):
    return text.isprintable() and len(text) <= LONGEST and not text.endswith(".")


@pytest.mark.long
def test_added_part_off_its_marking_is_named_with_what_the_takes_say():
    evidence = evidence_of("bare-single-coil", TAKES)
    wrong = parse_quantity("909p ± 1%")
    takes = [replace(take, added=(wrong,) if take.added else ()) for take in evidence.takes]
    choice, found = fitted(replace(evidence, takes=tuple(takes)))
    finding = found["reference-misfit"]
    assert finding.severity == "reject"
    assert finding.figure == pytest.approx(10.0, abs=1.5)
    assert "misfit of a reference: added 909p ± 1% in plus-1n, which by the takes is " in finding.text
    assert "nF ± " in finding.text
    assert "Measure the part" in finding.text
    assert is_one_readable_line(finding.text)
    assert "only dcr sets the scale" in found["one-reference"].text
    (released,) = released_of(choice)
    assert (released.parameter, released.is_reference) == ("added 909p ± 1% in plus-1n", True)
    assert released.stated.value == pytest.approx(909e-12)
    # a rectangular distribution's 95 % interval (JCGM 100:2008, G.1.3): 0.95 of the bound to either side
    assert (released.stated.high - released.stated.low) / 2 == pytest.approx(0.95 * 9.09e-12, rel=3e-3)
    assert released.stated.distribution == "rectangular"
    assert abs(released.found.value - 1e-9) < 3 * released.found.standard_uncertainty
    assert released.found.low < released.found.value < released.found.high


@pytest.mark.long
def test_takes_that_go_with_every_statement_let_none_go():
    choice, found = fitted(evidence_of("bare-single-coil", TAKES))
    assert released_of(choice) == ()
    assert not {"reference-misfit", "unequal-highpass", "unequal-delay", "unusual-loss", "one-reference"} & set(found)


@pytest.mark.long
def test_unequal_high_passes_are_named_with_their_cure():
    def highpasses(s, _rate_hz):
        return (s + 2 * np.pi * 3.0) / (s + 2 * np.pi * 10.0)

    choice, found = fitted(changed(evidence_of("bare-single-coil", TAKES), highpasses))
    finding = found["unequal-highpass"]
    assert finding.severity == "warn"
    assert finding.figure == pytest.approx(7.0, abs=1.0)
    assert "coilsweep calibrate loopback" in finding.text
    assert "7 Hz apart, up to 0.2 Hz is usual on one card" in finding.text
    assert is_one_readable_line(finding.text)
    (released,) = released_of(choice)
    assert (released.is_reference, released.found.unit, released.instead) == (False, "Hz", ())
    assert released.stated.value == 0.0


@pytest.mark.long
def test_unequal_delay_is_named_with_its_cure():
    choice, found = fitted(changed(evidence_of("bare-single-coil", TAKES), lambda s, rate_hz: np.exp(-0.7 * s / rate_hz)))
    finding = found["unequal-delay"]
    assert finding.figure == pytest.approx(0.7, abs=0.1)
    assert "0.7 samples apart, on one card 0.1 are usual" in finding.text
    assert is_one_readable_line(finding.text)
    assert [released.found.unit for released in released_of(choice)] == ["sample"]


@pytest.mark.parametrize(
    ("name", "ratio", "said"),
    [
        ("log_resistance", 1.0393, "A winding 10 K warmer than when it was read"),
        ("log_resistance@bridge", 0.98, "A winding 5 K cooler than when it was read"),
        ("log_resistance", 1.5, "with nothing connected to the winding"),
        ("log_added_0", 1.1, "Measure the part"),
        ("log_input_capacitance", 1.5, "A cable not counted"),
        ("log_input_resistance", 0.1, "pad"),
        ("log_series_0", 1.1, "the unit it was written in"),
    ],
)
def test_likely_causes_of_a_wrong_reference(name, ratio, said):
    assert said in doubts._cause(name, ratio)


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "source", "said"),
    [
        ("loss_added_0", "loss of the added 1n ± 1%", "A film or C0G part is the better reference"),
        ("loss_input_capacitance", "loss of cable and input", "Try another cable"),
        ("loss_capacitor.tone", "loss of capacitor.tone", "for film, 3 % for ceramic and paper"),
    ],
)
def test_unusual_losses_say_what_is_usual(name, source, said):
    choice = choose_model(evidence_of("bare-single-coil", TAKES))
    parameter = Parameter(name=name, start=0.0, prior_std=0.1, source=source)
    finding = doubts._of_the_bench(choice, parameter, 0.061, 0.01)
    assert (finding.code, finding.figure, finding.unit) == ("unusual-loss", pytest.approx(6.1), "%")
    assert finding.text.startswith(f"{source}: tan δ 6.1 %, usual is up to ")
    assert said in finding.text
    assert is_one_readable_line(finding.text)


def test_leak_is_told_in_ohms_and_a_senseless_one_asks_for_the_wiring():
    finding = doubts._leak("capacitor.tone", 1 / 500e3 / ACROSS_UNIT_S, 0.04 / 500e3 / ACROSS_UNIT_S)
    assert finding.figure == pytest.approx(500e3)
    assert "500 kΩ ± 4 % lie across it; a sound one has over 500 MΩ" in finding.text
    assert is_one_readable_line(finding.text)
    senseless = doubts._leak("capacitor.tone", -0.3, 0.1)
    assert (senseless.code, senseless.figure) == ("leaky-capacitor", None)
    assert "wiring" in senseless.text


@pytest.mark.long
@pytest.mark.parametrize("seed", [3, 5])
def test_a_part_that_nobody_stated_is_no_loss_of_the_pickup(seed):
    """Behind a pot in mid-travel a forgotten capacitor can be imitated by a loss, but only by one that no coil shows."""
    evidence = evidence_of_guitar(draw_one_pickup(seed, takes=(*THREE_TAKES, "volume-6-plus-22n")))
    _, found = fitted(evidence)
    assert not [one for one in found.values() if one.severity == "reject"]
    forgotten = [replace(take, added=()) if take.name == "volume-6-plus-22n" else take for take in evidence.takes]
    _, found = fitted(replace(evidence, takes=tuple(forgotten)))
    assert found["senseless-loss"].severity == "reject"
    assert "is a part clipped on that is not stated?" in found["senseless-loss"].text
    assert found["senseless-loss"].text.isprintable()
