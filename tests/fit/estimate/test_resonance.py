"""Resonances and their gradients, against finite differences and closed forms."""

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies

from fit.circuit.coil import CoilValues, Profile, coil_elements
from fit.estimate.ladder import choose_model
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from fit.estimate.resonance import find_pole, loaded_gain, loaded_peak, pole_of
from tests import laws
from tests.benches import draw_bench


@pytest.fixture(scope="module")
def choice():
    return choose_model(draw_bench(1, n_loops=1)[0])


def test_pole_of_a_plain_coil_is_the_textbook_one():
    """s² LC + s RC + 1 = 0: |s| = 1/√(LC), Q = √(L/C)/R."""
    coil = CoilValues(inductance_h=3.0, resistance_ohm=7e3, winding_capacitance_f=1e-10, excitation=1.0, eddies=())
    s, _ = find_pole(coil, capacitance_f=3e-10)
    assert abs(s) == pytest.approx(1 / np.sqrt(3.0 * 3e-10), rel=1e-12)
    assert abs(s) / (-2 * s.real) == pytest.approx(np.sqrt(3.0 / 3e-10) / 7e3, rel=1e-12)


def test_a_coil_without_oscillation_is_refused():
    coil = CoilValues(inductance_h=0.01, resistance_ohm=1e6, winding_capacitance_f=1e-10, excitation=1.0, eddies=())
    with pytest.raises(ValueError, match="no oscillating resonance"):
        find_pole(coil, capacitance_f=1e-8)


@pytest.mark.parametrize("is_loaded", [False, True])
def test_gradient_of_the_pole(choice, is_loaded):
    vector = choice.fit.vector
    names = [parameter.name for parameter in choice.problem.parameters]
    pole = pole_of(choice.problem, vector, is_loaded=is_loaded)
    for index, name in enumerate(names):
        step = np.zeros(len(vector))
        step[index] = 1e-5
        up = pole_of(choice.problem, vector + step, is_loaded=is_loaded)
        down = pole_of(choice.problem, vector - step, is_loaded=is_loaded)
        by_frequency = np.log(up.frequency_hz / down.frequency_hz) / 2e-5
        by_quality = np.log(up.quality / down.quality) / 2e-5
        assert pole.by_log_frequency.get(name, 0.0) == pytest.approx(by_frequency, abs=1e-8)
        assert pole.by_log_quality.get(name, 0.0) == pytest.approx(by_quality, abs=1e-8)


def test_gradient_of_the_peak(choice):
    vector = choice.fit.vector
    peak = loaded_peak(choice.problem, vector)
    for index in range(len(vector)):
        step = np.zeros(len(vector))
        step[index] = 1e-3
        up, down = loaded_peak(choice.problem, vector + step), loaded_peak(choice.problem, vector - step)
        # the peak is the vertex of a parabola 0.2 % wide: its place is good to 1e-6 of the frequency
        assert peak.by_gain_db[index] == pytest.approx((up.gain_db - down.gain_db) / 2e-3, abs=1e-3)
        assert peak.by_log_frequency[index] == pytest.approx(np.log(up.frequency_hz / down.frequency_hz) / 2e-3, abs=1e-3)


def test_gain_behind_cable_and_input_begins_at_the_divider(choice):
    """At low frequencies R_input / (R_input + dcr) of the EMF arrives."""
    gain = loaded_gain(choice.problem, choice.fit.vector, np.array([1.0])).value[0]
    p = dict(zip([parameter.name for parameter in choice.problem.parameters], choice.fit.vector, strict=True))
    input_ohm, dcr_ohm = np.exp(p["log_input_resistance"]), np.exp(p["log_resistance"])
    assert gain.real == pytest.approx(input_ohm / (input_ohm + dcr_ohm), rel=1e-5)


SOME = pytest.mark.parametrize("eddies", laws.SOME_MODELS, ids=laws.ladder_name)
SOME_GAINS = pytest.mark.parametrize("eddies", laws.SOME_MODELS, ids=laws.ladder_name)


@SOME_GAINS
def test_gradient_of_loaded_gain_is_exact(eddies: tuple[tuple[Profile, ...], ...]) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector, frequency, step = laws.vector_near_start(problem, 3), np.geomspace(50.0, 20e3, 25), 1e-4
    gain = loaded_gain(problem, vector, frequency)
    for index, parameter in enumerate(problem.parameters):
        up, down = (loaded_gain(problem, row, frequency).value for row in laws.sides(vector, index, step))
        numeric = np.log(up / down) / (2 * step)
        np.testing.assert_allclose(gain.by_parameter[index], numeric, atol=1e-6, err_msg=parameter.name)


@pytest.mark.long
@SOME
def test_gradient_of_loaded_peak_is_right(eddies: tuple[tuple[Profile, ...], ...]) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector = laws.vector_near_start(problem, 3)
    peak = loaded_peak(problem, vector)
    assert peak is not None
    for index, parameter in enumerate(problem.parameters):
        # the peak's place is refined to 4e-5 of itself, so these differences take wide steps and know no more digits
        up, down = (loaded_peak(problem, row) for row in laws.sides(vector, index, 2e-3))
        assert peak.by_gain_db[index] == pytest.approx((up.gain_db - down.gain_db) / 4e-3, abs=0.02), parameter.name
        up, down = (loaded_peak(problem, row) for row in laws.sides(vector, index, 2e-2))
        by_place = np.log(up.frequency_hz / down.frequency_hz) / 4e-2
        assert peak.by_log_frequency[index] == pytest.approx(by_place, abs=0.01), parameter.name


@SOME
@pytest.mark.parametrize("is_loaded", [False, True])
def test_gradient_of_pole_is_exact(eddies: tuple[tuple[Profile, ...], ...], is_loaded: bool) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector, step = laws.vector_near_start(problem, 3), 1e-4
    pole = pole_of(problem, vector, is_loaded=is_loaded)
    if len(eddies) == 2:
        assert pole is None
        return
    assert pole is not None
    for index, parameter in enumerate(problem.parameters):
        up, down = (pole_of(problem, row, is_loaded=is_loaded) for row in laws.sides(vector, index, step))
        by_frequency = np.log(up.frequency_hz / down.frequency_hz) / (2 * step)
        by_quality = np.log(up.quality / down.quality) / (2 * step)
        assert pole.by_log_frequency.get(parameter.name, 0.0) == pytest.approx(by_frequency, abs=1e-6), parameter.name
        assert pole.by_log_quality.get(parameter.name, 0.0) == pytest.approx(by_quality, abs=1e-6), parameter.name


@laws.drawn
@hypothesis.given(laws.coils(), strategies.floats(1e-11, 1e-8), strategies.floats(0.0, 1e-5))
def test_pole_is_a_root_in_the_left_half_plane(coil: CoilValues, capacitance_f: float, conductance_s: float) -> None:
    try:
        s, _ = find_pole(coil, capacitance_f=capacitance_f, conductance_s=conductance_s)
    except ValueError:
        hypothesis.reject()
    impedance = coil_elements([coil], np.array([s])).impedance[0, 0, 0]
    assert abs(1 + impedance * (s * capacitance_f + conductance_s)) < 1e-9
    assert s.real < 0
    assert s.imag > 0
