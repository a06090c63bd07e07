"""Recordings of drawn pickups: coupled coils solved by mesh and node equations, then passed through a sound card's faults.

Shares no code with the packages under test. The circuit is checked against a general circuit simulator in
test_simulated_cases.py; the ranges are common practice, no source.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
import soundfile
from scipy.interpolate import CubicSpline

from tests.guitar_circuit import lossy_admittance
from tests.guitar_parts import copper_ratio

EXCITER_H, EXCITER_OHM, SENSE_OHM, LOOP_H = 1e-3, 25.0, 100.0, 1e-6
BEFORE_S, SWEEP_S, AFTER_S = 0.7, 3.0, 0.5
INPUT_OHM, INPUT_F = 1e6, 185e-12
RATES_HZ = (44100, 48000, 88200, 96000, 192000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """One winding: in series L and R, its capacitance across both; coupling to the exciter."""

    inductance_h: float
    resistance_ohm: float
    capacitance_f: float
    to_exciter: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A shorted turn; couplings to each coil, to the exciter, and to the other loops by index."""

    corner_hz: float
    to_coils: tuple[float, ...]
    to_exciter: float
    to_loops: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pickup:
    """Coils in series from ground to the jack, with what they are coupled to."""

    coils: tuple[Coil, ...]
    loops: tuple[Loop, ...]
    coupling: float = 0.0

    @property
    def inductance_h(self):
        each = [coil.inductance_h for coil in self.coils]
        return sum(each) + (2 * self.coupling * np.sqrt(each[0] * each[1]) if len(each) == 2 else 0.0)

    @property
    def resistance_ohm(self):
        return sum(coil.resistance_ohm for coil in self.coils)


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What really lies across the jack."""

    input_ohm: float = INPUT_OHM
    input_f: float = INPUT_F
    added_f: float = 0.0
    added_ohm: float = np.inf
    input_tangent: float = 0.0
    added_tangent: float = 0.0

    def admittance(self, s):
        parts = (self.input_f, self.input_tangent), (self.added_f, self.added_tangent)
        lossy = sum(lossy_admittance(s, farad, tangent) for farad, tangent in parts if tangent)
        return s * sum(farad for farad, tangent in parts if not tangent) + 1 / self.input_ohm + 1 / self.added_ohm + lossy


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A sound card's faults."""

    rate_hz: int = 96000
    bits: int = 24
    latency_s: float = 0.02
    delay_samples: float = 0.0
    hum_dbfs: float = -68.5
    mains_hz: float = 50.0
    noise_dbfs: float = -104.0
    pink_corner_hz: float = 0.0
    reference_level: float = 0.59


def couplings(pickup):
    """Matrix of k, in the order exciter, coils, loops."""
    n_coils = len(pickup.coils)
    n = 1 + n_coils + len(pickup.loops)
    k = np.eye(n)
    for index, coil in enumerate(pickup.coils):
        k[0, 1 + index] = coil.to_exciter
    if n_coils == 2:
        k[1, 2] = pickup.coupling
    for index, loop in enumerate(pickup.loops):
        at = 1 + n_coils + index
        k[0, at] = loop.to_exciter
        k[1 : 1 + n_coils, at] = loop.to_coils
        k[1 + n_coils : 1 + n_coils + len(loop.to_loops), at] = loop.to_loops
    return np.triu(k) + np.triu(k, 1).T


