"""Recordings of a foil driven near the wiring, and of a jack driven through a resistor, made from formulas.

Shares no code with the packages under test. The coil is R + sL − s²k²Lτ/(1 + sτ), its own capacitance, cable and input across.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft

from tests.simulated_cases import Card, dirty, sweep, write

CARD = Card(rate_hz=48000, hum_dbfs=-70.0, noise_dbfs=-104.0, bits=24)
PLATE_LEVEL = 0.5  # [1] of full scale, the sweep as the reference channel sees it


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """What is seen at the jack."""

    inductance_h: float = 2.9
    resistance_ohm: float = 6400.0
    capacitance_f: float = 95e-12
    eddy_coupling: float = 0.3
    eddy_corner_hz: float = 6e3
    load_f: float = 185e-12
    load_ohm: float = 200e3

    def impedance(self, frequency_hz):
        s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
        tau = 1 / (2 * np.pi * self.eddy_corner_hz)
        coil = self.resistance_ohm + s * self.inductance_h * (1 - self.eddy_coupling**2 * s * tau / (1 + s * tau))
        return 1 / (1 / coil + s * (self.capacitance_f + self.load_f) + 1 / self.load_ohm)


def through_plate(instrument, coupling_f):
    def ratio(frequency_hz):
        through = 2j * np.pi * frequency_hz * coupling_f * instrument.impedance(frequency_hz)
        return through / (1 + through)

    return ratio


def through_resistor(instrument, resistor_ohm):
    def ratio(frequency_hz):
        impedance = instrument.impedance(frequency_hz)
        return impedance / (impedance + resistor_ohm)

    return ratio


def record(seed, ratio, *, card=CARD, level=PLATE_LEVEL):
    """Both channels, jack and driven end, shape (n, 2)."""
    stimulus = sweep(card.rate_hz, level=level)
    n_fft = scipy.fft.next_fast_len(len(stimulus) + card.rate_hz // 2, real=True)
    bins_hz = np.maximum(np.arange(n_fft // 2 + 1), 0.5) * card.rate_hz / n_fft
    late = np.exp(-2j * np.pi * bins_hz * card.latency_s) * bins_hz / (bins_hz - 2j)  # no DC passes a card: high-pass of 2 Hz
    driven = scipy.fft.rfft(stimulus, n_fft) * late
    delayed = np.exp(-2j * np.pi * bins_hz * card.delay_samples / card.rate_hz)
    both = scipy.fft.irfft(np.stack([driven * ratio(bins_hz) * delayed, driven]), n_fft)[:, : len(stimulus)]
    return dirty(np.random.default_rng(seed), both.T, card)


def quiet(seed, *, duration_s=5.0, card=CARD):
    return dirty(np.random.default_rng(seed), np.zeros((round(duration_s * card.rate_hz), 2)), card)


def save(folder, name, samples, *, card=CARD):
    path = folder / f"{name}.wav"
    write(path, samples, rate_hz=card.rate_hz, bits=card.bits)
    return path


def changed(card=CARD, **changes):
    return replace(card, **changes)
