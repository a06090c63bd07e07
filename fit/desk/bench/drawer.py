"""The unmarked coil from a drawer that lies on the virtual bench."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from measure.response import ComplexArray, FloatArray
from measure.source.virtual import Noise

DCR_TEXT = "5.62k ± 1%"
RIG: Mapping[str, str | int] = {
    "input_resistance": "1M ± 1%",
    "input_capacitance": "185p ± 3p",
    "sense_resistor": "100 ± 1%",
    "reference": "current",
    "pickup_channel": 1,
    "reference_channel": 2,
}
NOISE = Noise(
    hum_hz=50.0, pickup_hum=(2e-3, 3e-4, 8e-4, 1e-4, 3e-4), reference_hum=(2e-5,), pickup_white=1.5e-5, reference_white=8e-6
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawer:
    """What really lies on the bench; the parts' true values lie within what is written on them.

    Attributes
    ----------
    inductance_h, resistance_ohm, capacitance_f : float
        Of the coil, at low frequency. [H], [Ω], [F]
    loss : float
        Share of the inductance that eddy currents take away at high frequency. [1]
    loss_field : float
        Share of the exciting field that they take away. [1]
    loss_tau_s : float
        Where the loss sets in. [s]
    loss_order : float
        0.5 where the skin depth rules, 1 for a plain loop. [1]
    added_f, input_ohm, input_f : float
        True values of the added capacitor and the input with its cable. [F], [Ω], [F]
    """

    inductance_h: float = 2.31
    resistance_ohm: float = 5604.0
    capacitance_f: float = 88e-12
    loss: float = 0.16
    loss_field: float = 0.2
    loss_tau_s: float = 17e-6
    loss_order: float = 0.8
    added_f: float = 1.0031e-9
    input_ohm: float = 1.004e6
    input_f: float = 186.2e-12


def pickup_response(drawer: Drawer, frequency_hz: FloatArray, *, added_f: float) -> ComplexArray:
    r"""Voltage at the pickup's input for a constant exciter current.

    Parameters
    ----------
    drawer : Drawer
        What lies on the bench.
    frequency_hz : ndarray, shape (n,)
        From 0 up. [Hz]
    added_f : float
        Capacitance across the jack. [F]

    Returns
    -------
    ndarray of complex, shape (n,)
        Scaled to 1 at 1 kHz of the bare EMF.

    Notes
    -----
    :math:`P = (s\tau)^a / (1 + (s\tau)^a)`, the form of K. S. Cole and R. H. Cole, J. Chem. Phys. 9 (1941) 341, here for the
    share of the inductance that eddy currents take away.
    """
    s = 2j * np.pi * frequency_hz
    power = (s * drawer.loss_tau_s) ** drawer.loss_order
    lost = power / (1 + power)
    impedance = drawer.resistance_ohm + s * drawer.inductance_h * (1 - drawer.loss * lost)
    admittance = s * (drawer.capacitance_f + drawer.input_f + added_f) + 1 / drawer.input_ohm
    return s / (2 * np.pi * 1000) * (1 - drawer.loss_field * lost) / (1 + impedance * admittance)
