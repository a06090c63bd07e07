"""Instruments of the starting files with their usual values and a load, laid out at settings."""

import numpy as np

from fit.circuit.controls import read_settings
from fit.circuit.harness import Case, build_harness
from fit.circuit.instrument import stated_values

FREQUENCY_HZ = np.geomspace(20, 20e3, 31)
S = 2j * np.pi * FREQUENCY_HZ
LOAD = {"input.resistance": 1e6, "input.capacitance": 470e-12}


def values_of(instrument):
    return {key: stated.quantity.value for key, stated in stated_values(instrument).items()} | LOAD


def harness_of(instrument, *stated):
    return build_harness(instrument, [Case(settings=read_settings(instrument, one), frequency_hz=FREQUENCY_HZ) for one in stated])
