"""What is said of statements that the takes contradict: found, in figures, with a cure, in one line."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fit.answers.parts.quantities import Derived
from fit.answers.pickup import doubts
from fit.answers.pickup.characterisation import answer_of
from fit.answers.pickup.contradictions import released_of
from fit.estimate.evidence import TakeEvidence
from fit.estimate.ladder import choose_model
from fit.estimate.parameters import ACROSS_UNIT_S, Parameter
from measure.quantity import parse_quantity
from measure.response import Response
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


def reference(offset_std, learned, *, source="the added part", std=0.01, name="log_added_0"):
    """A choice with one reference so many of its standard uncertainties off; the takes took a share of its variance."""
    parameter = Parameter(name=name, start=0.0, source=source, prior_mean=-20.0, prior_std=std)
    problem = SimpleNamespace(parameters=(parameter,), released=(), evidence=evidence_of("bare-single-coil", TAKES))
    vector = np.array([-20.0 + offset_std * std])
    return SimpleNamespace(problem=problem, fit=SimpleNamespace(vector=vector), covariance=np.array([[(1 - learned) * std**2]]))


# The pull of least squares with priors: (estimate − prior)/√(prior variance − posterior variance), 1 σ where both are right.
@pytest.mark.parametrize(
    ("offset", "learned", "severity"),
    [
        (2.9, 1.0, None),
        (3.1, 1.0, "warn"),
        (-3.1, 1.0, "warn"),
        (1.9, 0.25, "warn"),  # 1.9/√0.25 = 3.8
        (1.4, 0.25, None),
        (0.9, 0.01, None),  # pulled by 9, but within what was stated of it
        (4.9, 1.0, "warn"),
        (5.1, 1.0, "reject"),
        (1.9, 0.04, "warn"),  # 9.5, within the bound of a rectangular distribution
        (2.1, 0.04, "reject"),
        (9.0, 0.0, None),  # the takes tell nothing of it
    ],
)
def test_a_reference_is_doubted_from_three_and_contradicted_from_five(offset, learned, severity):
    found = doubts.pulled_references(reference(offset, learned))
    assert [finding.severity for finding in found] == ([severity] if severity else [])
    if found:
        assert found[0].figure == pytest.approx(abs(offset) / np.sqrt(learned))
        assert found[0].text.endswith("values are indicative only") == (severity == "reject")


@pytest.mark.parametrize("change", [{"source": ""}, {"std": np.inf}, {"name": "gain_step_1"}])
def test_only_what_somebody_stated_is_a_reference(change):
    with np.errstate(invalid="ignore"):
        assert doubts.pulled_references(reference(9.0, 1.0, **change)) == []


def flat(name, value, added=()):
    frequency_hz = 1000 * 2.0 ** (np.arange(-40, 30) / 8)
    response = Response(
        frequency_hz=frequency_hz,
        value=frequency_hz * 1j * np.where(frequency_hz > 1000, value, 1.0),
        covariance=np.tile(1e-12 * np.eye(2), (70, 1, 1)),
    )
    return TakeEvidence(name=name, response=response, added=added)


@pytest.mark.parametrize(
    ("value", "added", "codes"),
    [
        (1.11, (), ["part-not-stated"]),  # more than a tenth apart, though the same is said
        (1.09, (), []),
        (1.009, ("1n ± 1%",), ["part-not-seen"]),  # less than a hundredth, though another part is said
        (1.011, ("1n ± 1%",), []),
        (1.5, ("1n ± 1%",), []),
    ],
)
def test_what_is_said_of_two_takes_is_held_against_both(value, added, codes):
    parts = tuple(parse_quantity(part) for part in added)
    found = doubts._loads_against_responses([flat("a", 1.0), flat("b", value, parts)])
    assert [finding.code for finding in found] == codes


@pytest.mark.parametrize(
    ("name", "value", "severity"),
    [
        ("inductance", 0.81, None),
        ("inductance", 0.79, "warn"),
        ("inductance", 12.1, "warn"),
        ("inductance", 35.9, "warn"),
        ("inductance", 36.1, "reject"),  # three times beyond the usual: a slip of a unit, not a pickup
        ("bridge.inductance", 0.26, "reject"),
        ("dc_resistance", 75.1e3, "reject"),
        ("winding_capacitance", 5.1e-12, "warn"),
        ("winding_capacitance", 4.9e-12, "reject"),
        ("resonance_loaded", 1.0, None),
    ],
)
def test_values_beyond_the_usual_are_doubted_and_far_beyond_no_values(name, value, severity):
    found = doubts._unusual({name: Derived(value=value, unit="H", gradient=np.zeros(1))})
    assert [finding.severity for finding in found] == ([severity] if severity else [])
    assert all(finding.text.endswith("indicative only") == (severity == "reject") for finding in found)


@pytest.mark.parametrize(("couplings", "share"), [((0.5, 0.5), None), ((0.5, 0.51), 51.01), ((0.8,), 64.0)])
def test_eddy_loops_that_take_more_than_half_are_something_else(couplings, share):
    """Each loop takes k² of the inductance; those of one coil add up."""
    told = {f"eddy_loop_{n}.coupling": Derived(value=k, unit="1", gradient=np.zeros(1)) for n, k in enumerate(couplings, start=1)}
    found = doubts._unusual(told)
    assert [finding.figure for finding in found] == ([pytest.approx(share)] if share else [])


@pytest.mark.parametrize(("n_after", "is_seen"), [(0, False), (2, False), (3, True), (20, True)])
def test_three_frequencies_have_to_follow_a_resonance(n_after, is_seen):
    frequency_hz = 1000 * 2.0 ** (np.arange(-40, 30) / 8)
    top = len(frequency_hz) - 1 - n_after
    level = 1 - 0.01 * np.abs(np.arange(len(frequency_hz)) - top)
    covariance = np.tile(1e-12 * np.eye(2), (70, 1, 1))
    response = Response(frequency_hz=frequency_hz, value=1j * frequency_hz * level, covariance=covariance)
    found = doubts._unseen_resonance(TakeEvidence(name="open", response=response))
    assert [(one.code, one.severity) for one in found] == ([] if is_seen else [("resonance-not-seen", "reject")])
