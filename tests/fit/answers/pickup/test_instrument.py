"""A whole guitar from takes at its jack: parts, electrical fractions, leakage, other methods; on drawn guitars and recordings."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.pickup.characterisation import characterise_pickup
from fit.circuit.controls import read_settings, taper_fraction
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.ladder import choose_model
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from measure.marking import parse_parts
from measure.quantity import parse_quantity
from measure.response import Origin, Response
from tests import guitar_cases as cases
from tests import guitar_parts as parts
from tests.draws import IS_WHOLE, judge, scatter
from tests.guitar_evidence import evidence_of_guitar
from tests.recorded_guitars import recorded_guitar

TRUTH_NAMES = {"inductance": "inductance", "winding_capacitance": "winding_capacitance", "dc_resistance": "dcr"}


def truth_of(case, name):
    """True value behind a quantity's name, or None."""
    pickup, _, rest = name.rpartition(".")
    if name in TRUTH_NAMES:
        pickup, rest = next(iter(case.guitar.pickups)), name
    key = f"{pickup}.{TRUTH_NAMES[rest]}" if rest in TRUTH_NAMES else name
    return case.truths.get(key)


def test_recorded_guitar_gives_its_parts():
    evidence, actual = recorded_guitar("tone-capacitor", ["tone-up", "tone-up-plus-1n", "tone-down"])
    answer = characterise_pickup(evidence)
    found = answer.quantities
    assert answer.outcome == "good"
    assert found["inductance"].value == pytest.approx(actual["inductance"], rel=0.01)
    assert found["winding_capacitance"].value == pytest.approx(actual["winding_capacitance"], abs=8e-12)
    assert found["capacitor.tone"].value == pytest.approx(actual["tone_capacitor"], rel=0.01)
    for pot in ("volume", "tone"):
        one = found[f"pot.{pot}"]
        assert one.value == pytest.approx(actual[f"{pot}_pot"], rel=0.04)
        # 500 kΩ beside unknown ohms at the stops, losses of cable and capacitor and two eddy loops: noise leaves 5 to 6 %
        assert (one.high - one.low) / 2 < 0.065 * one.value
        assert abs(one.value - actual[f"{pot}_pot"]) < 3 * one.standard_uncertainty
    for curve in answer.curves:
        assert curve.max_db < 0.07
        assert curve.rms_db < 0.06


@pytest.mark.long
def test_without_the_tone_down_take_the_capacitor_is_not_told():
    evidence, _ = recorded_guitar("tone-capacitor", ["tone-up", "tone-up-plus-1n"])
    answer = characterise_pickup(evidence)
    assert "capacitor.tone" not in answer.quantities
    untold = next(one for one in answer.not_identified if one.quantity == "capacitor.tone")
    assert untold.next_take is not None
    assert untold.next_take.controls == ("tone=0",)
    assert untold.next_take.predicted_relative_std < 0.02


@pytest.mark.long
@pytest.mark.parametrize("eddies", [((),), (("spread", "loop"),), (("loop",), ("loop",))])
@pytest.mark.parametrize("draw", [cases.draw_three_pickups, cases.draw_shielding, cases.draw_impedance, cases.draw_plate])
def test_jacobian_is_exact(draw, eddies):
    """Every derivative against central differences: all networks of a guitar, leakage, a job's steps, both other sources."""
    evidence = evidence_of_guitar(draw(3))
    if draw is cases.draw_three_pickups and len(eddies) == 1:
        turned = read_settings(evidence.instrument, {"volume": "6", "selector": "bridge"})
        evidence = replace(evidence, takes=(replace(evidence.takes[0], settings=turned), *evidence.takes[1:]))
    problem = build_problem(evidence, PickupModel(eddies=eddies), thin=6)
    rng = np.random.default_rng(1)
    vector = start_vector(problem, {}) + 0.05 * rng.standard_normal(len(problem.parameters))
    exact = predict_residual(problem, vector).jacobian
    step = 1e-4  # with five points, since some ohms at a stop beside a track of 500 kΩ leave ten digits of a response
    for index, parameter in enumerate(problem.parameters):
        shift = step * (np.arange(len(vector)) == index)
        near, far = (
            predict_residual(problem, vector + k * shift).residual - predict_residual(problem, vector - k * shift).residual
            for k in (1, 2)
        )
        numeric = (8 * near - far) / (12 * step)
        size = max(float(np.max(np.abs(numeric))), 1e-6)
        assert np.max(np.abs(exact[index] - numeric)) < 1e-6 * size + 3e-8, parameter.name


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2))
def test_three_pickups_one_out_of_phase(seed):
    case = cases.draw_three_pickups(seed)
    answer = characterise_pickup(evidence_of_guitar(case))
    assert answer.outcome == "good"
    for pickup in case.guitar.pickups:
        found, true = answer.quantities[f"{pickup}.inductance"], case.truths[f"{pickup}.inductance"]
        assert found.value == pytest.approx(true, rel=0.015)
        assert abs(found.value - true) < 3.5 * found.standard_uncertainty
    found, true = answer.quantities["capacitor.tone"], case.truths["capacitor.tone"]
    assert found.value == pytest.approx(true, rel=0.015)


