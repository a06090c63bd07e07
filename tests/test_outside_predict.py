"""Whole instruments against a general circuit simulator, their derivatives against differences, textbook corners.

The simulator is ngspice (BSD-3-Clause); where its binary is missing these tests are skipped.
"""

import numpy as np
import pytest

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values
from fit.circuit.transfers import solve_harness, solve_instrument
from tests.random_instruments import INPUT_F, INPUT_OHM, draw_instrument
from tests.test_outside_circuit import needs_ngspice, simulate

N_SETTINGS = 3
GAIN_TOLERANCE = 1e-9  # [1] relative
SLOPE_TOLERANCE = 1e-6  # [1] relative, of a derivative against differences of fourth order
STEP = 5e-4  # [1] of a logarithm: the differences err by its fourth power
SILENCE = 1e-12  # [1] of the largest gain, from where both are rounding errors of what cancels


def known_values(instrument):
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items()}
    return values | {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}


@needs_ngspice
@pytest.mark.parametrize("seed", range(40))
def test_random_instruments_against_simulator(tmp_path, seed):
    drawn, instrument = draw_instrument(seed)
    stated = [drawn.settings() for _ in range(N_SETTINGS)]
    sweep = "dec 8 20 20k"
    frequency_hz, _ = simulate(tmp_path, ["V1 a 0 AC 1", "R1 a 0 1"], ["v(a)"], sweep)
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=frequency_hz) for one in stated]
    ours = solve_instrument(instrument, cases, values=known_values(instrument))
    largest = max(float(np.abs(transfer.voltage).max()) for transfer in ours) or 1.0
    for one, transfer in zip(stated, ours, strict=True):
        for row, name in enumerate(instrument.pickup):
            netlist, tip = drawn.netlist(one, name)
            if tip == "ground":
                assert not transfer.voltage.any()
                continue
            again, (voltage,) = simulate(tmp_path, [*netlist, ".options noopac"], [f"v({tip})"], sweep)
            np.testing.assert_array_equal(again, frequency_hz)
            np.testing.assert_allclose(transfer.voltage[row], voltage, rtol=GAIN_TOLERANCE, atol=SILENCE * largest)


@pytest.mark.parametrize("seed", range(40))
def test_derivatives_of_random_instruments_against_differences(seed):
    drawn, instrument = draw_instrument(seed)
    frequency_hz = np.geomspace(30, 18e3, 12)
    cases = [Case(settings=read_settings(instrument, drawn.settings()), frequency_hz=frequency_hz) for _ in range(N_SETTINGS)]
    values = known_values(instrument)
    for case in cases:
        values |= {f"pot.{name}@{pot.label}": pot.fraction for name, pot in case.settings.pots.items() if 0 < pot.fraction < 1}
    harness = build_harness(instrument, cases)
    exact = solve_harness(harness, values=values)
    keys = {key for transfer in exact for key in transfer.by_log}
    assert keys <= set(values)
    for key, value in values.items():
        shifted = [solve_harness(harness, values=values | {key: value * np.exp(n * STEP)}) for n in (-2, -1, 1, 2)]
        for index, transfer in enumerate(exact):
            low2, low, high, high2 = (one[index].voltage for one in shifted)
            slope = (low2 - 8 * low + 8 * high - high2) / (12 * STEP)
            scale = float(np.abs(transfer.voltage).max()) or 1.0
            found = transfer.by_log.get(key, np.zeros_like(slope))
            np.testing.assert_allclose(found, slope, rtol=SLOPE_TOLERANCE, atol=1e-9 * scale, err_msg=key)
    by_frequency = [
        solve_instrument(
            instrument, [Case(settings=c.settings, frequency_hz=frequency_hz * np.exp(n * STEP)) for c in cases], values=values
        )
        for n in (-2, -1, 1, 2)
    ]
    for index, transfer in enumerate(exact):
        low2, low, high, high2 = (one[index].voltage for one in by_frequency)
        slope = (low2 - 8 * low + 8 * high - high2) / (12 * STEP)
        scale = float(np.abs(transfer.voltage).max()) or 1.0
        np.testing.assert_allclose(transfer.by_log_frequency, slope, rtol=SLOPE_TOLERANCE, atol=1e-9 * scale)
