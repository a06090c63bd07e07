"""Drawn pickups through the whole chain, from recordings to values; the recordings are made by simulated_cases.py.

The quick checks are few; the wide ones are marked slow.
"""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from fit.answers.pickup.characterisation import characterise_pickup
from fit.desk.command.main import main
from fit.estimate.evidence import Evidence, TakeEvidence
from measure.checks.recording import check_recording
from measure.marking import parse_parts
from measure.quantity import parse_quantity
from measure.response import outcome
from measure.signal.recording import Recording
from measure.transfer.response import estimate_response
from tests import simulated_cases as simulated
from tests.draws import IS_WHOLE, scatter, seeds
from tests.general_simulator import needs_ngspice, simulate

SINGLE_COILS, HUMBUCKERS = seeds(50, everyday=20), seeds(20, everyday=8)
DRAWN_ONCE = pytest.mark.xdist_group("simulated cases")


def netlist_of(pickup, load):
    """The same circuit in the simulator's words; names count from 0: exciter, coils, loops."""
    n_coils = len(pickup.coils)
    lines = ["V1 in 0 AC 1", f"R0 in x0 {simulated.EXCITER_OHM + simulated.SENSE_OHM!r}", f"L0 x0 0 {simulated.EXCITER_H!r}"]
    nodes = ["0", *(f"n{index}" for index in range(n_coils))]
    for index, coil in enumerate(pickup.coils):
        low, high = nodes[index], nodes[index + 1]
        # the mesh equations count a coil's current out of its upper end
        lines += [
            f"L{index + 1} {low} m{index} {float(coil.inductance_h)!r}",
            f"R{index + 1} m{index} {high} {float(coil.resistance_ohm)!r}",
        ]
        lines.append(f"C{index + 1} {low} {high} {float(coil.capacitance_f)!r}")
    for index, loop in enumerate(pickup.loops):
        at = 1 + n_coils + index
        ohm = 2 * np.pi * loop.corner_hz * simulated.LOOP_H
        lines += [f"L{at} l{index} 0 {simulated.LOOP_H!r}", f"R{at} l{index} 0 {float(ohm)!r}"]
    k = simulated.couplings(pickup)
    for row, column in zip(*np.triu_indices(len(k), 1), strict=True):
        if k[row, column] != 0:
            lines.append(f"K{row}x{column} L{row} L{column} {float(k[row, column])!r}")
    jack = nodes[-1]
    lines += [f"Cin {jack} 0 {load.input_f + load.added_f!r}", f"Rin {jack} 0 {1 / (1 / load.input_ohm + 1 / load.added_ohm)!r}"]
    return lines, jack


@needs_ngspice
@pytest.mark.parametrize("kind", ["single", "humbucker"])
def test_circuit_against_a_general_simulator(tmp_path, kind):
    rng = np.random.default_rng(4)
    pickup = simulated.draw_single(rng, n_loops=3) if kind == "single" else simulated.draw_humbucker(rng)
    load = simulated.Load(added_f=1e-9, added_ohm=150e3)
    lines, jack = netlist_of(pickup, load)
    frequency_hz, (voltage, current) = simulate(tmp_path, lines, [f"v({jack})", "i(L0)"])
    ours_current, ours_jack = simulated.solve(pickup, load, frequency_hz)
    assert np.max(np.abs(ours_current / current - 1)) < 1e-9
    assert np.max(np.abs(ours_jack / ours_current / (voltage / current) - 1)) < 1e-8  # the simulator prints 14 digits


@needs_ngspice
def test_lossy_load_against_a_general_simulator(tmp_path):
    """At one frequency a capacitor that loses is a resistance beside a capacitance."""
    pickup, at_hz, tangent = simulated.draw_single(np.random.default_rng(6), n_loops=1), 4e3, 0.02
    load = simulated.Load(added_f=1e-9, input_tangent=tangent, added_tangent=0.3)
    written_f = [(185e-12, tangent), (1e-9, 0.3)]
    real_f = [farad * 4.0 ** (-2 / np.pi * np.arctan(each)) / np.sqrt(1 + each**2) for farad, each in written_f]
    siemens = sum(2 * np.pi * at_hz * farad * each for farad, (_, each) in zip(real_f, written_f, strict=True))
    plain = simulated.Load(input_f=float(real_f[0]), added_f=float(real_f[1]), added_ohm=float(1 / siemens))
    lines, jack = netlist_of(pickup, plain)
    frequency_hz, (voltage, current) = simulate(tmp_path, lines, [f"v({jack})", "i(L0)"], f"lin 1 {at_hz} {at_hz}")
    ours_current, ours_jack = simulated.solve(pickup, load, frequency_hz)
    assert np.max(np.abs(ours_jack / ours_current / (voltage / current) - 1)) < 1e-9


