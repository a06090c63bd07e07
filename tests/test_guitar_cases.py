"""The simulated guitars that other tests rest on: against a general circuit simulator, and laws that any guitar keeps."""

from dataclasses import replace

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.instrument import stated_values
from fit.circuit.reading import read_instrument
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from measure.transfer import estimate_response
from tests import guitar_cases as cases
from tests import guitar_parts as gp
from tests.guitar_bench import recordings_of, truth_vector
from tests.guitar_circuit import GROUND, TIP, Circuit, Winding, solve_tip, spice_lines
from tests.guitar_evidence import evidence_of_guitar
from tests.test_outside_circuit import needs_ngspice, simulate

DRAWN = {
    "one pickup": lambda seed: cases.draw_one_pickup(seed, takes=tuple(cases.ONE_PICKUP_TAKES)),
    "spread": lambda seed: cases.draw_one_pickup(seed, kind="spread"),
    "humbucker": lambda seed: cases.draw_one_pickup(seed, kind="humbucker"),
    "three pickups": cases.draw_three_pickups,
    "four pots, tone before": cases.draw_four_pots,
    "four pots, tone after": lambda seed: cases.draw_four_pots(seed, is_tone_before=False),
    "shielding": cases.draw_shielding,
    "impedance": cases.draw_impedance,
    "plate": cases.draw_plate,
}
AUDIBLE_HZ = np.geomspace(20, 20e3, 61)


@needs_ngspice
@pytest.mark.parametrize("what", DRAWN)
def test_every_take_against_a_general_simulator(tmp_path, what):
    for seed in (1, 2):
        for take in DRAWN[what](seed).takes.values():
            # the simulator needs a way to ground for direct current at every node
            tied = replace(take.circuit, resistors=[*take.circuit.resistors])
            tied.resistors += [(node, GROUND, 1e9) for node in {end for part in tied.resistors for end in part[:2]} - {GROUND}]
            lines, tip = spice_lines(tied)
            frequency_hz, (voltage,) = simulate(tmp_path, lines, [tip])
            ours = solve_tip(tied, frequency_hz)
            assert np.max(np.abs(ours / voltage - 1)) < 1e-9, (seed, take.name)


@needs_ngspice
def test_turns_coupled_to_each_other_against_a_general_simulator(tmp_path):
    circuit = cases.draw_one_pickup(3, kind="two loops").takes["tone-up"].circuit
    circuit.couplings["bridge 0 turn 0", "bridge 0 turn 1"] = 0.3
    lines, tip = spice_lines(circuit)
    frequency_hz, (voltage,) = simulate(tmp_path, lines, [tip])
    assert np.max(np.abs(solve_tip(circuit, frequency_hz) / voltage - 1)) < 1e-9


def test_ratio_is_that_of_the_formula_for_one_coil_and_its_turns():
    """T = s·e/(1 + Z·Y), written out by hand for a pickup straight at the jack."""
    pickup = gp.draw_pickup(np.random.default_rng(7), "one", kind="two loops")
    circuit = Circuit(resistors=[(TIP, GROUND, 1e6)], capacitors=[(TIP, GROUND, 500e-12)])
    gp.add_pickup(circuit, "one", pickup, (TIP, GROUND), drive=1.0)
    s, coil = 2j * np.pi * AUDIBLE_HZ, pickup.coils[0]
    profiles = [(turn, s / (2 * np.pi * turn.corner_hz + s)) for turn in coil.turns]
    z = coil.ohm + s * coil.henry * (1 - sum(turn.k**2 * p for turn, p in profiles))
    expected = s * (1 - sum(turn.g * p for turn, p in profiles)) / (1 + z * (1e-6 + s * (500e-12 + coil.farad)))
    np.testing.assert_allclose(solve_tip(circuit, AUDIBLE_HZ) / gp.MUTUAL_H, expected, rtol=1e-11)


def test_spread_of_turns_is_the_mean_over_the_logarithm_of_their_time_constants():
    turns = gp.spread_turns(k=0.4, corner_hz=5e3, half_width=1.7, g=0.6)
    s, tau_s = 2j * np.pi * AUDIBLE_HZ, 1 / (2 * np.pi * 5e3)
    expected = np.log((1 + s * tau_s * np.exp(1.7)) / (1 + s * tau_s * np.exp(-1.7))) / (2 * 1.7)
    for weights, total in (([turn.k**2 for turn in turns], 0.16), ([turn.g for turn in turns], 0.6)):
        ours = sum(w * s / (2 * np.pi * turn.corner_hz + s) for w, turn in zip(weights, turns, strict=True))
        np.testing.assert_allclose(ours / total, expected, rtol=1e-9)


