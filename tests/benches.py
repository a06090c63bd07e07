"""Simulated benches for the tests: a pickup, references that scatter about the truth, takes with noise and smooth error.

The circuit is written out here once more, without the code under test.
"""

from dataclasses import dataclass

import numpy as np

from fit.estimate.evidence import Evidence, TakeEvidence
from measure.quantity import Quantity
from measure.response import ComplexArray, FloatArray, Origin, Response

GRID_HZ = 1000.0 * 2.0 ** (np.arange(-80, 71) / 16)
RATE_HZ = 48000.0
RELATIVE = {
    "dcr": 0.01 / 3**0.5,
    "input_resistance": 0.01 / 3**0.5,
    "input_capacitance": 3 / 185 / 3**0.5,
    "added": 0.01 / 3**0.5,
}
GAIN_STEP_STD = 0.0014


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What a simulated pickup really is; eddy loops as (k, τ in s, g)."""

    inductance_h: float
    winding_capacitance_f: float
    resistance_ohm: float
    loops: tuple[tuple[float, float, float], ...]


def quantity(value: float, relative_std: float, unit: str) -> Quantity:
    return Quantity(
        value=value,
        standard_uncertainty=value * relative_std,
        bound=value * relative_std * 3**0.5,
        unit=unit,
        text=f"{value:.4g} {unit}",
    )


def draw_truth(rng: np.random.Generator, n_loops: int) -> Truth:
    first = (rng.uniform(0.15, 0.5), 1 / (2 * np.pi * rng.uniform(2e3, 12e3)), rng.uniform(0.1, 1.2))
    second = (rng.uniform(0.25, 0.4), first[1] * rng.choice([0.2, 5.0]), rng.uniform(0.1, 0.8))
    return Truth(
        inductance_h=rng.uniform(1.5, 6.0),
        winding_capacitance_f=rng.uniform(60e-12, 180e-12),
        resistance_ohm=rng.uniform(4e3, 12e3),
        loops=(first, second)[:n_loops],
    )


def smooth_error(rng: np.random.Generator, size: float, octaves: float = 1.0) -> ComplexArray:
    """Complex Matérn 5/2 error (C. E. Rasmussen, C. K. I. Williams, 2006, eq. 4.17), half in Re and half in Im."""
    distance = np.sqrt(5) / octaves * np.abs(np.subtract.outer(np.log2(GRID_HZ), np.log2(GRID_HZ)))
    kernel = (1 + distance + distance**2 / 3) * np.exp(-distance)
    root = np.linalg.cholesky(kernel + 1e-10 * np.eye(len(GRID_HZ)))
    parts = rng.standard_normal((2, len(GRID_HZ)))
    return size / np.sqrt(2) * (root @ parts[0] + 1j * (root @ parts[1]))


def pickup_response(truth: Truth, *, added_f: float, input_ohm: float, input_f: float) -> ComplexArray:
    """s·e(s)/(1 + Z·Y) on the grid."""
    s = 2j * np.pi * GRID_HZ
    impedance = truth.resistance_ohm + s * truth.inductance_h
    field = np.ones_like(s)
    for coupling, tau_s, strength in truth.loops:
        impedance = impedance - s**2 * coupling**2 * truth.inductance_h * tau_s / (1 + s * tau_s)
        field = field - strength * s * tau_s / (1 + s * tau_s)
    admittance = s * (truth.winding_capacitance_f + input_f + added_f) + 1 / input_ohm
    return s * field / (1 + impedance * admittance)


def noisy_take(
    rng: np.random.Generator,
    name: str,
    value: ComplexArray,
    *,
    noise: float,
    added: tuple[Quantity, ...] = (),
    moved: bool = False,
) -> TakeEvidence:
    std: FloatArray = noise * np.sqrt(1 + (300 / GRID_HZ) ** 2) * np.abs(value).max() * 0.05 + noise * np.abs(value) * 0.3
    parts = rng.standard_normal((2, len(GRID_HZ)))
    response = Response(
        frequency_hz=GRID_HZ,
        value=value + std / np.sqrt(2) * (parts[0] + 1j * parts[1]),
        covariance=std[:, None, None] ** 2 / 2 * np.eye(2),
        origin=Origin(rate_hz=RATE_HZ, simulated=True),
    )
    return TakeEvidence(name=name, response=response, added=added, coil_moved=moved)


def draw_bench(
    seed: int,
    *,
    n_loops: int = 1,
    misfit: float = 0.0,
    is_common: bool = True,
    noise: float = 3e-5,
    truth: Truth | None = None,
    gain_step: float | None = None,
    has_dcr: bool = True,
) -> tuple[Evidence, Truth]:
    """Two takes, bare and with a nominal 1 nF, and references that scatter about the truth as they claim."""
    rng = np.random.default_rng(seed)
    truth = truth or draw_truth(rng, n_loops)
    scatter = {name: 1 + relative * rng.standard_normal() for name, relative in RELATIVE.items()}
    input_ohm, input_f = 1e6 * scatter["input_resistance"], 185e-12 * scatter["input_capacitance"]
    gain = rng.choice([-1.0, 1.0]) * 1e-4 * np.exp(rng.uniform(-1, 1))
    delay_s = 0.05 * rng.standard_normal() / RATE_HZ
    shared = smooth_error(rng, misfit)
    takes = []
    for name, added_f in (("open", 0.0), ("plus-1n", 1e-9 * scatter["added"])):
        step = GAIN_STEP_STD * rng.standard_normal() if gain_step is None else gain_step
        error = shared if is_common else smooth_error(rng, misfit)
        value = gain * pickup_response(truth, added_f=added_f, input_ohm=input_ohm, input_f=input_f)
        value = value * np.exp(-2j * np.pi * GRID_HZ * delay_s) * (1 + error) * (np.exp(step) if added_f else 1.0)
        added = (quantity(1e-9, RELATIVE["added"], "F"),) if added_f else ()
        takes.append(noisy_take(rng, name, value, noise=noise, added=added))
    evidence = Evidence(
        takes=tuple(takes),
        input_resistance=quantity(1e6, RELATIVE["input_resistance"], "Ω"),
        input_capacitance=quantity(185e-12, RELATIVE["input_capacitance"], "F"),
        dcr=quantity(truth.resistance_ohm * scatter["dcr"], RELATIVE["dcr"], "Ω") if has_dcr else None,
    )
    return evidence, truth
