"""What each pickup gives at the output: by hand, by mesh equations that share no code with the package, against differences."""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.realparts import is_beside, is_linear, stops_among
from fit.circuit.transfers import each_pickup_alone, solve_harness, solve_instrument
from tests import guitar_cases as gc
from tests.random_instruments import draw_instrument
from tests.real_networks import LEAKY, as_measured, drawn_values, per_volt_of_emf, true_values, with_real_parts, without_contacts
from tests.wired_layouts import LOAD, S, harness_of, values_of

GRID_HZ = np.geomspace(25.0, 19e3, 40)
SLOPE_TOLERANCE = 1e-6  # [1] relative, of a derivative against differences of fourth order
STEP = 5e-4  # [1] of a logarithm: the differences err by its fourth power


# By hand: V = Y1·E / (Y1 + Yload), with everything across the jack in parallel.
def test_one_pickup_with_tone_down_by_hand():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    (transfer,) = solve_harness(harness_of(instrument, {"tone": "0"}), values=values)
    coil = values["bridge.dcr"] + S * values["bridge.inductance"]
    across = S * (values["bridge.winding_capacitance"] + values["capacitor.tone"] + LOAD["input.capacitance"])
    across = across + 1 / values["pot.volume"] + 1 / LOAD["input.resistance"]
    np.testing.assert_allclose(transfer.voltage[0], 1 / (1 + coil * across), rtol=1e-12)


# By hand: the source seen at the pot's wiper (Thévenin), volume at half of its track.
def test_volume_down_by_hand():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    (transfer,) = solve_harness(harness_of(instrument, {"volume": "50%", "tone": "10"}), values=values)
    half, load = values["pot.volume"] / 2, 1 / LOAD["input.resistance"] + S * LOAD["input.capacitance"]
    coil = values["bridge.dcr"] + S * values["bridge.inductance"]
    tone = 1 / (values["pot.tone"] + 1 / (S * values["capacitor.tone"]))
    lower = 1 / (1 / half + load)
    at_coil = 1 / (1 + coil * (S * values["bridge.winding_capacitance"] + tone + 1 / (half + lower)))
    np.testing.assert_allclose(transfer.voltage[0], at_coil * lower / (half + lower), rtol=1e-12)


# Two equal halves in series, equally excited, are one coil with L = La + Lb + 2M and half of each winding's capacitance.
def test_equal_halves_in_series_are_one_coil():
    instrument = read_instrument(layout_text("humbucker-modes"))
    values = values_of(instrument)
    (halves,) = solve_harness(harness_of(instrument, {"mode": "series"}), values=values)
    whole = read_instrument(layout_text("one-pickup"))
    one = values_of(whole) | {key: values[key] for key in ("pot.volume", "pot.tone", "capacitor.tone")}
    one["bridge.dcr"] = 2 * values["bridge.dcr"]
    one["bridge.inductance"] = 2 * values["bridge.inductance"] * (1 + values["bridge.coupling"])
    one["bridge.winding_capacitance"] = values["bridge.winding_capacitance"] / 2
    (single,) = solve_harness(harness_of(whole, {}), values=one)
    np.testing.assert_allclose(halves.voltage, single.voltage, rtol=1e-11)


def test_pickup_out_of_phase_turns_its_sign_alone():
    text = layout_text("three-singles")
    instrument, turned = (
        read_instrument(one) for one in (text, text.replace('["middle hot", "ground"]', '["ground", "middle hot"]'))
    )
    # the pickup's hot end then lies on ground for its EMF, the circuit is the same
    (before,) = solve_harness(harness_of(instrument, {"selector": "neck-middle"}), values=values_of(instrument))
    (after,) = solve_harness(harness_of(turned, {"selector": "neck-middle"}), values=values_of(turned))
    np.testing.assert_allclose(after.voltage[1], -before.voltage[1], rtol=1e-13)
    np.testing.assert_allclose(after.voltage[2], before.voltage[2], rtol=1e-13)


def test_fraction_may_be_a_parameter():
    instrument = read_instrument(layout_text("one-pickup"))
    harness = harness_of(instrument, {"volume": "6"})
    (moved,) = solve_harness(harness, values=values_of(instrument) | {"pot.volume@6": 0.4})
    (stated,) = solve_harness(harness_of(instrument, {"volume": "40%"}), values=values_of(instrument))
    np.testing.assert_allclose(moved.voltage, stated.voltage, rtol=1e-13)
    assert "pot.volume@6" in moved.by_log


