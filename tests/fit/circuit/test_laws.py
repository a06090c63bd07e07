"""The laws of `tests.laws`, over values drawn by hypothesis and over every model of the ladder."""

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies

from fit.circuit.coil import CoilValues, Profile, coil_elements
from fit.circuit.instrument import Instrument, Pickup, stated_values
from fit.circuit.winding import stated_coil
from fit.estimate.coils import coil_values
from fit.estimate.ladder import ONE_COIL, TWO_COILS
from fit.estimate.model import build_problem, name_values
from fit.estimate.parameters import PickupModel
from fit.estimate.resonance import find_pole, loaded_gain, loaded_peak, pole_of
from tests import laws

drawn = hypothesis.settings(max_examples=60, deadline=None, derandomize=True)
LADDER = [*ONE_COIL, *TWO_COILS]


def ladder_name(eddies: tuple[tuple[Profile, ...], ...]) -> str:
    return " | ".join("+".join(profiles) or "none" for profiles in eddies)


@drawn
@hypothesis.given(laws.coils())
def test_coil_is_passive(coil: CoilValues) -> None:
    laws.require_passive_impedance(coil)


@drawn
@hypothesis.given(laws.coils())
def test_coil_has_its_limits(coil: CoilValues) -> None:
    laws.require_limits_of_a_coil(coil)


@drawn
@hypothesis.given(strategies.sampled_from(["loop", "spread"]), laws.time_constants, laws.half_widths)
def test_profile_rises_from_nought_to_one(profile: Profile, tau_s: float, width: float) -> None:
    laws.require_profile_laws(profile, tau_s, width)


@drawn
@hypothesis.given(laws.time_constants, laws.half_widths)
def test_spread_is_a_mixture_of_loops(tau_s: float, width: float) -> None:
    laws.require_spread_is_a_mixture(tau_s, width)


@drawn
@hypothesis.given(laws.time_constants)
def test_narrow_spread_is_a_loop(tau_s: float) -> None:
    laws.require_narrow_spread_is_a_loop(tau_s)


# What instrument.toml states of a coil, loops and spreads, is the coil that the fit has, at frequencies to the right too.
@drawn
@hypothesis.given(laws.coils())
def test_stated_coil_is_the_coil_of_the_fit_and_passive(coil: CoilValues) -> None:
    losses = [(profile, share**0.5, 1 / (2 * np.pi * tau_s), width) for share, tau_s, width, _, profile in coil.eddies]
    pickup = Pickup(
        ends=("tip", "ground"),
        eddy_loops=tuple((k, hertz) for profile, k, hertz, _ in losses if profile == "loop"),
        eddy_spreads=tuple((k, hertz, width) for profile, k, hertz, width in losses if profile == "spread"),
    )
    instrument = Instrument(pickup={"bridge": pickup})
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"bridge.inductance": coil.inductance_h, "bridge.dcr": coil.resistance_ohm}
    stated = stated_coil(instrument, "bridge", values, laws.S_RIGHT).impedance
    expected = coil_elements([coil], laws.S_RIGHT).impedance[0, 0]
    np.testing.assert_allclose(stated, expected, rtol=1e-12, atol=1e-12 * coil.resistance_ohm)
    assert np.all(stated.real >= coil.resistance_ohm - 1e-12 * np.abs(stated))


@drawn
@hypothesis.given(laws.coils(), laws.coils(), strategies.floats(0.0, 0.9), strategies.integers(0, 10_000))
def test_network_is_reciprocal(first: CoilValues, second: CoilValues, coupling: float, seed: int) -> None:
    laws.require_reciprocity([first, second], coupling, seed)