@pytest.mark.long
def test_warm_winding_reads_cold_and_losses_change_the_takes():
    cold, warm, lossy = (simulated.draw_case(3, **more) for more in ({}, {"kelvin": 10.0}, {"tangents": (0.01, 0.001)}))
    assert cold.dcr == warm.dcr == lossy.dcr
    assert warm.pickup.resistance_ohm == pytest.approx(1.0393 * cold.pickup.resistance_ohm, rel=1e-12)
    assert lossy.pickup == cold.pickup
    for name, samples in cold.takes.items():
        assert not np.array_equal(samples, warm.takes[name])
        assert not np.array_equal(samples, lossy.takes[name])


def test_inductance_of_a_pickup_is_what_its_ends_show_at_low_frequency():
    pickup = simulated.draw_humbucker(np.random.default_rng(9))
    load = simulated.Load(input_ohm=1e3, input_f=0.0)
    frequency_hz = np.array([1e-2])
    gain = simulated.solve(pickup, load, frequency_hz, emf=[1.0, 0.0])[1]
    impedance_ohm = 1e3 * (1 / gain - 1)
    assert impedance_ohm.imag / (2 * np.pi * frequency_hz) == pytest.approx(pickup.inductance_h, rel=1e-3)
    assert impedance_ohm.real == pytest.approx(pickup.resistance_ohm, rel=1e-6)


def recording_of(case, name):
    steps = 2.0 ** (case.card.bits - 1)
    samples = np.rint(np.clip(case.takes[name], -1, 1 - 1 / steps) * steps) / steps
    return Recording(samples=samples, rate_hz=case.card.rate_hz, n_bits=case.card.bits)


def evidence_of(case, names=None):
    takes = []
    for name in names or case.takes:
        response = estimate_response([recording_of(case, name)])
        takes.append(TakeEvidence(name=name, response=response, added=parse_parts(case.added[name])))
    return Evidence(
        takes=tuple(takes),
        input_resistance=parse_quantity("1M±1%", unit="Ω"),
        input_capacitance=parse_quantity("185p±3p", unit="F"),
        dcr=parse_quantity(case.dcr, unit="Ω"),
    )


def truths_of(case):
    return {
        "inductance": case.pickup.inductance_h,
        "dc_resistance": case.pickup.resistance_ohm,
        "winding_capacitance": case.pickup.coils[0].capacitance_f,
    }


def run(capsys, *words):
    code = main([str(word) for word in (*words, "--json")])
    return code, json.loads(capsys.readouterr().out)


@pytest.mark.long
@pytest.mark.parametrize(("seed", "rate_hz"), [(5, 44100)])
def test_recordings_to_values_through_the_commands(tmp_path, capsys, seed, rate_hz):
    case = simulated.draw_case(seed, rate_hz=rate_hz, peak=0.2, bits=24)
    run(capsys, "rig", "--input-resistance", "1M±1%", "--input-capacitance", "185p±3p", "--logbook", tmp_path)
    simulated.write(tmp_path / "sweep.wav", simulated.sweep(rate_hz), rate_hz=rate_hz)
    for name, samples in case.takes.items():
        simulated.write(tmp_path / f"{name}.wav", samples, rate_hz=rate_hz)
        words = ["import", name, tmp_path / f"{name}.wav", "--stimulus", tmp_path / "sweep.wav", "--add", case.added[name]]
        assert run(capsys, *words, "--logbook", tmp_path)[0] == 0
    code, document = run(capsys, "fit", *case.takes, "--dcr", case.dcr, "--logbook", tmp_path)
    assert (code, document["outcome"], document["warnings"]) == (0, "good", [])
    for name, value in truths_of(case).items():
        low, high = document["quantities"][name]["interval_95"]
        assert low < value < high, name


@pytest.mark.long
def test_resonance_of_one_take_is_the_peak_of_jack_over_emf():
    case = simulated.draw_case(2, rate_hz=48000, peak=0.3, bits=24, pink_corner_hz=0.0)
    answer = characterise_pickup(evidence_of(case, ["open"]))
    told = answer.quantities["resonance_loaded"]
    true_hz = simulated.loaded_peak_hz(case.pickup, case.loads["open"])[0]
    assert told.value == pytest.approx(true_hz, rel=2e-3)
    assert {"inductance", "winding_capacitance"} <= {entry.quantity for entry in answer.not_identified}


def _judged(case):
    """Outcomes of the checks, and the answer of all takes."""
    stimulus = simulated.sweep(case.card.rate_hz)
    outcomes = [outcome(check_recording(recording_of(case, name), stimulus=stimulus)) for name in case.takes]
    return outcomes, characterise_pickup(evidence_of(case))


