"""Tone controls: how they are found, ten steps, the textbook's corner beside the circuit's."""

import numpy as np
import pytest

from fit.answers.parts.known import Known, gather_known
from fit.answers.predict.prediction import predict_instrument
from fit.answers.predict.tone import find_tone_controls, textbook_corners, tone_sweep
from fit.circuit.controls import read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from measure.quantity import parse_quantity
from tests.found_parts import INSTRUMENT, LOAD, found_parts, real_parts

GRID_HZ = np.geomspace(20.0, 20e3, 240)


def predict(controls, **options):
    return predict_instrument(INSTRUMENT, controls, load=LOAD, **options)


def test_tone_controls_are_found_by_how_they_are_joined():
    found = {name: find_tone_controls(read_instrument(layout_text(name))) for name in ("three-singles", "treble-bleed")}
    assert found["three-singles"] == {"tone-1": "tone", "tone-2": "tone"}
    assert found["treble-bleed"] == {"tone": "tone"}  # not the capacitor across the volume pot
    sweeps = predict_instrument(read_instrument(layout_text("three-singles")), {"selector": "neck"}, load=LOAD).tone_sweeps
    assert [sweep.pot for sweep in sweeps] == ["tone-1"]


def test_tone_sweep_has_ten_steps_and_falls():
    (sweep,) = predict_instrument(INSTRUMENT, {}, load=LOAD).tone_sweeps
    assert [step.rotation for step in sweep.steps] == list(range(10, -1, -1))
    corners = [step.corner_hz for step in sweep.steps[:8]]
    assert corners == sorted(corners, reverse=True)
    assert sweep.steps[0].corner_hz == pytest.approx(predict({}).pickups["bridge"].corner.value, rel=1e-9)
    assert sweep.steps[5].resistance_ohm == pytest.approx(0.12 * 500e3, rel=1e-12)


def test_tone_sweep_uses_measured_fractions_and_carries_their_uncertainty():
    (sweep,) = predict_instrument(INSTRUMENT, {}, load=LOAD, measured=found_parts()).tone_sweeps
    assert sweep.steps[4].rotation == 6
    assert sweep.steps[4].resistance_ohm == pytest.approx(0.22 * 530e3, rel=1e-12)
    assert sweep.steps[4].textbook_hz == pytest.approx(1 / (2 * np.pi * 0.22 * 530e3 * 20.5e-9), rel=1e-12)
    assert 0.002 < sweep.steps[4].corner_relative_std < 0.1


def test_tone_sweep_counts_the_ohms_left():
    (sweep,) = predict({}, measured=real_parts()).tone_sweeps
    assert sweep.steps[0].resistance_ohm == pytest.approx(530e3 - 4e3, rel=1e-12)
    assert sweep.steps[-1].resistance_ohm == pytest.approx(38.0, rel=1e-12)
    assert sweep.steps[-1].textbook_hz == pytest.approx(1 / (2 * np.pi * 38.0 * 20.5e-9), rel=1e-12)
    (held,) = predict({}, measured=real_parts(**{"pot.tone.stop_0": 0.0})).tone_sweeps
    assert (held.steps[-1].resistance_ohm, held.steps[-1].textbook_hz) == (0.0, None)


def known_of(instrument, controls, **options):
    options = {"changes": {}, "measured": None, "with_tolerance": False} | options
    return gather_known(instrument, load=LOAD, settings=read_settings(instrument, controls), **options)


def peak_hz(tone_f):
    """With the tone at 0 coil and capacitors are a low-pass: (1 + RG) + s(RC + LG) + s²LC, G of volume pot and input."""
    henry, ohm, siemens, farad = 4.4, 8e3, 1 / 500e3 + 1 / 1e6, tone_f + 110e-12 + 470e-12
    square = (1 + ohm * siemens) / (henry * farad) - ((ohm * farad + henry * siemens) / (henry * farad)) ** 2 / 2
    return np.sqrt(square) / (2 * np.pi)


