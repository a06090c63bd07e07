"""What a winding's resistance is at another temperature: copper gains 0.4 % a degree."""

TEMPERATURE_COEFFICIENT_PER_K = 0.00393  # [1/K] of annealed copper at 20 °C, IEC 60028, from memory
REFERENCE_CELSIUS = 20.0
LIMITS_CELSIUS = (-60.0, 200.0)  # [°C] within which the law is linear enough, and a bench is


def resistance_at(resistance: float, *, from_celsius: float, to_celsius: float) -> float:
    """Resistance of a copper winding at another temperature.

    Parameters
    ----------
    resistance : float
        At `from_celsius`, above 0. [Ω]
    from_celsius, to_celsius : float
        Temperatures of the winding. [°C]

    Returns
    -------
    float
        At `to_celsius`. [Ω]

    Raises
    ------
    ValueError
        If the resistance is not above 0, or a temperature lies outside of -60 to 200 °C.

    Notes
    -----
    R(T) = R(20 °C)·(1 + 0.00393·(T − 20 °C)). A winding follows the room slowly, and a hand or a lamp warms it: 5 °C are 2 %.

    Examples
    --------
    >>> round(resistance_at(7900.0, from_celsius=20.0, to_celsius=25.0), 1)
    8055.2
    """
    if not resistance > 0:
        msg = f"resistance is {resistance:g} Ω, it must be above 0"
        raise ValueError(msg)
    for celsius in (from_celsius, to_celsius):
        if not LIMITS_CELSIUS[0] <= celsius <= LIMITS_CELSIUS[1]:
            msg = f"{celsius:g} °C lies outside of {LIMITS_CELSIUS[0]:g} to {LIMITS_CELSIUS[1]:g} °C"
            raise ValueError(msg)
    return resistance * _growth(to_celsius) / _growth(from_celsius)


def _growth(celsius: float) -> float:
    return 1 + TEMPERATURE_COEFFICIENT_PER_K * (celsius - REFERENCE_CELSIUS)
