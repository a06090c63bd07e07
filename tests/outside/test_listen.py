"""Listening to a change against answers known from elsewhere.

Sources: the divider of a resistor and a capacitor (any textbook); scipy.signal for filters; ITU-R BS.1770-4 for loudness; for a
whole pickup, recordings rendered by a circuit simulator that shares no code with this project (fixtures/recordings).
"""

import json

import numpy as np
import pytest
from scipy import signal

from fit.answers.listen.impulse import Side, design_change
from fit.answers.listen.loudness import k_weight, weighted_energy
from fit.answers.listen.minimum_phase import convolve_blocks, filter_gain, minimum_phase_impulse
from fit.answers.pickup.characterisation import characterise_pickup
from fit.circuit.reading import read_instrument
from fit.desk.command.main import main
from measure.quantity import parse_quantity
from measure.signal.recording import Recording
from measure.source.files import read_recording
from measure.transfer.response import estimate_response
from tests.recorded import RECORDINGS, evidence_of, response_of

SOURCE_OHM, INPUT_OHM = 10e3, 1e6
# All but a resistor: 1e-6 H and 1e-15 F matter beyond 1 GHz.
RESISTOR = """
output = "hot"
[pickup.coil]
ends = ["hot", "ground"]
dcr = "10k"
inductance = "1u"
winding_capacitance = "0.001p"
"""


def cable_change(before_f, after_f, rate_hz):
    instrument = read_instrument(RESISTOR)
    sides = [
        Side(
            instrument=instrument,
            controls={},
            load={"input.resistance": parse_quantity("1M", "Ω"), "input.capacitance": parse_quantity(f"{one_f * 1e12:g}p", "F")},
        )
        for one_f in (before_f, after_f)
    ]
    return design_change(*sides, rate_hz=rate_hz)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
@pytest.mark.parametrize(("before_f", "after_f"), [(1e-9, 4e-9), (4e-9, 1e-9), (0.5e-9, 30e-9)])
def test_resistor_and_capacitor(rate_hz, before_f, after_f):
    """H = (1 + sRC₁)/(1 + sRC₂), R the source parallel to the input."""
    answer = cable_change(before_f, after_f, rate_hz)
    parallel_ohm = SOURCE_OHM * INPUT_OHM / (SOURCE_OHM + INPUT_OHM)
    frequency_hz = np.geomspace(30, 14e3, 60)
    s = 2j * np.pi * frequency_hz
    exact = (1 + s * parallel_ohm * before_f) / (1 + s * parallel_ohm * after_f)
    off = filter_gain(answer.impulse, rate_hz, frequency_hz) / exact
    assert np.max(np.abs(20 * np.log10(np.abs(off)))) < 0.02  # dB
    is_low = frequency_hz < 5e3
    delay_s = -np.sum(np.angle(off[is_low]) * frequency_hz[is_low]) / np.sum(frequency_hz[is_low] ** 2) / (2 * np.pi)
    assert abs(delay_s) < 0.3 / min(rate_hz, 48000)  # the ratio is held above 20 kHz, and a sampled filter ends at half the rate
    left = np.angle(off[is_low] * np.exp(2j * np.pi * frequency_hz[is_low] * delay_s))
    assert np.max(np.abs(left)) < np.radians(0.5)


@pytest.mark.parametrize("rate_hz", [8000, 48000])
def test_delay_is_that_of_the_circuit(rate_hz):
    """Group delay of (1 + sτ₁)/(1 + sτ₂) well below both corners is τ₂ − τ₁, here with corners of 16 kHz and 530 Hz."""
    answer = cable_change(1e-9, 30e-9, rate_hz)
    parallel_ohm = SOURCE_OHM * INPUT_OHM / (SOURCE_OHM + INPUT_OHM)
    near_hz = np.array([19.0, 21.0])
    phase = np.unwrap(np.angle(filter_gain(answer.impulse, rate_hz, near_hz)))
    delay_s = -(phase[1] - phase[0]) / (2 * np.pi * 2.0)
    assert delay_s == pytest.approx(parallel_ohm * 29e-9, abs=0.3 / rate_hz)
    assert delay_s > 0


DESIGNS = {
    "butter": signal.butter(4, 0.2, output="zpk"),
    "cheby": signal.cheby1(5, 1.0, 0.3, output="zpk"),
    "elliptic": signal.ellip(4, 1.0, 30.0, 0.25, output="zpk"),
    "band": signal.butter(2, [0.02, 0.04], btype="bandpass", output="zpk"),
}