def _across(circuit, frequency_hz):
    """Impedance at the tip, by a source of 1 V behind 1 kΩ."""
    ratio = solve_tip(replace(circuit, source=(TIP, "R", 1e3)), frequency_hz)
    return 1e3 * ratio / (1 - ratio)


@pytest.mark.parametrize("kind", ["loops", "spread", "humbucker"])
def test_limit_at_direct_current(kind):
    case = cases.draw_one_pickup(5, kind=kind)
    truths, slow_hz = case.truths, np.array([1e-3])
    assert truths["bridge.dcr"] == pytest.approx(case.guitar.pickups["bridge"].ohm, rel=1e-12)
    parallel = 1 / (1 / truths["bridge.dcr"] + 1 / truths["pot.volume"] + 1 / truths["input.resistance"])
    assert _across(case.takes["tone-up"].circuit, slow_hz)[0] == pytest.approx(parallel, rel=1e-4)
    # below all resonances the response rises with s alone, divided by what lies across the jack
    ratio = cases.true_response(case.takes["tone-up"], slow_hz)[0] / case.takes["tone-up"].gain
    excited = sum(coil.excitation for coil in case.guitar.pickups["bridge"].coils)
    assert ratio == pytest.approx(2j * np.pi * slow_hz[0] * excited * parallel / truths["bridge.dcr"], rel=1e-4)


def test_total_inductance_of_a_humbucker_is_what_its_ends_show():
    pickup = gp.draw_pickup(np.random.default_rng(1), "one", kind="humbucker")
    circuit = Circuit()
    gp.add_pickup(circuit, "one", pickup, (TIP, GROUND), drive=1.0)
    slow_hz = 0.1
    shown = _across(circuit, np.array([slow_hz]))[0]
    # each winding's own capacitance takes R²C away from what is seen far below the resonance
    lessened = sum(coil.ohm**2 * coil.farad for coil in pickup.coils)
    assert shown.imag / (2 * np.pi * slow_hz) == pytest.approx(pickup.truths["one.inductance"] - lessened, rel=1e-6)
    assert pickup.henry == pytest.approx(pickup.truths["one.inductance"], rel=1e-12)


@pytest.mark.parametrize("what", DRAWN)
def test_impedance_at_the_jack_is_passive_and_kirchhoff_reciprocal(what):
    for take in DRAWN[what](11).takes.values():
        circuit = replace(take.circuit, source=None)
        assert np.all(_across(circuit, AUDIBLE_HZ).real > 0)
        # V(tip) for a current into another node equals V(there) for the same current into the tip
        node = circuit.windings[0].ends[0]
        swapped = {TIP: node, node: TIP}

        def turn(pair, swapped=swapped):
            return tuple(swapped.get(end, end) for end in pair)

        mirrored = Circuit(
            resistors=[(*turn(part[:2]), part[2]) for part in circuit.resistors],
            capacitors=[(*turn(part[:2]), part[2]) for part in circuit.capacitors],
            windings=[replace(w, ends=turn(w.ends)) for w in circuit.windings],
            couplings=circuit.couplings,
            joins=[turn(pair) for pair in circuit.joins],
        )
        there, back = (_transfer_impedance(each, node, AUDIBLE_HZ) for each in (circuit, mirrored))
        np.testing.assert_allclose(there, back, rtol=1e-9)


def _transfer_impedance(circuit, node, frequency_hz):
    """Voltage at the tip for 1 A into a node: a source behind a resistor so large that it is a current."""
    return solve_tip(replace(circuit, source=(node, "R", 1e15)), frequency_hz) * 1e15


def test_parallel_pair_of_equal_pickups_gives_half_the_level_of_one():
    pickup = gp.draw_pickup(np.random.default_rng(2), "one", kind="one loop")
    levels = []
    for drives in ({"a": 1.0, "b": 0.0}, {"a": 1.0, "b": 1.0}):
        circuit = Circuit(resistors=[(TIP, GROUND, 1e12)])
        for name, drive in drives.items():
            gp.add_pickup(circuit, name, pickup, (TIP, GROUND), drive=drive)
        levels.append(solve_tip(circuit, AUDIBLE_HZ))
    np.testing.assert_allclose(levels[0], levels[1] / 2, rtol=1e-9)


