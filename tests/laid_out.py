"""Takes of instruments laid out for few frequencies, and a parameter vector for them."""

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.lay_out import models_of, wire_takes
from fit.estimate.parameters import PickupModel
from measure.quantity import parse_quantity
from tests.toy_problem import toy_evidence

RESPONSE = toy_evidence(4).takes[0].response
FREQUENCY_HZ = np.array([100.0, 1000.0, 4000.0])
S = 2j * np.pi * FREQUENCY_HZ
ONE = read_instrument(layout_text("one-pickup"))
TWO = read_instrument(layout_text("two-pickups-tone-before"))
MODES = read_instrument(layout_text("humbucker-modes"))
COIL = {"log_inductance": np.log(4.0), "log_resistance": np.log(8e3), "log_winding_capacitance": np.log(1e-10)}
P = COIL | {
    "log_input_resistance": np.log(1e6),
    "log_input_capacitance": np.log(4e-10),
    "loss_input_capacitance": 0.0,
    "log_pot.volume": np.log(5e5),
    "log_pot.tone": np.log(4e5),
    "log_capacitor.tone": np.log(2.2e-8),
    "loss_capacitor.tone": 0.0,
    "across_capacitor.tone": 0.0,
    "stop.tone@0": 0.5,
    "stop.volume@10": 0.2,
    "reach.tone@10": 0.02,
    "reach.volume@10": 0.03,
    "logit_pot.volume@5": np.log(0.3 / 0.7),
}


def take(instrument, name="open", *, stated=(), **more):
    settings = {} if instrument is None else {"settings": read_settings(instrument, dict(stated))}
    return TakeEvidence(name=name, response=RESPONSE, **settings, **more)


def evidence_of(instrument, *takes):
    return Evidence(
        takes=takes,
        input_resistance=parse_quantity("1M ± 1%", "Ω"),
        input_capacitance=parse_quantity("400p ± 1%", "F"),
        instrument=instrument,
    )


def wired(instrument, *takes, model=None, added=None):
    evidence = evidence_of(instrument, *takes)
    models = models_of(evidence, model or PickupModel())
    return wire_takes(evidence, models, frequencies=[FREQUENCY_HZ] * len(takes), added=added or [()] * len(takes))
