"""Whole instruments against a general circuit simulator, their derivatives against differences, textbook corners.

The simulator is ngspice (BSD-3-Clause); where its binary is missing these tests are skipped.
"""

import numpy as np
import pytest

from fit.answers.predict.prediction import predict_instrument
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_harness, solve_instrument
from measure.quantity import parse_quantity
from tests.draws import some
from tests.general_simulator import needs_ngspice, simulate
from tests.random_instruments import INPUT_F, INPUT_OHM, draw_instrument

N_SETTINGS = 3
GAIN_TOLERANCE = 1e-9  # [1] relative
SLOPE_TOLERANCE = 1e-6  # [1] relative, of a derivative against differences of fourth order
STEP = 5e-4  # [1] of a logarithm: the differences err by its fourth power
SILENCE = 1e-12  # [1] of the largest gain, from where both are rounding errors of what cancels


def known_values(instrument):
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items()}
    return values | {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}


@needs_ngspice
@pytest.mark.parametrize("seed", some(range(40), 10))
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


@pytest.mark.long
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


WITH_SPREADS = """
[pickup.bridge]
ends = ["bridge hot", "middle"]
dcr = "4k"
inductance = "2.1"
winding_capacitance = "90p"
eddy_loops = [[0.2, 3e3]]
eddy_spreads = [[0.45, 9.9e3, 1.6], [0.2, 700, 0.3]]
[pickup.bridge.second]
ends = ["middle", "ground"]
dcr = "4.4k"
inductance = "2.5"
winding_capacitance = "70p"
eddy_spreads = [[0.35, 4e3, 2.5]]
coupling = 0.3
excitation = 0.8
[pickup.neck]
ends = ["neck hot", "ground"]
dcr = "7k"
inductance = "3.3"
winding_capacitance = "80p"
[pot.volume]
value = "500k"
taper = "audio"
cw = "bus"
wiper = "tip"
ccw = "ground"
[switch.selector.positions]
both = [["bridge hot", "bus"], ["neck hot", "bus"]]
bridge = [["bridge hot", "bus"]]
"""


def test_derivatives_by_spreads_of_eddy_loops_against_differences():
    instrument = read_instrument(WITH_SPREADS)
    frequency_hz = np.geomspace(30, 18e3, 12)
    controls = ({"volume": "8"}, {"volume": "4", "selector": "bridge"})
    cases = [Case(settings=read_settings(instrument, one), frequency_hz=frequency_hz) for one in controls]
    values = known_values(instrument)
    harness = build_harness(instrument, cases)
    exact = solve_harness(harness, values=values)
    keys = [key for key in values if ".eddy_" in key]
    assert len(keys) == 2 + 3 * 3
    for key in keys:
        steps = [solve_harness(harness, values=values | {key: values[key] * np.exp(n * STEP)}) for n in (-2, -1, 1, 2)]
        for index, transfer in enumerate(exact):
            low2, low, high, high2 = (one[index].voltage for one in steps)
            slope = (low2 - 8 * low + 8 * high - high2) / (12 * STEP)
            scale = float(np.abs(transfer.voltage).max())
            np.testing.assert_allclose(transfer.by_log[key], slope, rtol=SLOPE_TOLERANCE, atol=1e-9 * scale, err_msg=key)
            assert np.abs(slope).max() > 1e-6 * scale, key
    moved = [
        solve_instrument(
            instrument, [Case(settings=c.settings, frequency_hz=frequency_hz * np.exp(n * STEP)) for c in cases], values=values
        )
        for n in (-2, -1, 1, 2)
    ]
    for index, transfer in enumerate(exact):
        low2, low, high, high2 = (one[index].voltage for one in moved)
        slope = (low2 - 8 * low + 8 * high - high2) / (12 * STEP)
        np.testing.assert_allclose(
            transfer.by_log_frequency, slope, rtol=SLOPE_TOLERANCE, atol=1e-9 * np.abs(transfer.voltage).max()
        )


