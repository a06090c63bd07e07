"""The simulated guitars that other tests rest on: against a general circuit simulator, and laws that any guitar keeps."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.instrument import stated_values
from fit.circuit.reading import read_instrument
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from measure.transfer.response import estimate_response
from tests import guitar_cases as cases
from tests import guitar_parts as gp
from tests.general_simulator import needs_ngspice, simulate
from tests.guitar_bench import recordings_of, truth_vector
from tests.guitar_circuit import GROUND, TIP, Circuit, Winding, lossy_admittance, solve_tip, spice_lines
from tests.guitar_evidence import evidence_of_guitar

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
REAL_DRAWN = {
    "one real pickup": lambda seed: cases.draw_one_pickup(seed, takes=tuple(cases.ONE_PICKUP_TAKES), conditions=cases.REAL),
    "three real pickups": lambda seed: cases.draw_three_pickups(seed, conditions=cases.REAL),
    "four real pots": lambda seed: cases.draw_four_pots(seed, conditions=cases.REAL),
    "pair": lambda seed: cases.draw_pair(seed, kind="humbucker", added_f=20e-12),
    "leaks": lambda seed: cases.draw_pair(seed, conditions=LEAKY),
    "impedance": lambda seed: cases.draw_impedance(seed, conditions=cases.REAL),
    "bare": lambda seed: cases.draw_bare(seed, added=(cases.ADDED, "2n2 ± 1%"), repeats=2, conditions=cases.REAL),
}
LEAKY = cases.Conditions(real=gp.RealParts(leak_ohm=(2e5, 5e6)))
AUDIBLE_HZ = np.geomspace(20, 20e3, 61)


def _tied(circuit):
    """With a way to ground for direct current at every node, as the simulator needs it."""
    nodes = {end for part in (*circuit.resistors, *circuit.lossy) for end in part[:2]} - {GROUND}
    return replace(circuit, resistors=[*circuit.resistors, *((node, GROUND, 1e9) for node in sorted(nodes))])


@pytest.mark.long
@needs_ngspice
@pytest.mark.parametrize("what", DRAWN)
def test_every_take_against_a_general_simulator(tmp_path, what):
    for seed in (1, 2):
        for take in DRAWN[what](seed).takes.values():
            tied = _tied(take.circuit)
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


@pytest.mark.parametrize("what", DRAWN | REAL_DRAWN)
def test_impedance_at_the_jack_is_passive_and_kirchhoff_reciprocal(what):
    for take in (DRAWN | REAL_DRAWN)[what](11).takes.values():
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
            lossy=[(*turn(part[:2]), *part[2:]) for part in circuit.lossy],
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


@pytest.mark.long
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


@pytest.mark.long
@pytest.mark.parametrize("what", ["ideal", "real"])
def test_recordings_measure_what_the_responses_say(what):
    conditions = cases.Conditions(real=gp.RealParts(high_pass_hz=(10.0, 3.0), clock_ppm=-80.0))
    case = cases.draw_one_pickup(12) if what == "ideal" else cases.draw_pair(12, conditions=conditions)
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


SPOTS_HZ = (60.0, 900.0, 4500.0, 16e3)


@pytest.mark.long
@needs_ngspice
@pytest.mark.parametrize("what", REAL_DRAWN)
def test_real_parts_against_a_general_simulator(tmp_path, what):
    """At each frequency with the resistance and capacitance that a capacitor which loses is there."""
    for take in REAL_DRAWN[what](3).takes.values():
        tied = _tied(take.circuit)
        assert tied.lossy
        for spot_hz in SPOTS_HZ:
            lines, tip = spice_lines(tied, at_hz=spot_hz)
            frequency_hz, (voltage,) = simulate(tmp_path, lines, [tip], f"lin 1 {spot_hz} {spot_hz}")
            assert np.max(np.abs(solve_tip(tied, frequency_hz) / voltage - 1)) < 1e-9, (take.name, spot_hz)


@needs_ngspice
@pytest.mark.parametrize("name", ["before-tone-up", "before-tone-down", "after-tone-up-plus-1n"])
def test_real_guitar_against_a_netlist_written_from_its_truths(tmp_path, name):
    """Stops, travel, leak, warm winding and shares of the field as the names of the truths say."""
    case = cases.draw_pair(4, kind="one loop", added_f=20e-12, conditions=LEAKY)
    take, truths, pot = case.takes[name], {key: float(value) for key, value in case.truths.items()}, {}
    for which in ("volume", "tone"):
        ohm, at = truths[f"pot.{which}"], take.settings[which]
        if at == "10":
            pot[which] = (truths[f"pot.{which}.travel"] * ohm, truths[f"pot.{which}.stop@10"])
        else:
            pot[which] = (truths[f"pot.{which}.stop@0"], ohm)
    turn = take.pickups["bridge"].coils[0].turns[0]
    loop_h, side = 1e-3, ".after" if take.is_after else ""
    # what the exciter does to the turn takes g of what it does to the coil away: k·k(x, turn) = g·k(x, coil)
    to_coil = gp.MUTUAL_H / (1e-3 * truths["bridge.inductance"]) ** 0.5
    omega = 2 * np.pi * 3e3
    lines = [
        "I1 0 x AC 1",
        "Lx x 0 1e-3",
        f"L1 hot a {truths['bridge.inductance']!r}",
        f"R1 a 0 {truths[f'bridge.dcr{side}']!r}",
        f"C1 hot 0 {truths['bridge.winding_capacitance'] + (20e-12 if take.is_after else 0.0)!r}",
        f"L2 b 0 {loop_h!r}",
        f"R2 b 0 {2 * np.pi * truths['bridge.eddy_loop_1.corner'] * loop_h!r}",
        f"K12 L1 L2 {truths['bridge.eddy_loop_1.coupling']!r}",
        f"Kx1 Lx L1 {to_coil!r}",
        f"Kx2 Lx L2 {float(turn.g / turn.k) * to_coil!r}",
        f"Rcw hot tip {pot['volume'][1]!r}",
        f"Rccw tip 0 {pot['volume'][0]!r}",
        f"Rtone hot t {pot['tone'][0]!r}",
        f"Rleak t 0 {truths['capacitor.tone.leak']!r}",
        f"Rin tip 0 {truths['input.resistance']!r}",
    ]
    load = [("t", "capacitor.tone"), ("tip", "input.capacitance"), *([("tip", "added")] if take.added else [])]
    for index, (node, key) in enumerate(load):
        tangent = truths[f"{'input' if key == 'input.capacitance' else key}.loss_tangent"]
        farad = truths[key] * 3.0 ** (-2 / np.pi * math.atan(tangent)) / (1 + tangent**2) ** 0.5
        lines += [f"Cd{index} {node} 0 {farad!r}", f"Rd{index} {node} 0 {1 / (omega * farad * tangent)!r}"]
    frequency_hz, (voltage,) = simulate(tmp_path, lines, ["v(tip)"], "lin 1 3k 3k")
    assert np.max(np.abs(solve_tip(take.circuit, frequency_hz) / voltage - 1)) < 1e-9


def ladder(first, second, farad, tangent):
    """Resistors and capacitors of a ladder that is a capacitor of constant loss tangent.

    s^-a is the sum of τ^a/(1 + sτ) over ln τ, times sin(πa)/π; of the terms beyond both ends the first orders in s are added up.
    """
    a, step = 2 / np.pi * np.arctan(tangent), 0.3
    tau_s = np.exp(np.arange(np.log(1e-10), np.log(1e4), step))
    each_f = farad * (2 * np.pi * 1e3 * tau_s) ** a * np.sin(np.pi * a) / np.pi * step
    fast_f, as_first_f = each_f[0] / np.expm1(a * step), each_f[0] / np.expm1((1 + a) * step)
    each_f[0] += as_first_f
    slow_ohm = np.expm1((1 - a) * step) * (tau_s / each_f)[-1]
    middles = [f"{first} rung {index}" for index in range(len(tau_s))]
    resistors = [(first, middle, tau / rung_f) for middle, tau, rung_f in zip(middles, tau_s, each_f, strict=True)]
    capacitors = [(middle, second, rung_f) for middle, rung_f in zip(middles, each_f, strict=True)]
    return [*resistors, (first, second, slow_ohm)], [*capacitors, (first, second, fast_f - as_first_f)]


@needs_ngspice
@pytest.mark.parametrize("tangent", [5e-4, 0.004, 0.02, 0.3])
def test_capacitor_that_loses_is_a_ladder_of_resistors_and_capacitors(tmp_path, tangent):
    """So it is passive and causal."""
    case = cases.draw_one_pickup(6, conditions=cases.Conditions(real=replace(gp.IDEAL, tone_tangent=(tangent, tangent))))
    circuit = _tied(case.takes["tone-down"].circuit)
    (lossy,) = circuit.lossy
    resistors, capacitors = ladder(*lossy)
    built = replace(circuit, lossy=[], resistors=circuit.resistors + resistors, capacitors=circuit.capacitors + capacitors)
    lines, tip = spice_lines(built)
    frequency_hz, (voltage,) = simulate(tmp_path, lines, [tip])
    assert np.max(np.abs(solve_tip(circuit, frequency_hz) / voltage - 1)) < 1e-9
    without = replace(circuit, lossy=[], capacitors=[*circuit.capacitors, lossy[:3]])
    assert np.max(np.abs(solve_tip(without, frequency_hz) / voltage - 1)) > tangent / 5


@pytest.mark.parametrize("tangent", [5e-4, 0.02, 0.3])
def test_law_of_the_capacitor_that_loses(tangent):
    s = 2j * np.pi * AUDIBLE_HZ
    capacitance = lossy_admittance(s, 22e-9, tangent) / s
    np.testing.assert_allclose(-capacitance.imag / capacitance.real, tangent, rtol=1e-10)
    assert abs(lossy_admittance(np.array([2e3j * np.pi]), 22e-9, tangent)[0]) == pytest.approx(2e3 * np.pi * 22e-9, rel=1e-12)
    folds = np.log(AUDIBLE_HZ[-1] / AUDIBLE_HZ[0])
    fall = -np.log(capacitance.real[-1] / capacitance.real[0]) / folds
    assert fall == pytest.approx(2 / np.pi * np.arctan(tangent), rel=1e-12)
    # Kramers and Kronig: the real part at two frequencies differs by what the imaginary part at all of them says
    omega = np.exp(np.arange(-60.0, 60.0, 0.01) + 0.005)
    lost = -(lossy_admittance(1j * omega, 1.0, tangent) / (1j * omega)).imag
    ours, sums = [], []
    for at in (1.0, np.exp(5.0)):
        one = lossy_admittance(np.array([1j * at]), 1.0, tangent)[0] / (1j * at)
        ours.append(one.real)
        sums.append(2 / np.pi * (omega * lost + at * one.imag) / (omega**2 - at**2))
    assert 0.01 * np.sum((sums[0] - sums[1]) * omega) == pytest.approx(ours[0] - ours[1], rel=1e-9)


@pytest.mark.parametrize("what", ["one pickup", "three pickups", "four pots, tone before", "shielding", "impedance"])
def test_real_parts_of_no_size_change_nothing(what):
    draw = {
        "one pickup": cases.draw_one_pickup,
        "three pickups": cases.draw_three_pickups,
        "four pots, tone before": cases.draw_four_pots,
        "shielding": cases.draw_shielding,
        "impedance": cases.draw_impedance,
    }[what]
    plain, real = draw(5), draw(5, conditions=cases.Conditions(real=gp.IDEAL))
    assert plain.truths == {key: real.truths[key] for key in plain.truths}
    assert (plain.instrument_toml, plain.leaks) == (real.instrument_toml, real.leaks)
    for name, take in plain.takes.items():
        assert np.array_equal(take.response.value, real.takes[name].response.value)
    assert real.truths["bridge.kelvin"] == 0.0
    # real parts leave what the guitar is marked with, and its values, as they were
    other = draw(5, conditions=cases.REAL)
    assert {key for key, value in plain.truths.items() if other.truths[key] != value} == {f"{name}.dcr" for name in plain.dcr}
    assert (other.dcr, other.marked) == (plain.dcr, plain.marked)


def test_a_pot_at_a_stop_keeps_its_ohms_and_the_rest_of_its_track():
    circuit = Circuit()
    circuit.add_pot(("cw", "wiper", "ccw"), 250e3, 0.0, counter_ohm=20.0)
    circuit.add_pot(("cw", "wiper", "ccw"), 250e3, 0.97, clockwise_ohm=30.0)
    assert circuit.resistors[:2] == [("wiper", "ccw", 20.0), ("cw", "wiper", 250e3)]
    assert circuit.resistors[2][2] == pytest.approx(242.5e3, rel=1e-12)
    assert circuit.resistors[3][2] == pytest.approx(7530.0, rel=1e-12)
    # the tone capacitor cannot draw more than the stop lets through: far above all corners the jack sees the stop
    case = cases.draw_one_pickup(2, conditions=cases.Conditions(real=replace(gp.IDEAL, stop_ohm=(47.0, 47.0))))
    assert case.truths["pot.tone.stop@0"] == case.truths["pot.volume.stop@10"] == 47.0
    seen = _across(replace(case.takes["tone-down"].circuit, capacitors=[("tone link", GROUND, 1.0)]), np.array([1e3]))
    across = 1 / (1 / 94.0 + 1 / case.truths["pot.volume"] + 1 / case.truths["input.resistance"])
    assert seen[0].real == pytest.approx(across, rel=1e-3)  # the coil is in parallel


@pytest.mark.long
def test_real_parts_are_drawn_from_their_ranges():
    drawn = [cases.draw_one_pickup(seed, takes=("tone-up-plus-1n",), conditions=cases.REAL) for seed in range(300)]
    truths = {key: np.array([case.truths[key] for case in drawn]) for key in drawn[0].truths}
    track = truths["pot.volume"] * (1 - truths["pot.volume.travel"])
    logs = {"pot.tone.stop@0": (0.5, 80.0), "capacitor.tone.loss_tangent": (5e-4, 2e-2)}
    shares = {key: np.log(truths[key] / low) / np.log(high / low) for key, (low, high) in logs.items()}
    shares["end"] = np.log((truths["pot.volume.stop@10"] - track) / 0.5) / np.log(160)
    evens = {
        "pot.volume.travel": (0.97, 1.0),
        "input.loss_tangent": (0, 0.02),
        "added.loss_tangent": (0, 1e-3),
        "bridge.kelvin": (0, 15),
    }
    shares |= {key: (truths[key] - low) / (high - low) for key, (low, high) in evens.items()}
    for key, share in shares.items():
        assert 0 <= np.min(share) < 0.03, key
        assert 0.97 < np.max(share) <= 1 + 1e-9, key
        assert np.mean(share) == pytest.approx(0.5, abs=4 / np.sqrt(12 * 300)), key
    # each is drawn apart from the others
    table = np.corrcoef(list(shares.values()))
    assert np.max(np.abs(table - np.eye(len(table)))) < 0.2


def test_windings_are_as_warm_as_is_said():
    for seed in range(20):
        case = cases.draw_pair(seed, conditions=cases.Conditions(references="rectangular", real=gp.RealParts()))
        before, after = case.takes["before-tone-up"], case.takes["after-tone-down"]
        assert case.truths["bridge.kelvin"] == pytest.approx(before.temperature_c - case.dcr_temperature_c)
        assert -2 <= after.temperature_c - before.temperature_c <= 2
        cold = case.guitar.pickups["bridge"].ohm
        assert abs(float(case.dcr["bridge"].split()[0]) / cold - 1) <= 0.0101
        assert case.truths["bridge.dcr"] == before.pickups["bridge"].ohm
        # 0.393 % of the resistance at 20 °C for each kelvin
        at_20 = cold / (1 + 0.00393 * (case.dcr_temperature_c - 20))
        for take, side in ((before, ""), (after, ".after")):
            assert case.truths[f"bridge.dcr{side}"] == pytest.approx(
                at_20 + 0.00393 * at_20 * (take.temperature_c - 20), rel=1e-12
            )
            slow = _across(replace(take.circuit, lossy=[]), np.array([1e-3]))[0]
            behind = 1 / (case.truths[f"bridge.dcr{side}"] + case.truths["pot.volume.stop@10"])
            track = case.truths["pot.volume"] * case.truths["pot.volume.travel"]
            assert (1 / slow).real == pytest.approx(behind + 1 / track + 1 / case.truths["input.resistance"], rel=1e-6)


@pytest.mark.long
def test_a_placement_reaches_the_loops_in_its_own_way_and_leaves_the_rest():
    ratios = []
    for seed in range(60):
        case = cases.draw_pair(seed, kind="two loops")
        coils = [take.pickups["bridge"].coils[0] for take in case.takes.values()]
        assert coils[0] == coils[1] == coils[2]
        assert coils[3] == coils[4] == coils[5]
        for turn, other in zip(coils[0].turns, coils[3].turns, strict=True):
            assert (turn.k, turn.corner_hz) == (other.k, other.corner_hz)
            ratios.append(other.g / turn.g)
        assert case.takes["before-tone-up"].gain != case.takes["after-tone-up"].gain
    assert 0.85 <= min(ratios) < 0.87
    assert 1.13 < max(ratios) <= 1.15
    assert len(set(ratios)) == len(ratios)
    # three pickups: three placements, over one and beside two
    case = cases.draw_three_pickups(1, conditions=cases.REAL)
    shares = {take.coil_over: take.pickups["neck"].coils[0].turns[0].g for take in case.takes.values()}
    own = case.guitar.pickups["neck"].coils[0].turns[0].g
    assert shares["neck"] == own
    assert len(set(shares.values())) == 3
    assert all(abs(share / own - 1) <= 0.15 for share in shares.values())


def test_a_pair_differs_by_what_was_added_and_nothing_else():
    quiet = cases.Conditions(gain_step_std=0.0, real=replace(gp.IDEAL, stop_ohm=(5.0, 50.0), tone_tangent=(1e-3, 1e-2)))
    for added_f in (0.0, 20e-12):
        case = cases.draw_pair(3, added_f=added_f, conditions=quiet)
        evidence = evidence_of_guitar(case)
        assert [take.is_after for take in evidence.takes] == [False] * 3 + [True] * 3
        assert [take.coil_moved for take in evidence.takes] == [False, False, False, True, False, False]
        for name in cases.THREE_TAKES:
            before, after = (case.takes[f"{side}-{name}"] for side in ("before", "after"))
            ratio = cases.true_response(after, AUDIBLE_HZ) / cases.true_response(before, AUDIBLE_HZ) / (after.gain / before.gain)
            assert bool(np.max(np.abs(ratio - 1)) < 1e-12) is (added_f == 0.0)


def test_exchanged_leads_turn_the_sign_after_the_job():
    conditions = cases.Conditions(real=replace(gp.IDEAL, is_exchanged=True))
    case, straight = cases.draw_pair(3, conditions=conditions), cases.draw_pair(3, conditions=cases.Conditions(real=gp.IDEAL))
    for name, take in case.takes.items():
        ratio = cases.true_response(take, AUDIBLE_HZ) / cases.true_response(straight.takes[name], AUDIBLE_HZ)
        np.testing.assert_allclose(ratio, -1 if name.startswith("after") else 1, rtol=1e-9)


@needs_ngspice
@pytest.mark.parametrize("high_pass_hz", [(3.0, 10.0), (8.0, 0.5)])
def test_unequal_high_passes_against_a_general_simulator(tmp_path, high_pass_hz):
    lines = ["V1 in 0 AC 1"]
    for index, corner_hz in enumerate(high_pass_hz):
        lines += [f"C{index} in out{index} 1u", f"R{index} out{index} 0 {1 / (2 * np.pi * corner_hz * 1e-6)!r}"]
    frequency_hz, passed = simulate(tmp_path, lines, ["v(out0)", "v(out1)"])
    take = cases.draw_one_pickup(1, conditions=cases.Conditions(real=replace(gp.IDEAL, high_pass_hz=high_pass_hz))).takes[
        "tone-up"
    ]
    ratio = cases.true_response(take, frequency_hz) / cases.true_response(replace(take, high_pass_hz=(0.0, 0.0)), frequency_hz)
    assert np.max(np.abs(ratio / (passed[0] / passed[1]) - 1)) < 1e-9


def test_a_fast_clock_shows_the_resonance_too_low():
    fast = cases.draw_one_pickup(1, conditions=cases.Conditions(real=replace(gp.IDEAL, clock_ppm=100.0))).takes["tone-up"]
    coarse_hz = np.geomspace(1500, 9000, 400)
    peak_hz = coarse_hz[np.argmax(np.abs(cases.true_response(fast, coarse_hz)))]
    fine_hz = peak_hz * np.exp(np.arange(-0.006, 0.006, 1e-6))
    peaks = [fine_hz[np.argmax(np.abs(cases.true_response(replace(fast, clock_ppm=ppm), fine_hz)))] for ppm in (100.0, 0.0)]
    assert peaks[0] / peaks[1] == pytest.approx(1 / (1 + 1e-4), abs=3e-6)


@pytest.mark.long
@pytest.mark.parametrize(
    ("which", "is_guitar"), [(which, side) for which in cases.WRONG for side in (False, True)] + [("added.2n2", False)]
)
def test_one_wrong_reference_is_off_by_what_is_said_and_the_rest_is_right(which, is_guitar):
    added = (cases.ADDED, "2n2 ± 1%")
    sizes = []
    for seed in range(30):
        case = cases.draw_wrong_reference(seed, which, is_guitar=is_guitar, added=added)
        right = cases.draw_wrong_reference(seed, which, 0.0, is_guitar=is_guitar, added=added)
        key = "bridge.dcr" if which == "dcr" else which
        assert {name for name, value in right.truths.items() if case.truths[name] != value} == {key}
        assert case.truths[key] / right.truths[key] - 1 == pytest.approx(case.wrong_by)
        assert (case.dcr, case.instrument_toml, case.wrong) == (right.dcr, right.instrument_toml, which)
        takes = zip(case.takes.values(), right.takes.values(), strict=True)
        changed = [np.max(np.abs(cases.true_response(a, AUDIBLE_HZ) / cases.true_response(b, AUDIBLE_HZ) - 1)) for a, b in takes]
        touched = [which not in ("added", "added.2n2") or take.added == _text_of(which) for take in case.takes.values()]
        assert [change > 1e-6 for change in changed] == touched
        sizes.append(case.wrong_by)
    assert 0.03 <= min(map(abs, sizes)) < 0.06
    assert 0.17 < max(map(abs, sizes)) <= 0.2
    assert min(sizes) < 0 < max(sizes)
    assert evidence_of_guitar(case).dcr == (None if is_guitar else parse_quantity(case.dcr["bridge"], "Ω"))


def _text_of(which):
    return cases.ADDED if which == "added" else f"{which.removeprefix('added.')} ± 1%"


WHOLE = cases.Conditions(real=gp.RealParts(leak_ohm=(2e5, 5e6), high_pass_hz=(2.5, 1.0), clock_ppm=60.0))
ALIKE_BESIDE = cases.Conditions(real=gp.RealParts(beside_spread=0.0))  # the fit knows no shares of its own beside a pickup
ONE_LOOP_CASES = {
    "one pickup": lambda seed: cases.draw_one_pickup(seed, kind="one loop", takes=tuple(cases.ONE_PICKUP_TAKES)),
    "three pickups": cases.draw_three_pickups,
    "four pots, tone before": cases.draw_four_pots,
    "four pots, tone after": lambda seed: cases.draw_four_pots(seed, is_tone_before=False),
    "shielding": lambda seed: cases.draw_shielding(seed, kind="one loop"),
    "impedance": lambda seed: cases.draw_impedance(seed, kind="one loop", is_with_exciter=True),
    "real pickup": lambda seed: cases.draw_one_pickup(seed, kind="one loop", conditions=WHOLE),
    "real bare": lambda seed: cases.draw_bare(seed, kind="one loop", conditions=WHOLE),
    "real pair": lambda seed: cases.draw_pair(seed, kind="one loop", added_f=20e-12, conditions=WHOLE),
    "three real pickups": lambda seed: cases.draw_three_pickups(seed, conditions=ALIKE_BESIDE),
    "four real pots": lambda seed: cases.draw_four_pots(seed, conditions=ALIKE_BESIDE),
    "real impedance": lambda seed: cases.draw_impedance(seed, kind="one loop", is_with_exciter=True, conditions=cases.REAL),
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
