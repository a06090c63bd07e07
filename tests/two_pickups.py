"""A guitar of two pickups by formula, at each position of its switch."""

import numpy as np

from tests.desk_bench import flat

LOAD_OHM, LOAD_F = 110e3, 500e-12
PICKUPS = {"bridge": (7.2e3, 3.1, 1.0), "neck": (6.1e3, 2.4, -0.8)}  # dcr, inductance, strength and sign


LEAKAGE = 0.03


def guitar(over, position):
    def response(frequency_hz):
        s = 2j * np.pi * frequency_hz
        emf = {name: (1.0 if name == over else LEAKAGE) * PICKUPS[name][2] for name in PICKUPS}
        z = {name: ohm + s * henry for name, (ohm, henry, _) in PICKUPS.items()}
        if position == "both":
            total = 1 / z["bridge"] + 1 / z["neck"]
            voltage, impedance = (emf["bridge"] / z["bridge"] + emf["neck"] / z["neck"]) / total, 1 / total
        elif position == "chain":
            voltage, impedance = emf["bridge"] + emf["neck"], z["bridge"] + z["neck"]
        else:
            voltage, impedance = emf[position], z[position]
        return flat(frequency_hz) * 0.04 * s / 6283 * voltage / (1 + impedance * (s * LOAD_F + 1 / LOAD_OHM))

    return response