# One coil at the jack, by hand: V = 1/(1 + Z·(sC + 1/R)); its loss as the mean of 100 single loops, each a coupled shorted turn,
# Z = R + sL − s²k²Lτ/(1 + sτ), over ln τ, by Gauss-Legendre quadrature: the solver's closed form is not used.
def test_coil_with_a_spread_against_many_loops_by_hand():
    text = """
    [pickup.bridge]
    ends = ["tip", "ground"]
    dcr = "7.9k"
    inductance = "3.1"
    winding_capacitance = "110p"
    eddy_spreads = [[0.55, 9.9e3, 1.7]]
    """
    instrument = read_instrument(text)
    frequency_hz = np.geomspace(20, 100e3, 50)
    case = Case(settings=read_settings(instrument, {}), frequency_hz=frequency_hz)
    (transfer,) = solve_instrument(instrument, [case], values=known_values(instrument))
    s = 2j * np.pi * frequency_hz
    nodes, weights = np.polynomial.legendre.leggauss(100)
    impedance = 7900.0 + s * 3.1
    for node, weight in zip(nodes, weights, strict=True):
        tau_s = np.exp(1.7 * node) / (2 * np.pi * 9.9e3)
        impedance = impedance - weight / 2 * s**2 * 0.55**2 * 3.1 * tau_s / (1 + s * tau_s)
    by_hand = 1 / (1 + impedance * (s * (110e-12 + INPUT_F) + 1 / INPUT_OHM))
    np.testing.assert_allclose(transfer.voltage[0], by_hand, rtol=1e-11)


def pair_alone(ohm, *, fraction="100%"):
    """A tone pot in series with a capacitor of 22 nF, fed by a source without impedance worth the name."""
    text = f"""
    [pickup.source]
    ends = ["in", "ground"]
    dcr = "0.1 ohm"
    inductance = "1e-7 H"
    winding_capacitance = "1e-16 F"
    [pot.tone]
    value = "{ohm}"
    taper = "linear"
    wiper = "in"
    ccw = "tip"
    [capacitor.tone]
    value = "22n"
    between = ["tip", "ground"]
    """
    load = {"input.resistance": parse_quantity("1e12 ohm"), "input.capacitance": parse_quantity("1e-17 F")}
    return read_instrument(text), load, {"tone": fraction}


# 1/(2πRC) with 22 nF, as quoted in the trade (common practice, no source; by hand), for the pair alone, where it is right.
CORNERS = [("250k", 28.937), ("100k", 72.343), ("25k", 289.37), ("10k", 723.43)]


@pytest.mark.parametrize(("ohm", "corner_hz"), CORNERS)
def test_textbook_corner_of_the_pair_alone(ohm, corner_hz):
    instrument, load, controls = pair_alone(ohm)
    values = {key: stated.quantity.value for key, stated in stated_values(instrument).items()}
    values |= {key: quantity.value for key, quantity in load.items()}
    case = Case(settings=read_settings(instrument, controls), frequency_hz=np.array([corner_hz]))
    (transfer,) = solve_instrument(instrument, [case], values=values)
    assert abs(transfer.voltage[0, 0]) == pytest.approx(np.sqrt(0.5), rel=2e-5)  # the corners are printed with five digits
    assert np.degrees(np.angle(transfer.voltage[0, 0])) == pytest.approx(-45.0, abs=1e-3)
    # of a first-order fall: −½ in ln|V| and −½ rad per e-fold, for R, C and f alike
    for slope in (transfer.by_log["pot.tone"], transfer.by_log["capacitor.tone"], transfer.by_log_frequency):
        assert slope[0, 0] / transfer.voltage[0, 0] == pytest.approx(-0.5 - 0.5j, rel=1e-4)


