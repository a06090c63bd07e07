"""A logbook of a guitar with three pickups whose parts a fit has measured: python -m tests.three_pickups FOLDER."""

import json
import sys
from pathlib import Path

import numpy as np

from fit.answers.parts.fitted import MeasuredParts, measured_document
from fit.circuit.layouts import layout_text
from fit.desk.bench.rig import show_or_write_rig
from fit.desk.book.desk import silent_desk
from fit.desk.book.kept_fit import text_sha256

LAYOUT = layout_text("three-singles")
RIG = {"input_resistance": "1M ± 1%", "input_capacitance": "470p ± 10p"}
SETTINGS = {"selector": "neck-middle", "volume": "7", "tone-1": "4"}
COILS = {"neck": (2.31, 6100.0, 96e-12), "middle": (2.2, 6020.0, 91e-12), "bridge": (2.62, 6480.0, 102e-12)}
EDDY = {"eddy_spread_1.coupling": 0.33, "eddy_spread_1.corner": 9e3, "eddy_spread_1.half_width": 1.1}
PARTS = {
    "pot.volume": 244e3,
    "pot.tone-1": 261e3,
    "pot.tone-2": 252e3,
    "pot.volume@7": 0.46,
    "pot.tone-1@4": 0.09,
    "pot.volume.stop_10": 180.0,
    "capacitor.tone": 21.3e-9,
    "capacitor.tone.loss_tangent": 0.006,
    "input.resistance": 1.003e6,
    "input.capacitance": 472e-12,
}
OF_ITSELF = {"pot.volume.stop_10": 20.0, "capacitor.tone.loss_tangent": 1e-3}  # standard uncertainty of what may be 0


def measured():
    """Each value known to about a percent, with correlations of every kind."""
    values = dict(PARTS)
    for name, (henry, ohm, farad) in COILS.items():
        values |= {f"{name}.inductance": henry, f"{name}.dcr": ohm, f"{name}.winding_capacitance": farad}
        values |= {f"{name}.{key}": value for key, value in EDDY.items()}
    names = tuple(values)
    mixed = np.random.default_rng(5).normal(size=(len(names), 3 * len(names)))
    covariance = mixed @ mixed.T
    scale = np.array([OF_ITSELF.get(name, 0.01) for name in names]) / np.sqrt(np.diag(covariance))
    return MeasuredParts(
        values=values,
        names=names,
        log_covariance=covariance * np.outer(scale, scale),
        takes=("up", "up-1n", "tone-4"),
        simulated=True,
        input_stated={"input.resistance": 1e6, "input.capacitance": 470e-12},
        instrument_sha256=text_sha256(LAYOUT.encode()),
    )


def lay_out(folder):
    """Rig, instrument and last fit."""
    folder.mkdir(parents=True, exist_ok=True)
    show_or_write_rig(silent_desk(folder), RIG)
    (folder / "instrument.toml").write_bytes(LAYOUT.encode())
    (folder / "results").mkdir(exist_ok=True)
    kept = {"wish": {"names": []}, "answer": {}, "parts": measured_document(measured())}
    (folder / "results" / "fit.json").write_text(json.dumps(kept), encoding="utf-8")
    return folder


if __name__ == "__main__":
    lay_out(Path(sys.argv[1]))
