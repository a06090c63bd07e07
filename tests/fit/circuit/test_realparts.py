"""Instruments of parts as people have them: stops of pots, loss tangents and leaks of capacitors, through the solver.

Guitars solved by mesh equations that share no code with the package; derivatives against differences.
"""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.dielectric import BAND_HZ, NETWORK_ERROR, capacitor_admittance, loss_network
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values
from fit.circuit.realparts import is_beside, is_linear, owner_of, stops_among
from fit.circuit.transfers import solve_harness, solve_instrument
from tests import guitar_cases as gc
from tests.random_instruments import INPUT_F, INPUT_OHM, draw_instrument
from tests.real_networks import LEAKY, ONE_PICKUP, as_measured, per_volt_of_emf, true_values, with_real_parts, without_contacts

FREQUENCY_HZ = np.geomspace(25.0, 19e3, 40)
SLOPE_TOLERANCE = 1e-6  # [1] relative, of a derivative against differences of fourth order
STEP = 5e-4  # [1] of a logarithm: the differences err by its fourth power


def values_of(instrument):
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items() if stated.quantity is not None}
    return values | {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tone", ["10", "0", "5"])
def test_real_guitars_against_mesh_equations(seed, tone):
    case = without_contacts(gc.draw_one_pickup(seed, conditions=LEAKY))
    instrument, values = as_measured(case), true_values(case)
    at = Case(settings=read_settings(instrument, {"tone": tone}), frequency_hz=FREQUENCY_HZ)
    (transfer,) = solve_instrument(instrument, [at], values=values)
    fraction = {"10": 1.0, "0": 0.0, "5": case.truths["pot.tone@5"]}[tone]
    truth = per_volt_of_emf(case, FREQUENCY_HZ, fractions={"volume": 1.0, "tone": fraction})
    np.testing.assert_allclose(transfer.voltage[0], truth, rtol=1e-9)
    ideal = {key: value for key, value in values.items() if not is_beside(key)}
    (plain,) = solve_instrument(instrument, [at], values=ideal)
    assert np.max(np.abs(plain.voltage[0] / truth - 1)) > 1e-3  # they do matter


def slope_of(solved, step):
    low2, low, high, high2 = solved
    return (low2 - 8 * low + 8 * high - high2) / (12 * step)


@pytest.mark.parametrize("seed", range(16))
def test_derivatives_of_real_parts_against_differences(seed):
    drawn, instrument = draw_instrument(seed)
    rng = np.random.default_rng(seed)
    frequency_hz = np.geomspace(30, 18e3, 12)
    ends = [dict.fromkeys(instrument.pot, "10"), {pot: str(rng.choice(["0", "10", "7"])) for pot in instrument.pot}]
    stated = [drawn.settings(), *(drawn.settings() | one for one in ends)]
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=frequency_hz) for one in stated]
    values = with_real_parts(instrument, values_of(instrument), rng)
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


def solve_at(controls, more):
    case = Case(settings=read_settings(ONE_PICKUP, controls), frequency_hz=FREQUENCY_HZ)
    return solve_instrument(ONE_PICKUP, [case], values=values_of(ONE_PICKUP) | more)[0]


def test_a_stop_counts_only_where_the_pot_stands_there():
    ideal = solve_at({"tone": "0"}, {})
    np.testing.assert_array_equal(solve_at({"tone": "0"}, {"pot.tone.stop_10": 300.0}).voltage, ideal.voltage)
    left = solve_at({"tone": "0"}, {"pot.tone.stop_0": 300.0})
    assert np.max(np.abs(left.voltage / ideal.voltage - 1)) > 1e-3
    assert "pot.tone.stop_0" in left.by_log
    np.testing.assert_array_equal(
        solve_at({"tone": "5"}, {"pot.tone.stop_0": 300.0}).voltage, solve_at({"tone": "5"}, {}).voltage
    )


def test_nothing_left_and_nothing_lost_is_the_ideal_part():
    nothing = {"pot.tone.stop_0": 0.0, "pot.volume.stop_10": 0.0, "capacitor.tone.loss_tangent": 0.0, "input.loss_tangent": 0.0}
    found = solve_at({"tone": "0"}, nothing | {"capacitor.tone.leak": 1e15})
    # 0.01 Ω stand for none, in series with the 380 Ω of the capacitor at the highest frequency
    np.testing.assert_allclose(found.voltage, solve_at({"tone": "0"}, {}).voltage, rtol=1e-4)
    assert np.isfinite(found.by_log["pot.tone.stop_0"]).all()
    assert np.abs(found.by_log["capacitor.tone.loss_tangent"]).max() > 0.01


# A volume pot shorts the output at 0, unless it is known that ohms are left there.
def test_what_is_left_of_a_volume_pot_is_heard():
    assert not solve_at({"volume": "0"}, {}).voltage.any()
    heard = solve_at({"volume": "0"}, {"pot.volume.stop_0": 50.0}).voltage[0]
    assert np.abs(heard[0]) == pytest.approx(50 / 500e3, rel=0.1)


def test_names_of_values_and_their_parts():
    assert owner_of("pot.tone.stop_0") == owner_of("pot.tone@7") == owner_of("pot.tone") == "pot.tone"
    assert owner_of("capacitor.tone.loss_tangent") == owner_of("capacitor.tone.leak") == "capacitor.tone"
    assert owner_of("input.loss_tangent") == "input.capacitance"
    assert owner_of("bridge.eddy_loop_1.corner") == "bridge.eddy_loop_1.corner"
    assert not is_linear("capacitor.tone.leak")


@pytest.mark.parametrize("tangent", [1e-4, 2e-3, 2e-2, 5e-2])
def test_resistors_and_capacitors_that_stand_for_a_loss_tangent(tangent):
    network = loss_network(capacitance_f=22e-9, loss_tangent=tangent)
    assert min(network.capacitance_f, network.resistance_ohm, *(value for pair in network.branches for value in pair)) > 0
    frequency_hz = np.geomspace(*BAND_HZ, 77)
    s = 2j * np.pi * frequency_hz
    admittance = 1 / network.resistance_ohm + s * network.capacitance_f
    admittance += sum(1 / (ohm + 1 / (s * farad)) for ohm, farad in network.branches)
    wanted = capacitor_admittance(frequency_hz, capacitance_f=22e-9, loss_tangent=tangent)
    off = np.max(np.abs(admittance / wanted - 1))
    assert 0.2 * network.error < off < 1.05 * network.error < 1.05 * NETWORK_ERROR
