"""Netlists by their lines, and solved by node equations that share no code with the circuit."""

import numpy as np
import pytest

from fit.answers.netlist.oneport import NetPickup
from fit.answers.netlist.spice import ascii_text, instrument_netlist, loops_of, pickup_netlist
from fit.circuit.coil import CoilValues, coil_elements
from fit.circuit.controls import read_settings
from fit.circuit.harness import Case
from fit.circuit.instrument import stated_values
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.circuit.transfers import solve_instrument
from tests.netlist_solver import solve

FREQUENCY_HZ = np.geomspace(20.0, 20e3, 15)
S = 2j * np.pi * FREQUENCY_HZ
LOAD = {"input.resistance": 1e6, "input.capacitance": 470e-12}
LOOP, SPREAD = (0.12, 2e-5, 0.0, 0.3, "loop"), (0.3, 1.5e-5, 2.0, 0.5, "spread")


def coil(*eddies, henry=3.0, ohm=6e3, farad=100e-12):
    return CoilValues(inductance_h=henry, resistance_ohm=ohm, winding_capacitance_f=farad, excitation=1.0, eddies=eddies)


def values_of(instrument, **more):
    return {key: one.quantity.value for key, one in stated_values(instrument).items()} | LOAD | more


def netlist_of(instrument, controls, values, **options):
    return instrument_netlist(instrument, read_settings(instrument, controls), values, **options)


def lines_of(netlist, *begins):
    return [line for line in netlist.lines if line.startswith(begins)]


# A loop: its share k² of the inductance goes with s·τ/(1 + s·τ).
def test_pickup_with_a_loop_behind_its_input():
    netlist = pickup_netlist([NetPickup(name="Bridge", coils=(coil(LOOP),))], input_ohm=1e6, input_f=470e-12)
    series = 6e3 + S * 3.0 * (1 - 0.12 * S * 2e-5 / (1 + S * 2e-5))
    expected = 1 / (1 + series * (S * 570e-12 + 1e-6))
    np.testing.assert_allclose(solve(netlist.lines, FREQUENCY_HZ, "tip"), expected, rtol=1e-9)
    assert netlist.spread_error == 0.0
    assert ".subckt bridge hot cold emf" in netlist.lines
    assert "Xpickup tip 0 emf bridge" in netlist.lines


def test_two_coupled_coils_share_the_emf():
    coils = (coil(henry=3.0, ohm=4e3, farad=0.0), coil(henry=1.0, ohm=2e3, farad=0.0))
    netlist = pickup_netlist([NetPickup(name="two", coils=coils, coupling=0.2)], input_ohm=1e5, input_f=1e-9)
    series = 6e3 + S * (4.0 + 0.4 * np.sqrt(3.0))
    np.testing.assert_allclose(solve(netlist.lines, FREQUENCY_HZ, "tip"), 1 / (1 + series * (S * 1e-9 + 1e-5)), rtol=1e-9)
    assert lines_of(netlist, "Ecoil") == ["Ecoil1 hot coil1_e emf 0 0.75", "Ecoil2 middle1 coil2_e emf 0 0.25"]
    apart = pickup_netlist([NetPickup(name="two", coils=coils)], input_ohm=1e5, input_f=1e-9)
    assert lines_of(apart, "Kcoils") == []


def test_what_frames_a_netlist():
    pickups = [NetPickup(name=name, coils=(coil(),)) for name in ("Hals ♭", "2nd")]
    netlist = pickup_netlist(pickups, input_ohm=1e6, input_f=470e-12, comments=("a ± 1 Ω", "second"))
    assert netlist.lines[:2] == ("* a +- 1 ohm", "* second")
    assert netlist.lines[-4:] == (".options noopac", ".ac dec 100 20 20k", ".print ac vdb(tip) vp(tip)", ".end")
    assert [line.split()[1] for line in lines_of(netlist, ".subckt")] == ["hals__", "n_2nd"]
    assert lines_of(netlist, "Xpickup") == ["Xpickup tip 0 emf hals__"]
    assert all(line.isascii() for line in netlist.lines)
    assert pickup_netlist(pickups, input_ohm=1e6, input_f=470e-12).lines[0] == "* netlist"