FAR_FROM_NOMINAL = 3  # a seed that draws both tapers far from the nominal law


@pytest.mark.long
def test_fraction_of_a_pot_is_read_off():
    names = ("tone-up", "tone-up-plus-1n", "tone-down", "tone-5", "volume-6")
    case = cases.draw_one_pickup(FAR_FROM_NOMINAL, takes=names)
    answer = characterise_pickup(evidence_of_guitar(case))
    for pot, rotation in (("volume", 6.0), ("tone", 5.0)):
        key = f"pot.{pot}@{rotation:g}"
        found, true = answer.quantities[key], case.truths[key]
        assert abs(found.value - true) < 4 * found.standard_uncertainty
        assert found.standard_uncertainty < 0.02 * found.value
        # the nominal law, where a search begins, is not what comes out
        assert abs(found.value - true) < 0.1 * abs(taper_fraction("audio", rotation) - true)


@pytest.mark.long
def test_impedance_at_the_jack_tells_ohms_by_itself():
    case = cases.draw_impedance(4)
    evidence = evidence_of_guitar(case)
    evidence = replace(evidence, instrument=read_instrument(without_dcr(case.instrument_toml)))
    answer = characterise_pickup(evidence)
    for name in ("inductance", "winding_capacitance", "dc_resistance", "capacitor.tone"):
        found, true = answer.quantities[name], truth_of(case, name)
        assert abs(found.value - true) < 3.5 * found.standard_uncertainty
    assert answer.quantities["inductance"].standard_uncertainty < 0.02 * answer.quantities["inductance"].value


def without_dcr(text):
    return "\n".join(line for line in text.splitlines() if not line.startswith("dcr"))


@pytest.mark.long
def test_stated_value_is_a_reference_and_a_marked_one_is_not():
    case = cases.draw_one_pickup(6)
    evidence = evidence_of_guitar(case)
    true = case.truths["capacitor.tone"]
    marked = read_instrument(relabel(case.instrument_toml, "capacitor.tone", f'marked = "{3 * true:.3g}"'))
    stated = read_instrument(relabel(case.instrument_toml, "capacitor.tone", f'value = "{true:.5g} ± 0.1%"'))
    free = characterise_pickup(replace(evidence, instrument=marked)).quantities
    held = characterise_pickup(replace(evidence, instrument=stated)).quantities
    assert abs(free["capacitor.tone"].value - true) < 3.5 * free["capacitor.tone"].standard_uncertainty
    assert held["inductance"].standard_uncertainty < 0.5 * free["inductance"].standard_uncertainty


def relabel(text, section, line):
    """Replace what a section states of its value."""
    head, _, rest = text.partition(f"[{section}]\n")
    lines = rest.split("\n")
    place = next(index for index, each in enumerate(lines) if each.startswith(("marked", "value")))
    lines[place] = line
    return f"{head}[{section}]\n" + "\n".join(lines)


@pytest.mark.long
def test_wrong_wiring_on_the_schematic_is_a_misfit():
    """Tone pot wired to the tip, not the pickup: with the volume turned down the stated wiring cannot describe the takes."""
    case = cases.draw_one_pickup(7, takes=("tone-up", "tone-up-plus-1n", "tone-down", "volume-6-tone-down", "volume-6"))
    wrong = case.instrument_toml.replace('wiper = "bridge hot"', 'wiper = "tip"')
    assert wrong != case.instrument_toml
    evidence = replace(evidence_of_guitar(case), instrument=read_instrument(wrong))
    assert characterise_pickup(evidence).outcome == "misfit"


def test_take_in_which_nothing_arrives_is_named():
    case = cases.draw_one_pickup(8)
    evidence = evidence_of_guitar(case)
    off = read_settings(evidence.instrument, {"volume": "0"})
    takes = (*evidence.takes[:2], replace(evidence.takes[2], settings=off))
    with pytest.raises(ValueError, match=r"take tone-down: with its controls set so, nothing reaches the jack"):
        choose_model(replace(evidence, takes=takes))


LED_OUT = """
output = "tip"
[pickup.bridge]
ends = ["top hot", "top cold"]
dcr = "4.1k ± 1%"
[pickup.bridge.second]
ends = ["bottom hot", "ground"]
dcr = "4.0k ± 1%"
[switch.mode.positions]
series = [["top hot", "tip"], ["top cold", "bottom hot"]]
split = [["top hot", "tip"], ["top cold", "ground"], ["bottom hot", "ground"]]
parallel = [["top hot", "tip"], ["bottom hot", "tip"], ["top cold", "ground"]]
[pot.tone]
marked = "500k ± 20%"
taper = "audio"
wiper = "tip"
ccw = "tone link"
[capacitor.tone]
marked = "22n ± 10%"
between = ["tone link", "ground"]
"""


