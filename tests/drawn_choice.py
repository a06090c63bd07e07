"""What a fit is made of, without the fit: a problem at a vector that was drawn."""

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.layouts import layout_text
from fit.circuit.reading import read_instrument
from fit.estimate.evidence import Evidence, TakeEvidence
from fit.estimate.floor import Floor
from fit.estimate.joint import JointFit
from fit.estimate.ladder import Choice
from fit.estimate.model import build_problem, predict_residual
from fit.estimate.parameters import PickupModel
from measure.response import Origin, Response
from tests.found_parts import LOAD

COIL_VALUES = ("dcr", "inductance", "winding_capacitance")


TWO = read_instrument(
    "\n".join(line for line in layout_text("two-pickups-tone-after").splitlines() if not line.startswith(COIL_VALUES))
)


FREQUENCY_HZ = np.geomspace(30.0, 18e3, 60)


# What a fit is made of, without the fit: a problem at a vector that was drawn, leaks let go, and any covariance.
def choice_at(instrument, controls, model, *, rng, coil_over=""):
    response = Response(
        frequency_hz=FREQUENCY_HZ,
        value=2j * np.pi * FREQUENCY_HZ * 1e-3,
        covariance=1e-6 * np.eye(2) * np.abs(FREQUENCY_HZ)[:, None, None] ** 2 * 1e-6,
        origin=Origin(rate_hz=96000.0, simulated=True),
    )
    settings = read_settings(instrument, controls)
    take = TakeEvidence(name="one", response=response, settings=settings, coil_over=coil_over)
    evidence = Evidence(
        takes=(take,),
        input_resistance=LOAD["input.resistance"],
        input_capacitance=LOAD["input.capacitance"],
        instrument=instrument,
    )
    leaks = [parameter.name for parameter in build_problem(evidence, model).parameters if parameter.name.startswith("across_")]
    problem = build_problem(evidence, model, released=leaks)
    vector = np.array([parameter.start for parameter in problem.parameters]) + rng.uniform(-0.3, 0.3, len(problem.parameters))
    for place, parameter in enumerate(problem.parameters):  # strings excite all coils alike, and are not screened
        if parameter.name.startswith(("field_", "leak_", "log_second_excitation", "delay", "log_gain")):
            vector[place] = 0.0
        elif parameter.name in leaks:  # one that is negative is not let go
            vector[place] = abs(vector[place])
    return choice_with(problem, vector, np.eye(len(vector)))


def choice_with(problem, vector, covariance):
    prediction = predict_residual(problem, vector)
    return Choice(
        problem=problem,
        fit=JointFit(vector=vector, chi_square=0.0, prediction=prediction, n_evaluations=1),
        blocks=(),
        covariance=covariance,
        floor=Floor(smooth=0.0, rough=0.0, length_octaves=1.0, is_common=False),
        rungs=(),
        moved=(),
    )


MODELS = {
    "no loss": PickupModel(eddies=((),)),
    "loop and spread": PickupModel(eddies=(("loop", "spread"),)),
    "two coils, two losses each": PickupModel(eddies=(("spread", "loop"), ("spread", "loop"))),
}


CONTROLS = {"selector": "both", "bridge-volume": "7", "bridge-tone": "4", "neck-volume": "6"}


AT_STOPS = {"selector": "both", "bridge-volume": "10", "bridge-tone": "0", "neck-volume": "7"}
