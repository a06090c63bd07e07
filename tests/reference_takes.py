"""Makes the recordings that the self-test reruns, by the node equations of guitar_circuit.py; nothing of the two packages.

`python -m tests.reference_takes` writes them anew, and beside them what they were made from.
"""

import json
from pathlib import Path

import numpy as np
import soundfile
from scipy import fft

from tests.guitar_circuit import GROUND, TIP, Circuit, Winding, solve_tip

FOLDER = Path(__file__).parents[1] / "fit" / "desk" / "bench" / "reference"
RATE_HZ, STEPS = 48000, 2.0**15
SILENCE_S, SWEEP_S, AFTER_S = 0.4, 0.7, 0.25
FIRST_HZ, LAST_HZ, FADE_S = 15.0, 22e3, 0.01
PEAK, NOISE_STD = 0.5, 1e-5  # of full scale
HUM, HUM_CHANGE_DB, HUM_ORDERS = 2e-3, -14.0, (1, 2, 3, 5, 7, 9)
DROPPED = (36000, 512)  # where the card lost how many samples
INPUT_OHM, INPUT_F, ADDED_F = 1.0e6, 186e-12, 1.004e-9
COIL = {"inductance": 3.24, "winding_capacitance": 78e-12, "dc_resistance": 7120.0}
GUITAR = {"inductance": 2.61, "dc_resistance": 5840.0, "pot.volume": 238e3, "pot.tone": 271e3, "capacitor.tone": 21.1e-9}
GUITAR_WINDING_F, CHANGE_F = 104e-12, 67e-12
STOP_OHM = 12.0  # left at the end of a pot's track
NOTE = (
    "Node equations with coupled windings (eddy loops are shorted turns), played a sweep of 0.7 s, with noise, hum and 16 bits; "
    "values in SI units, hum in dB. tests/reference_takes.py makes them anew."
)


def wound(circuit, ends, *, henry, ohm, farad):
    """A coil, and one shorted turn of 6 kHz around its core."""
    circuit.windings = [
        Winding(name="coil", henry=henry, ohm=ohm, to_exciter=0.01, ends=ends),
        Winding(name="loop", henry=1e-6, ohm=2 * np.pi * 6e3 * 1e-6, to_exciter=0.003),
    ]
    circuit.couplings = {("coil", "loop"): 0.3}
    circuit.add_capacitor(*ends, farad)
    circuit.resistors.append((TIP, GROUND, INPUT_OHM))
    circuit.add_capacitor(TIP, GROUND, INPUT_F)
    return circuit


def bare(*, added_f=0.0):
    ends = (TIP, GROUND)
    made = wound(
        Circuit(), ends, henry=COIL["inductance"], ohm=COIL["dc_resistance"], farad=COIL["winding_capacitance"] + added_f
    )
    return made


def guitar(*, added_f=0.0, tone=1.0):
    """Volume at 10, its wiper on the jack; the tone pot a rheostat before its capacitor."""
    circuit = Circuit()
    circuit.add_pot(("hot", TIP, GROUND), GUITAR["pot.volume"], 1.0)
    circuit.resistors.append(("hot", "tone link", GUITAR["pot.tone"] * tone if tone else STOP_OHM))
    circuit.add_capacitor("tone link", GROUND, GUITAR["capacitor.tone"])
    if added_f:
        circuit.add_capacitor(TIP, GROUND, added_f)
    return wound(circuit, ("hot", GROUND), henry=GUITAR["inductance"], ohm=GUITAR["dc_resistance"], farad=GUITAR_WINDING_F)


# Name of a recording: circuit, hum as a share of full scale.
AFTER_HUM = HUM * 10 ** (HUM_CHANGE_DB / 20)
TAKES = {
    "coil": (bare(), AFTER_HUM),
    "coil-1n": (bare(added_f=ADDED_F), AFTER_HUM),
    "guitar": (guitar(), HUM),
    "guitar-1n": (guitar(added_f=ADDED_F), HUM),
    "guitar-tone-0": (guitar(tone=0.0), HUM),
    "shielded": (guitar(added_f=CHANGE_F), AFTER_HUM),
    "shielded-1n": (guitar(added_f=CHANGE_F + ADDED_F), AFTER_HUM),
    "dropped": (bare(), AFTER_HUM),
}


def played():
    """A sweep whose frequency rises exponentially, faded at both ends, between silences."""
    time_s = np.arange(round(SWEEP_S * RATE_HZ)) / RATE_HZ
    growth = np.log(LAST_HZ / FIRST_HZ) / SWEEP_S
    sweep = PEAK * np.sin(2 * np.pi * FIRST_HZ / growth * np.expm1(growth * time_s))
    n = round(FADE_S * RATE_HZ)
    fade = np.sin(np.pi / 2 * np.arange(n) / n) ** 2
    sweep[:n] *= fade
    sweep[-n:] *= fade[::-1]
    return np.concatenate([np.zeros(round(SILENCE_S * RATE_HZ)), sweep, np.zeros(round(AFTER_S * RATE_HZ))])


def recorded(name):
    """16-bit samples, shape (n, 2): pickup, and the voltage of the sense resistor."""
    circuit, hum = TAKES[name]
    rng = np.random.default_rng(list(TAKES).index(name))
    stimulus = played()
    n = len(stimulus)
    n_fft = fft.next_fast_len(2 * n, real=True)
    bins_hz = np.maximum(np.arange(n_fft // 2 + 1) * RATE_HZ / n_fft, 0.5)
    grid_hz = np.geomspace(0.5, RATE_HZ / 2, 4000)
    transfer = solve_tip(circuit, grid_hz)
    logs = np.log(transfer / grid_hz)  # smooth, and its angle does not wrap
    turned = np.interp(np.log(bins_hz), np.log(grid_hz), np.unwrap(logs.imag))
    transfer_of_bin = bins_hz * np.exp(np.interp(np.log(bins_hz), np.log(grid_hz), logs.real) + 1j * turned)
    reference = fft.rfft(stimulus, n_fft) * bins_hz / (bins_hz - 2.0j)  # no DC passes a card
    pickup, sense = fft.irfft(np.stack([reference * transfer_of_bin, reference]), n_fft)[:, :n]
    pickup *= 0.4 / LOUDEST
    time_s, phase = np.arange(n) / RATE_HZ, rng.uniform(0, 2 * np.pi, len(HUM_ORDERS))
    pickup = pickup + sum(hum / k * np.cos(2 * np.pi * 50.02 * k * time_s + p) for k, p in zip(HUM_ORDERS, phase, strict=True))
    samples = np.stack([pickup, sense], axis=1) + NOISE_STD * rng.standard_normal((n, 2))
    whole = np.rint(np.clip(samples, -1, 1 - 1 / STEPS) * STEPS).astype(np.int16)
    if name == "dropped":
        at, lost = DROPPED
        whole = np.delete(whole, slice(at, at + lost), axis=0)
    return whole


# The gain of one bench: the loudest of the pickup's peaks, as the open coil has it. [V for 1 A]
LOUDEST = float(np.max(np.abs(solve_tip(bare(), np.geomspace(100, 20e3, 2000))))) * PEAK


def actual():
    """What the recordings were made from, case by case."""
    return {"note": NOTE, "coil": COIL, "guitar": GUITAR, "shielding": {"added_capacitance": CHANGE_F, "hum": HUM_CHANGE_DB}}


def main():
    for name in TAKES:
        soundfile.write(FOLDER / f"{name}.flac", recorded(name), RATE_HZ, subtype="PCM_16", compression_level=1.0)
    (FOLDER / "made.json").write_text(json.dumps(actual(), indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
