"""What is exported, read and computed by programs that others wrote.

ngspice (BSD-3-Clause) runs the netlists; scikit-rf (BSD-3-Clause) reads the Touchstone files. Without one its tests skip.
"""

import subprocess
from dataclasses import replace

import numpy as np
import pytest

from fit.answers.netlist.oneport import NetPickup, pickup_gain, pickup_impedance
from fit.answers.netlist.spice import instrument_netlist, loops_of, pickup_netlist
from fit.circuit.coil import CoilValues
from fit.circuit.controls import read_settings
from fit.circuit.dielectric import NETWORK_ERROR
from fit.circuit.harness import Case
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import DESCRIPTIONS, layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_instrument
from measure.tables.files import format_touchstone, parse_touchstone
from tests import guitar_cases as gc
from tests.general_simulator import needs_ngspice, simulate
from tests.guitar_circuit import spice_lines
from tests.guitar_parts import MUTUAL_H
from tests.random_instruments import draw_instrument
from tests.real_networks import LEAKY, as_measured, circuit_of, true_values, with_real_parts, without_contacts

INPUT_OHM, INPUT_F = 1e6, 470e-12
DIGITS = 1e-9  # [1] relative: element values are written with 12 digits
SILENCE = 1e-11  # [1] of the largest gain, from where both are rounding errors of what cancels


def coil(*eddies, inductance_h=2.6, resistance_ohm=6000.0, winding_capacitance_f=100e-12):
    return CoilValues(
        inductance_h=inductance_h,
        resistance_ohm=resistance_ohm,
        winding_capacitance_f=winding_capacitance_f,
        excitation=1.0,
        eddies=eddies,
    )


LOOP, SECOND = (0.12, 2e-5, 0.0, 0.3, "loop"), (0.04, 1e-4, 0.0, 0.0, "loop")
SPREAD = (0.3, 1.5e-5, 2.0, 0.5, "spread")
PICKUPS = {
    "no loss": NetPickup(name="bare", coils=(coil(),)),
    "two loops": NetPickup(name="Bridge pickup", coils=(coil(LOOP, SECOND),)),
    "two coils": NetPickup(
        name="humbucker",
        coils=(coil(LOOP), coil(SECOND, inductance_h=1.9, resistance_ohm=4100.0, winding_capacitance_f=70e-12)),
        coupling=0.25,
    ),
}


