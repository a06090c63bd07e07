"""From a drawn guitar to what the estimate takes, and to recordings that a sound card would have made."""

import numpy as np
import scipy.fft
from scipy.interpolate import CubicSpline

from fit.circuit.controls import read_settings
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from measure.quantity import parse_parts, parse_quantity
from measure.recording import Recording
from tests import simulated_cases as simulated
from tests.guitar_cases import true_response


def evidence_of(case, names=None):
    """Evidence of the named takes, or of all whose pickup is connected; dcr comes from the case's instrument.toml."""
    instrument = read_instrument(case.instrument_toml)
    chosen = [case.takes[name] for name in names] if names else [take for take in case.takes.values() if take.is_heard]
    takes = [
        TakeEvidence(
            name=take.name,
            response=take.response,
            added=parse_parts(take.added),
            coil_moved=take.coil_moved,
            settings=read_settings(instrument, take.settings),
            coil_over=take.coil_over,
            method=take.method,
            series_resistor=parse_quantity(take.series_resistor, "Ω") if take.series_resistor else None,
            is_after=take.is_after,
        )
        for take in chosen
    ]
    return Evidence(
        takes=tuple(takes),
        input_resistance=parse_quantity(case.input_resistance, "Ω"),
        input_capacitance=parse_quantity(case.input_capacitance, "F"),
        instrument=instrument,
    )


def recordings_of(case, *, card=None, names=None, peak=0.3):
    """Each take as recorded: pickup in channel 1, sense resistor or driven end in channel 2.

    The loudest take of the exciter peaks at `peak` of full scale; all of a case are scaled alike. A case's delay is kept in
    samples of its own rate.
    """
    card = card or simulated.Card(rate_hz=48000)
    rng = np.random.default_rng([case.seed, 1])
    stimulus = simulated.sweep(card.rate_hz)
    chosen = [case.takes[name] for name in names or case.takes]
    clean = {
        take.name: _clean(take, stimulus, card, late_s=card.latency_s + index * 37 / card.rate_hz)
        for index, take in enumerate(chosen)
    }
    by_exciter = [np.max(np.abs(clean[take.name][:, 0])) for take in chosen if take.method == "exciter"]
    steps, out = 2.0 ** (card.bits - 1), {}
    for take in chosen:
        samples = clean[take.name]
        if take.method == "exciter":
            samples[:, 0] *= peak / max(by_exciter)
        samples = simulated.dirty(rng, samples, card)
        samples = np.rint(np.clip(samples, -1, 1 - 1 / steps) * steps) / steps
        out[take.name] = Recording(samples=samples, rate_hz=card.rate_hz, n_bits=card.bits, name=take.name, simulated=True)
    return out


def _clean(take, stimulus, card, *, late_s):
    """Both channels without noise, shape (n, 2); no DC passes the card."""
    n_fft = scipy.fft.next_fast_len(len(stimulus) + card.rate_hz // 2, real=True)
    bins_hz = np.arange(n_fft // 2 + 1) * card.rate_hz / n_fft
    grid_hz = np.geomspace(0.5, 0.51 * card.rate_hz, 2500)
    transfer = CubicSpline(np.log(grid_hz), true_response(take, grid_hz))(np.log(np.maximum(bins_hz, 0.5)))
    blocked = bins_hz / (bins_hz - 2.0j)  # high-pass of 2 Hz
    reference = scipy.fft.rfft(stimulus, n_fft) * blocked * np.exp(-2j * np.pi * bins_hz * late_s)
    apart = np.exp(-2j * np.pi * bins_hz * card.delay_samples / card.rate_hz)
    both = scipy.fft.irfft(np.stack([reference * transfer * apart, reference]), n_fft)[:, : len(stimulus)]
    return both.T.copy()
