"""What a job changed: recordings before and after shielding, drawn jobs, and nothing done at all."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.compare.comparison import compare_takes
from fit.estimate.evidence import Evidence
from tests import benches
from tests import guitar_cases as cases
from tests.draws import judge, scatter
from tests.guitar_evidence import evidence_of_guitar
from tests.recorded_guitars import recorded_guitar

SHIELDING = ("before", "before-plus-1n", "after", "after-plus-1n")


@pytest.mark.long
def test_recorded_shielding_adds_capacitance_and_nothing_else():
    evidence, actual = recorded_guitar("shielding", SHIELDING, after=("after", "after-plus-1n"))
    answer = compare_takes(evidence)
    added = answer.quantities["added_capacitance"]
    assert answer.outcome == "good"
    assert added.verdict == "changed"
    assert added.change.value == pytest.approx(actual["added_capacitance"], abs=5e-12)
    assert abs(added.change.value - actual["added_capacitance"]) < 3 * added.change.standard_uncertainty
    assert answer.quantities["winding_capacitance"].change.value == pytest.approx(actual["added_capacitance"], abs=5e-12)
    for name in ("inductance", "dc_resistance", "pot.volume", "pot.tone"):
        assert answer.quantities[name].verdict == "not resolved"
    assert answer.quantities["inductance"].before.value == pytest.approx(actual["inductance"], rel=0.01)
    assert "capacitor.tone" in answer.not_identified
    assert {pair.verdict for pair in answer.responses} == {"changed"}
    for pair in answer.responses:
        in_band = (pair.frequency_hz > 100) & (pair.frequency_hz < 15e3)
        assert np.max(np.abs(pair.measured_db - pair.change_db)[in_band]) < 0.03


@pytest.mark.long
def test_what_both_sides_share_cancels():
    """One fit knows the difference far better than either side: the added part and the input are the same."""
    evidence, _ = recorded_guitar("shielding", SHIELDING, after=("after", "after-plus-1n"))
    inductance = compare_takes(evidence).quantities["inductance"]
    assert inductance.change.standard_uncertainty < 0.02 * inductance.before.standard_uncertainty


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
def test_nothing_done_comes_out_as_nothing_changed(seed):
    evidence = evidence_of_guitar(cases.draw_shielding(seed, added_f=0.0))
    answer = compare_takes(evidence)
    assert {name for name, change in answer.quantities.items() if change.verdict == "changed"} == set()
    assert {pair.verdict for pair in answer.responses} == {"not resolved"}


@pytest.mark.long
@pytest.mark.parametrize("seed", range(4))
def test_drawn_job_is_found(seed):
    case = cases.draw_shielding(seed, conditions=cases.Conditions(misfit=3e-4))
    answer = compare_takes(evidence_of_guitar(case))
    added = answer.quantities["added_capacitance"]
    assert added.verdict == "changed"
    assert abs(added.change.value - case.truths["added_to_hot"]) < 3.5 * added.change.standard_uncertainty + 0.3e-12
    assert answer.quantities["inductance"].verdict == "not resolved"


def resonance_of_two_coils(case, added_f):
    """Peak of two coils in series behind cable and input, EMFs as their inductances, from the two mesh equations alone. [Hz]"""
    pickup = next(iter(case.guitar.pickups.values()))
    first, second = pickup.coils
    frequency = np.geomspace(1000.0, 12000.0, 100001)
    s = 2j * np.pi * frequency

    def impedance(coil):
        lost = sum(turn.k**2 * s / (2 * np.pi * turn.corner_hz + s) for turn in coil.turns)
        return coil.ohm + s * coil.henry * (1 - lost)

    mutual = s * pickup.coupling * np.sqrt(first.henry * second.henry)
    load = 1 / case.truths["input.resistance"] + s * (case.truths["input.capacitance"] + added_f)
    own = [impedance(coil) * (s * coil.farad + load) + 1 + mutual * load for coil in pickup.coils]
    other = [impedance(coil) * load + mutual * (s * beside.farad + load) for coil, beside in ((first, second), (second, first))]
    determinant = own[0] * own[1] - other[0] * other[1]
    voltage = (first.henry * (own[1] - other[1]) + second.henry * (own[0] - other[0])) / determinant
    return float(frequency[np.argmax(np.abs(voltage))])


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2))
def test_job_across_two_coils_moves_their_common_resonance(seed):
    case = cases.draw_shielding(seed, kind="humbucker")
    found = compare_takes(evidence_of_guitar(case)).quantities["resonance_loaded"]
    assert found.verdict == "changed"
    assert found.before.value == pytest.approx(resonance_of_two_coils(case, 0.0), rel=1e-3)
    assert found.after.value == pytest.approx(resonance_of_two_coils(case, case.truths["added_to_hot"]), rel=1e-3)


@pytest.mark.long
def test_bare_pickup_is_compared_too():
    evidence = two_sides(benches.draw_bench(3)[0])
    answer = compare_takes(evidence)
    assert answer.quantities["added_capacitance"].verdict == "not resolved"
    assert answer.quantities["added_capacitance"].change.standard_uncertainty < 2e-12


def two_sides(evidence: Evidence) -> Evidence:
    after = [replace(take, name=f"{take.name}-again", is_after=True, coil_moved=False) for take in evidence.takes]
    after[0] = replace(after[0], coil_moved=True)
    return replace(evidence, takes=(*evidence.takes, *after))


def test_one_side_alone_is_refused():
    evidence, _ = recorded_guitar("shielding", SHIELDING)
    with pytest.raises(ValueError, match="all are from before it"):
        compare_takes(evidence)


@pytest.mark.slow
def test_change_is_called_in_few_comparisons_where_nothing_was_done():
    """All verdicts together: some 5 in 100 comparisons may name a change (3 σ: 8 of 60, 3 of 12)."""
    judge(check_nothing_done, 60, everyday=12)


def check_nothing_done(chosen):
    wrong, n = [], len(chosen)
    for seed in chosen:
        answer = compare_takes(evidence_of_guitar(cases.draw_shielding(seed, added_f=0.0)))
        changed = [name for name, change in answer.quantities.items() if change.verdict == "changed"]
        wrong += [(seed, changed)] if changed else []
    print(f"{len(wrong)} of {n} comparisons name a change: {wrong}")
    assert len(wrong) <= (0.05 + scatter(0.05, n)) * n