@pytest.mark.long
@pytest.mark.parametrize("seed", range(2))
def test_coils_of_a_humbucker_that_are_led_out_are_told_apart(seed):
    """Closed loop: the model's own takes at drawn values, with noise; series, split and parallel tell each coil."""
    instrument = read_instrument(LED_OUT)
    grid = 1000.0 * 2.0 ** (np.arange(-80, 70) / 16)
    rng = np.random.default_rng(seed)

    def take(name, added="", **controls):
        parts = parse_parts(added) if added else ()
        return TakeEvidence(name=name, response=noisy(grid, 1j * grid), added=parts, settings=read_settings(instrument, controls))

    def noisy(frequency, value):
        std = 1e-4 * np.abs(value)
        value = value + std / np.sqrt(2) * (rng.standard_normal(len(value)) + 1j * rng.standard_normal(len(value)))
        covariance = (std**2 / 2)[:, None, None] * np.eye(2)
        return Response(frequency_hz=frequency, value=value, covariance=covariance, origin=Origin(rate_hz=48000))

    evidence = Evidence(
        takes=(
            take("series", mode="series"),
            take("plus-1n", "1n ± 1%", mode="series"),
            take("split", mode="split"),
            take("parallel", mode="parallel"),
            take("tone-down", mode="series", tone="0"),
        ),
        input_resistance=parse_quantity("1M ± 1%", "Ω"),
        input_capacitance=parse_quantity("185p ± 3p", "F"),
        instrument=instrument,
    )
    problem = build_problem(evidence, PickupModel(eddies=(("loop",),)))
    drawn = {
        "log_inductance": np.log(rng.uniform(1.5, 2.5)),
        "log_second_inductance": rng.normal(0, 0.1),
        "log_second_winding_capacitance": rng.normal(0, 0.2),
        "log_second_excitation": rng.uniform(-1.5, 0),
        "log_coupling": rng.uniform(-2.5, -1),
        "field_0_0": 0.4,
        "field_1_0": 0.6,
        "log_pot.tone": np.log(520e3),
        "log_capacitor.tone": np.log(21e-9),
    }
    vector = np.array([drawn.get(parameter.name, parameter.start) for parameter in problem.parameters])
    clean = np.exp(predict_residual(problem, vector).residual) * problem.data
    takes = []
    for index, made in enumerate(evidence.takes):
        points = problem.take_of_point == index
        takes.append(replace(made, response=noisy(problem.frequency_hz[points], clean[points])))
    answer = characterise_pickup(replace(evidence, takes=tuple(takes)))
    first_h = float(np.exp(drawn["log_inductance"]))
    truths = {
        "coil_1.inductance": first_h,
        "coil_2.inductance": first_h * float(np.exp(drawn["log_second_inductance"])),
        "coil_coupling": 1 / (1 + float(np.exp(-drawn["log_coupling"]))),
        "pot.tone": 520e3,
        "capacitor.tone": 21e-9,
    }
    assert answer.outcome == "good"
    assert answer.model_name.startswith("two coils")
    for name, true in truths.items():
        found = answer.quantities[name]
        assert abs(found.value - true) < 3.5 * found.standard_uncertainty, name
        assert found.standard_uncertainty < 0.02 * true, name


def coverage(seeds, conditions):
    """Pulls of tone capacitor and pots, and shares of intervals that hold the truth."""
    pulls = {"capacitor.tone": [], "pot.volume": [], "pot.tone": [], "inductance": [], "winding_capacitance": []}
    for seed in seeds:
        case = cases.draw_one_pickup(seed, conditions=conditions)
        answer = characterise_pickup(evidence_of_guitar(case))
        for name, kept in pulls.items():
            found, true = answer.quantities.get(name), truth_of(case, name)
            if found is not None:
                kept.append(float(np.log(found.value / true)) * found.value / found.standard_uncertainty)
    return {name: np.array(kept) for name, kept in pulls.items()}


def assert_honest(pulls, n, *, low, high):
    for name, kept in pulls.items():
        share = np.mean(np.abs(kept) < 1.96)
        print(f"{name}: {len(kept)} of {n}, mean {np.mean(kept):.2f}, std {np.std(kept):.2f}, coverage {100 * share:.1f} %")
        assert len(kept) > 0.8 * n  # a pot that is uncertain by more than 10 % is not told
        assert low <= share <= high, name


# Stops, losses and travel as real parts have them; the windings as warm as when their resistance was read.
REAL = parts.RealParts(kelvin=(0.0, 0.0))


@pytest.mark.slow
@pytest.mark.parametrize("misfit", [{}, {"misfit": 1e-3}, {"misfit": 1e-3, "misfit_kind": "per take"}])
def test_intervals_hold_the_truth_on_many_guitars(misfit):
    """93 to 97 % is asked of the method; 300 draws scatter by 1.3 %, and what is usual of parts is wider than what is drawn."""
    conditions = cases.Conditions(real=REAL, **misfit)

    def check(chosen):
        n = len(chosen)
        low, high = (0.905, 0.995) if IS_WHOLE else (0.95 - scatter(0.95, n), 1.0)
        assert_honest(coverage(chosen, conditions), n, low=low, high=high)

    judge(check, 300, everyday=24)
