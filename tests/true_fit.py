"""A simulated bench fitted from its own truth: what the ladder would hand on, at a small part of its cost."""

from dataclasses import replace

import numpy as np

from fit.estimate.evidence import Evidence
from fit.estimate.floor import Floor, floor_blocks
from fit.estimate.joint import covariance_of, fit_joint
from fit.estimate.ladder import Choice
from fit.estimate.model import build_problem
from fit.estimate.parameters import PickupModel
from fit.estimate.start import start_vector
from tests.benches import Truth

SMALL = Floor(smooth=3e-5, rough=3e-5, length_octaves=1.0, is_common=False)


def fit_at_truth(evidence: Evidence, truth: Truth, *, n_takes: int, floor: Floor = SMALL, thin: int = 3) -> Choice:
    """First takes of a bench without eddy losses, fitted from its truth under a given floor."""
    evidence = replace(evidence, takes=evidence.takes[:n_takes])
    problem = build_problem(evidence, PickupModel(), thin=thin)
    known = {"log_inductance": truth.inductance_h, "log_resistance": truth.resistance_ohm}
    known["log_winding_capacitance"] = truth.winding_capacitance_f
    start = start_vector(problem, {name: float(np.log(value)) for name, value in known.items()})
    blocks, _ = floor_blocks(problem, floor)
    fit = fit_joint(problem, blocks, start)
    covariance = covariance_of(problem, blocks, fit.prediction)
    return Choice(problem=problem, fit=fit, blocks=blocks, covariance=covariance, floor=floor, rungs=(), moved=())
