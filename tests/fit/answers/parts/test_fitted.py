"""Measured parts: what belongs together, into a document and back, some of them, and none below nothing."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.parts.fitted import (
    MeasuredParts,
    is_coupling,
    is_signed,
    keep_parts,
    measured_document,
    not_below_nothing,
    read_measured,
)
from fit.answers.predict.prediction import predict_instrument
from tests.found_parts import FOUND, INSTRUMENT, LOAD, found_parts, real_parts


def predict(controls, **options):
    return predict_instrument(INSTRUMENT, controls, load=LOAD, **options)


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


def parts_of(values, covariance):
    return MeasuredParts(values=values, names=tuple(values), log_covariance=covariance, takes=("open",), simulated=False)


@pytest.mark.parametrize(
    ("name", "is_plain", "is_one"),
    [
        ("bridge.coupling", True, True),
        ("bridge.eddy_loop_1.coupling", False, False),
        ("pot.tone.stop_0", True, False),
        ("input.loss_tangent", True, False),
        ("capacitor.tone.leak", False, False),
        ("bridge.inductance", False, False),
    ],
)
def test_which_values_may_be_negative(name, is_plain, is_one):
    assert (is_signed(name), is_coupling(name)) == (is_plain, is_one)


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("bridge.coupling", (-0.99, 0.99), (-1.0, 1.0)),
        ("bridge.eddy_loop_1.coupling", (1e-3, 0.99), (0.0, 1.0, -0.1)),
        ("pot.tone@5", (1e-3, 0.99), (0.0, 1.0)),
        ("pot.tone.stop_10", (-9e3, 9e3), (np.inf, np.nan)),
        ("bridge.dcr", (1e-3, 1e9), (0.0, -1.0, np.inf)),
    ],
)
def test_values_that_can_be(name, good, bad):
    for value in good:
        assert parts_of({name: value}, np.eye(1)).values[name] == value
    for value in bad:
        with pytest.raises(ValueError, match="cannot be"):
            parts_of({name: value}, np.eye(1))


def test_a_covariance_that_cannot_be():
    two = {"bridge.dcr": 8e3, "pot.tone.stop_0": 10.0}
    scale = np.array([1e-6, 1e3])  # whatever the units
    for correlation, is_sound in ((0.999, True), (1.0, True), (1.01, False), (-1.01, False)):
        covariance = np.array([[1.0, correlation], [correlation, 1.0]]) * np.outer(scale, scale)
        if is_sound:
            assert not parts_of(two, covariance).log_covariance.flags.writeable
        else:
            with pytest.raises(ValueError, match="finite, symmetric and not negative"):
                parts_of(two, covariance)
    for wrong in (np.array([[np.nan]]), np.array([[-1e-9]])):
        with pytest.raises(ValueError, match="the covariance of the measured values is none"):
            parts_of({"bridge.dcr": 8e3}, wrong)
    with pytest.raises(ValueError, match=r"1 names, 1 values and a covariance of shape \(2, 2\) do not belong together"):
        parts_of({"bridge.dcr": 8e3}, np.eye(2))


def test_the_covariance_is_a_copy():
    own = np.eye(1)
    parts = parts_of({"bridge.dcr": 8e3}, own)
    own[0, 0] = 5.0
    assert parts.log_covariance[0, 0] == 1.0


def test_some_of_the_values_keep_their_part_of_the_covariance():
    parts = found_parts()
    kept = keep_parts(parts, ["input.capacitance", "bridge.dcr", "unknown"])
    assert kept.names == ("bridge.dcr", "input.capacitance")
    place = [parts.names.index(name) for name in kept.names]
    np.testing.assert_array_equal(kept.log_covariance, parts.log_covariance[np.ix_(place, place)])
    assert kept.values == {name: parts.values[name] for name in kept.names}
    assert kept.takes == parts.takes


def test_a_step_too_far_is_not_taken():
    # Held at 0 the stop would take the coupling to 0.5 − 1.8: then it is only cut.
    covariance = np.array([[100.0, -2.25], [-2.25, 0.06]])
    held = not_below_nothing(parts_of({"pot.tone.stop_0": -80.0, "bridge.coupling": 0.5}, covariance))
    assert held.values == {"pot.tone.stop_0": 0.0, "bridge.coupling": 0.5}
    near = not_below_nothing(parts_of({"pot.tone.stop_0": -10.0, "bridge.coupling": 0.5}, covariance))
    assert near.values["bridge.coupling"] == pytest.approx(0.5 - 0.225, rel=1e-9)
