"""Where a search begins: from resonances by the formula of Thomson, ω² L C = 1."""

import re
from dataclasses import replace

import numpy as np
import pytest

from fit.circuit.controls import PotSetting, Settings, read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from fit.estimate.start import FIRST_FIELDS, FIRST_STEP, resonance_of, start_vector
from measure.quantity import parse_quantity
from measure.response import Origin, Response
from tests.benches import draw_bench

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-80, 71) / 16)
INPUT_F = 185e-12


def take(peak_hz, name="open", *, added=(), quality=4.0, frequency_hz=GRID_HZ, **more):
    """Response s/(1 + s/(Q ω) + s²/ω²), its peak over frequency at ω √(1 - 1/(2Q²))."""
    turn = 1j * frequency_hz / (peak_hz / np.sqrt(1 - 1 / (2 * quality**2)))
    value = 1j * frequency_hz / (1 + turn / quality + turn**2)
    covariance = 1e-8 * np.abs(value)[:, None, None] ** 2 * np.eye(2)
    response = Response(frequency_hz=frequency_hz, value=value, covariance=covariance, origin=Origin(rate_hz=48000.0))
    return TakeEvidence(name=name, response=response, added=tuple(parse_quantity(one, "F") for one in added), **more)


def evidence_of(*takes):
    return Evidence(
        takes=takes, input_resistance=parse_quantity("1M ± 1%", "Ω"), input_capacitance=parse_quantity("185p ± 3p", "F")
    )


@pytest.mark.parametrize("peak_hz", [1234.0, 2000.0, 5055.0])
def test_resonance_is_found_between_frequencies(peak_hz):
    # a sixteenth of an octave is 4 %; the parabola is 20 times closer
    assert resonance_of(take(peak_hz)) == pytest.approx(peak_hz, rel=2e-3)


def test_resonance_is_looked_for_between_500_hz_and_20_khz():
    frequency_hz = np.array([100.0, 400.0, 600.0, 700.0, 800.0, 900.0, 21e3])
    value = frequency_hz * np.array([50.0, 60.0, 1.0, 2.0, 3.0, 2.0, 70.0])
    response = Response(
        frequency_hz=frequency_hz, value=value + 0j, covariance=np.zeros((7, 2, 2)), origin=Origin(rate_hz=48000.0)
    )
    found = resonance_of(TakeEvidence(name="open", response=response))
    assert 750 < found < 850
    few = Response(
        frequency_hz=frequency_hz[:4], value=value[:4] + 0j, covariance=np.zeros((4, 2, 2)), origin=Origin(rate_hz=48000.0)
    )
    assert resonance_of(TakeEvidence(name="open", response=few)) == 5000.0


def start_of(*takes, model=None, known=None):
    problem = build_problem(evidence_of(*takes), model or PickupModel())
    return dict(zip((one.name for one in problem.parameters), start_vector(problem, known or {}), strict=True))


def two_takes(winding_f, inductance_h, added_f=1e-9):
    def peak(farad):
        return 1 / (2 * np.pi * np.sqrt(inductance_h * (winding_f + INPUT_F + farad)))

    return take(peak(0.0)), take(peak(added_f), "plus", added=(f"{added_f!r} ± 1%",))


def test_two_resonances_tell_inductance_and_capacitance():
    found = start_of(*two_takes(120e-12, 3.5))
    assert np.exp(found["log_inductance"]) == pytest.approx(3.5, rel=0.02)
    assert np.exp(found["log_winding_capacitance"]) == pytest.approx(120e-12, rel=0.1)


@pytest.mark.parametrize(("winding_f", "limit_f"), [(2e-12, 20e-12), (2e-9, 600e-12)])
def test_capacitance_begins_within_what_windings_have(winding_f, limit_f):
    found = start_of(*two_takes(winding_f, 2.0))
    assert np.exp(found["log_winding_capacitance"]) == pytest.approx(limit_f, rel=1e-9)


def test_one_resonance_takes_a_usual_winding():
    found = start_of(take(4000.0))
    assert np.exp(found["log_winding_capacitance"]) == pytest.approx(110e-12, rel=1e-9)
    expected_h = 1 / ((2 * np.pi * 4000.0) ** 2 * (110e-12 + INPUT_F))
    assert np.exp(found["log_inductance"]) == pytest.approx(expected_h, rel=5e-3)


def test_resonances_that_hardly_differ_count_as_one():
    found = start_of(take(4000.0), take(3960.0, "plus", added=("1n ± 1%",)))
    assert np.exp(found["log_winding_capacitance"]) == pytest.approx(110e-12, rel=1e-9)


def test_inductance_begins_within_what_pickups_have():
    assert np.exp(start_of(take(15e3, quality=3.0))["log_inductance"]) == pytest.approx(0.38, abs=0.05)
    assert np.exp(start_of(take(900.0))["log_inductance"]) == pytest.approx(30.0, rel=1e-9)