# The textbook column of the sweep, and the corner that is found, agree where the textbook is right.
@pytest.mark.parametrize(("fraction", "corner_hz"), [("10%", 289.37), ("4%", 723.43)])
def test_corner_that_is_found_is_the_textbook_one_for_the_pair_alone(fraction, corner_hz):
    instrument, load, controls = pair_alone("250k", fraction=fraction)
    answer = predict_instrument(instrument, controls, load=load)
    below_20_hz = 1 + (20 / corner_hz) ** 2  # the level is taken at 20 Hz, a little down already
    expected_hz = corner_hz * np.sqrt(2 * below_20_hz - 1)
    assert answer.pickups["source"].corner.value == pytest.approx(expected_hz, rel=2e-5)
    (sweep,) = answer.tone_sweeps
    assert sweep.steps[0].textbook_hz == pytest.approx(28.937, rel=2e-5)
    assert [step.textbook_hz for step in sweep.steps[:10]] == pytest.approx([289.37 / n for n in range(10, 0, -1)], rel=2e-5)
    assert sweep.steps[10].textbook_hz is None


# In a circuit the textbook corner says nothing: a usual pickup, 500 kΩ and 22 nF; 1/(2πRC) of the whole track is 14.5 Hz, but
# the treble stays (by hand: with the track in series the capacitor takes nothing that the volume pot would not take too).
def test_textbook_corner_is_far_off_in_a_circuit():
    instrument = read_instrument(layout_text("one-pickup"))
    load = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    (sweep,) = predict_instrument(instrument, {}, load=load).tone_sweeps
    assert sweep.steps[0].textbook_hz == pytest.approx(14.4686, rel=1e-5)
    assert sweep.steps[0].corner_hz > 200 * sweep.steps[0].textbook_hz
    assert all(step.corner_hz > 10 * step.textbook_hz for step in sweep.steps[:5])


# 1/(2π√(LC)), by hand.
@pytest.mark.parametrize(
    ("henry", "farad", "peak_hz"), [("2.2", "110p", 10230.9), ("4.5", "100p", 7502.6), ("2.5", "670p", 3888.8)]
)
def test_peak_of_a_coil_without_losses(henry, farad, peak_hz):
    text = f"""
    [pickup.coil]
    ends = ["tip", "ground"]
    dcr = "10 ohm"
    inductance = "{henry}"
    winding_capacitance = "{farad}"
    """
    load = {"input.resistance": parse_quantity("1e12 ohm"), "input.capacitance": parse_quantity("1e-17 F")}
    curve = predict_instrument(read_instrument(text), {}, load=load).pickups["coil"]
    assert curve.peak_frequency.value == pytest.approx(peak_hz, abs=0.06)  # printed with one decimal
    reactance_ohm = 2 * np.pi * peak_hz * float(henry)
    height = 1 / (10 / reactance_ohm + reactance_ohm / 1e12)  # Q of losses in series and in parallel
    assert curve.peak_level.value == pytest.approx(20 * np.log10(height), abs=1e-3)


@needs_ngspice
def test_group_delay_against_the_simulator(tmp_path):
    netlist = [
        "V1 e 0 AC 1",
        "L1 e a 4.4",
        "R1 a tip 8k",
        "C1 tip 0 110p",
        "Rt tip t 60k",
        "Ct t 0 22n",
        "Rv tip 0 500k",
        "Ri tip 0 1MEG",
    ]
    sweep = "lin 3 1999.9 2000.1"
    frequency_hz, (voltage,) = simulate(tmp_path, [*netlist, "Ci tip 0 470p", ".options noopac"], ["v(tip)"], sweep)
    delay_s = -np.angle(voltage[2] / voltage[0]) / (2 * np.pi * (frequency_hz[2] - frequency_hz[0]))
    instrument = read_instrument(layout_text("one-pickup"))
    load = {"input.resistance": parse_quantity("1M"), "input.capacitance": parse_quantity("470p")}
    answer = predict_instrument(instrument, {"tone": "12%"}, load=load)
    ours_s = np.interp(2000, answer.frequency_hz, answer.pickups["bridge"].group_delay_s)
    assert ours_s == pytest.approx(delay_s, rel=1e-3)  # between points of the curve