def test_out_of_phase_pickup_has_the_other_sign_and_cancels_its_equal():
    case = cases.draw_three_pickups(4, out_of_phase="middle")
    slow_hz = np.array([100.0])
    signs = {name: np.sign((cases.true_response(case.takes[f"{name}-at-{name}"], slow_hz) / 1j).real[0]) for name in case.dcr}
    assert signs["bridge"] == signs["neck"] == -signs["middle"]
    straight = cases.draw_three_pickups(4, out_of_phase="")
    for name, take in case.takes.items():
        ours, other = (cases.true_response(each, AUDIBLE_HZ) for each in (take, straight.takes[name]))
        if name in ("middle-at-middle", "bridge-at-bridge"):
            np.testing.assert_allclose(ours, other * (-1 if name == "middle-at-middle" else 1), rtol=1e-12)
    pickup = gp.draw_pickup(np.random.default_rng(2), "one", kind="one loop")
    circuit = Circuit(resistors=[(TIP, GROUND, 1e6)])
    gp.add_pickup(circuit, "a", pickup, (TIP, GROUND), drive=1.0)
    gp.add_pickup(circuit, "b", pickup, (GROUND, TIP), drive=1.0)
    alone = Circuit(resistors=[(TIP, GROUND, 1e6)])
    gp.add_pickup(alone, "a", pickup, (TIP, GROUND), drive=1.0)
    assert np.max(np.abs(solve_tip(circuit, AUDIBLE_HZ) / solve_tip(alone, AUDIBLE_HZ))) < 1e-12


def test_a_position_that_leaves_the_pickup_out_hears_only_the_leakage():
    case = cases.draw_three_pickups(6, out_of_phase="", conditions=cases.Conditions(gain_step_std=0.0))
    slow_hz = np.array([0.1])  # the tone capacitor lets nothing through
    own, other = (cases.true_response(case.takes[name], slow_hz)[0] for name in ("bridge-at-bridge", "bridge-at-neck"))
    assert not case.takes["bridge-at-neck"].is_heard
    across = 1 / (1 / case.truths["pot.volume"] + 1 / case.truths["input.resistance"])
    divided = {name: across / (across + case.truths[f"{name}.dcr"]) for name in ("bridge", "neck")}
    assert (other / own).real == pytest.approx(case.leaks["bridge", "neck"] * divided["neck"] / divided["bridge"], rel=1e-4)


@pytest.mark.parametrize("what", DRAWN)
def test_truths_go_by_the_names_of_instrument_toml_and_lie_where_they_are_said_to(what):
    case = DRAWN[what](8)
    instrument = read_instrument(case.instrument_toml)
    named = {key for key, stated in stated_values(instrument).items() if stated.is_marked}
    assert named == set(case.marked)
    for key in named:
        stated = stated_values(instrument)[key].quantity
        assert abs(case.truths[key] - stated.value) <= stated.bound * (1 + 1e-12), key
    assert {key for key in stated_values(instrument) if key.endswith((".dcr", ".inductance"))} <= set(case.truths)
    for take in case.takes.values():
        read_settings(instrument, take.settings)
    assert len(evidence_of_guitar(case).takes) == sum(take.is_heard for take in case.takes.values())


@pytest.mark.parametrize("references", ["gaussian", "rectangular"])
def test_references_scatter_as_they_are_said_to(references):
    conditions = cases.Conditions(references=references)
    drawn = [cases.draw_one_pickup(seed, takes=("tone-up",), conditions=conditions) for seed in range(400)]
    errors = {
        "added": [(case.truths["added"] / 1e-9 - 1) / 0.01 for case in drawn],
        "input": [(case.truths["input.capacitance"] - 185e-12) / 3e-12 for case in drawn],
        "dcr": [(float(case.dcr["bridge"].split()[0]) / case.truths["bridge.dcr"] - 1) / 0.01 for case in drawn],
    }
    for name, shares in errors.items():
        # the standard deviation of 400 draws is known to 3.5 %
        assert np.std(shares) * 3**0.5 == pytest.approx(1.0, abs=0.11), name
        assert (max(map(abs, shares)) <= 1.02) is (references == "rectangular"), name


def test_noise_is_as_stated_and_misfit_and_delay_come_as_asked():
    plain = cases.Conditions(gain_step_std=0.0)
    pulls = []
    for seed in range(20):
        for take in cases.draw_one_pickup(seed, conditions=plain).takes.values():
            error = take.response.value - cases.true_response(take, cases.GRID_HZ)
            std = np.sqrt(take.response.covariance[:, 0, 0])
            pulls += [error.real / std, error.imag / std]
    assert np.mean(np.square(pulls)) == pytest.approx(1.0, abs=0.03)  # 19200 draws: 1 ± 0.01
    relative = np.sqrt(2) * std / np.abs(take.response.value)
    assert 5e-5 < np.min(relative) < 3e-4
    for kind in ("common", "per take", "points"):
        bent = cases.Conditions(gain_step_std=0.0, misfit=1e-3, misfit_kind=kind, noise=1e-9, delay_samples=0.02)
        case = cases.draw_one_pickup(3, conditions=bent)
        errors = [take.response.value / cases.true_response(take, cases.GRID_HZ) - 1 for take in case.takes.values()]
        assert 3e-4 < np.sqrt(np.mean(np.abs(errors) ** 2)) < 3e-3
        assert bool(np.max(np.abs(errors[0] - errors[1])) < 1e-6) is (kind == "common")
        # neighbours are a sixteenth of an octave apart
        step = np.mean(np.abs(np.diff(errors[0])) ** 2) / np.mean(np.abs(errors[0]) ** 2)
        assert bool(step < 0.05) is (kind != "points")
        straight = cases.draw_one_pickup(3, conditions=replace(bent, delay_samples=0.0))
        late = case.takes["tone-up"].response.value / straight.takes["tone-up"].response.value
        np.testing.assert_allclose(np.angle(late), -2 * np.pi * cases.GRID_HZ * 0.02 / 48e3, atol=1e-7)


