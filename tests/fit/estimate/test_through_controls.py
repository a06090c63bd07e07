"""An instrument at its takes' settings: exact derivatives of all that a take may feel."""

from dataclasses import replace

import numpy as np
import pytest

from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from fit.estimate.through_controls import Term, pickup_of
from tests import guitar_cases as cases
from tests import laws
from tests.guitar_evidence import evidence_of_guitar
from tests.laid_out import ONE, P, take, wired


@pytest.mark.parametrize("draw", ["one", "three"])
@pytest.mark.parametrize("eddies", [(("loop",),), (("loop",), ("loop",))], ids=laws.ladder_name)
def test_derivatives_are_exact(draw, eddies):
    case = cases.draw_one_pickup(1) if draw == "one" else cases.draw_three_pickups(1)
    evidence = evidence_of_guitar(case)
    evidence = replace(evidence, takes=evidence.takes[:5])
    problem = build_problem(evidence, PickupModel(eddies=eddies), thin=8)
    vector = np.array([parameter.start for parameter in problem.parameters])
    names = [parameter.name for parameter in problem.parameters]
    rng = np.random.default_rng(0)
    p = dict(zip(names, vector + 0.05 * rng.uniform(0.2, 1, len(vector)), strict=True))
    _, rows = problem.circuit.evaluate(p)
    assert len(rows) > 10
    step = 2e-3
    for name, row in rows.items():
        if name not in p:
            continue
        logs = [problem.circuit.evaluate(p | {name: p[name] + n * step})[0] for n in (-2, -1, 1, 2)]
        low2, low, high, high2 = (np.log(one / logs[0]) for one in logs)
        slope = (low2 - 8 * low + 8 * high - high2) / (12 * step)
        np.testing.assert_allclose(row, slope, rtol=1e-6, atol=2e-9, err_msg=name)


def test_coils_belong_to_their_pickup():
    assert pickup_of("bridge.second") == pickup_of("bridge") == "bridge"


@pytest.mark.parametrize(
    ("name", "unit"), [("shunt@neck", 1e-10), ("across_capacitor.tone", 1e-6), ("log_pot.tone", 0.0), ("log_capacitor.tone", 0.0)]
)
def test_parts_that_may_be_negative_have_a_unit(name, unit):
    term = Term(name=name, branch=0, points=slice(0, 1), at=slice(0, 1), is_capacitor=False)
    assert term.unit == unit
    assert not term.is_stop_hidden
    assert replace(term, stop="reach.tone@10").is_stop_hidden
    assert not replace(term, stop="stop.tone@10").is_stop_hidden


def test_derivatives_by_where_a_pot_stands_are_exact():
    takes = tuple(take(ONE, name, stated=stated) for name, stated in (("a", {"volume": "5"}), ("b", {"tone": "5"})))
    circuit = wired(ONE, *takes)
    p = P | {"logit_pot.tone@5": 0.4}
    logits = {"logit_pot.volume@5", "logit_pot.tone@5", "log_pot.volume", "log_pot.tone"}
    voltage, rows = circuit.evaluate(p)
    assert logits <= set(rows)
    for name in logits:
        logs = [np.log(circuit.evaluate(p | {name: p[name] + n * 2e-3})[0] / voltage) for n in (-2, -1, 1, 2)]
        slope = (logs[0] - 8 * logs[1] + 8 * logs[2] - logs[3]) / (12 * 2e-3)
        np.testing.assert_allclose(rows[name], slope, rtol=1e-7, atol=1e-10, err_msg=name)


def test_derivatives_by_what_a_job_added_are_exact():
    circuit = wired(ONE, take(ONE, stated={"tone": "0"}), take(ONE, "after", stated={"tone": "0"}, is_after=True))
    p = P | {"shunt": 1.5, "across_capacitor.tone": 3.0, "warmer_after": 0.05, "change_log_inductance": 0.1}
    voltage, rows = circuit.evaluate(p)
    for name in ("shunt", "across_capacitor.tone", "warmer_after", "change_log_inductance"):
        logs = [np.log(circuit.evaluate(p | {name: p[name] + n * 2e-3})[0] / voltage) for n in (-2, -1, 1, 2)]
        slope = (logs[0] - 8 * logs[1] + 8 * logs[2] - logs[3]) / (12 * 2e-3)
        np.testing.assert_allclose(rows[name], slope, rtol=1e-7, atol=1e-10, err_msg=name)