def solve(pickup, load, frequency_hz, *, emf=None):
    """Exciter's current and the jack's voltage, for 1 V behind sense resistor and exciter, or with EMFs in the coils instead."""
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=float)
    n_coils, n_loops = len(pickup.coils), len(pickup.loops)
    n = 1 + n_coils + n_loops
    roots = np.sqrt([EXCITER_H, *(coil.inductance_h for coil in pickup.coils), *[LOOP_H] * n_loops])
    inductance = couplings(pickup) * np.outer(roots, roots)
    exciter_ohm = EXCITER_OHM + SENSE_OHM if emf is None else 1e15
    ohms = [
        exciter_ohm,
        *(c.resistance_ohm for c in pickup.coils),
        *(2 * np.pi * loop.corner_hz * LOOP_H for loop in pickup.loops),
    ]
    matrix = np.zeros((len(s), n + n_coils, n + n_coils), dtype=complex)
    matrix[:, :n, :n] = np.diag(ohms) + s[:, None, None] * inductance
    for index, coil in enumerate(pickup.coils):
        branch, node, below = 1 + index, n + index, n + index - 1
        charge = s * coil.capacitance_f
        matrix[:, branch, node] = 1.0
        matrix[:, node, branch] = 1.0
        matrix[:, node, node] -= charge
        if index > 0:
            matrix[:, branch, below] = -1.0
            matrix[:, below, branch] = -1.0
            matrix[:, below, below] -= charge
            matrix[:, node, below] += charge
            matrix[:, below, node] += charge
    matrix[:, -1, -1] -= load.admittance(s)
    source = np.zeros((len(s), n + n_coils, 1), dtype=complex)
    source[:, : 1 + n_coils, 0] = [1.0, *[0.0] * n_coils] if emf is None else [0.0, *emf]
    solved = np.linalg.solve(matrix, source)[:, :, 0]
    return solved[:, 0], solved[:, -1]


def loaded_peak_hz(pickup, load):
    """Where |V jack / EMF| of a pickup of one coil is highest, below the top of the audio band's next octave."""
    frequency_hz = np.geomspace(500, 40e3, 20001)
    gain = np.abs(solve(pickup, load, frequency_hz, emf=[1.0])[1])
    top = int(np.argmax(gain))
    return float(frequency_hz[top]), float(gain[top])


def sweep(rate_hz, *, level=0.5):
    """Silence, an exponential sweep from 15 Hz to 0.46 of the rate, silence."""
    time_s = np.arange(round(SWEEP_S * rate_hz)) / rate_hz
    growth_s = SWEEP_S / np.log(0.46 * rate_hz / 15.0)
    wave = level * np.sin(2 * np.pi * 15.0 * growth_s * np.expm1(time_s / growth_s))
    fade = np.sin(0.5 * np.pi * np.linspace(0, 1, round(0.005 * rate_hz))) ** 2
    wave[: len(fade)] *= fade
    wave[-len(fade) :] *= fade[::-1]
    return np.concatenate([np.zeros(round(BEFORE_S * rate_hz)), wave, np.zeros(round(AFTER_S * rate_hz))])