@cache
def single_coils():
    return [(seed, case, *_judged(case)) for seed in SINGLE_COILS for case in [simulated.draw_case(seed)]]


@cache
def humbuckers():
    return [(seed, case, *_judged(case)) for seed in HUMBUCKERS for case in [simulated.draw_case(seed, "humbucker")]]


@pytest.mark.slow
@DRAWN_ONCE
def test_no_good_take_is_rejected():
    rejected = [seed for seed, _, outcomes, _ in (*single_coils(), *humbuckers()) if "rejected" in outcomes]
    assert rejected == []


@pytest.mark.slow
@DRAWN_ONCE
def test_single_coils_come_out_right():
    limits = {"inductance": 0.01, "dc_resistance": 0.015, "winding_capacitance": 5e-12}
    pulls, good = [], 0
    for seed, case, _, answer in single_coils():
        good += answer.outcome == "good"
        for name, true in truths_of(case).items():
            told = answer.quantities[name]
            error = told.value - true
            pulls.append(error / told.standard_uncertainty)
            # a noisy take may be less sure than the limit, never less sure than it says
            limit = limits[name] * (1.0 if name == "winding_capacitance" else true)
            assert abs(error) < max(limit, 2.6 * told.standard_uncertainty), (seed, name)
    # references are doubted, and one in fifty sets of sound ones looks as if it held a wrong one (seed 117: the input, 2.1 % off)
    assert good >= 0.95 * len(SINGLE_COILS)
    pulls = np.abs(pulls)
    assert np.max(pulls) < 3
    low, high = (0.93, 0.99) if IS_WHOLE else (0.95 - scatter(0.95, pulls.size), 1.0)
    assert low <= np.mean(pulls < 1.96) <= high
    # an uncertainty that is far too wide holds every truth
    assert np.sqrt(np.mean(pulls**2)) > 0.75


@pytest.mark.slow
@DRAWN_ONCE
def test_single_coils_agree_with_their_model():
    for seed, case, _, answer in single_coils():
        if simulated_is_quiet(case):
            assert max(curve.rms_db for curve in answer.curves) <= 0.02, seed
            assert max(curve.rms_degree for curve in answer.curves) <= 0.15, seed


# Below about 60 dB of signal over broadband noise at the top of the band the measurement itself scatters by more.
def simulated_is_quiet(case):
    peak = np.max(np.abs(case.takes["open"][:, 0]))
    return 20 * np.log10(peak) - case.card.noise_dbfs > 80


@pytest.mark.slow
@DRAWN_ONCE
def test_humbuckers_total_inductance_comes_out_right():
    wrong = []
    for seed, case, _, answer in humbuckers():
        told, true = answer.quantities["inductance"], case.pickup.inductance_h
        is_told_good = answer.outcome == "good" and not answer.findings
        is_right = abs(told.value / true - 1) < 0.01 and abs(told.value - true) < 3 * told.standard_uncertainty
        if is_told_good and not is_right:
            wrong.append((seed, told.value / true - 1))
        if answer.model_name.startswith("two coils"):
            assert "winding_capacitance" in {entry.quantity for entry in answer.not_identified}, seed
    assert wrong == []


@pytest.mark.slow
@DRAWN_ONCE
def test_most_humbuckers_are_described():
    described = [
        answer.outcome == "good" and abs(answer.quantities["inductance"].value / case.pickup.inductance_h - 1) < 0.01
        for _, case, _, answer in humbuckers()
    ]
    assert np.mean(described) >= 0.9


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_a_moved_coil_is_named_and_harms_nothing(seed):
    case = simulated.draw_case(seed, gain_step=0.02, peak=0.3)
    evidence = evidence_of(case)
    for is_said in (False, True):
        takes = (evidence.takes[0], replace(evidence.takes[1], coil_moved=is_said))
        answer = characterise_pickup(replace(evidence, takes=takes))
        assert ("coil-moved" in {finding.code for finding in answer.findings}) is not is_said
        told = answer.quantities["inductance"]
        assert abs(told.value - case.pickup.inductance_h) < 3 * told.standard_uncertainty


@pytest.mark.slow
@pytest.mark.parametrize("written", ["100p±1%", "10n±1%"])
def test_a_part_mislabelled_tenfold_is_named(written):
    evidence = evidence_of(simulated.draw_case(3, peak=0.3))
    takes = (evidence.takes[0], replace(evidence.takes[1], added=parse_parts(written)))
    answer = characterise_pickup(replace(evidence, takes=takes))
    assert answer.outcome == "misfit" or {"reference-pulled", "unusual"} & {finding.code for finding in answer.findings}
