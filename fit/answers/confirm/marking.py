"""A value as it is printed on a part: the codes of IEC 60062 and the preferred values of IEC 60063."""

from dataclasses import dataclass
from decimal import Decimal

from measure.quantity import (
    SMALL_CAPACITOR_PF,
    TOLERANCE_PERCENT,
    TOLERANCE_PF,
    capacitor_code,
    format_quantity,
    nearest_preferred,
    preferred_values,
)

SERIES_TOLERANCE = {"E6": 0.20, "E12": 0.10, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005}  # [1] IEC 60063
COMMON_SERIES = ("E6", "E12", "E24", "E48", "E96", "E192")
CODE_DIGITS = 3  # the letter code of IEC 60062 has up to that many significant ones here
LETTERS = {"Ω": ("R", "K", "M", "G"), "F": ("p", "n", "u", "m")}
CLOSE = 1e-6  # [1] a computed value may miss its decimal by less


@dataclass(frozen=True, slots=True, kw_only=True)
class Preferred:
    """A preferred value and where it belongs.

    Attributes
    ----------
    value : float
        [`unit`]
    series : str
        The coarsest of E6 to E192 that holds the value.
    """

    value: float
    unit: str
    series: str


def marking_code(value: float, unit: str, tolerance: float | None = None) -> str:
    """Write a value as it is printed on a part, IEC 60062.

    Parameters
    ----------
    value : float
        [`unit`]
    unit : {"F", "Ω"}
        Capacitors as three digits in picofarads where that is possible, else with a letter as the point; resistors with a letter.
    tolerance : float or None
        Relative bound; None for no letter. [1]

    Returns
    -------
    str
        For example ``"333K"`` or ``"500KM"``; without a tolerance letter where none says it.

    Raises
    ------
    ValueError
        If the value needs more than three digits.

    Examples
    --------
    >>> marking_code(33e-9, "F", 0.10), marking_code(4700.0, "Ω", 0.05), marking_code(6.8e-12, "F", 0.25 / 6.8)
    ('333K', '4K7J', '689C')
    """
    letter = tolerance_letter(value, unit, tolerance)
    if unit == "F":
        try:
            return capacitor_code(value) + letter
        except ValueError:
            return letter_code(value, "F") + letter
    return letter_code(value, unit) + letter


def tolerance_letter(value: float, unit: str, tolerance: float | None) -> str:
    """Letter of IEC 60062 for a bound.

    Parameters
    ----------
    value : float
        [`unit`]
    unit : {"F", "Ω"}
        On capacitors below 10 pF the letters B, C, D, F, G are picofarads.
    tolerance : float or None
        Relative. [1]

    Returns
    -------
    str
        Empty where no letter says it, or `tolerance` is None.
    """
    if tolerance is None:
        return ""
    is_small = unit == "F" and value < 1e-12 * float(SMALL_CAPACITOR_PF) * (1 - CLOSE)
    bounds = {letter: float(percent) / 100 * value for letter, percent in TOLERANCE_PERCENT.items()}
    if is_small:
        bounds |= {letter: 1e-12 * float(pico) for letter, pico in TOLERANCE_PF.items()}
    near = [letter for letter, bound in bounds.items() if abs(bound / (tolerance * value) - 1) < CLOSE]
    return near[0] if near else ""


def letter_code(value: float, unit: str) -> str:
    """Write a value with a letter as its point, IEC 60062.

    Parameters
    ----------
    value : float
        Three significant digits at most. [`unit`]
    unit : {"F", "Ω"}
        Letters p, n, u, m or R, K, M, G.

    Returns
    -------
    str
        For example ``"4K7"``, ``"R47"``, ``"2n2"``, ``"470p"``.

    Raises
    ------
    ValueError
        If it needs more digits, or no letter.

    Examples
    --------
    >>> letter_code(0.47, "Ω"), letter_code(47300.0, "Ω"), letter_code(4.7e-12, "F")
    ('R47', '47K3', '4p7')
    """
    first = 0 if unit == "Ω" else -12
    exact = Decimal(f"{value:.{CODE_DIGITS - 1}e}")
    steps = (exact.adjusted() - first) // 3
    if abs(float(exact) / value - 1) > CLOSE or not -1 <= steps < len(LETTERS[unit]):
        msg = f"{value!r} {unit} has no letter code: expected three significant digits"
        raise ValueError(msg)
    step = max(steps, 0)
    whole, _, part = format(exact.scaleb(-first - 3 * step), "f").partition(".")
    return f"{whole.lstrip('0')}{LETTERS[unit][step]}{part.rstrip('0')}"


def coarsest_series(value: float) -> str | None:
    """Coarsest of E6 to E192 that holds a value.

    Parameters
    ----------
    value : float
        In any unit, above 0.

    Examples
    --------
    >>> coarsest_series(33e-9), coarsest_series(39e-9), coarsest_series(500e3)
    ('E6', 'E12', None)
    """
    mantissa = Decimal(f"{value:.6e}").scaleb(-Decimal(f"{value:.6e}").adjusted())
    for series in COMMON_SERIES:
        if any(abs(float(mantissa) / preferred - 1) < CLOSE for preferred in preferred_values(series)):
            return series
    return None


def nearest_marking(value: float, unit: str, tolerance: float) -> Preferred:
    """Preferred value that lies nearest by ratio, in the series that goes with a tolerance.

    Parameters
    ----------
    value : float
        Measured. [`unit`]
    tolerance : float
        20 % looks in E6, 10 % in E12, 5 % in E24, 2 % in E48, 1 % in E96, less in E192; one between two in the finer. [1]

    Returns
    -------
    Preferred
        Named by the coarsest series that holds it: 33 nF is an E6 value wherever it was looked for.
    """
    finer = [series for series, bound in SERIES_TOLERANCE.items() if bound <= tolerance * (1 + CLOSE)]
    found = nearest_preferred(value, finer[0] if finer else "E192")
    return Preferred(value=found, unit=unit, series=coarsest_series(found) or "E192")


def preferred_text(preferred: Preferred) -> str:
    """Preferred value for people.

    Returns
    -------
    str
        For example ``"33 nF (E6)"``.
    """
    digits = 2 if preferred.series in ("E6", "E12", "E24") else 3
    return f"{format_quantity(preferred.value, preferred.unit, digits)} ({preferred.series})"
