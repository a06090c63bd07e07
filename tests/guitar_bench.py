"""Drawn guitars as a sound card would have recorded them, and as the parameter vector that a fit should find."""

import numpy as np
import scipy.fft
from scipy.interpolate import CubicSpline

from fit.estimate.parameters import ACROSS_UNIT_S, SHUNT_UNIT_F, STOP_UNIT_OHM
from measure.signal.recording import Recording
from tests import simulated_cases as simulated
from tests.guitar_cases import added_key, true_response


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
    truths = case.truths
    vector = {f"log_{key.replace('.', '_')}": np.log(truths[key]) for key in ("input.resistance", "input.capacitance")}
    vector["log_series_0"] = np.log(truths["series_resistor"])
    vector["shunt"] = truths["added_to_hot"] / SHUNT_UNIT_F
    takes = [case.takes[take.name] for take in problem.evidence.takes]
    added = dict.fromkeys(take.added for take in takes if take.added)
    for index, key in enumerate(added_key(text) for text in added):
        vector |= {f"log_added_{index}": np.log(truths[key]), f"loss_added_{index}": truths.get(f"{key}.loss_tangent", 0.0)}
    vector["loss_input_capacitance"] = truths.get("input.loss_tangent", 0.0)
    for key in case.guitar.parts:
        vector |= _part_truths(key, truths)
    pickup_hz, reference_hz = takes[0].high_pass_hz
    vector |= {"highpass": pickup_hz - reference_hz, "highpass_both": reference_hz, "clock": takes[0].clock_ppm * 1e-6}
    placement, first, firsts = -1, 0, {}
    for index, take in enumerate(takes):
        vector["delay"] = take.delay_s * take.response.origin.rate_hz
        if problem.evidence.takes[index].begins_placement or index == 0:
            placement, first = placement + 1, index
            foil_f = truths.get("foil.after" if take.is_after else "foil.before", 0.0)
            vector[f"log_gain_{index}"] = np.log(foil_f if take.method == "plate" else abs(take.gain) * (1 + vector["clock"]))
        vector[f"gain_step_{index}"] = np.log(abs(take.gain / takes[first].gain))
        vector |= {f"leak_{placement}@{other}": leak for (over, other), leak in case.leaks.items() if over == take.coil_over}
        for name, pickup in take.pickups.items():
            if take.coil_over not in ("", name):
                continue
            suffix, own = f"@{name}" if len(take.pickups) > 1 else "", _coil_truths(pickup.coils[0])
            start = firsts.setdefault(name, own)
            vector |= {f"{key}{suffix}": value for key, value in start.items()}
            steps = {key: value - start[key] for key, value in own.items() if key.startswith("field_")}
            vector |= {f"{key}#{placement}{suffix}": step for key, step in steps.items()}
            vector["warmer_after"] = own["log_resistance"] - start["log_resistance"]
    # what an ideal part does not have; what else has no truth here stands where a search begins
    absent = {one.name: 0.0 for one in problem.parameters if one.name.startswith(("stop.", "reach.", "loss_", "across_"))}
    return np.array([(absent | vector).get(one.name, one.start) for one in problem.parameters])


def _part_truths(key, truths):
    """Parameters of one of the guitar's own parts, by the name of its truth."""
    value, (kind, _, rest) = truths[key], key.partition(".")
    name, _, what = rest.rpartition(".")
    if what == "leak":
        return {f"across_{kind}.{name}": 1 / value / ACROSS_UNIT_S}
    if what == "loss_tangent":
        return {f"loss_{kind}.{name}": value}
    if what in ("stop@0", "stop@10"):
        end, whole_ohm = what.removeprefix("stop@"), _whole_ohm(f"pot.{name}", truths)
        hidden_ohm = value if end == "0" else whole_ohm - truths[f"pot.{name}.travel"] * truths[f"pot.{name}"]
        return {f"stop.{name}@{end}": value / STOP_UNIT_OHM, f"reach.{name}@{end}": hidden_ohm / whole_ohm}
    if what == "travel":
        return {}
    if "@" in key:
        return {f"logit_{key}": np.log(value / (1 - value))}
    return {f"log_{key}": np.log(_whole_ohm(key, truths) if kind == "pot" else value)}


def _whole_ohm(key, truths):
    """Track and contact at 10 together: the fit counts what is left at a stop as part of the track."""
    travel = truths.get(f"{key}.travel", 1.0)
    return truths[key] * travel + truths.get(f"{key}.stop@10", 0.0)


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