def vector_near_start(problem: laws.Problem, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    start = np.array([parameter.start for parameter in problem.parameters])
    spread = np.array([min(parameter.prior_std, 0.3) for parameter in problem.parameters])
    # where two inputs have the same high-pass, its own corner is not felt
    unequal = np.array([0.5 * (parameter.name == "highpass") for parameter in problem.parameters])
    return start + unequal + spread * rng.uniform(-1, 1, len(start))


# with a reference of the exciter's current, and without one: then the exciter's corner is a parameter
@pytest.mark.parametrize("reference_kind", ["current", "none"])
@pytest.mark.parametrize("eddies", LADDER, ids=ladder_name)
def test_jacobian_of_every_model_is_exact(eddies: tuple[tuple[Profile, ...], ...], reference_kind: str) -> None:
    problem = build_problem(laws.four_takes(reference_kind=reference_kind), PickupModel(eddies=eddies))
    names = [parameter.name for parameter in problem.parameters]
    assert ("log_exciter_corner" in names) == (reference_kind == "none")
    assert {"log_gain_0", "gain_step_1", "log_gain_2", "gain_step_3", "log_added_0", "log_added_1", "delay"} <= set(names)
    for seed in range(2):
        laws.require_exact_jacobian(problem, vector_near_start(problem, seed), tolerance=1e-8)


SOME_MODELS = [((),), (("loop",),), (("spread", "loop"),), (("loop",), ("spread",))]
SOME = pytest.mark.parametrize("eddies", SOME_MODELS, ids=ladder_name)
SOME_GAINS = pytest.mark.parametrize("eddies", SOME_MODELS, ids=ladder_name)


def sides(vector: np.ndarray, index: int, step: float) -> np.ndarray:
    changed = np.tile(vector, (2, 1))
    changed[:, index] += (step, -step)
    return changed


@SOME_GAINS
def test_gradient_of_loaded_gain_is_exact(eddies: tuple[tuple[Profile, ...], ...]) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector, frequency, step = vector_near_start(problem, 3), np.geomspace(50.0, 20e3, 25), 1e-4
    gain = loaded_gain(problem, vector, frequency)
    for index, parameter in enumerate(problem.parameters):
        up, down = (loaded_gain(problem, row, frequency).value for row in sides(vector, index, step))
        numeric = np.log(up / down) / (2 * step)
        np.testing.assert_allclose(gain.by_parameter[index], numeric, atol=1e-6, err_msg=parameter.name)


@SOME
def test_gradient_of_loaded_peak_is_right(eddies: tuple[tuple[Profile, ...], ...]) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector = vector_near_start(problem, 3)
    peak = loaded_peak(problem, vector)
    assert peak is not None
    for index, parameter in enumerate(problem.parameters):
        # the peak's place is refined to 4e-5 of itself, so these differences take wide steps and know no more digits
        up, down = (loaded_peak(problem, row) for row in sides(vector, index, 2e-3))
        assert peak.by_gain_db[index] == pytest.approx((up.gain_db - down.gain_db) / 4e-3, abs=0.02), parameter.name
        up, down = (loaded_peak(problem, row) for row in sides(vector, index, 2e-2))
        by_place = np.log(up.frequency_hz / down.frequency_hz) / 4e-2
        assert peak.by_log_frequency[index] == pytest.approx(by_place, abs=0.01), parameter.name


@SOME
@pytest.mark.parametrize("is_loaded", [False, True])
def test_gradient_of_pole_is_exact(eddies: tuple[tuple[Profile, ...], ...], is_loaded: bool) -> None:
    problem = build_problem(laws.four_takes(reference_kind="current"), PickupModel(eddies=eddies))
    vector, step = vector_near_start(problem, 3), 1e-4
    pole = pole_of(problem, vector, is_loaded=is_loaded)
    if len(eddies) == 2:
        assert pole is None
        return
    assert pole is not None
    for index, parameter in enumerate(problem.parameters):
        up, down = (pole_of(problem, row, is_loaded=is_loaded) for row in sides(vector, index, step))
        by_frequency = np.log(up.frequency_hz / down.frequency_hz) / (2 * step)
        by_quality = np.log(up.quality / down.quality) / (2 * step)
        assert pole.by_log_frequency.get(parameter.name, 0.0) == pytest.approx(by_frequency, abs=1e-6), parameter.name
        assert pole.by_log_quality.get(parameter.name, 0.0) == pytest.approx(by_quality, abs=1e-6), parameter.name


@drawn
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


# Two equal halves, equally excited, are one coil: L = 2L₁(1 + k), C = C₁/2, κ = κ₁/(1 + k), twice the EMF.
@pytest.mark.parametrize("profiles", [(), ("loop",), ("spread",), ("loop", "loop")])
def test_equal_halves_are_one_coil(profiles: tuple[Profile, ...]) -> None:
    evidence = laws.four_takes(reference_kind="current")
    one, two = (build_problem(evidence, PickupModel(eddies=eddies)) for eddies in ((profiles,), (profiles, profiles)))
    half_h, half_f, coupling = 1.4, 240e-12, 0.15
    chain = {"log_resistance": np.log(7e3), "delay": 0.02, "gain_step_1": 1e-3}
    shared = {f"log_tau_0_{index}": np.log(tau_s) for index, tau_s in enumerate((3e-5, 6e-6))}
    shared |= {f"field_0_{index}": strength for index, strength in enumerate((0.7, 0.2))}
    shares = (0.3, 0.2)
    whole = {**chain, **shared, "log_inductance": np.log(2 * half_h * (1 + coupling))}
    whole |= {"log_winding_capacitance": np.log(half_f / 2), "log_gain_0": np.log(2.0), "log_gain_2": np.log(2.0)}
    halves = {**chain, **shared, "log_inductance": np.log(half_h), "log_winding_capacitance": np.log(half_f)}
    halves |= {f"log_second_{name}": 0.0 for name in ("inductance", "winding_capacitance", "resistance", "excitation")}
    halves |= {"log_coupling": np.log(coupling / (1 - coupling)), "log_gain_0": 0.0, "log_gain_2": 0.0}
    for values, factor in ((whole, 1 / (1 + coupling)), (halves, 1.0)):
        left = 1.0
        for index, share in enumerate(shares):
            values[f"share_0_{index}"] = np.log(share * factor / (left - share * factor))
            left -= share * factor
    halves |= {name.replace("_0_", "_1_"): value for name, value in halves.items() if "_0_" in name}
    results = []
    for problem, values in ((one, whole), (two, halves)):
        vector = np.array([values.get(parameter.name, parameter.start) for parameter in problem.parameters])
        assert len(coil_values(problem.model, name_values(problem, vector))) == len(problem.model.eddies)
        results.append(laws.predicted_ratio(problem, vector))
    np.testing.assert_allclose(results[1], results[0], rtol=1e-12)
