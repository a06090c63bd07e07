"""Predictions: figures, intervals, changes, what is named when it is missing."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument, read_changes
from fit.answers.predict.tone import find_tone_controls
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from measure.quantity import parse_quantity

LOAD = {"input.resistance": parse_quantity("1M ± 1%"), "input.capacitance": parse_quantity("470p ± 10p")}
MEASURED = (
    layout_text("one-pickup")
    .replace('"8k"', '"8k ± 1%"')
    .replace('"4.4"', '"4.4 ± 2%"')
    .replace('"110p"', '"110p ± 5p"')
    .replace('marked = "22n ± 10%"', 'value = "22n ± 2%"')
)
INSTRUMENT = read_instrument(MEASURED)


def bridge(controls=None, **options):
    return predict_instrument(INSTRUMENT, controls or {}, load=LOAD, **options).pickups["bridge"]


def test_peak_and_corner_lie_on_the_curve():
    at = (100.0, 1000.0)
    answer = predict_instrument(INSTRUMENT, {}, load=LOAD, at_hz=at)
    curve = answer.pickups["bridge"]
    level_db = 20 * np.log10(np.abs(curve.gain))
    top = int(np.argmax(level_db))
    assert answer.frequency_hz[top - 1] < curve.peak_frequency.value < answer.frequency_hz[top + 1]
    assert level_db[top] <= curve.peak_level.value < level_db[top] + 0.05
    assert np.interp(curve.corner.value, answer.frequency_hz, level_db) == pytest.approx(level_db[0] - 3.0103, abs=0.01)
    assert curve.levels[100.0].value == pytest.approx(np.interp(100, answer.frequency_hz, level_db), abs=1e-3)


def test_group_delay_is_the_slope_of_the_phase():
    answer = predict_instrument(INSTRUMENT, {"tone": "2"}, load=LOAD)
    curve = answer.pickups["bridge"]
    slope = -np.gradient(np.unwrap(np.angle(curve.gain)), 2 * np.pi * answer.frequency_hz)
    np.testing.assert_allclose(curve.group_delay_s[1:-1], slope[1:-1], rtol=0.01, atol=2e-7)  # differences of a 24th of an octave


# Each part drawn from its own distribution; the spread of the figures against what the derivatives say.
def test_uncertainty_against_drawn_parts():
    rng = np.random.default_rng(5)
    curve = bridge({"tone": "8"}, at_hz=(2000.0,))
    known = {"bridge.dcr": "8k ± 1%", "bridge.inductance": "4.4 ± 2%", "bridge.winding_capacitance": "110p ± 5p"}
    known["capacitor.tone"] = "22n ± 2%"
    parts = {key: parse_quantity(text) for key, text in known.items() if "inductance" not in key}
    parts["bridge.inductance"] = parse_quantity(known["bridge.inductance"], "H")
    drawn = []
    for _ in range(100):
        changed = {key: moved(quantity, rng) for key, quantity in parts.items()}
        load = {key: moved(quantity, rng) for key, quantity in LOAD.items()}
        one = predict_instrument(INSTRUMENT, {"tone": "8"}, load=load, changes=changed, at_hz=(2000.0,)).pickups["bridge"]
        drawn.append((one.peak_frequency.value, one.peak_level.value, one.corner.value, one.levels[2000.0].value))
    spread = np.std(drawn, axis=0)
    stated = [one.standard_uncertainty for one in (curve.peak_frequency, curve.peak_level, curve.corner, curve.levels[2000.0])]
    assert np.all(np.abs(spread / stated - 1) < 0.2), spread / stated  # 100 draws: ± 7 % at 1 σ


def moved(quantity, rng):
    return replace(quantity, value=quantity.value + quantity.bound * rng.uniform(-1, 1))


def test_marked_values_give_no_interval_and_are_named():
    answer = predict_instrument(read_instrument(layout_text("one-pickup")), {}, load=LOAD)
    assert answer.marked == ("capacitor.tone", "pot.tone", "pot.volume")
    assert answer.unbounded == ("bridge.dcr", "bridge.inductance", "bridge.winding_capacitance")
    exact = {key: parse_quantity(text) for key, text in (("input.resistance", "1M"), ("input.capacitance", "470p"))}
    curve = predict_instrument(read_instrument(layout_text("one-pickup")), {}, load=exact).pickups["bridge"]
    assert curve.peak_frequency.standard_uncertainty == 0
    assert not curve.gain_db_std.any()


def test_changed_part_is_known_with_its_bound():
    changes = read_changes(INSTRUMENT, ["pickup.bridge.inductance = 3.3", "pot.volume=250k ± 1%"])
    answer = predict_instrument(INSTRUMENT, {}, load=LOAD, changes=changes)
    assert answer.marked == ("pot.tone",)
    assert answer.unbounded == ("bridge.inductance",)
    assert answer.pickups["bridge"].peak_frequency.value > 1.1 * bridge().peak_frequency.value


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("capacitor.tona=10n", r'there is no part "capacitor\.tona", the instrument has: bridge\.inductance'),
        ("capacitor.tone=10k", r'capacitor\.tone: "10k" is not a capacitance'),
        ("capacitor.tone", "is not CONTROL=VALUE"),
    ],
)
def test_wrong_changes_are_named(text, said):
    with pytest.raises(ValueError, match=said):
        read_changes(INSTRUMENT, [text])


WITH_LOSSES = read_instrument(
    MEASURED.replace('"110p ± 5p"', '"110p ± 5p"\neddy_loops = [[0.6, 9e3]]\neddy_spreads = [[0.5, 2e3, 1.2]]', 1)
)


# An active coil would be predicted to have no peak, and nobody would notice.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("bridge.eddy_loop_1.coupling=2", r"pickup\.bridge\.eddy_loops: \[2, 9000\] is no loop"),
        (
            "bridge.eddy_loop_1.coupling=0.9",
            r"eddy_loops and eddy_spreads: 2 loops with Σk² 1\.06, expected at most 8",
        ),
        ("bridge.eddy_spread_1.half_width=1e9", r"eddy_spreads: \[0\.5, 2000, 1e\+09\] is no spread"),
        ("bridge.eddy_spread_1.corner=0.1", r"eddy_spreads: \[0\.5, 0\.1, 1\.2\] is no spread"),
    ],
)
def test_changed_losses_must_leave_the_coil_passive(text, said):
    with pytest.raises(ValueError, match=said):
        read_changes(WITH_LOSSES, [text])
    assert read_changes(WITH_LOSSES, ["bridge.eddy_loop_1.coupling=0.7"])["bridge.eddy_loop_1.coupling"].value == 0.7


def test_coupling_of_two_coils_must_stay_below_one():
    instrument = read_instrument(layout_text("humbucker-modes"))
    (name,) = instrument.pickup
    with pytest.raises(ValueError, match=r"coupling: 1\.2 is no coupling, expected a number between -1 and 1"):
        read_changes(instrument, [f"{name}.coupling=1.2"])
    assert read_changes(instrument, [f"{name}.coupling=0.2"])


def test_missing_values_and_pickups_are_named():
    bare = read_instrument(MEASURED.replace('dcr = "8k ± 1%"\n', "").replace('marked = "500k ± 20%"', "", 1))
    with pytest.raises(ValueError, match=r"no value is known of bridge\.dcr, pot\.volume: state it in instrument\.toml"):
        predict_instrument(bare, {}, load=LOAD)
    with pytest.raises(ValueError, match='there is no pickup "neck", the instrument has: bridge'):
        predict_instrument(INSTRUMENT, {}, load=LOAD, excite="neck")


def test_what_is_not_felt_need_not_be_known():
    text = layout_text("three-singles").replace('dcr = "6.2k"', "", 1)  # the bridge's
    answer = predict_instrument(read_instrument(text), {"selector": "neck"}, load=LOAD)
    assert [name for name, curve in answer.pickups.items() if curve.is_connected] == ["neck"]


def test_silence_has_no_figures():
    curve = bridge({"volume": "0"})
    assert not curve.is_connected
    assert curve.peak_frequency is None
    assert curve.corner is None


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
    assert sweep.steps[0].corner_hz == pytest.approx(bridge().corner.value, rel=1e-9)
    assert sweep.steps[5].resistance_ohm == pytest.approx(0.12 * 500e3, rel=1e-12)


# Tone at 0, volume at half. Before the volume, the capacitor resonates with the coil near 1/(2π√(4.4 H · 22 nF)) = 512 Hz; after
# it, it is fed through the track, 440 kΩ ∥ 60 kΩ, and the level falls from 1/(2π · 53 kΩ · 22 nF) = 137 Hz on.
def test_volume_down_moves_a_tone_that_comes_after_it():
    levels = {}
    for layout in ("two-pickups-tone-before", "two-pickups-tone-after"):
        controls = {"bridge-volume": "5", "bridge-tone": "0"}
        answer = predict_instrument(
            read_instrument(layout_text(layout)), controls, load=LOAD, excite="bridge", at_hz=(40.0, 450.0)
        )
        level = answer.pickups["bridge"].levels
        levels[layout] = level[450.0].value - level[40.0].value
    assert levels["two-pickups-tone-before"] > 3
    assert levels["two-pickups-tone-after"] < -8


def test_treble_bleed_keeps_the_treble_when_the_volume_is_down():
    text = layout_text("treble-bleed")
    instrument = read_instrument(text)
    without = {"capacitor.bleed": parse_quantity("1p"), "resistor.bleed": parse_quantity("1e9 ohm")}
    rise = []
    for changes in ({}, without):
        answer = predict_instrument(instrument, {"volume": "4"}, load=LOAD, changes=changes, at_hz=(200.0, 4000.0))
        levels = answer.pickups["bridge"].levels
        rise.append(levels[4000.0].value - levels[200.0].value)
    assert rise[0] > rise[1] + 3