def test_the_same_seed_gives_the_same_case_and_other_conditions_leave_the_guitar():
    first, again = (cases.draw_three_pickups(9) for _ in range(2))
    for name, take in first.takes.items():
        assert np.array_equal(take.response.value, again.takes[name].response.value)
    other = cases.draw_three_pickups(9, conditions=cases.Conditions(noise=1e-3, misfit=1e-3, misfit_kind="per take"))
    assert other.truths == first.truths
    assert other.leaks == first.leaks
    assert cases.draw_three_pickups(10).truths != first.truths


def test_recordings_measure_what_the_responses_say():
    case = cases.draw_one_pickup(12)
    recordings = recordings_of(case)
    scales = []
    for name, take in case.takes.items():
        measured = estimate_response([recordings[name]])
        inside = (measured.frequency_hz > 80) & (measured.frequency_hz < 15e3)
        true = cases.true_response(take, measured.frequency_hz[inside])
        ratio = measured.value[inside] / true
        scales.append(np.median(ratio.real))
        noise = np.sqrt(np.trace(measured.covariance[inside], axis1=1, axis2=2)) / np.abs(true)
        assert np.all(np.abs(ratio / scales[-1] - 1) < 5 * noise / abs(scales[-1]) + 1e-4), name
    # one scale for all takes of a case
    np.testing.assert_allclose(scales, scales[0], rtol=2e-4)


def test_ideal_turn_alone_does_nothing_to_a_coil_that_it_is_not_coupled_to():
    circuit = Circuit(resistors=[(TIP, GROUND, 1e6)])
    circuit.windings = [
        Winding(name="coil", henry=3.0, ohm=7e3, to_exciter=0.01, ends=(TIP, GROUND)),
        Winding(name="turn", henry=1e-6, ohm=1e-2, to_exciter=0.01),
    ]
    bare = replace(circuit, windings=circuit.windings[:1])
    np.testing.assert_allclose(solve_tip(circuit, AUDIBLE_HZ), solve_tip(bare, AUDIBLE_HZ), rtol=1e-12)


ONE_LOOP_CASES = {
    "one pickup": lambda seed: cases.draw_one_pickup(seed, kind="one loop", takes=tuple(cases.ONE_PICKUP_TAKES)),
    "three pickups": cases.draw_three_pickups,
    "four pots, tone before": cases.draw_four_pots,
    "four pots, tone after": lambda seed: cases.draw_four_pots(seed, is_tone_before=False),
    "shielding": lambda seed: cases.draw_shielding(seed, kind="one loop"),
    "impedance": lambda seed: cases.draw_impedance(seed, kind="one loop", is_with_exciter=True),
}


@pytest.mark.parametrize("what", ONE_LOOP_CASES)
def test_the_fits_model_at_the_truths_leaves_the_noise_and_nothing_else(what):
    for seed in range(3):
        case = ONE_LOOP_CASES[what](seed)
        problem = build_problem(evidence_of_guitar(case), PickupModel(eddies=(("loop",),)))
        residual = predict_residual(problem, truth_vector(case, problem)).residual
        share = np.abs(residual) ** 2 / problem.noise**2
        assert np.mean(share) == pytest.approx(1.0, abs=6 / np.sqrt(len(share))), seed  # of 2 |z|²/2 the standard deviation is 1
        for take in range(len(problem.evidence.takes)):
            own = share[problem.take_of_point == take]
            assert np.mean(own) < 1 + 6 / np.sqrt(len(own)), problem.evidence.takes[take].name


@pytest.mark.parametrize(("what", "begins"), [("three pickups", "leak_"), ("shielding", "shunt"), ("one pickup", "logit_")])
def test_a_truth_left_out_shows_in_the_residual(what, begins):
    case = ONE_LOOP_CASES[what](0)
    problem = build_problem(evidence_of_guitar(case), PickupModel(eddies=(("loop",),)))
    vector = truth_vector(case, problem)
    for index, parameter in enumerate(problem.parameters):
        if parameter.name.startswith(begins):
            vector[index] = parameter.start
    assert np.mean(np.abs(predict_residual(problem, vector).residual) ** 2 / problem.noise**2) > 100
