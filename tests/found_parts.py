"""Parts as a fit might have found them, of no particular guitar."""

from dataclasses import replace

import numpy as np

from fit.answers.parts.fitted import MeasuredParts
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from measure.quantity import parse_quantity

LOAD = {"input.resistance": parse_quantity("1M ± 1%"), "input.capacitance": parse_quantity("470p ± 10p")}


INSTRUMENT = read_instrument(layout_text("one-pickup"))


FOUND = {  # values of no particular pickup, standard uncertainty of the logarithm
    "bridge.inductance": (4.1, 0.01),
    "bridge.dcr": (7.7e3, 0.003),
    "bridge.winding_capacitance": (95e-12, 0.04),
    "bridge.eddy_spread_1.coupling": (0.4, 0.02),
    "bridge.eddy_spread_1.corner": (8e3, 0.05),
    "bridge.eddy_spread_1.half_width": (1.2, 0.1),
    "pot.volume": (460e3, 0.01),
    "pot.tone": (530e3, 0.02),
    "pot.tone@6": (0.22, 0.03),
    "capacitor.tone": (20.5e-9, 0.005),
    "input.resistance": (1e6, 0.005),
    "input.capacitance": (470e-12, 0.01),
}


def found_parts(**options):
    """Measured parts with correlations of every kind; winding and input capacitance known better together than alone."""
    rng = np.random.default_rng(3)
    std = np.array([one[1] for one in FOUND.values()])
    mixed = rng.normal(size=(len(std), 4 * len(std)))
    covariance = mixed @ mixed.T
    scale = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(scale, scale)
    names = tuple(FOUND)
    return MeasuredParts(
        values={name: value for name, (value, _) in FOUND.items()},
        names=names,
        log_covariance=correlation * np.outer(std, std),
        takes=("open", "tone-5"),
        simulated=True,
        **options,
    )


BESIDE = {  # value, standard uncertainty: of itself, of the leak's logarithm
    "pot.tone.stop_0": (38.0, 6.0),
    "pot.tone.stop_10": (4e3, 1.5e3),
    "pot.volume.stop_10": (2e3, 900.0),
    "capacitor.tone.loss_tangent": (0.012, 0.002),
    "capacitor.tone.leak": (900e3, 0.05),
    "input.loss_tangent": (0.01, 0.004),
}


def real_parts(**moved):
    """The measured parts of other tests, and beside them what real ones have, correlated with all else."""
    plain = found_parts()
    names = (*plain.names, *BESIDE)
    std = np.array([*np.sqrt(np.diag(plain.log_covariance)), *(one[1] for one in BESIDE.values())])
    mixed = np.random.default_rng(8).normal(size=(len(names), 4 * len(names)))
    covariance = mixed @ mixed.T
    scale = std / np.sqrt(np.diag(covariance))
    return replace(
        plain,
        values=plain.values | {name: one[0] for name, one in BESIDE.items()} | moved,
        names=names,
        log_covariance=covariance * np.outer(scale, scale),
    )


def tied_capacitances():
    """The sum of winding and input capacitance is known exactly, neither alone."""
    gradient = np.array([1 / 95e-12, -1 / 470e-12]) * 10e-12
    return MeasuredParts(
        values={"bridge.winding_capacitance": 95e-12, "input.capacitance": 470e-12},
        names=("bridge.winding_capacitance", "input.capacitance"),
        log_covariance=np.outer(gradient, gradient),
        takes=("open",),
        simulated=False,
    )
