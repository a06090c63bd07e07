"""Tone controls: how they are found, ten steps, the textbook's corner beside the circuit's."""

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument
from fit.answers.predict.tone import find_tone_controls
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from tests.found_parts import INSTRUMENT, LOAD, found_parts, real_parts


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
