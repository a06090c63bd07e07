"""Parts as a fit might have found them, of no particular guitar."""

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