def clean_take(pickup, load, card, *, stimulus=None):
    """Both channels without noise, the pickup's at an arbitrary level, shape (n, 2)."""
    stimulus = sweep(card.rate_hz) if stimulus is None else stimulus
    n_fft = scipy.fft.next_fast_len(len(stimulus) + card.rate_hz // 2, real=True)
    bins_hz = np.arange(n_fft // 2 + 1) * card.rate_hz / n_fft
    grid_hz = np.geomspace(0.5, 0.51 * card.rate_hz, 2500)
    current, jack = solve(pickup, load, grid_hz)
    columns = np.stack([jack / current, current], axis=1)
    transfer, current = CubicSpline(np.log(grid_hz), columns)(np.log(np.maximum(bins_hz, 0.5))).T
    blocked = 2j * np.pi * bins_hz / (2j * np.pi * bins_hz + 2 * np.pi * 2.0)  # no DC passes a card: high-pass of 2 Hz
    late = np.exp(-2j * np.pi * bins_hz * card.latency_s)
    reference = scipy.fft.rfft(stimulus, n_fft) * current * blocked * late
    delayed = np.exp(-2j * np.pi * bins_hz * card.delay_samples / card.rate_hz)
    both = scipy.fft.irfft(np.stack([reference * transfer * delayed, reference]), n_fft)[:, : len(stimulus)]
    both[1] *= card.reference_level / np.max(np.abs(both[1]))
    return both.T


def noise(rng, n, card):
    """White noise, below the corner rising as 1/f in power."""
    n_fft = scipy.fft.next_fast_len(n, real=True)
    spectrum = scipy.fft.rfft(rng.standard_normal(n_fft)) * 10 ** (card.noise_dbfs / 20)
    bins_hz = np.maximum(np.arange(len(spectrum)), 1) * card.rate_hz / n_fft
    return scipy.fft.irfft(spectrum * np.sqrt(1 + card.pink_corner_hz / bins_hz), n_fft)[:n]


def hum(rng, n, card):
    """Mains lines up to the twentieth, falling, of the stated level in all."""
    orders = np.arange(1, 21)
    levels = rng.uniform(0.3, 1.0, 20) / orders**1.3 * np.where(orders % 2 == 0, 0.4, 1.0)
    levels *= 10 ** (card.hum_dbfs / 20) / np.sqrt(np.sum(levels**2) / 2)
    time_s, phases = np.arange(n) / card.rate_hz, rng.uniform(0, 2 * np.pi, 20)
    return sum(a * np.cos(2 * np.pi * k * card.mains_hz * time_s + p) for a, k, p in zip(levels, orders, phases, strict=True))


def dirty(rng, clean, card):
    """Add hum and noise, shape (n, 2)."""
    n = len(clean)
    samples = clean + np.stack([noise(rng, n, card), noise(rng, n, card)], axis=1)
    samples[:, 0] += hum(rng, n, card)
    return samples


def write(path, samples, *, rate_hz, bits=24):
    soundfile.write(path, np.clip(samples, -1.0, 1.0 - 2.0 ** (1 - bits)), rate_hz, subtype=f"PCM_{bits}")


def _loop(rng, coil, at, n_coils):
    k = rng.uniform(0.1, 0.6)
    g = rng.uniform(0.0, 1.5)
    to_coils = tuple(k if index == at else 0.0 for index in range(n_coils))
    return Loop(
        corner_hz=float(np.exp(rng.uniform(np.log(1.5e3), np.log(20e3)))), to_coils=to_coils, to_exciter=g * coil.to_exciter / k
    )


def is_passive(pickup):
    """Say whether the coils can exist: the matrix of k is positive definite, and so are the coils without the exciter."""
    k = couplings(pickup)
    return np.min(np.linalg.eigvalsh(k)) > 0.02


def draw_single(rng, *, n_loops=None):
    """A single coil with one to three loops, half of the time coupled to each other."""
    while True:
        coil = Coil(
            inductance_h=float(np.exp(rng.uniform(0, np.log(10)))),
            resistance_ohm=float(np.exp(rng.uniform(np.log(3e3), np.log(20e3)))),
            capacitance_f=rng.uniform(40e-12, 250e-12),
            to_exciter=0.02,
        )
        n = n_loops or int(rng.choice([1, 2, 3], p=[0.5, 0.35, 0.15]))
        together = rng.uniform(0.0, 0.3) * rng.integers(2)
        loops = tuple(replace(_loop(rng, coil, 0, 1), to_loops=(together,) * index) for index in range(n))
        pickup = Pickup(coils=(coil,), loops=loops)
        if is_passive(pickup):
            return pickup


def draw_humbucker(rng, *, ratio=None):
    """Two coils within ± 30 %, unequally excited, each with its own one or two loops."""
    while True:
        share = rng.uniform(0.77, 1.3)
        total_h, total_ohm = float(np.exp(rng.uniform(np.log(2), np.log(10)))), rng.uniform(6e3, 18e3)
        k = rng.uniform(0.05, 0.35)
        first_h = total_h / (1 + share + 2 * k * np.sqrt(share))
        excited = ratio or float(np.exp(rng.uniform(np.log(0.05), 0.0)))
        winding_f = rng.uniform(30e-12, 150e-12, 2)
        first = Coil(inductance_h=first_h, resistance_ohm=total_ohm / (1 + share), capacitance_f=winding_f[0], to_exciter=0.02)
        second = Coil(
            inductance_h=first_h * share,
            resistance_ohm=total_ohm * share / (1 + share),
            capacitance_f=winding_f[1],
            to_exciter=0.02 * excited / np.sqrt(share),
        )
        coils = (first, second)
        loops = tuple(_loop(rng, coils[at], at, 2) for at in range(2) for _ in range(int(rng.choice([1, 2], p=[0.75, 0.25]))))
        pickup = Pickup(coils=coils, loops=loops, coupling=k)
        if is_passive(pickup):
            return pickup


def draw_card(rng, *, rate_hz=None):
    return Card(
        rate_hz=rate_hz or int(rng.choice(RATES_HZ, p=[0.2, 0.25, 0.15, 0.25, 0.15])),
        bits=int(rng.choice([16, 24], p=[0.25, 0.75])),
        latency_s=rng.uniform(0.0, 0.2),
        delay_samples=rng.uniform(-0.05, 0.05),
        hum_dbfs=rng.uniform(-70, -35),
        mains_hz=float(rng.choice([50.0, 60.0])) + rng.uniform(-0.05, 0.05),
        noise_dbfs=rng.uniform(-110, -92),
        pink_corner_hz=rng.uniform(0, 300),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Takes of one pickup, with what is written on the parts; loads hold what they really are."""

    pickup: Pickup
    card: Card
    loads: dict[str, Load]
    added: dict[str, str]
    dcr: str
    takes: dict[str, np.ndarray]


def draw_case(
    seed,
    kind="single",
    *,
    parts="1n±1%",
    third="",
    gain_step=None,
    peak=None,
    pickup=None,
    tangents=(0.0, 0.0),
    kelvin=0.0,
    **changes,
):
    """One bench: true values anywhere within their stated bounds, the takes as recorded.

    tangents: of cable and input, and of what is clipped on; kelvin: the winding in the takes over 20 °C, where its DCR was read.
    """
    rng = np.random.default_rng(seed)
    drawn = draw_single(rng) if kind == "single" else draw_humbucker(rng)
    pickup = pickup or drawn
    card = replace(draw_card(rng), **changes)
    real = Load(input_ohm=INPUT_OHM * (1 + rng.uniform(-0.01, 0.01)), input_f=INPUT_F + rng.uniform(-3e-12, 3e-12))
    tolerance = float(parts.split("±")[1][:-1]) / 100
    value = {"1n": 1e-9, "470p": 470e-12, "2n2": 2.2e-9}[parts.split("±")[0]] * (1 + tolerance * rng.uniform(-1, 1))
    real = replace(real, input_tangent=tangents[0], added_tangent=tangents[1])
    loads = {"open": real, "plus": replace(real, added_f=value)}
    added = {"open": "", "plus": parts}
    if third:
        scatter = 1 + rng.uniform(-0.01, 0.01, 2)
        loads["third"] = replace(real, added_f=680e-12 * scatter[0], added_ohm=150e3 * scatter[1])
        added["third"] = "680p±1%, 150k±1%"
    shown = pickup.resistance_ohm / (1 + rng.uniform(-0.01, 0.01))
    if kelvin:
        ratio = copper_ratio(20 + kelvin, 20)
        pickup = replace(pickup, coils=tuple(replace(coil, resistance_ohm=coil.resistance_ohm * ratio) for coil in pickup.coils))
    level = float(np.exp(rng.uniform(np.log(0.01), np.log(0.8)))) if peak is None else peak
    steps = rng.normal(0, 0.0014, 3) if gain_step is None else np.full(3, gain_step)
    polarity, takes, scale = rng.choice([-1.0, 1.0]), {}, None
    for index, (name, load) in enumerate(loads.items()):
        clean = clean_take(pickup, load, replace(card, latency_s=card.latency_s + index * 37 / card.rate_hz))
        scale = polarity * level / np.max(np.abs(clean[:, 0])) if scale is None else scale
        clean[:, 0] *= scale * (np.exp(steps[index]) if index else 1.0)
        takes[name] = dirty(rng, clean, card)
    return Case(pickup=pickup, card=card, loads=loads, added=added, dcr=f"{shown:.0f}±1%", takes=takes)