def test_only_takes_at_the_same_settings_are_compared():
    down = Settings(pots={"tone": PotSetting(label="0", fraction=0.0)})
    open_take, plus = two_takes(120e-12, 3.5)
    found = start_of(open_take, plus, replace(take(500.5, "tone down"), settings=down))
    assert np.exp(found["log_inductance"]) == pytest.approx(3.5, rel=0.02)


def test_what_is_known_goes_before_the_guess():
    found = start_of(take(4000.0), known={"log_inductance": 0.7, "log_gain_0": -3.0})
    assert (found["log_inductance"], found["log_gain_0"]) == (0.7, -3.0)


def test_references_begin_where_they_are_stated():
    found = start_of(take(4000.0))
    assert np.exp(found["log_input_capacitance"]) == pytest.approx(INPUT_F, rel=1e-12)


def test_gains_make_model_and_data_agree_at_low_frequencies():
    evidence, _ = draw_bench(1, n_loops=0)
    problem = build_problem(evidence, PickupModel())
    residual = predict_residual(problem, start_vector(problem, {})).residual.real
    low = (problem.frequency_hz < 2000.0) & (problem.take_of_point == 0)
    assert abs(np.median(residual[low])) < 1e-9


def test_takes_of_other_methods_tell_no_resonance():
    series = parse_quantity("100k ± 1%", "Ω")
    foil = take(2000.0, "foil", added=("1n ± 1%",), method="plate")
    driven = take(1500.0, "driven", added=("1n ± 1%",), method="impedance", series_resistor=series)
    found = start_of(take(4000.0), foil, driven)
    assert np.exp(found["log_winding_capacitance"]) == pytest.approx(110e-12, rel=1e-9)


STATED = re.compile(r"^(dcr|inductance|winding_capacitance) = .*\n", flags=re.MULTILINE)
TWO = read_instrument(STATED.sub("", layout_text("two-pickups-tone-before")))


def two_pickups(known):
    settings = {name: read_settings(TWO, {"selector": name}) for name in ("bridge", "neck")}
    settings["bridge"] = read_settings(TWO, {"selector": "bridge", "bridge-volume": "7"})
    takes = [take(hz, name, settings=settings[name], coil_over=name) for name, hz in (("bridge", 3000.0), ("neck", 5000.0))]
    problem = build_problem(replace(evidence_of(*takes), instrument=TWO), PickupModel())
    return dict(zip((one.name for one in problem.parameters), start_vector(problem, known), strict=True))


def test_each_pickup_begins_at_its_own_resonance():
    found = two_pickups({"log_gain_0": 0.0})
    for name, hz in (("bridge", 3000.0), ("neck", 5000.0)):
        inductance_h = 1 / ((2 * np.pi * hz) ** 2 * (110e-12 + INPUT_F))
        assert np.exp(found[f"log_inductance@{name}"]) == pytest.approx(inductance_h, rel=0.02)


def test_what_is_known_of_one_coil_is_taken_for_every_pickup():
    found = two_pickups({"log_inductance": 0.5, "logit_pot.bridge-volume": 3.0, "log_gain_0": 0.0})
    assert (found["log_inductance@bridge"], found["log_inductance@neck"]) == (0.5, 0.5)
    assert found["logit_pot.bridge-volume@7"] == pytest.approx(np.log(0.472 / 0.528))
    assert two_pickups({"log_inductance@neck": 0.2, "log_inductance": 0.5, "log_gain_0": 0.0})["log_inductance@neck"] == 0.2


def test_of_several_settings_the_highest_resonances_count():
    down = Settings(pots={"tone": PotSetting(label="0", fraction=0.0)})
    open_take, plus = two_takes(120e-12, 3.5)
    muffled = replace(take(700.0, "down"), settings=down), replace(take(600.0, "down too", added=("1n ± 1%",)), settings=down)
    found = start_of(*muffled, open_take, plus)
    assert np.exp(found["log_inductance"]) == pytest.approx(3.5, rel=0.02)


def test_inductance_begins_at_a_fifth_of_a_henry_at_least():
    found = start_of(*two_takes(500e-12, 0.1))
    assert np.exp(found["log_inductance"]) == pytest.approx(0.2, rel=1e-9)


def test_without_a_take_under_the_exciter_a_search_begins_at_what_is_usual():
    found = start_of(take(4000.0, method="impedance", series_resistor=parse_quantity("100k ± 1%", "Ω")))
    assert np.exp(found["log_inductance"]) == pytest.approx(3.0, rel=1e-12)


def test_the_order_of_the_takes_does_not_matter():
    found = start_of(*two_takes(120e-12, 3.5)[::-1])
    assert np.exp(found["log_inductance"]) == pytest.approx(3.5, rel=0.02)


def test_fields_of_a_first_loss_lie_on_either_side_of_1():
    assert (FIRST_FIELDS, FIRST_STEP) == ((0.5, 1.3, 2.0), {"share": -1.5, "log_width": 0.3})