def run_as_written(folder, netlist, vector):
    """Run the file as it is exported, with its own analysis; a control block only says what to print."""
    control = [".control", "set numdgt=14", "set wr_singlescale", "run", f"wrdata out.txt {vector}", "quit", ".endc"]
    (folder / "net.cir").write_text("\n".join([*netlist.lines[:-1], *control, netlist.lines[-1], ""]), encoding="ascii")
    done = subprocess.run(["ngspice", "-b", "net.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False)
    assert (folder / "out.txt").exists(), done.stdout + done.stderr
    table = np.atleast_2d(np.loadtxt(folder / "out.txt"))
    (folder / "out.txt").unlink()
    return table[:, 0], table[:, 1] + 1j * table[:, 2]


@needs_ngspice
@pytest.mark.parametrize("name", PICKUPS)
def test_pickup_netlist_gives_the_gain_of_the_pickup(tmp_path, name):
    pickup = PICKUPS[name]
    netlist = pickup_netlist([pickup], input_ohm=INPUT_OHM, input_f=INPUT_F, comments=("pickup ± Ω",))
    assert netlist.spread_error == 0.0
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    assert len(frequency_hz) > 300
    assert frequency_hz[0] == 20
    ours = pickup_gain(pickup, frequency_hz, input_ohm=INPUT_OHM, input_f=INPUT_F)
    np.testing.assert_allclose(voltage, ours, rtol=DIGITS)


@needs_ngspice
def test_spread_is_as_far_off_as_it_says(tmp_path):
    pickup = NetPickup(name="steel", coils=(coil(SPREAD, SECOND),))
    netlist = pickup_netlist([pickup], input_ohm=INPUT_OHM, input_f=INPUT_F)
    assert 0 < netlist.spread_error < 1e-4
    assert any("stand for a spread" in line for line in netlist.lines)
    silent = [line.replace("Vemf emf 0 AC 1", "Vemf emf 0 0\nIjack 0 tip AC 1") for line in netlist.lines]
    alone = [line for line in silent if not line.startswith(("Rinput", "Cinput"))]
    frequency_hz, voltage = run_as_written(tmp_path, type(netlist)(lines=tuple(alone), spread_error=0.0), "v(tip)")
    # the winding capacitance amplifies near the resonance: the coil's own error is compared below it
    low = frequency_hz < 2000
    off = np.abs(voltage / pickup_impedance(pickup, frequency_hz) - 1)[low]
    assert 1e-9 < np.max(off) < 1.5 * netlist.spread_error


@needs_ngspice
def test_several_pickups_are_subcircuits_and_the_first_is_run(tmp_path):
    pickups = [PICKUPS["two coils"], PICKUPS["two loops"]]
    netlist = pickup_netlist(pickups, input_ohm=INPUT_OHM, input_f=INPUT_F)
    assert [line.split()[1] for line in netlist.lines if line.startswith(".subckt")] == ["humbucker", "bridge_pickup"]
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    ours = pickup_gain(pickups[0], frequency_hz, input_ohm=INPUT_OHM, input_f=INPUT_F)
    np.testing.assert_allclose(voltage, ours, rtol=DIGITS)


FLOATING = """
[pickup.heard]
ends = ["hot", "ground"]
dcr = "8k"
inductance = "4"
winding_capacitance = "100p"
[pickup.off]
ends = ["off hot", "off cold"]
dcr = "8k"
inductance = "4"
winding_capacitance = "100p"
[capacitor.series]
value = "1n"
between = ["hot", "between"]
[resistor.bleed]
value = "100k"
between = ["between", "after"]
[capacitor.again]
value = "2n"
between = ["after", "tip"]
[switch.selector.positions]
one = []
both = [["off hot", "hot"], ["off cold", "ground"]]
"""


@needs_ngspice
def test_only_what_hangs_on_nothing_is_tied_to_ground(tmp_path):
    instrument = read_instrument(FLOATING)
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    settings = read_settings(instrument, {})
    netlist = instrument_netlist(instrument, settings, values)
    tied = [line.split() for line in netlist.lines if line.startswith("Rfloat")]
    assert len(tied) == 1
    assert tied[0][1].startswith("off")
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    (transfer,) = solve_instrument(instrument, [Case(settings=settings, frequency_hz=frequency_hz)], values=values)
    np.testing.assert_allclose(voltage, transfer.voltage[0], rtol=DIGITS)


def test_names_that_become_one_are_refused():
    text = layout_text("two-pickups-blend").replace("[pickup.neck]", '[pickup."a b"]').replace("[pickup.bridge]", "[pickup.a_b]")
    instrument = read_instrument(text)
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    with pytest.raises(ValueError, match="two parts would both be called vemf_a_b"):
        instrument_netlist(instrument, read_settings(instrument, {}), values)


def test_more_loops_come_nearer_to_a_spread():
    loops, error = loops_of(coil(SPREAD))
    assert len(loops) > 2
    assert error < 1e-4
    assert sum(k**2 for k, _ in loops) == pytest.approx(SPREAD[0], rel=1e-12)
    wide, wide_error = loops_of(coil((0.3, 1.5e-5, 6.0, 0.5, "spread")))
    assert len(wide) == 12
    assert wide_error > error


@needs_ngspice
@pytest.mark.parametrize("seed", range(12))
def test_random_instruments_as_netlists(tmp_path, seed):
    drawn, instrument = draw_instrument(seed)
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    settings = read_settings(instrument, drawn.settings())
    for row, name in enumerate(instrument.pickup):
        try:
            netlist = instrument_netlist(instrument, settings, values, excite=name)
        except ValueError as err:
            assert "joined to ground" in str(err)  # noqa: PT017 - a drawn instrument may be silent
            continue
        tip = next(line.split()[1] for line in netlist.lines if line.startswith("Rinput"))
        frequency_hz, voltage = run_as_written(tmp_path, netlist, f"v({tip})")
        case = Case(settings=settings, frequency_hz=frequency_hz)
        (transfer,) = solve_instrument(instrument, [case], values=values)
        largest = float(np.abs(transfer.voltage).max()) or 1.0
        np.testing.assert_allclose(voltage, transfer.voltage[row], rtol=DIGITS, atol=SILENCE * largest)


@needs_ngspice
@pytest.mark.parametrize("layout", DESCRIPTIONS)
def test_layouts_as_netlists(tmp_path, layout):
    instrument = read_instrument(layout_text(layout))
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    settings = read_settings(instrument, dict.fromkeys(instrument.pot, "6"))
    netlist = instrument_netlist(instrument, settings, values)
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    (transfer,) = solve_instrument(instrument, [Case(settings=settings, frequency_hz=frequency_hz)], values=values)
    assert np.abs(transfer.voltage[0]).max() > 0.01  # it is heard
    np.testing.assert_allclose(voltage, transfer.voltage[0], rtol=DIGITS)


# Every capacitor as the resistors and capacitors that stand for its loss, each as far off as it says; a resonance counts double.
@needs_ngspice
@pytest.mark.parametrize("seed", range(8))
def test_random_instruments_of_real_parts_as_netlists(tmp_path, seed):
    drawn, instrument = draw_instrument(seed)
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    values = with_real_parts(instrument, values, np.random.default_rng(seed))
    lossless = {key: value for key, value in values.items() if not key.endswith(".loss_tangent")}
    at_ends = {pot: str(10 * (seed % 2)) for pot in list(instrument.pot)[1:]}
    stated = drawn.settings() | at_ends | dict.fromkeys({"extra"} & set(instrument.switch), "off")
    settings = read_settings(instrument, stated)
    for given, tolerance in ((values, 2 * NETWORK_ERROR), (lossless, DIGITS)):
        case = Case(settings=settings, frequency_hz=np.geomspace(20, 20e3, 40))
        row = int(np.argmax(np.abs(solve_instrument(instrument, [case], values=given)[0].voltage).max(axis=1)))
        netlist = instrument_netlist(instrument, settings, given, excite=list(instrument.pickup)[row])
        assert any("at all frequencies" in line for line in netlist.lines) is (given is values)
        tip = next(line.split()[1] for line in netlist.lines if line.startswith("Rinput"))
        frequency_hz, voltage = run_as_written(tmp_path, netlist, f"v({tip})")
        (transfer,) = solve_instrument(instrument, [replace(case, frequency_hz=frequency_hz)], values=given)
        assert np.abs(transfer.voltage[row]).max() > 1e-3
        np.testing.assert_allclose(voltage, transfer.voltage[row], rtol=tolerance)


# At one frequency a loss is a resistor: a drawn guitar run by the simulator at a few single ones, its circuit written by code
# that shares none with the package.
@needs_ngspice
@pytest.mark.parametrize("tone", ["10", "0"])
def test_real_guitar_at_single_frequencies(tmp_path, tone):
    case = without_contacts(gc.draw_one_pickup(31, kind="one loop", conditions=LEAKY))
    instrument, values = as_measured(case), true_values(case)
    circuit = circuit_of(case, fractions={"volume": 1.0, "tone": float(tone) / 10})
    settings = read_settings(instrument, {"tone": tone})
    for hertz in (60.0, 1000.0, 3700.0, 15e3):
        lines, tip = spice_lines(circuit, at_hz=hertz)
        _, (voltage,) = simulate(tmp_path, [*lines, ".options noopac"], [tip], f"lin 1 {hertz!r} {hertz!r}")
        at = Case(settings=settings, frequency_hz=np.array([hertz]))
        (transfer,) = solve_instrument(instrument, [at], values=values)
        np.testing.assert_allclose(transfer.voltage[0] * 2j * np.pi * hertz * MUTUAL_H, voltage, rtol=DIGITS)


@needs_ngspice
def test_pickup_behind_a_lossy_cable(tmp_path):
    pickup, options = PICKUPS["two loops"], {"input_ohm": INPUT_OHM, "input_f": INPUT_F, "input_tangent": 0.02}
    netlist = pickup_netlist([pickup], **options)
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    ours = pickup_gain(pickup, frequency_hz, **options)
    np.testing.assert_allclose(voltage, ours, rtol=4 * NETWORK_ERROR)  # as sharp as the resonance is
    ideal = pickup_gain(pickup, frequency_hz, input_ohm=INPUT_OHM, input_f=INPUT_F)
    assert np.max(np.abs(ideal / ours - 1)) > 30 * NETWORK_ERROR


STEEL = """
[pickup.bridge]
ends = ["tip", "middle"]
dcr = "4k"
inductance = "1.9"
winding_capacitance = "90p"
eddy_loops = [[0.2, 2e3]]
eddy_spreads = [[0.4, 9e3, 1.8]]
[pickup.bridge.second]
ends = ["middle", "ground"]
dcr = "4.3k"
inductance = "2.1"
winding_capacitance = "80p"
eddy_spreads = [[0.35, 11e3, 1.5]]
coupling = 0.2
excitation = 0.8
"""


@needs_ngspice
@pytest.mark.parametrize("sign", [1, -1])
def test_two_coils_with_spreads_of_an_instrument(tmp_path, sign):
    instrument = read_instrument(STEEL.replace("coupling = 0.2", f"coupling = {0.2 * sign}"))
    values = {key: one.quantity.value for key, one in stated_values(instrument).items() if one.quantity is not None}
    values |= {"input.resistance": INPUT_OHM, "input.capacitance": INPUT_F}
    settings = read_settings(instrument, {})
    netlist = instrument_netlist(instrument, settings, values)
    assert 0 < netlist.spread_error < 1e-4
    frequency_hz, voltage = run_as_written(tmp_path, netlist, "v(tip)")
    (transfer,) = solve_instrument(instrument, [Case(settings=settings, frequency_hz=frequency_hz)], values=values)
    off = np.abs(voltage / transfer.voltage[0] - 1)
    # at the resonance an error of the impedance counts Q times; here Q is below 10
    assert 0 < np.max(off) < 10 * netlist.spread_error


@pytest.mark.parametrize("reference_ohm", [50.0, 10e3])
@pytest.mark.parametrize("name", PICKUPS)
def test_touchstone_read_by_another_package(tmp_path, name, reference_ohm):
    skrf = pytest.importorskip("skrf", reason="package scikit-rf is not installed")
    frequency_hz = np.geomspace(20, 20e3, 241)
    impedance = pickup_impedance(PICKUPS[name], frequency_hz)
    path = tmp_path / "pickup.s1p"
    path.write_text(format_touchstone(frequency_hz, impedance, reference_ohm=reference_ohm, comments=("a pickup",)))
    network = skrf.Network(str(path))
    np.testing.assert_allclose(network.z[:, 0, 0], impedance, rtol=1e-9)
    np.testing.assert_allclose(network.f, frequency_hz, rtol=1e-11)
    assert network.z0[0, 0] == reference_ohm


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("parameter", ["s", "z", "y"])
def test_touchstone_written_by_another_package(form, parameter):
    skrf = pytest.importorskip("skrf", reason="package scikit-rf is not installed")
    frequency_hz = np.geomspace(20, 20e3, 50)
    impedance = pickup_impedance(PICKUPS["two loops"], frequency_hz)
    network = skrf.Network(frequency=skrf.Frequency.from_f(frequency_hz, unit="hz"), z=impedance[:, None, None], z0=10e3)
    digits = {"format_spec_A": "{:.15g}", "format_spec_B": "{:.15g}", "format_spec_freq": "{:.15g}"}
    text = network.write_touchstone("pickup", return_string=True, form=form, parameter=parameter.upper(), **digits)
    table = parse_touchstone(text)
    np.testing.assert_allclose(table.value, impedance, rtol=1e-9)
    np.testing.assert_allclose(table.frequency_hz, frequency_hz, rtol=1e-12)
