"""Enamelled copper wire: its diameter by gauge, its resistance a metre, its thickness with the enamel."""

import math

from fit.circuit.copper import REFERENCE_CELSIUS, resistance_at

RESISTIVITY_OHM_M = 1.7241e-8  # [Ω·m] of annealed copper at 20 °C, IEC 60028, from memory
GAUGES = (0, 50)  # American wire gauge: from what a bench bends to what it can see
DIAMETERS_M = (1e-5, 3e-3)  # [m] the same in metric
ENAMEL_AT_1MM = 6.2e-5  # [m] enamel on both sides together, of a wire of 1 mm
ENAMEL_EXPONENT = 0.56  # [1] thin wires carry relatively more of it
MILLIMETRE = 1e-3


def gauge_diameter_m(gauge: int) -> float:
    """Bare diameter of a wire by its American wire gauge.

    Parameters
    ----------
    gauge : int
        0 to 50.

    Returns
    -------
    float
        Without enamel. [m]

    Raises
    ------
    ValueError
        If there is no such gauge here.

    References
    ----------
    ASTM B258: 0.005 inch at gauge 36, 0.46 inch at gauge 0000, 39 equal ratios between them.

    Examples
    --------
    >>> f"{gauge_diameter_m(36):.6g}"
    '0.000127'
    """
    if not GAUGES[0] <= gauge <= GAUGES[1]:
        msg = f"AWG {gauge} is not a gauge this can wind, expected {GAUGES[0]} to {GAUGES[1]}"
        raise ValueError(msg)
    return float(0.127e-3 * 92 ** ((36 - gauge) / 39))


def wire_resistance_ohm(diameter_m: float, *, length_m: float, celsius: float = REFERENCE_CELSIUS) -> float:
    """Resistance of annealed copper wire at DC.

    Parameters
    ----------
    diameter_m : float
        Bare, above 0. [m]
    length_m : float
        Above 0. [m]
    celsius : float
        Its temperature. [°C]

    Returns
    -------
    float
        Resistance. [Ω]

    Raises
    ------
    ValueError
        If a length is not above 0, or the temperature lies outside of -60 to 200 °C.
    """
    if not (diameter_m > 0 and length_m > 0):
        msg = f"a wire of {diameter_m:g} m diameter and {length_m:g} m length: both must be above 0"
        raise ValueError(msg)
    cold_ohm = RESISTIVITY_OHM_M * length_m / (math.pi / 4 * diameter_m**2)
    return resistance_at(cold_ohm, from_celsius=REFERENCE_CELSIUS, to_celsius=celsius)


def enamelled_diameter_m(diameter_m: float) -> float:
    """Diameter of a wire with its enamel.

    Parameters
    ----------
    diameter_m : float
        Bare, above 0. [m]

    Returns
    -------
    float
        Over the enamel. [m]

    Notes
    -----
    A power law through the largest outer diameters of grade 1 in IEC 60317-0-1 (from memory), 0.05 to 1 mm, within 0.003 mm.
    Grade 2 carries about twice the enamel.
    """
    return diameter_m + ENAMEL_AT_1MM * (diameter_m / MILLIMETRE) ** ENAMEL_EXPONENT