def test_loops_that_stand_for_a_spread():
    loops, error = loops_of(coil(LOOP, SPREAD))
    s = 2j * np.pi * np.geomspace(20.0, 20e3, 200)
    lost = sum(k**2 * s * tau / (1 + s * tau) for k, tau in loops)
    wanted = coil_elements([coil(LOOP, SPREAD)], s).impedance[0, 0]
    assert np.max(np.abs((6e3 + s * 3.0 * (1 - lost)) / wanted - 1)) == pytest.approx(error, rel=1e-6)
    assert 0 < error < 1e-4
    assert loops[0] == pytest.approx((np.sqrt(0.12), 2e-5), rel=1e-12)
    shares, times = np.array(loops[1:]).T
    assert np.sum(shares**2) == pytest.approx(0.3, rel=1e-12)
    assert np.exp(np.sum(shares**2 * np.log(times)) / 0.3) == pytest.approx(1.5e-5, rel=1e-9)
    assert times.max() < 1.5e-5 * np.exp(2.0)
    plain = pickup_netlist([NetPickup(name="bare", coils=(coil(LOOP),))], input_ohm=1e6, input_f=470e-12)
    assert not any("stand for a spread" in line for line in plain.lines)
    assert loops_of(coil(LOOP)) == ([(np.sqrt(0.12), 2e-5)], 0.0)
    netlist = pickup_netlist([NetPickup(name="steel", coils=(coil(SPREAD),))], input_ohm=1e6, input_f=470e-12)
    assert netlist.spread_error == loops_of(coil(SPREAD))[1]
    assert any("loops stand for a spread" in line for line in netlist.lines)


@pytest.mark.parametrize(
    ("layout", "controls", "excite"),
    [
        ("one-pickup", {"volume": "7", "tone": "3"}, ""),
        ("one-pickup", {"volume": "10", "tone": "0"}, ""),
        ("three-singles", {"selector": "bridge-middle", "tone-2": "4"}, "middle"),
        ("humbucker-modes", {"mode": "series", "volume": "5"}, ""),
        ("two-pickups-series", {"selector": "series", "tone": "2"}, "neck"),
        ("treble-bleed", {"volume": "4"}, ""),
    ],
)
def test_instrument_as_the_circuit_has_it(layout, controls, excite):
    instrument = read_instrument(layout_text(layout))
    values = values_of(instrument)
    netlist = netlist_of(instrument, controls, values, excite=excite)
    case = Case(settings=read_settings(instrument, controls), frequency_hz=FREQUENCY_HZ)
    (transfer,) = solve_instrument(instrument, [case], values=values)
    row = list(instrument.pickup).index(excite) if excite else 0
    np.testing.assert_allclose(solve(netlist.lines, FREQUENCY_HZ, "tip"), transfer.voltage[row], rtol=1e-6)
    assert [line.split()[-1] for line in lines_of(netlist, "Vemf_")].count("1") == 1


def test_real_parts_have_what_they_have_beside_their_values():
    instrument = read_instrument(layout_text("one-pickup"))
    beside = {
        "pot.tone.stop_0": 120.0,
        "capacitor.tone.leak": 2e5,
        "capacitor.tone.loss_tangent": 0.02,
        "input.loss_tangent": 0.01,
    }
    values = values_of(instrument, **beside)
    netlist = netlist_of(instrument, {"tone": "0"}, values)
    case = Case(settings=read_settings(instrument, {"tone": "0"}), frequency_hz=FREQUENCY_HZ)
    (transfer,) = solve_instrument(instrument, [case], values=values)
    np.testing.assert_allclose(solve(netlist.lines, FREQUENCY_HZ, "tip"), transfer.voltage[0], rtol=1e-3)  # of the losses
    assert lines_of(netlist, "Rcapacitor_tone_leak")[0].split()[-1] == "200000"
    assert lines_of(netlist, "Rpot_tone_stop")[0].split()[-1] == "120"
    assert any("loses tan d = 0.02 at all frequencies" in line for line in netlist.lines)


