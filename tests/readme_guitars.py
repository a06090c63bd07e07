"""Recordings of three drawn guitars for the worked examples of the manual: python -m tests.readme_guitars FOLDER.

FOLDER/one-pickup: through the controls, through a resistor, from a foil, and of silence. FOLDER/three-pickups: the coil over each
pickup at every switch position. FOLDER/real-parts: pots that leave ohms at their stops, a lossy tone capacitor, and a winding 8 K
warmer than when its resistance was read, at 20 °C. The circuits are those of guitar_circuit.py, which share no code with the
packages under test.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests import guitar_cases as gc
from tests import guitar_parts as gp
from tests import simulated_cases as simulated
from tests.guitar_bench import recordings_of

ONE_SEED, THREE_SEED, REAL_SEED = 36, 3, 50
REAL = gc.Conditions(
    references="rectangular",
    real=gp.RealParts(stop_ohm=(25.0, 60.0), travel=(0.98, 0.99), tone_tangent=(0.008, 0.015), kelvin=(7.0, 10.0)),
)
ONE_PICKUP = (*gc.THREE_TAKES, "tone-5", "volume-6")
CARD = simulated.Card(rate_hz=48000)
HUM_DBFS = {"before": (-60.0, -60.5), "after": (-73.7, -74.1)}  # no two days are alike
QUIET_S = 6.0


def write_one_pickup(folder):
    """Takes at five settings, from a foil, through a resistor, and quiet ones."""
    folder.mkdir(parents=True)
    cases = (gc.draw_one_pickup(ONE_SEED, takes=ONE_PICKUP), gc.draw_plate(ONE_SEED), gc.draw_impedance(ONE_SEED))
    for case, method in zip(cases, ("exciter", "plate", "impedance"), strict=True):
        _write(folder, case, [name for name, take in case.takes.items() if take.method == method])
    for side, levels in HUM_DBFS.items():
        for index, hum_dbfs in enumerate(levels, start=1):
            rng = np.random.default_rng([ONE_SEED, index, len(side)])
            silence = np.zeros((round(QUIET_S * CARD.rate_hz), 2))
            _save(folder, f"quiet-{side}-{index}", simulated.dirty(rng, silence, replace(CARD, hum_dbfs=hum_dbfs)))
    return cases[0]


def write_three_pickups(folder):
    """Fifteen takes, and those with a part added or a tone pot turned down; instrument.toml does not say what is out of phase."""
    folder.mkdir(parents=True)
    case = gc.draw_three_pickups(THREE_SEED, is_stated=False)
    _write(folder, case, list(case.takes))
    return case


def write_real_parts(folder):
    """Everything at 10, with the added part, and tone at 0."""
    folder.mkdir(parents=True)
    case = gc.draw_one_pickup(REAL_SEED, conditions=REAL)
    _write(folder, case, list(case.takes))
    return case


def _write(folder, case, names):
    for name, recording in recordings_of(case, card=CARD, names=names).items():
        _save(folder, name, recording.samples)
    _save(folder, "sweep", simulated.sweep(CARD.rate_hz))
    (folder / "instrument.toml").write_text(case.instrument_toml, encoding="utf-8")


def _save(folder, name, samples):
    simulated.write(folder / f"{name}.flac", samples, rate_hz=CARD.rate_hz, bits=CARD.bits)


def main(folder):
    """Write the folders, and print what is true of them."""
    for case in (
        write_one_pickup(folder / "one-pickup"),
        write_three_pickups(folder / "three-pickups"),
        write_real_parts(folder / "real-parts"),
    ):
        wanted = {name: value for name, value in case.truths.items() if "eddy" not in name}
        print("; ".join(f"{name} {value:.4g}" for name, value in wanted.items()))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
