"""The main job on recordings from an independent circuit simulation: values, intervals, and what is not told."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fit.answers.pickup.characterisation import PickupAnswer, characterise_pickup
from measure.quantity import parse_quantity
from tests.benches import draw_bench
from tests.draws import judge
from tests.recorded import evidence_of, read_case


@cache
def answer_of(case: str, *names: str) -> PickupAnswer:
    return characterise_pickup(evidence_of(case, list(names)))


@pytest.mark.parametrize("names", [("open", "plus-1n")])
def test_single_coil_against_its_actual_values(names):
    answer = answer_of("bare-single-coil", *names)
    actual = read_case("bare-single-coil")["actual"]
    quantities = answer.quantities
    assert answer.outcome == "good"
    assert quantities["inductance"].value == pytest.approx(actual["inductance"], rel=0.01)
    assert quantities["winding_capacitance"].value == pytest.approx(actual["winding_capacitance"], abs=5e-12)
    assert quantities["dc_resistance"].value == pytest.approx(actual["dc_resistance"], rel=0.015)
    for name, value in actual.items():
        assert quantities[name].low < value < quantities[name].high, name
        # an interval so wide that it says nothing would hold any truth
        assert quantities[name].standard_uncertainty < 0.03 * value, name


def test_single_coil_agrees_with_its_model():
    for curve in answer_of("bare-single-coil", "open", "plus-1n").curves:
        assert curve.rms_db <= 0.02
        assert curve.rms_degree <= 0.1
        assert np.sum((curve.frequency_hz > 80) & (curve.frequency_hz < 15000)) > 110


def test_one_eddy_loop_is_found_in_the_single_coil():
    answer = answer_of("bare-single-coil", "open", "plus-1n")
    assert answer.model_name == "one coil, one eddy loop"
    assert len(answer.candidates) >= 5


@pytest.mark.long
def test_one_take_tells_resonance_and_damping_only():
    answer = answer_of("bare-single-coil", "open")
    missing = {entry.quantity: entry for entry in answer.not_identified}
    assert {"inductance", "winding_capacitance"} <= missing.keys()
    assert not {"inductance", "winding_capacitance"} & answer.quantities.keys()
    assert {"resonance_loaded", "q_loaded"} <= answer.quantities.keys()
    assert missing["inductance"].next_take is not None
    assert "F" in {part.unit for part in [parse_quantity(missing["inductance"].next_take.add.split(",")[0])]}
    both = answer_of("bare-single-coil", "open", "plus-1n")
    for name in ("resonance_loaded", "q_loaded"):
        assert answer.quantities[name].value == pytest.approx(both.quantities[name].value, rel=0.005)


@pytest.mark.long
def test_humbucker_climbs_to_two_coils():
    answer = answer_of("bare-humbucker", "open", "plus-1n")
    actual = read_case("bare-humbucker")["actual"]
    total = answer.quantities["inductance"]
    assert answer.outcome == "good"
    assert answer.model_name.startswith("two coils")
    assert total.value == pytest.approx(actual["inductance"], rel=0.01)
    assert total.low < actual["inductance"] < total.high
    missing = {entry.quantity for entry in answer.not_identified}
    assert "winding_capacitance" in missing
    assert any("sharing" in name for name in missing)


def test_budget_adds_up_to_the_uncertainty():
    answer = answer_of("bare-single-coil", "open", "plus-1n")
    for name, estimate in answer.quantities.items():
        total = np.sqrt(sum(share.contribution**2 for share in answer.budget[name]))
        assert total == pytest.approx(estimate.standard_uncertainty, rel=1e-3), name
    largest = {share.source for share in answer.budget["inductance"][:4]}
    # what scales is shared by all independent references in ohms and farads
    assert {"dcr", "input resistance"} <= largest
    assert any(source.startswith("added 1n") for source in largest)
    assert answer.budget["winding_capacitance"][0].source == "input capacitance"


def test_scale_uncertainty_is_that_of_the_references_together():
    """u(L)/L = 1/√Σ(1/u_p²) where noise is nowhere the limit: each ± 1 % is u = 0.577 %.

    The dcr's own is wider by ± 1.5 K that the winding may have been warmer or colder (copper, 0.393 %/K, IEC 60028). The input's
    resistance shares the damping with the cable's loss, which is not known: it tells less than it would alone.
    """
    answer = answer_of("bare-single-coil", "open", "plus-1n")
    inductance = answer.quantities["inductance"]
    each, warmth = 0.01 / np.sqrt(3), 0.00393 * 1.5 / np.sqrt(3)
    all_three = 1 / np.sqrt(2 / each**2 + 1 / (each**2 + warmth**2))
    without_input = 1 / np.sqrt(1 / each**2 + 1 / (each**2 + warmth**2))
    assert all_three < inductance.standard_uncertainty / inductance.value < without_input


@pytest.mark.long
def test_predicted_uncertainty_is_what_the_further_take_brings():
    """With 680 pF and 150 kΩ named as at hand, the prediction from two takes is what three takes then give."""
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"])
    at_hand = (parse_quantity("680p±1%"), parse_quantity("150k±1%"))
    predicted = characterise_pickup(replace(evidence, parts_at_hand=at_hand)).next_takes["inductance"]
    three = answer_of("bare-single-coil", "open", "plus-1n", "plus-680p-150k").quantities["inductance"]
    pair = next(take for take in predicted if "," in take.add)
    assert pair.predicted_relative_std == pytest.approx(three.standard_uncertainty / three.value, rel=0.05)


@pytest.mark.long
def test_a_reference_that_contradicts_the_takes_is_named():
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n", "plus-680p-150k"])
    # the meter's range was misread: 15 % off what three references in ohms and farads say
    wrong = replace(evidence, dcr=parse_quantity("7.3k ± 1%"))
    answer = characterise_pickup(wrong)
    told = {finding.code: finding.text for finding in answer.findings}
    assert "dcr, which by the takes is 6.3" in told["reference-misfit"]  # 6.35 kΩ
    assert answer.outcome == "misfit"  # 15 % off: no value may pass as good
    assert answer.quantities["inductance"].value == pytest.approx(2.87, rel=0.01)  # told without it, by the two added parts


@pytest.mark.long
def test_one_take_alone_accuses_no_reference():
    for seed in range(6):
        evidence, _ = draw_bench(seed, n_loops=2, misfit=1e-3)
        answer = characterise_pickup(replace(evidence, takes=evidence.takes[:1]))
        assert not {"reference-pulled", "reference-misfit"} & {finding.code for finding in answer.findings}


@pytest.mark.slow
def test_resonance_of_one_take_lies_inside_its_interval():
    """One load leaves the scale open; what the valley of equivalent fits changes is part of the interval."""
    judge(check_resonances_of_one_take, 100, everyday=25)


def check_resonances_of_one_take(chosen):
    inside, widths = [], []
    for seed in chosen:
        evidence, _ = draw_bench(seed, n_loops=1 + seed % 2)
        one = characterise_pickup(replace(evidence, takes=evidence.takes[:1])).quantities["resonance_loaded"]
        both = characterise_pickup(evidence).quantities["resonance_loaded"]
        inside.append(one.low <= both.value <= one.high)
        widths.append(one.standard_uncertainty / one.value)
    assert np.mean(inside) >= 0.9
    assert np.median(widths) < 0.005


@pytest.mark.long
def test_a_take_that_ends_before_its_resonance_tells_nothing():
    evidence, _ = draw_bench(4, n_loops=1)
    whole = evidence.takes[1].response
    kept = whole.frequency_hz < 900.0
    cut = replace(
        whole,
        frequency_hz=whole.frequency_hz[kept],
        value=whole.value[kept],
        covariance=whole.covariance[kept],
        shifts=np.zeros((0, int(kept.sum()))),
    )
    answer = characterise_pickup(replace(evidence, takes=(evidence.takes[0], replace(evidence.takes[1], response=cut))))
    assert answer.outcome == "misfit"
    assert "resonance-not-seen" in {finding.code for finding in answer.findings}


@pytest.mark.long
def test_a_part_that_was_not_clipped_on_is_named():
    """The same recording twice, the second time with 1 nF said to lie across the jack."""
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"], has_dcr=False)
    second = replace(evidence.takes[1], response=evidence.takes[0].response)
    answer = characterise_pickup(replace(evidence, takes=(evidence.takes[0], second)))
    assert answer.outcome == "misfit"
    assert "part-not-seen" in {finding.code for finding in answer.findings}


@pytest.mark.long
def test_a_part_that_was_not_stated_is_named():
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"])
    answer = characterise_pickup(replace(evidence, takes=(evidence.takes[0], replace(evidence.takes[1], added=()))))
    assert answer.outcome == "misfit"
    assert "part-not-stated" in {finding.code for finding in answer.findings}


@pytest.mark.long
def test_a_decade_slip_of_the_added_part_is_never_a_good_pickup():
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"], has_dcr=False)
    for written in ("10n ± 1%", "100p ± 1%", "1u ± 1%"):
        second = replace(evidence.takes[1], added=(parse_quantity(written, "F"),))
        assert characterise_pickup(replace(evidence, takes=(evidence.takes[0], second))).outcome == "misfit", written


@pytest.mark.long
def test_misfit_is_headed_as_such():
    bench, truth = draw_bench(5)
    other, _ = draw_bench(5, truth=replace(truth, loops=((0.6, 3e-5, 0.2),)))
    takes = (bench.takes[0], replace(bench.takes[1], response=other.takes[1].response))
    answer = characterise_pickup(replace(bench, takes=takes))
    assert answer.outcome == "misfit"
    finding = next(finding for finding in answer.findings if finding.code == "misfit")
    assert f"{answer.floor.worst_hz:.0f} Hz" in finding.text


@pytest.mark.long
def test_a_pot_taken_for_a_loss_of_the_coil_is_named():
    """250 kΩ and a capacitor that nobody mentioned lie across the jack: a fit must not pass them off as a good pickup."""
    evidence, truth = draw_bench(13, n_loops=1)
    s = 2j * np.pi * evidence.takes[0].response.frequency_hz
    coil = truth.resistance_ohm + s * truth.inductance_h
    for coupling, tau_s, _ in truth.loops:
        coil = coil - s**2 * coupling**2 * truth.inductance_h * tau_s / (1 + s * tau_s)
    takes = []
    for take, added_f in zip(evidence.takes, (0.0, 1e-9), strict=True):
        bare = s * (truth.winding_capacitance_f + 185e-12 + added_f) + 1e-6
        hidden = 1 / 250e3 + 1 / (250e3 + 1 / (s * 22e-9))
        value = take.response.value * (1 + coil * bare) / (1 + coil * (bare + hidden))
        takes.append(replace(take, response=replace(take.response, value=value)))
    answer = characterise_pickup(replace(evidence, takes=tuple(takes)))
    codes = {finding.code for finding in answer.findings}
    assert answer.outcome == "misfit" or codes & {"unusual-losses", "reference-pulled"}


@pytest.mark.long
@pytest.mark.parametrize("kind", ["loopback", "none"])
def test_without_a_current_reference_the_exciter_belongs_to_the_model(kind):
    """Only the output's voltage is known: the exciter's own corner turns the response down, and its stated value is 3 % off."""
    evidence, truth = draw_bench(17, n_loops=1)
    turn = 1j * evidence.takes[0].response.frequency_hz / 9e3
    takes = tuple(
        replace(take, response=replace(take.response, value=take.response.value / (1 + turn))) for take in evidence.takes
    )
    known = replace(evidence, takes=takes, reference_kind=kind, exciter_corner=parse_quantity("9.27k ± 5%", "Hz"))
    answer = characterise_pickup(known)
    assert answer.outcome == "good"
    assert answer.quantities["inductance"].low < truth.inductance_h < answer.quantities["inductance"].high
    assert answer.quantities["inductance"].value == pytest.approx(truth.inductance_h, rel=0.01)


@pytest.mark.long
def test_a_fixed_floor_is_taken_as_asked():
    evidence, _ = draw_bench(7, misfit=1e-3)
    fixed = characterise_pickup(evidence, fixed_floor=3e-3)
    assert fixed.floor.value == pytest.approx(3e-3, rel=0.01)
    estimated = characterise_pickup(evidence)
    assert estimated.floor.value < 2e-3
    eddy = "eddy_loop_1.corner"
    assert fixed.quantities[eddy].standard_uncertainty > estimated.quantities[eddy].standard_uncertainty


@pytest.mark.long
def test_inverted_polarity_changes_nothing():
    evidence = evidence_of("bare-single-coil", ["open", "plus-1n"])
    turned = tuple(replace(take, response=replace(take.response, value=-take.response.value)) for take in evidence.takes)
    straight = answer_of("bare-single-coil", "open", "plus-1n").quantities["inductance"].value
    assert characterise_pickup(replace(evidence, takes=turned)).quantities["inductance"].value == pytest.approx(
        straight, rel=1e-9
    )


def test_a_reference_without_a_bound_is_refused():
    evidence = replace(evidence_of("bare-single-coil", ["open", "plus-1n"]), dcr=parse_quantity("6350", unit="Ω"))
    with pytest.raises(ValueError, match="dcr is given as 6350 without a bound"):
        characterise_pickup(evidence)