def test_measured_fraction_of_a_pot_counts():
    instrument = read_instrument(layout_text("one-pickup"))
    netlist = netlist_of(instrument, {"volume": "5"}, values_of(instrument, **{"pot.volume@5": 0.2}))
    parts = {line.split()[0]: float(line.split()[-1]) for line in lines_of(netlist, "Rpot_volume")}
    assert parts == {"Rpot_volume_ccw": pytest.approx(1e5), "Rpot_volume_cw": pytest.approx(4e5)}


def test_what_is_not_known_is_left_out_and_said():
    instrument = read_instrument(layout_text("three-singles"))
    values = values_of(instrument)
    for name in ("neck.dcr", "neck.inductance", "capacitor.tone"):
        del values[name]
    netlist = netlist_of(instrument, {"selector": "bridge"}, values)
    assert "* neck left out: nothing is known of its dcr, inductance" in netlist.lines
    assert "* capacitor.tone left out: its value is not known" in netlist.lines
    assert lines_of(netlist, "Lneck", "Ccapacitor_tone") == []
    assert lines_of(netlist, "Lbridge", "Lmiddle") != []


def test_an_output_at_ground_is_refused():
    instrument = read_instrument(layout_text("one-pickup"))
    with pytest.raises(ValueError, match="the output is joined to ground at these settings: nothing would be heard"):
        netlist_of(instrument, {"volume": "0"}, values_of(instrument))


def test_names_that_become_one_are_refused():
    text = layout_text("one-pickup") + '\n[resistor."a b"]\nvalue = "1k"\nbetween = ["tip", "ground"]\n'
    text += '\n[resistor.a_b]\nvalue = "1k"\nbetween = ["tip", "ground"]\n'
    instrument = read_instrument(text)
    with pytest.raises(ValueError, match="two parts would both be called rresistor_a_b in a netlist"):
        netlist_of(instrument, {}, values_of(instrument))


def test_what_hangs_on_nothing_is_tied_to_ground():
    text = layout_text("one-pickup") + '\n[resistor.loose]\nvalue = "1k"\nbetween = ["here", "there"]\n'
    text += '\n[capacitor.loose]\nvalue = "1n"\nbetween = ["here", "there"]\n'
    instrument = read_instrument(text)
    floating = lines_of(netlist_of(instrument, {}, values_of(instrument)), "Rfloat")
    assert [line.split()[0] for line in floating] == ["Rfloat1"]
    assert floating[0].split()[1] in ("here", "there")
    assert floating[0].split()[2:] == ["0", "1000000000"]
    assert lines_of(netlist_of(read_instrument(layout_text("one-pickup")), {}, values_of(instrument)), "Rfloat") == []


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("6.2 kΩ ± 1 %", "6.2 kohm +- 1 %"), ("22 \N{MICRO SIGN}F", "22 uF"), ("−3…+4", "-3to+4"),
        ("tan δ, 1 σ", "tan d, 1 sigma"),
        ("two\nlines\t here", "two lines here"), ("♭", "?"), ("5° off", "5 deg off"),
    ],
)  # fmt: skip
def test_ascii(text, plain):
    assert ascii_text(text) == plain


def test_losses_and_coupling_of_an_instrument():
    text = layout_text("humbucker-modes")
    plain = read_instrument(text)
    (name,) = plain.pickup
    apart = netlist_of(plain, {"mode": "series"}, values_of(plain, **{f"{name}.coupling": 0.0}))
    assert [line for line in lines_of(apart, "K") if "loop" not in line] == []
    dcr = next(line for line in text.splitlines() if line.startswith("dcr"))
    lossy = read_instrument(text.replace(dcr, f"{dcr}\neddy_loops = [[0.4, 8e3]]\neddy_spreads = [[0.5, 2e3, 1.2]]", 1))
    values = values_of(lossy, **{f"{name}.coupling": 0.2})
    netlist = netlist_of(lossy, {"mode": "series"}, values)
    assert len([line for line in lines_of(netlist, "K") if "loop" not in line]) == 1
    assert 0 < netlist.spread_error < 1e-4
    case = Case(settings=read_settings(lossy, {"mode": "series"}), frequency_hz=FREQUENCY_HZ)
    (transfer,) = solve_instrument(lossy, [case], values=values)
    np.testing.assert_allclose(solve(netlist.lines, FREQUENCY_HZ, "tip"), transfer.voltage[0], rtol=2e-3)  # near the resonance
