"""Measured parts: out of a fit, into a document and back, and into predictions with their whole covariance."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.parts.fitted import MeasuredParts, keep_parts, measured_document, read_measured
from fit.answers.parts.from_fit import measured_parts
from fit.answers.parts.known import TAPER_BOUND
from fit.answers.predict.carry_over import adopt_losses, shared_parts
from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.floor import Floor
from fit.estimate.joint import JointFit
from fit.estimate.ladder import Choice, choose_model
from fit.estimate.model import build_problem, name_values, predict_residual
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from measure.response import Origin, Response
from tests.found_parts import FOUND, INSTRUMENT, LOAD, found_parts
from tests.guitar_cases import draw_one_pickup
from tests.guitar_evidence import evidence_of_guitar

COIL_VALUES = ("dcr", "inductance", "winding_capacitance")
TWO = read_instrument(
    "\n".join(line for line in layout_text("two-pickups-tone-after").splitlines() if not line.startswith(COIL_VALUES))
)
FREQUENCY_HZ = np.geomspace(30.0, 18e3, 60)


def tied_capacitances():
    """The sum of winding and input capacitance is known exactly, neither alone."""
    gradient = np.array([1 / 95e-12, -1 / 470e-12]) * 10e-12
    return MeasuredParts(
        values={"bridge.winding_capacitance": 95e-12, "input.capacitance": 470e-12},
        names=("bridge.winding_capacitance", "input.capacitance"),
        log_covariance=np.outer(gradient, gradient),
        takes=("open",),
        simulated=False,
    )


# Parts drawn from the covariance, each draw a curve of its own; the spread of the curves is the band. 600 draws tell a standard
# deviation to 3 % (1 σ); along a curve a few such lie side by side.
def test_width_of_a_band_is_the_spread_of_curves_drawn_from_the_covariance():
    parts, rng = found_parts(), np.random.default_rng(11)
    controls = {"tone": "6"}
    answer = predict_instrument(INSTRUMENT, controls, load=LOAD, measured=parts)
    curve = answer.pickups["bridge"]
    adopted = adopt_losses(INSTRUMENT, parts)
    case = Case(settings=read_settings(adopted, controls), frequency_hz=answer.frequency_hz)
    gains, delays = [], []
    for step in rng.multivariate_normal(np.zeros(len(parts.names)), parts.log_covariance, size=600):
        values = {name: parts.values[name] * np.exp(one) for name, one in zip(parts.names, step, strict=True)}
        (transfer,) = solve_instrument(adopted, [case], values=values)
        gains.append(transfer.voltage[0])
        delays.append(-(transfer.by_log_frequency[0] / transfer.voltage[0]).imag / (2 * np.pi * answer.frequency_hz))
    level_db = 20 * np.log10(np.abs(gains))
    phase = np.unwrap(np.angle(gains), axis=1)
    assert np.all(np.abs(np.std(level_db, axis=0) / curve.gain_db_std - 1) < 0.12)
    assert np.all(np.abs(np.std(phase, axis=0) / curve.phase_std - 1) < 0.12)
    largest = curve.group_delay_std_s.max()
    is_felt = curve.group_delay_std_s > 0.05 * largest  # near a zero of the slopes the second order counts
    assert is_felt.sum() > 50
    assert np.all(np.abs(np.std(delays, axis=0) / curve.group_delay_std_s - 1)[is_felt] < 0.12)


def test_values_known_together_make_a_narrow_band():
    tied = tied_capacitances()
    apart = replace(tied, log_covariance=np.diag(np.diag(tied.log_covariance)))
    exact = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    width = [
        predict_instrument(INSTRUMENT, {}, load=exact, measured=parts).pickups["bridge"].peak_frequency.standard_uncertainty
        for parts in (tied, apart)
    ]
    assert width[1] > 20.0
    assert width[0] < 1e-3 * width[1]  # winding and input lie in parallel, volume and tone at 10


def test_measured_values_stand_in_for_stated_and_marked_ones_but_not_for_changes():
    parts = found_parts()
    changes = read_changes(INSTRUMENT, ["pot.tone=250k ± 1%", "bridge.inductance=3"])
    plain = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=parts)
    changed = predict_instrument(INSTRUMENT, {"tone": "6"}, load=LOAD, measured=parts, changes=changes)
    assert {one.origin for one in plain.basis.values()} == {"measured"}
    assert plain.marked == plain.unbounded == ()
    assert plain.basis["pot.tone@6"].value == 0.22
    assert changed.basis["pot.tone"].origin == changed.basis["bridge.inductance"].origin == "changed"
    assert changed.unbounded == ("bridge.inductance",)
    # another pot has another track: at 6 it stands where its taper says, 0.296 (12 % at 5, all at 10)
    assert changed.basis["pot.tone@6"].origin == "taper"
    assert changed.basis["pot.tone@6"].value == pytest.approx(0.296, rel=1e-12)
    assert plain.measured is parts
    assert predict_instrument(INSTRUMENT, {}, load=LOAD).measured is None


def test_changed_part_is_correlated_with_nothing():
    tied = tied_capacitances()
    changes = read_changes(INSTRUMENT, ["bridge.winding_capacitance=95p"])
    curve = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=tied, changes=changes).pickups["bridge"]
    alone = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=keep_parts(tied, ["input.capacitance"]), changes=changes)
    assert curve.peak_frequency.standard_uncertainty == alone.pickups["bridge"].peak_frequency.standard_uncertainty > 20.0


def test_tolerance_of_marked_parts_counts_where_it_is_asked_for():
    exact = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    options = {"load": exact, "at_hz": (2000.0,)}
    without = predict_instrument(INSTRUMENT, {"tone": "4"}, **options)
    level = predict_instrument(INSTRUMENT, {"tone": "4"}, with_tolerance=True, **options)
    assert without.pickups["bridge"].levels[2000.0].standard_uncertainty == 0.0
    assert level.with_tolerance
    assert level.basis["capacitor.tone"].relative_std == pytest.approx(0.1 / 3**0.5, rel=1e-12)
    assert level.basis["pot.tone@4"].relative_std == pytest.approx((1 - 0.096) * TAPER_BOUND / 3**0.5, rel=1e-12)
    rng, drawn = np.random.default_rng(8), []
    case = Case(settings=read_settings(INSTRUMENT, {"tone": "4"}), frequency_hz=np.array([2000.0]))
    values = {key: one.quantity.value for key, one in stated_values(INSTRUMENT).items()}
    values |= {key: quantity.value for key, quantity in exact.items()}
    for _ in range(600):
        volume, tone, capacitor, taper = rng.uniform(-1, 1, 4)
        moved = values | {"pot.volume": 500e3 * (1 + 0.2 * volume), "pot.tone": 500e3 * (1 + 0.2 * tone)}
        logit = np.log(0.096 / 0.904) + TAPER_BOUND * taper
        moved |= {"capacitor.tone": 22e-9 * (1 + 0.1 * capacitor), "pot.tone@4": 1 / (1 + np.exp(-logit))}
        drawn.append(20 * np.log10(abs(solve_instrument(INSTRUMENT, [case], values=moved)[0].voltage[0, 0])))
    stated = level.pickups["bridge"].levels[2000.0].standard_uncertainty
    assert np.std(drawn) == pytest.approx(stated, rel=0.15)  # 20 % is far: the second order counts


def test_tone_sweep_uses_measured_fractions_and_carries_their_uncertainty():
    (sweep,) = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=found_parts()).tone_sweeps
    assert sweep.steps[4].rotation == 6
    assert sweep.steps[4].resistance_ohm == pytest.approx(0.22 * 530e3, rel=1e-12)
    assert sweep.steps[4].textbook_hz == pytest.approx(1 / (2 * np.pi * 0.22 * 530e3 * 20.5e-9), rel=1e-12)
    assert 0.002 < sweep.steps[4].corner_relative_std < 0.1


def test_document_and_back():
    parts = found_parts(instrument_sha256="a" * 64, input_stated={"input.resistance": 1e6}, outcome="misfit")
    again = read_measured(measured_document(parts))
    assert again.values == parts.values
    assert again.names == parts.names
    assert again.takes == parts.takes
    assert again.simulated
    assert (again.outcome, again.instrument_sha256, again.input_stated) == ("misfit", "a" * 64, {"input.resistance": 1e6})
    np.testing.assert_array_equal(again.log_covariance, parts.log_covariance)
    assert not again.log_covariance.flags.writeable


DAMAGE = {
    "no document": (lambda _: [], "damaged: Expected object"),
    "key missing": (lambda d: {key: one for key, one in d.items() if key != "names"}, "missing required field names"),
    "key too many": (lambda d: d | {"more": 1}, "unknown field more"),
    "other schema": (lambda d: d | {"schema": "coilsweep.parts/2"}, "expected coilsweep.parts/1"),
    "text for a number": (lambda d: d | {"values": ["x"] * len(FOUND)}, "Expected float, got str"),
    "row missing": (lambda d: d | {"log_covariance": d["log_covariance"][1:]}, "a square covariance"),
    "row too short": (lambda d: d | {"log_covariance": [row[1:] for row in d["log_covariance"]]}, "a square covariance"),
    "nothing": (lambda d: d | {"names": [], "values": [], "log_covariance": []}, "1 to 200 values"),
    "a name twice": (lambda d: d | {"names": [d["names"][0], d["names"][0], *d["names"][2:]]}, "do not belong together"),
    "negative value": (lambda d: d | {"values": [-1.0, *d["values"][1:]]}, "bridge.inductance = -1 cannot be"),
    "coupling above 1": (lambda d: d | {"values": [1.0] * len(FOUND)}, "bridge.eddy_spread_1.coupling = 1 cannot be"),
    "no covariance": (lambda d: d | {"log_covariance": (-np.eye(len(FOUND))).tolist()}, "finite, symmetric and not negative"),
    "not symmetric": (lambda d: d | {"log_covariance": np.triu(np.ones((len(FOUND),) * 2)).tolist()}, "symmetric"),
}


@pytest.mark.parametrize("case", DAMAGE)
def test_damaged_documents_are_refused_in_one_line(case):
    change, said = DAMAGE[case]
    with pytest.raises(ValueError, match=f"measured values are damaged: .*{said}|{said}") as caught:
        read_measured(change(measured_document(found_parts())))
    assert "\n" not in str(caught.value)


def test_parts_of_another_wiring_are_kept_where_they_are_stated_alike():
    parts = found_parts()
    rewired = layout_text("one-pickup")
    for lug in ("cw", "wiper"):
        rewired = rewired.replace(f'{lug} = "bridge hot"', f'{lug} = "bus"')
    rewired += '\n[resistor.link]\nvalue = "10k"\nbetween = ["bridge hot", "bus"]\n'
    assert shared_parts(parts, INSTRUMENT, read_instrument(rewired)).names == parts.names
    other_pot = read_instrument(rewired.replace('marked = "500k ± 20%"', 'marked = "250k ± 20%"', 1))  # the volume pot's
    assert set(parts.names) - set(shared_parts(parts, INSTRUMENT, other_pot).names) == {"pot.volume"}
    other_coil = read_instrument(rewired.replace('"4.4"', '"3"').replace("22n", "10n"))
    assert set(shared_parts(parts, INSTRUMENT, other_coil).names) == {
        "pot.volume",
        "pot.tone",
        "pot.tone@6",
        "input.resistance",
        "input.capacitance",
    }
    linear = read_instrument(rewired.replace('"audio"', '"linear"').replace('"4.4"', '"3"').replace("22n", "10n"))
    assert shared_parts(parts, INSTRUMENT, linear) is None


# What a fit is made of, without the fit: a problem at a vector that was drawn, leaks let go, and any covariance.
def choice_at(instrument, controls, model, *, rng, coil_over):
    response = Response(
        frequency_hz=FREQUENCY_HZ,
        value=2j * np.pi * FREQUENCY_HZ * 1e-3,
        covariance=1e-6 * np.eye(2) * np.abs(FREQUENCY_HZ)[:, None, None] ** 2 * 1e-6,
        origin=Origin(rate_hz=96000.0, simulated=True),
    )
    settings = read_settings(instrument, controls)
    take = TakeEvidence(name="one", response=response, settings=settings, coil_over=coil_over)
    evidence = Evidence(
        takes=(take,),
        input_resistance=LOAD["input.resistance"],
        input_capacitance=LOAD["input.capacitance"],
        instrument=instrument,
    )
    leaks = [parameter.name for parameter in build_problem(evidence, model).parameters if parameter.name.startswith("across_")]
    problem = build_problem(evidence, model, released=leaks)
    vector = np.array([parameter.start for parameter in problem.parameters]) + rng.uniform(-0.3, 0.3, len(problem.parameters))
    for place, parameter in enumerate(problem.parameters):  # strings excite all coils alike, and are not screened
        if parameter.name.startswith(("field_", "leak_", "log_second_excitation", "delay", "log_gain")):
            vector[place] = 0.0
        elif parameter.name in leaks:  # one that is negative is not let go
            vector[place] = abs(vector[place])
    return choice_with(problem, vector, np.eye(len(vector)))


def choice_with(problem, vector, covariance):
    prediction = predict_residual(problem, vector)
    return Choice(
        problem=problem,
        fit=JointFit(vector=vector, chi_square=0.0, prediction=prediction, n_evaluations=1),
        blocks=(),
        covariance=covariance,
        floor=Floor(smooth=0.0, rough=0.0, length_octaves=1.0, is_common=False),
        rungs=(),
        moved=(),
    )


MODELS = {
    "no loss": PickupModel(eddies=((),)),
    "loop and spread": PickupModel(eddies=(("loop", "spread"),)),
    "two coils, two losses each": PickupModel(eddies=(("spread", "loop"), ("spread", "loop"))),
}
CONTROLS = {"selector": "both", "bridge-volume": "7", "bridge-tone": "4", "neck-volume": "6"}
AT_STOPS = {"selector": "both", "bridge-volume": "10", "bridge-tone": "0", "neck-volume": "7"}


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


# Coils that oppose each other have a negative coupling, of which the covariance is that of the value itself.
def test_negative_coupling_carries_its_own_standard_deviation():
    text = layout_text("humbucker-modes")
    instrument = read_instrument(text)
    (name,) = instrument.pickup
    answers = []
    for coupling in (-0.2, 0.2):
        parts = MeasuredParts(
            values={f"{name}.coupling": coupling},
            names=(f"{name}.coupling",),
            log_covariance=np.array([[0.03**2]]),
            takes=("open",),
            simulated=False,
        )
        answers.append(predict_instrument(instrument, {}, load=LOAD, measured=parts).basis[f"{name}.coupling"])
    assert [one.value for one in answers] == [-0.2, 0.2]
    assert [one.relative_std for one in answers] == pytest.approx([0.15, 0.15], rel=1e-12)


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
