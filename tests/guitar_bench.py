"""Drawn guitars as a sound card would have recorded them, and as the parameter vector that a fit should find."""

import numpy as np
import scipy.fft
from scipy.interpolate import CubicSpline

from fit.estimate.parameters import SHUNT_UNIT_F
from measure.recording import Recording
from tests import simulated_cases as simulated
from tests.guitar_cases import true_response


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


def truth_vector(case, problem):
    """Parameter vector of a fit's problem at a case's truths; pickups of one coil with loops."""
    vector = {f"log_{key.replace('.', '_')}": np.log(case.truths[key]) for key in ("input.resistance", "input.capacitance")}
    vector |= {"log_added_0": np.log(case.truths["added"]), "log_series_0": np.log(case.truths["series_resistor"])}
    vector["shunt"] = case.truths["added_to_hot"] / SHUNT_UNIT_F
    for key, value in case.truths.items():
        if key.startswith(("pot.", "capacitor.")) and value > 0:
            is_fraction = "@" in key and ".stop@" not in key
            vector[f"logit_{key}" if is_fraction else f"log_{key}"] = np.log(value / (1 - value) if is_fraction else value)
    takes, placement, first = [case.takes[take.name] for take in problem.evidence.takes], -1, 0
    for name, pickup in takes[0].pickups.items():
        suffix = f"@{name}" if len(takes[0].pickups) > 1 else ""
        vector |= {f"{key}{suffix}": value for key, value in _coil_truths(pickup.coils[0]).items()}
    for index, take in enumerate(takes):
        vector["delay"] = take.delay_s * take.response.origin.rate_hz
        if problem.evidence.takes[index].begins_placement or index == 0:
            placement, first = placement + 1, index
            foil_f = case.truths.get("foil.after" if take.is_after else "foil.before", 0.0)
            vector[f"log_gain_{index}"] = np.log(foil_f if take.method == "plate" else abs(take.gain))
        vector[f"gain_step_{index}"] = np.log(abs(take.gain / takes[first].gain))
        vector |= {f"leak_{placement}@{other}": leak for (over, other), leak in case.leaks.items() if over == take.coil_over}
    return np.array([vector.get(parameter.name, parameter.start) for parameter in problem.parameters])


def _coil_truths(coil):
    out = {
        "log_inductance": np.log(coil.henry),
        "log_resistance": np.log(coil.ohm),
        "log_winding_capacitance": np.log(coil.farad),
    }
    left = 1.0
    for index, turn in enumerate(coil.turns):
        share = turn.k**2 / left
        left -= turn.k**2
        out |= {f"share_0_{index}": np.log(share / (1 - share)), f"field_0_{index}": turn.g}
        out[f"log_tau_0_{index}"] = -np.log(2 * np.pi * turn.corner_hz)
    return out