def test_excitations_add_up():
    instrument = read_instrument(layout_text("humbucker-modes"))
    harness = harness_of(instrument, {"mode": "parallel", "volume": "8"})
    values = values_of(instrument)
    both = [{"bridge": 1.0}, {"bridge.second": 1.0}]
    (each,) = solve_harness(harness, values=values, excite=both)
    (alone,) = solve_harness(harness, values=values)
    assert each_pickup_alone(instrument) == ({"bridge": 0.5, "bridge.second": 0.5},)
    np.testing.assert_allclose(each.voltage.mean(axis=0), alone.voltage[0], rtol=1e-12)


def test_missing_values_are_named():
    instrument = read_instrument(layout_text("one-pickup"))
    values = values_of(instrument)
    del values["bridge.dcr"], values["pot.tone"]
    with pytest.raises(ValueError, match=r"no value is known of bridge\.dcr, pot\.tone"):
        solve_harness(harness_of(instrument, {}), values=values)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tone", ["10", "0", "5"])
def test_real_guitars_against_mesh_equations(seed, tone):
    case = without_contacts(gc.draw_one_pickup(seed, conditions=LEAKY))
    instrument, values = as_measured(case), true_values(case)
    at = Case(settings=read_settings(instrument, {"tone": tone}), frequency_hz=GRID_HZ)
    (transfer,) = solve_instrument(instrument, [at], values=values)
    fraction = {"10": 1.0, "0": 0.0, "5": case.truths["pot.tone@5"]}[tone]
    truth = per_volt_of_emf(case, GRID_HZ, fractions={"volume": 1.0, "tone": fraction})
    np.testing.assert_allclose(transfer.voltage[0], truth, rtol=1e-9)
    ideal = {key: value for key, value in values.items() if not is_beside(key)}
    (plain,) = solve_instrument(instrument, [at], values=ideal)
    assert np.max(np.abs(plain.voltage[0] / truth - 1)) > 1e-3  # they do matter


def slope_of(solved, step):
    low2, low, high, high2 = solved
    return (low2 - 8 * low + 8 * high - high2) / (12 * step)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(16))
def test_derivatives_of_real_parts_against_differences(seed):
    drawn, instrument = draw_instrument(seed)
    rng = np.random.default_rng(seed)
    frequency_hz = np.geomspace(30, 18e3, 12)
    ends = [dict.fromkeys(instrument.pot, "10"), {pot: str(rng.choice(["0", "10", "7"])) for pot in instrument.pot}]
    stated = [drawn.settings(), *(drawn.settings() | one for one in ends)]
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=frequency_hz) for one in stated]
    values = with_real_parts(instrument, drawn_values(instrument), rng)
    harness = build_harness(instrument, cases, has_stops=stops_among(values))
    exact = solve_harness(harness, values=values)
    felt = {key for transfer in exact for key in transfer.by_log}
    assert {key for key in felt if is_beside(key)}
    for key in sorted(felt & set(values)):
        size = (0.01 if "stop" in key else 1e-4) if is_linear(key) else STEP

        def moved(n, key=key, size=size):
            value = values[key] + n * size if is_linear(key) else values[key] * np.exp(n * size)
            return solve_harness(harness, values=values | {key: value})

        solved = [moved(n) for n in (-2, -1, 1, 2)]
        for index, transfer in enumerate(exact):
            slope = slope_of([one[index].voltage for one in solved], size)
            scale = float(np.abs(transfer.voltage).max()) or 1.0
            found = transfer.by_log.get(key, np.zeros_like(slope))
            noise = 1e-15 / size * 1e3  # rounding of voltages over the step
            np.testing.assert_allclose(found, slope, rtol=SLOPE_TOLERANCE, atol=max(1e-9, noise) * scale, err_msg=key)

    def shifted(n):
        there = [Case(settings=one.settings, frequency_hz=frequency_hz * np.exp(n * STEP)) for one in cases]
        return solve_instrument(instrument, there, values=values)

    solved = [shifted(n) for n in (-2, -1, 1, 2)]
    for index, transfer in enumerate(exact):
        slope = slope_of([one[index].voltage for one in solved], STEP)
        scale = float(np.abs(transfer.voltage).max()) or 1.0
        np.testing.assert_allclose(transfer.by_log_frequency, slope, rtol=SLOPE_TOLERANCE, atol=1e-9 * scale)
