"""What stands in files for other programs."""

from dataclasses import replace

import numpy as np
import pytest

from fit.answers.netlist.oneport import NetPickup, emf_shares, impulse_response, pickup_gain, pickup_impedance
from fit.answers.parts.fitted import MeasuredParts
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.desk.export.contents import Fitted, fitted_netlist_text, fitted_port_text, in_ohms, instrument_text
from measure.logbook.conditions import Conditions
from measure.logbook.take import RecordingFile, Take
from measure.quantity import parse_quantity
from measure.response import Response
from tests.answer_by_hand import answer
from tests.desk_bench import INPUT_F, INPUT_OHM
from tests.net_coil import TRUTH


@pytest.mark.parametrize("rate_hz", [44100, 96000, 192000])
def test_impulse_response_is_causal_and_as_good_as_it_says(rate_hz):
    def gain(frequency_hz):
        return pickup_gain(TRUTH, frequency_hz, input_ohm=INPUT_OHM, input_f=INPUT_F)

    impulse = impulse_response(gain, rate_hz=rate_hz)
    n = len(impulse.samples)
    assert n & (n - 1) == 0
    assert np.max(np.abs(impulse.samples[n // 2 :])) < 1e-3 * np.max(np.abs(impulse.samples))  # it begins at once and decays
    frequency_hz = np.geomspace(30, 10e3, 300)
    turn = np.exp(-2j * np.pi * np.outer(frequency_hz, np.arange(n)) / rate_hz)
    ratio = (turn @ impulse.samples) / gain(frequency_hz) * np.exp(-2j * np.pi * frequency_hz * impulse.early_s)
    assert np.max(np.abs(20 * np.log10(np.abs(ratio)))) < max(1.1 * impulse.level_error_db, 1e-9)
    assert impulse.level_error_db < 1e-3
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) < 1.05 * impulse.phase_error_degree
    assert impulse.phase_error_degree < 1.5
    assert 0 < impulse.early_s * rate_hz < 1


def test_netlist_of_the_instrument_takes_what_was_measured():
    instrument = read_instrument(layout_text("one-pickup"))
    values = {"bridge.inductance": 3.1, "pot.volume": 463e3, "pot.volume@7": 0.4, "bridge.eddy_loop_1.coupling": 0.3}
    values |= {"bridge.eddy_loop_1.corner": 8e3, "bridge.dcr": 7e3, "bridge.winding_capacitance": 9e-11}
    parts = MeasuredParts(
        values=values,
        names=tuple(values),
        log_covariance=1e-6 * np.eye(len(values)),
        takes=("open", "plus"),
        simulated=True,
    )
    load = {"input.resistance": parse_quantity("1M ± 1%"), "input.capacitance": parse_quantity("185p ± 3p")}
    asked = {"load": load, "settings": ["volume=7"], "changes": ["capacitor.tone=10n"], "excite": ""}
    text, error = instrument_text(instrument, measured=parts, **asked)
    assert error == 0
    for line in (
        "* measured: by the last fit, takes open, plus; simulated: yes",
        "* bridge.inductance = 3.100 H (measured)",
        "* capacitor.tone = 10.00 nF (changed)",
        "Lbridge bridge_e bridge_r 3.1",
        "Kbridge_loop1 Lbridge Lbridge_loop1 0.3",
    ):
        assert line in text.splitlines()
    found = {line.split()[0]: float(line.split()[3]) for line in text.splitlines() if line.startswith(("Rpot", "Ccap"))}
    assert found["Rpot_volume_ccw"] == pytest.approx(0.4 * 463e3)
    assert found["Rpot_volume_cw"] == pytest.approx(0.6 * 463e3)
    assert found["Ccapacitor_tone"] == 10e-9
    stated, _ = instrument_text(instrument, measured=None, **asked)
    assert "(measured)" not in stated
    assert "Lbridge bridge_e bridge_r 3.1" not in stated.splitlines()


def test_what_is_recorded_through_a_resistor_is_exported_in_ohms():
    frequency_hz = np.geomspace(50, 15e3, 30)
    impedance = pickup_impedance(TRUTH, frequency_hz)
    ratio = impedance / (100e3 + impedance)
    spread = np.array([[2.0, 0.5], [0.5, 1.0]])[None] * (1e-4 * np.abs(ratio[:, None, None])) ** 2
    response = Response(frequency_hz=frequency_hz, value=ratio, covariance=spread)
    recordings = (RecordingFile(file="recording.wav"),)
    conditions = Conditions(method="impedance", series_resistor="100k ± 1%")
    take = Take(name="jack", conditions=conditions, rate_hz=48000, recordings=recordings)
    found = in_ohms(take, response)
    assert found.unit == "Ω"
    np.testing.assert_allclose(found.value, impedance, rtol=1e-12)
    rng = np.random.default_rng(8)
    drawn = rng.standard_normal((20000, 30, 2)) @ np.linalg.cholesky(np.array([[2.0, 0.5], [0.5, 1.0]])).T
    drawn = ratio + 1e-4 * np.abs(ratio) * (drawn[..., 0] + 1j * drawn[..., 1])
    scatter = 100e3 * drawn / (1 - drawn) - impedance
    scale = np.abs(impedance) ** 2
    for i, j, product in ((0, 0, scatter.real**2), (1, 1, scatter.imag**2), (0, 1, scatter.real * scatter.imag)):
        expected = product.mean(axis=0) / scale
        size = np.sqrt(found.covariance[:, 0, 0] * found.covariance[:, 1, 1]) / scale
        # 20 000 draws tell a variance to 1 %, the worst of 90 to 4 %
        assert np.max(np.abs(found.covariance[:, i, j] / scale - expected) / size) < 0.05
    with pytest.raises(ValueError, match="does not say its series resistor"):
        in_ohms(Take(name="jack", conditions=Conditions(method="impedance"), rate_hz=48000, recordings=recordings), response)


def test_two_coils_share_the_emf_as_their_inductance():
    first = TRUTH.coils[0]
    pickup = NetPickup(name="two", coils=(first, replace(first, inductance_h=3 * first.inductance_h)), coupling=0.2)
    assert emf_shares(pickup) == [0.25, 0.75]


def test_a_misfit_is_headed_so_in_the_file():
    good = answer()
    fitted = Fitted(answer=good, pickups=(TRUTH,), input_ohm=INPUT_OHM, input_f=INPUT_F, rates_hz=(48000.0,), warnings=())
    bad = replace(fitted, answer=answer(outcome="misfit", floor=0.012))
    for text in (fitted_netlist_text, lambda one: (fitted_port_text(one, TRUTH, reference_ohm=50.0), 0)):
        assert "INDICATIVE ONLY" not in text(fitted)[0]
        assert "INDICATIVE ONLY: model and measurement differ beyond noise by" in text(bad)[0]
