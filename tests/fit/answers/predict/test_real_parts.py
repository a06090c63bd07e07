"""Predictions from the stops, loss tangents and leaks that a fit found; drawn real guitars, predicted where none was measured."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.listen.impulse import Side, design_change
from fit.answers.parts.fitted import MeasuredParts, keep_parts, measured_document, not_below_nothing, read_measured
from fit.answers.parts.known import gather_known
from fit.answers.pickup.characterisation import characterise_pickup
from fit.answers.predict.carry_over import adopt_losses, shared_parts
from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.realparts import is_beside, is_linear
from fit.circuit.transfers import solve_instrument
from fit.desk.show.sheet import Sheet
from fit.desk.show.sheets.basis import basis_document, basis_section
from fit.desk.show.terminal import lines as terminal_lines
from fit.estimate.parameters import STATED_LOSS_STD
from measure.quantity import parse_quantity
from tests import guitar_cases as gc
from tests import guitar_parts as gp
from tests.found_parts import INSTRUMENT, LOAD, found_parts
from tests.guitar_evidence import evidence_of_guitar
from tests.real_networks import per_volt_of_emf

BESIDE = {  # value, standard uncertainty: of itself, of the leak's logarithm
    "pot.tone.stop_0": (38.0, 6.0),
    "pot.tone.stop_10": (4e3, 1.5e3),
    "pot.volume.stop_10": (2e3, 900.0),
    "capacitor.tone.loss_tangent": (0.012, 0.002),
    "capacitor.tone.leak": (900e3, 0.05),
    "input.loss_tangent": (0.01, 0.004),
}
LEVELS_HZ = (100.0, 300.0, 1000.0, 2000.0, 3000.0, 4000.0, 6000.0, 10000.0)


def real_parts(**moved):
    """The measured parts of other tests, and beside them what real ones have, correlated with all else."""
    plain = found_parts()
    names = (*plain.names, *BESIDE)
    std = np.array([*np.sqrt(np.diag(plain.log_covariance)), *(one[1] for one in BESIDE.values())])
    mixed = np.random.default_rng(8).normal(size=(len(names), 4 * len(names)))
    covariance = mixed @ mixed.T
    scale = std / np.sqrt(np.diag(covariance))
    return replace(
        plain,
        values=plain.values | {name: one[0] for name, one in BESIDE.items()} | moved,
        names=names,
        log_covariance=covariance * np.outer(scale, scale),
    )


def predict(controls, **options):
    return predict_instrument(INSTRUMENT, controls, load=LOAD, **options)


# 600 draws tell a standard deviation to 3 % (1 σ); along a curve a few such lie side by side.
@pytest.mark.parametrize("tone", ["0", "10", "6"])
def test_width_of_a_band_is_the_spread_of_curves_of_drawn_real_parts(tone):
    parts, rng = real_parts(), np.random.default_rng(12)
    answer = predict({"tone": tone}, measured=parts)
    instrument = adopt_losses(INSTRUMENT, parts)
    case = Case(settings=read_settings(instrument, {"tone": tone}), frequency_hz=answer.frequency_hz[::8])
    levels = []
    for step in rng.multivariate_normal(np.zeros(len(parts.names)), parts.log_covariance, size=600):
        values = {
            name: parts.values[name] + one if is_linear(name) else parts.values[name] * np.exp(one)
            for name, one in zip(parts.names, step, strict=True)
        }
        levels.append(20 * np.log10(np.abs(solve_instrument(instrument, [case], values=values)[0].voltage[0])))
    assert np.all(np.abs(np.std(levels, axis=0) / answer.pickups["bridge"].gain_db_std[::8] - 1) < 0.12)


def test_what_a_prediction_rests_on_names_what_parts_have_beside_their_values():
    parts = real_parts()
    basis = {tone: predict({"tone": tone}, measured=parts).basis for tone in ("0", "10", "6")}
    felt = {tone: {name for name in one if is_beside(name)} for tone, one in basis.items()}
    always = {"capacitor.tone.loss_tangent", "capacitor.tone.leak", "input.loss_tangent", "pot.volume.stop_10"}
    assert felt == {"0": always | {"pot.tone.stop_0"}, "10": always | {"pot.tone.stop_10"}, "6": always}
    stop = basis["0"]["pot.tone.stop_0"]
    assert basis_document(stop) == {
        "value": 38.0,
        "unit": "Ω",
        "standard_uncertainty": pytest.approx(6.0, rel=1e-12),
        "origin": "measured",
    }
    told = terminal_lines(Sheet("", (basis_section(predict({"tone": "0"}, measured=parts)),)))
    lines = {line.split()[0]: line for line in told if line.startswith("  ")}
    assert lines["pot.tone.stop_0"].split()[1:] == ["38", "Ω", "±", "31", "%", "measured"]
    assert lines["capacitor.tone.loss_tangent"].split()[1:] == ["1.2", "%", "±", "33", "%", "measured"]
    assert "0.21 … 1.79 %" in lines["input.loss_tangent"]  # wider than half of its value
    assert "900 kΩ" in lines["capacitor.tone.leak"]


def test_tone_sweep_counts_the_ohms_left():
    (sweep,) = predict({}, measured=real_parts()).tone_sweeps
    assert sweep.steps[0].resistance_ohm == pytest.approx(530e3 - 4e3, rel=1e-12)
    assert sweep.steps[-1].resistance_ohm == pytest.approx(38.0, rel=1e-12)
    assert sweep.steps[-1].textbook_hz == pytest.approx(1 / (2 * np.pi * 38.0 * 20.5e-9), rel=1e-12)
    (held,) = predict({}, measured=real_parts(**{"pot.tone.stop_0": 0.0})).tone_sweeps
    assert (held.steps[-1].resistance_ohm, held.steps[-1].textbook_hz) == (0.0, None)


@pytest.mark.parametrize(
    ("change", "gone"),
    [
        ("capacitor.tone=10n", {"capacitor.tone.loss_tangent", "capacitor.tone.leak"}),
        ("pot.tone=250k", {"pot.tone.stop_0"}),  # nothing of the pot is left in the circuit
        ("pot.volume=250k", {"pot.volume.stop_10"}),
        ("bridge.inductance=3", set()),
    ],
)
def test_what_belongs_to_a_changed_part_goes_with_it(change, gone):
    parts = real_parts()
    before = predict({"tone": "0"}, measured=parts)
    after = predict({"tone": "0"}, measured=parts, changes=read_changes(INSTRUMENT, [change]))
    assert set(before.basis) - set(after.basis) == gone


def test_another_cable_has_another_loss():
    known = gather_known(
        INSTRUMENT,
        load=LOAD,
        changes={"input.capacitance": parse_quantity("900p", "F")},
        measured=real_parts(),
        with_tolerance=False,
        settings=read_settings(INSTRUMENT, {}),
    )
    assert known.basis["input.capacitance"].value == 900e-12
    assert "input.loss_tangent" not in known.basis
    assert known.basis["input.resistance"].origin == "measured"


def test_stated_loss_tangents_count_without_a_fit():
    instrument = read_instrument(layout_text("one-pickup").replace('"22n ± 10%"', '"22n ± 10% tan 2%"'))
    load = LOAD | {"input.capacitance": parse_quantity("470p ± 10p tan 1%", "F")}
    answer = predict_instrument(instrument, {"tone": "0"}, load=load, with_tolerance=True)
    found = {name: (one.value, one.std, one.origin) for name, one in answer.basis.items() if name.endswith("loss_tangent")}
    assert found == {
        "capacitor.tone.loss_tangent": (0.02, STATED_LOSS_STD * 0.02, "marked"),
        "input.loss_tangent": (0.01, STATED_LOSS_STD * 0.01, "stated"),
    }
    values = {name: one.value for name, one in answer.basis.items()}
    case = Case(settings=read_settings(instrument, {"tone": "0"}), frequency_hz=answer.frequency_hz)
    np.testing.assert_array_equal(
        answer.pickups["bridge"].gain, solve_instrument(instrument, [case], values=values)[0].voltage[0]
    )
    plain = predict_instrument(instrument, {"tone": "0"}, load=load)
    assert plain.basis["capacitor.tone.loss_tangent"].is_exact  # a marking is a claim
    changed = read_changes(instrument, ["capacitor.tone=22n tan 0.1%"])
    assert predict_instrument(instrument, {"tone": "0"}, load=load, changes=changed).basis[
        "capacitor.tone.loss_tangent"
    ].value == pytest.approx(0.001)
    # what a fit found stands in for what was stated
    measured = predict_instrument(instrument, {"tone": "0"}, load=load, measured=real_parts())
    assert measured.basis["capacitor.tone.loss_tangent"].value == 0.012


# All that was told of the track at 10 is its ohms less those of the stop: they stay, whatever the stop is held at.
def test_a_stop_below_nothing_is_held_at_nothing_and_the_track_follows():
    track, stop, std = 500e3, -4e3, 6e3
    told = 100.0  # standard uncertainty of the difference [Ω]
    covariance = np.array([[std**2 / track**2 + told**2 / track**2, std**2 / track], [std**2 / track, std**2]])
    parts = MeasuredParts(
        values={"pot.tone": track, "pot.tone.stop_10": stop, "capacitor.tone.loss_tangent": 0.01},
        names=("pot.tone", "pot.tone.stop_10", "capacitor.tone.loss_tangent"),
        log_covariance=np.block([[covariance, np.zeros((2, 1))], [np.zeros((1, 2)), np.array([[1e-6]])]]),
        takes=("open",),
        simulated=True,
    )
    held = not_below_nothing(parts)
    assert held.values["pot.tone.stop_10"] == 0.0
    assert held.values["pot.tone"] == pytest.approx(track - stop, rel=1e-4)  # a logarithm's step of 1 %
    assert held.values["capacitor.tone.loss_tangent"] == 0.01
    np.testing.assert_array_equal(held.log_covariance, parts.log_covariance)
    assert not_below_nothing(held) is held
    level = predict({}, measured=parts, at_hz=(3000.0,)).pickups["bridge"].levels[3000.0]
    assert predict({}, measured=held, at_hz=(3000.0,)).pickups["bridge"].levels[3000.0].value == level.value


def test_two_that_hang_together_are_held_together():
    names = ("pot.tone.stop_0", "capacitor.tone.loss_tangent", "capacitor.tone")
    correlation = np.array([[1.0, -0.9, 0.3], [-0.9, 1.0, 0.1], [0.3, 0.1, 1.0]])
    std = np.array([10.0, 0.003, 0.01])
    values = {"pot.tone.stop_0": -8.0, "capacitor.tone.loss_tangent": 0.002, "capacitor.tone": 22e-9}
    covariance = correlation * np.outer(std, std)
    parts = MeasuredParts(values=values, names=names, log_covariance=covariance, takes=("open",), simulated=True)
    held = not_below_nothing(parts)  # the stop alone at 0 would take the tangent to −0.0002
    assert held.values["pot.tone.stop_0"] == held.values["capacitor.tone.loss_tangent"] == 0.0
    gain = covariance[2, :2] @ np.linalg.inv(covariance[:2, :2]) @ np.array([-8.0, 0.002])
    assert held.values["capacitor.tone"] == pytest.approx(22e-9 * np.exp(-gain), rel=1e-9)


def test_exact_values_below_nothing_are_only_cut():
    parts = keep_parts(real_parts(**{"pot.tone.stop_0": -3.0}), ["pot.tone.stop_0", "pot.tone"])
    exact = replace(parts, log_covariance=np.zeros((2, 2)))
    assert not_below_nothing(exact).values == {"pot.tone.stop_0": 0.0, "pot.tone": 530e3}


def test_document_keeps_what_is_below_nothing():
    parts = real_parts(**{"pot.tone.stop_0": -3.0, "input.loss_tangent": -0.001})
    again = read_measured(measured_document(parts))
    assert again.values == parts.values
    np.testing.assert_array_equal(again.log_covariance, parts.log_covariance)
    with pytest.raises(ValueError, match=r"input.loss_tangent = 1.5 cannot be"):
        real_parts(**{"input.loss_tangent": 1.5})
    with pytest.raises(ValueError, match=r"capacitor.tone.leak = -1 cannot be"):
        real_parts(**{"capacitor.tone.leak": -1.0})


def test_they_stay_with_their_part_in_another_wiring():
    parts = real_parts()
    assert shared_parts(parts, INSTRUMENT, INSTRUMENT).names == parts.names
    other = read_instrument(layout_text("one-pickup").replace("22n", "10n"))
    gone = set(parts.names) - set(shared_parts(parts, INSTRUMENT, other).names)
    assert gone == {"capacitor.tone", "capacitor.tone.loss_tangent", "capacitor.tone.leak"}


def test_what_is_heard_has_them_too():
    parts = real_parts()
    before = Side(instrument=INSTRUMENT, controls={"tone": "10"}, load=LOAD, measured=parts)
    answer = design_change(before, replace(before, controls={"tone": "0"}), rate_hz=48000)
    assert {"pot.tone.stop_0", "capacitor.tone.loss_tangent", "input.loss_tangent"} <= set(answer.after.measured)
    up, down = (predict({"tone": tone}, measured=parts, at_hz=LEVELS_HZ).pickups["bridge"] for tone in ("10", "0"))
    for hertz in (300.0, 2000.0, 6000.0):
        asked = np.interp(np.log(hertz), np.log(answer.frequency_hz), 20 * np.log10(np.abs(answer.asked)))
        assert asked == pytest.approx(down.levels[hertz].value - up.levels[hertz].value, abs=0.02)


def settings_of(case):
    """Settings and loads that the takes do not have: controls, electrical fractions, what is changed, the load in truth."""
    ohm, middle = case.truths["input.resistance"], case.truths["pot.tone@5"]
    cable = [("R", ohm), ("C", 680e-12)]
    return (
        ({"tone": "0"}, {"volume": 1.0, "tone": 0.0}, {"input.capacitance": "680p"}, cable),
        ({"tone": f"{100 * middle:.7f}%"}, {"volume": 1.0, "tone": middle}, {}, None),
        ({"volume": "50%", "tone": "0"}, {"volume": 0.5, "tone": 0.0}, {}, None),
    )


# Mesh equations that share no code with the package; three takes of the usual kind: tone up, up with 1n across, down.
def pulls_of_real_guitar(seed):
    """Of the level, over its standard uncertainty, by setting and frequency; and as if every part were ideal."""
    case = gc.draw_one_pickup(seed, conditions=replace(gc.REAL, real=gp.RealParts(kelvin=(0.0, 0.0))))
    evidence = evidence_of_guitar(case)
    answer = characterise_pickup(evidence)
    assert answer.outcome == "good"
    load = {
        "input.resistance": parse_quantity(case.input_resistance, "Ω"),
        "input.capacitance": parse_quantity(case.input_capacitance, "F"),
    }
    ideal = keep_parts(answer.parts, [name for name in answer.parts.names if not is_beside(name)])
    pulls = []
    for controls, fractions, changed, true_load in settings_of(case):
        truth_db = 20 * np.log10(np.abs(per_volt_of_emf(case, np.array(LEVELS_HZ), fractions=fractions, load=true_load)))
        changes = {name: parse_quantity(text, "F") for name, text in changed.items()}
        options = {"load": load, "changes": changes, "at_hz": LEVELS_HZ}
        found, plain = (
            predict_instrument(evidence.instrument, controls, measured=one, **options).pickups["bridge"].levels
            for one in (answer.parts, ideal)
        )
        u_db = np.array([found[hertz].standard_uncertainty for hertz in LEVELS_HZ])
        pulls += [(np.array([one[hertz].value for hertz in LEVELS_HZ]) - truth_db) / u_db for one in (found, plain)]
    each = np.array(pulls)
    return each[::2], each[1::2]


@pytest.mark.parametrize("seed", [100, 116, 127])
def test_real_guitar_is_predicted_where_it_was_not_measured(seed):
    found, ideal = pulls_of_real_guitar(seed)
    assert np.all(np.abs(found) < 3)
    assert np.max(np.abs(ideal)) > 30  # ends and capacitors taken for ideal


# 30 guitars, 8 levels that move together: 95 % intervals that held the truth in fewer than 90 % would be too narrow by a fifth.
@pytest.mark.slow
def test_intervals_of_predictions_hold_real_guitars():
    pulls = np.array([pulls_of_real_guitar(seed)[0] for seed in range(200, 230)])
    assert np.all(np.mean(np.abs(pulls) < 1.96, axis=(0, 2)) > 0.9)
    assert np.all(np.std(pulls, axis=0) < 1.3)
    assert np.max(np.abs(pulls)) < 4.5