@pytest.mark.parametrize("name", DESIGNS)
def test_minimum_phase_of_filters_that_are(name):
    """Poles and zeros in the unit circle: the impulse response follows from the magnitude, and is that of the recursion."""
    zeros, poles, gain = DESIGNS[name]
    zeros = np.asarray(zeros) * 0.99  # on the circle they have no inverse
    b, a = signal.zpk2tf(zeros, poles, gain)
    n = 1 << 17
    _, response = signal.freqz_zpk(zeros, poles, gain, worN=np.linspace(0, np.pi, n // 2 + 1))
    impulse = minimum_phase_impulse(np.abs(response), 48000)
    expected = signal.lfilter(b, a, np.eye(1, len(impulse))[0])
    n_whole = int(0.85 * len(impulse))  # beyond, the end is faded out
    scale = np.max(np.abs(expected))
    np.testing.assert_allclose(impulse[:n_whole], expected[:n_whole], rtol=0, atol=1e-9 * scale)


def test_response_and_convolution_as_scipy_has_them():
    rng = np.random.default_rng(5)
    impulse, samples = rng.normal(size=900) * np.exp(-np.arange(900) / 100), rng.normal(size=(20000, 2))
    frequency_hz = np.geomspace(20, 23e3, 40)
    _, response = signal.freqz(impulse, worN=frequency_hz, fs=48000)
    np.testing.assert_allclose(filter_gain(impulse, 48000, frequency_hz), response, rtol=1e-9)
    out = np.concatenate(list(convolve_blocks(np.array_split(samples, 9), impulse)))
    np.testing.assert_allclose(out, signal.lfilter(impulse, 1.0, samples, axis=0), rtol=0, atol=1e-11)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_loudness_of_a_sine(rate_hz):
    """ITU-R BS.1770-4, annex 1: a sine of 997 Hz at full scale in one channel reads −3.01 LKFS; its constant is −0.691."""
    sine = np.sin(2 * np.pi * 997 * np.arange(10 * rate_hz) / rate_hz)[:, None]
    loudness = -0.691 + 10 * np.log10(weighted_energy(sine, rate_hz) / len(sine))
    assert loudness == pytest.approx(-3.01, abs=0.005)


def test_loudness_weighting_as_the_recursion_has_it():
    """The filter of the recommendation, run in time on noise."""
    noise = np.random.default_rng(2).normal(size=(96000, 2)) * 0.1
    stage = signal.lfilter(
        [1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585], noise, axis=0
    )
    weighted = signal.lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], stage, axis=0)
    assert weighted_energy(noise, 48000) == pytest.approx(float(np.sum(weighted**2)), rel=2e-3)  # its start-up is not in ours
    assert 10 * np.log10(k_weight(np.array([10e3]))[0]) == pytest.approx(4.0, abs=0.05)  # the shelf, from memory


@pytest.mark.long
def test_recording_of_a_pickup_with_a_capacitor_that_was_only_thought_of(tmp_path, capsys):
    """A pickup is fitted from two takes, the recording of one is made to sound with 1 nF more, and that was recorded too."""
    quantities = characterise_pickup(evidence_of("bare-single-coil", ["open", "plus-680p-150k"])).quantities
    loops = [
        [quantities[f"eddy_loop_{i}.coupling"].value, quantities[f"eddy_loop_{i}.corner"].value]
        for i in range(1, 4)
        if f"eddy_loop_{i}.coupling" in quantities
    ]
    text = f"""
    output = "hot"
    [pickup.coil]
    ends = ["hot", "ground"]
    dcr = "{quantities["dc_resistance"].value:.6g}"
    inductance = "{quantities["inductance"].value:.6g}"
    winding_capacitance = "{quantities["winding_capacitance"].value * 1e12:.6g}p"
    eddy_loops = {loops}
    """
    (tmp_path / "instrument.toml").write_text(text)
    main(["rig", "--input-resistance", "1M", "--input-capacitance", "185p", "--logbook", str(tmp_path)])
    capsys.readouterr()
    source, target = RECORDINGS / "bare-single-coil" / "open.flac", tmp_path / "heard.flac"
    words = ["listen", source, tmp_path / "matched.flac", "--true-level", target, "--change", "input.capacitance=1185p"]
    assert main([*map(str, words), "--logbook", str(tmp_path), "--json"]) == 0
    written = json.loads(capsys.readouterr().out)["sounds"]
    heard, before = read_recording(target), read_recording(source)
    samples = np.column_stack([heard.samples[:, 0] * 10 ** (written[1]["lowered_db"] / 20), before.samples[:, 1]])
    mixed = Recording(
        samples=samples,
        rate_hz=heard.rate_hz,
        pickup_channel=1,
        reference_channel=2,
        n_bits=24,
        name="heard",
        sha256=heard.sha256,
    )
    response = estimate_response([mixed])
    recorded = response_of("bare-single-coil", "plus-1n")
    np.testing.assert_array_equal(response.frequency_hz, recorded.frequency_hz)
    is_band = (recorded.frequency_hz >= 80) & (recorded.frequency_hz <= 15e3)
    off = (response.value / recorded.value)[is_band]
    # 1 nF ± 1 % is what was added; the fit of the inductance is half a percent off.
    assert np.sqrt(np.mean((20 * np.log10(np.abs(off))) ** 2)) < 0.1
    assert np.max(np.abs(20 * np.log10(np.abs(off)))) < 0.25
    assert np.max(np.abs(np.angle(off))) < np.radians(2.5)
    away = (response_of("bare-single-coil", "open").value / recorded.value)[is_band]
    assert np.max(np.abs(20 * np.log10(np.abs(away)))) > 20  # without the filter they differ that much
