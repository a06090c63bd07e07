"""An answer written down by hand, for the tests of what is drawn and printed: no fit behind it."""

import numpy as np

from fit.answers.figures import Candidate, Contribution, Curve, Estimate, FloorAnswer, NextTake, NotIdentified
from fit.answers.pickup.characterisation import PickupAnswer
from measure.response import Finding


def estimate(value, std, unit):
    return Estimate(value=value, unit=unit, standard_uncertainty=std, low=value - 1.96 * std, high=value + 1.96 * std)


def curve(name, added_f, seed):
    frequency_hz = np.geomspace(30, 20e3, 60)
    s = 2j * np.pi * frequency_hz
    model = 1e-4 * s / (1 + (6350 + s * 2.87) * (s * (277e-12 + added_f) + 7e-6))
    std = 3e-4 * np.abs(model)
    noise = np.random.default_rng(seed).normal(size=(2, 60))
    measured = model + std * (noise[0] + 1j * noise[1]) / np.sqrt(2)
    return Curve(
        take=name,
        frequency_hz=frequency_hz,
        measured=measured,
        measured_std=std,
        model=model,
        rms_db=0.0021,
        max_db=0.0068,
        rms_degree=0.013,
    )


def answer(*, outcome="good", simulated=True, take_name="plus-1n", floor=0.0004):
    frequency_hz = np.geomspace(20, 20e3, 200)
    s = 2j * np.pi * frequency_hz
    gain = 1 / (1 + (6350 + s * 2.87) * (s * 277e-12 + 7e-6))
    peak = int(np.argmax(np.abs(gain)))
    next_take = NextTake(add="470p ± 1%", text="a take with 470p ± 1% across the jack", predicted_relative_std=0.004)
    return PickupAnswer(
        takes=("open", take_name),
        simulated=simulated,
        outcome=outcome,
        floor=FloorAnswer(value=floor, correlation_octaves=0.7, common=True, worst_hz=8100.0),
        model_name="one coil, one eddy loop",
        eddy_loops=1,
        candidates=(
            Candidate(name="one coil, no loss", bic=1290.0, reduced_chi_square=41.0),
            Candidate(name="one coil, one eddy loop", bic=-2301.25, reduced_chi_square=1.02),
        ),
        quantities={
            "inductance": estimate(2.874, 0.0157, "H"),
            "winding_capacitance": estimate(91.3e-12, 2.1e-12, "F"),
            "dc_resistance": estimate(6352.0, 30.0, "Ω"),
            "resonance_unloaded": estimate(9820.0, 110.0, "Hz"),
            "q_unloaded": estimate(4.3, 0.08, ""),
            "resonance_loaded": estimate(float(frequency_hz[peak]), 9.0, "Hz"),
            "peak_loaded": estimate(20 * float(np.log10(np.abs(gain[peak]))), 0.04, "dB"),
        },
        not_identified=(NotIdentified(quantity="sharing", why="both halves look alike from the jack", next_take=next_take),),
        budget={
            "inductance": (
                Contribution(source="dcr", contribution=0.004),
                Contribution(source=f"added 1n in {take_name}", contribution=0.0141),
                Contribution(source="noise and misfit", contribution=0.0009),
            ),
            "winding_capacitance": (Contribution(source="input capacitance", contribution=1.73e-12),),
        },
        next_takes={"inductance": (next_take,)},
        curves=(curve("open", 0.0, 1), curve(take_name, 1e-9, 2)),
        loaded_frequency_hz=frequency_hz,
        loaded_gain=gain,
        findings=(Finding(code="coil-moved", severity="warn", text="The exciter seems to have moved before take plus-1n."),),
    )