def sweep_of(known, controls=None):
    return tone_sweep(INSTRUMENT, controls or {}, known, pickup="bridge", frequency_hz=GRID_HZ)


# Its wiper and one more lug, in series with a capacitor. A volume pot has three lugs; without a capacitor it is none.
def test_what_is_a_tone_control():
    blend = read_instrument(layout_text("three-singles-blend"))
    assert find_tone_controls(blend) == {"tone": "tone"}
    bare = layout_text("one-pickup").replace('between = ["tone link", "ground"]', 'between = ["tip", "ground"]')
    bare += '\n[resistor.foot]\nvalue = "1k"\nbetween = ["tone link", "ground"]\n'
    assert find_tone_controls(read_instrument(bare)) == {}


def test_the_capacitor_at_the_node_that_nothing_else_touches():
    text = layout_text("one-pickup") + '\n[capacitor.across]\nvalue = "100p"\nbetween = ["bridge hot", "ground"]\n'
    assert find_tone_controls(read_instrument(text)) == {"tone": "tone"}  # not the one across the pickup


def test_textbook_corner_beside_the_circuits():
    (sweep,) = sweep_of(known_of(INSTRUMENT, {}))
    assert (sweep.pot, sweep.capacitor, sweep.pickup) == ("tone", "tone", "bridge")
    half = next(step for step in sweep.steps if step.rotation == 5)
    assert half.resistance_ohm == pytest.approx(0.12 * 500e3, rel=1e-12)  # an audio taper
    assert half.textbook_hz == pytest.approx(1 / (2 * np.pi * 60e3 * 22e-9), rel=1e-12)
    last = sweep.steps[-1]
    assert (last.rotation, last.resistance_ohm, last.textbook_hz) == (0, 0.0, None)
    assert last.peak_hz == pytest.approx(peak_hz(22e-9), rel=1e-4)
    assert 0 < last.peak_db < 10


def test_uncertainty_of_a_corner_comes_from_what_is_known():
    load = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    exact = sweep_of(known_of(INSTRUMENT, {}, changes=load))
    assert {step.corner_relative_std for step in exact[0].steps} == {0.0}
    (loose,) = sweep_of(known_of(INSTRUMENT, {}, changes={"capacitor.tone": parse_quantity("22n ± 10%")}))
    slope = np.log(peak_hz(22e-9 * 1.001) / peak_hz(22e-9 / 1.001)) / (2 * np.log(1.001))
    assert loose.steps[-1].peak_relative_std == pytest.approx(abs(slope) * 0.1 / np.sqrt(3), rel=0.01)
    # up at 10 the pot hides the capacitor, and the cable is felt
    assert loose.steps[0].peak_relative_std < 0.2 * loose.steps[-1].peak_relative_std


def test_a_value_that_is_not_known_ends_the_sweep():
    known = known_of(INSTRUMENT, {})
    without = Known(
        basis={name: one for name, one in known.basis.items() if name != "bridge.inductance"},
        names=known.names,
        log_covariance=known.log_covariance,
    )
    assert sweep_of(without) == ()


def test_a_control_that_the_output_does_not_feel_is_left_out():
    assert sweep_of(known_of(INSTRUMENT, {"volume": "0"}), {"volume": "0"}) == ()


def test_textbook_corners_of_the_controls_as_they_stand():
    settings = read_settings(INSTRUMENT, {"tone": "5"})
    values = known_of(INSTRUMENT, {"tone": "5"}).values
    (sweep,) = sweep_of(known_of(INSTRUMENT, {}))
    half = next(step for step in sweep.steps if step.rotation == 5)
    assert textbook_corners(INSTRUMENT, settings, values) == {"tone": pytest.approx(half.textbook_hz, rel=1e-12)}
    assert textbook_corners(INSTRUMENT, read_settings(INSTRUMENT, {"tone": "0"}), values) == {}
    assert textbook_corners(INSTRUMENT, settings, {key: one for key, one in values.items() if key != "capacitor.tone"}) == {}
