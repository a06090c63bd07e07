"""A coil with shorted turns, in the fewest words, by the way that the fit takes."""

from collections.abc import Sequence

import numpy as np

from fit.circuit.coil import CoilValues, coil_elements
from measure.response import ComplexArray, FloatArray


def coil_impedance(
    frequency_hz: FloatArray,
    *,
    inductance_h: float,
    resistance_ohm: float,
    eddy_loops: Sequence[tuple[float, float]] = (),
) -> ComplexArray:
    """Impedance without the winding capacitance, of turns (coupling k, time constant in s)."""
    coil = CoilValues(
        inductance_h=inductance_h,
        resistance_ohm=resistance_ohm,
        winding_capacitance_f=1e-10,
        excitation=1.0,
        eddies=tuple((coupling**2, tau_s, 0.0, 0.0, "loop") for coupling, tau_s in eddy_loops),
    )
    return coil_elements([coil], 2j * np.pi * frequency_hz).impedance[0, 0]
