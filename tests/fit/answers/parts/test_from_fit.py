"""Measured parts out of a fit: the model they are of, their covariance, what the takes do not tell, drawn guitars."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts
from fit.answers.parts.from_fit import measured_parts
from fit.answers.predict.carry_over import adopt_losses
from fit.answers.predict.prediction import predict_instrument
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.transfers import solve_instrument
from fit.estimate.ladder import choose_model
from fit.estimate.model import name_values
from measure.quantity import parse_quantity
from tests.drawn_choice import AT_STOPS, CONTROLS, MODELS, TWO, choice_at, choice_with
from tests.guitar_cases import draw_one_pickup
from tests.guitar_evidence import evidence_of_guitar


# The circuit of the fit and that of the prediction are laid out by different code: the same values give the same voltage.
@pytest.mark.parametrize("controls", [CONTROLS, AT_STOPS], ids=["between", "at stops"])
@pytest.mark.parametrize("model", MODELS)
def test_prediction_from_measured_parts_is_the_model_of_the_fit(model, controls):
    choice = choice_at(TWO, controls, MODELS[model], rng=np.random.default_rng(21), coil_over="neck")
    parts = measured_parts(choice)
    frequency_hz = choice.problem.frequency_hz
    voltage, _ = choice.problem.circuit.evaluate(name_values(choice.problem, choice.fit.vector))
    instrument = adopt_losses(TWO, parts)
    case = Case(settings=read_settings(instrument, controls), frequency_hz=frequency_hz)
    (transfer,) = solve_instrument(instrument, [case], values=parts.values)
    row = list(TWO.pickup).index("neck")
    n_coils = len(MODELS[model].eddies)  # 1 V in each coil there, 1 V over both here
    np.testing.assert_allclose(transfer.voltage[row] * n_coils, voltage / (2j * np.pi * frequency_hz), rtol=1e-9)
    assert any("@7" in name for name in parts.names)
    assert {"pot.neck-tone.stop_10", "capacitor.neck-tone.loss_tangent", "capacitor.neck-tone.leak"} <= set(parts.names)
    assert ({"pot.bridge-tone.stop_0", "pot.bridge-volume.stop_10"} <= set(parts.names)) is (controls is AT_STOPS)
    assert parts.simulated
    assert parts.takes == ("one",)


@pytest.mark.long
# Each parameter of the fit moved a little: how the logarithms of the values follow is the square root of their covariance.
@pytest.mark.parametrize("controls", [CONTROLS, AT_STOPS], ids=["between", "at stops"])
@pytest.mark.parametrize("model", MODELS)
def test_covariance_of_measured_parts_against_differences(model, controls):
    choice = choice_at(TWO, controls, MODELS[model], rng=np.random.default_rng(22), coil_over="bridge")
    size, step = len(choice.fit.vector), 1e-5
    slopes = []
    for place in range(size):
        moved = []
        for sign in (1, -1):
            vector = choice.fit.vector.copy()
            vector[place] += sign * step
            moved.append(measured_parts(choice_with(choice.problem, vector, choice.covariance)))
        names = moved[0].names
        is_plain = np.array([name.endswith((".coupling", ".loss_tangent", ".stop_0", ".stop_10")) for name in names])
        is_plain &= np.array([".eddy_" not in name for name in names])
        up, down = (np.array([one.values[name] for name in names]) for one in moved)
        slopes.append(np.where(is_plain, up - down, np.log(np.where(is_plain, 1.0, up / down))) / (2 * step))
    gradient = np.array(slopes)
    mixed = np.random.default_rng(5).normal(size=(size, size))
    covariance = mixed @ mixed.T
    parts = measured_parts(choice_with(choice.problem, choice.fit.vector, covariance))
    expected = gradient.T @ covariance @ gradient
    scale = np.sqrt(np.diag(expected))
    scales = np.outer(scale, scale)  # ohms beside logarithms
    np.testing.assert_allclose(parts.log_covariance / scales, expected / scales, rtol=1e-6, atol=1e-6)
    assert np.all(np.abs(gradient).max(axis=0) > 1e-3)  # every value hangs on some parameter


def test_what_the_takes_do_not_tell_is_left_out():
    choice = choice_at(TWO, CONTROLS, MODELS["no loss"], rng=np.random.default_rng(23), coil_over="bridge")
    names = set(measured_parts(choice).names)
    fewer = set(measured_parts(choice, leave_out=["pot.bridge-volume", "neck.inductance", "bridge.winding_capacitance"]).names)
    assert "pot.bridge-volume@7" in names
    assert names - fewer == {
        "pot.bridge-volume",
        "pot.bridge-volume@7",
        "neck.inductance",
        "neck.dcr",
        "neck.winding_capacitance",
    }


LEVELS_HZ = (300.0, 1000.0, 2000.0, 3000.0, 4000.0, 6000.0, 10000.0)


QUESTIONS = (({}, {}), ({"tone": "0"}, {}), ({}, {"pot.volume": "250k"}), ({"tone": "0"}, {"capacitor.tone": "10n"}))


# A guitar drawn and solved by other code, fitted, and predicted as it is and with other parts; the truth is the prediction from
# its true values.
def pulls_of_guitar(seed):
    case = draw_one_pickup(seed)
    evidence = evidence_of_guitar(case)
    parts = measured_parts(choose_model(evidence))
    names = tuple(name for name in case.truths if name not in ("added", "series_resistor", "added_to_hot"))
    truth = MeasuredParts(
        values={name: case.truths[name] for name in names},
        names=names,
        log_covariance=np.zeros((len(names), len(names))),
        takes=(),
        simulated=True,
    )
    load = {
        "input.resistance": parse_quantity(case.input_resistance, "Ω"),
        "input.capacitance": parse_quantity(case.input_capacitance, "F"),
    }
    pulls = []
    for controls, changed in QUESTIONS:
        options = {"load": load, "changes": {key: parse_quantity(text) for key, text in changed.items()}, "at_hz": LEVELS_HZ}
        found, true = (
            predict_instrument(evidence.instrument, controls, measured=one, **options).pickups["bridge"] for one in (parts, truth)
        )
        for hertz in LEVELS_HZ:
            level = found.levels[hertz]
            pulls.append((level.value - true.levels[hertz].value) / level.standard_uncertainty)
    return np.array(pulls)


@pytest.mark.long
def test_prediction_from_a_fit_agrees_with_the_true_guitar():
    assert np.all(np.abs(pulls_of_guitar(101)) < 3)


# 30 guitars, 7 levels that move together: 95 % intervals that held the truth in fewer than 90 % would be too narrow by a fifth.
@pytest.mark.slow
def test_intervals_of_predictions_hold_the_true_guitar():
    pulls = np.array([pulls_of_guitar(seed) for seed in range(200, 230)]).reshape(30, len(QUESTIONS), len(LEVELS_HZ))
    assert np.all(np.mean(np.abs(pulls) < 1.96, axis=(0, 2)) > 0.9)
    assert np.all(np.abs(np.mean(pulls, axis=0)) < 0.6)  # 3 σ of a mean of 30
    assert np.all(np.std(pulls, axis=0) < 1.3)


def test_fit_that_ran_away_gives_no_parts():
    choice = choice_at(TWO, CONTROLS, MODELS["loop and spread"], rng=np.random.default_rng(24), coil_over="bridge")
    vector = choice.fit.vector.copy()
    (place,) = (i for i, parameter in enumerate(choice.problem.parameters) if parameter.name == "share_0_0@bridge")
    vector[place] = 60.0  # a coupling of 1
    assert measured_parts(choice) is not None
    assert measured_parts(replace(choice, fit=replace(choice.fit, vector=vector))) is None
