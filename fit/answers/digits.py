"""How many digits a value with an interval is written with: none finer than the interval allows.

The last digit stands at the place of the second significant digit of the interval's half-width (JCGM 100:2008, 7.2.6: at most two
digits of an uncertainty), of decibels at the hundredths at most. The value is rounded to nearest, limits outwards and off the
value, so that what is written is never narrower than what was found. Value and limits end at the same place and share one prefix.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from measure.quantity import NORMAL_FACTOR, format_quantity

UNITS_WITH_PREFIX = ("H", "F", "Ω", "Hz", "V", "s")
PREFIXES = {-12: "p", -9: "n", -6: "\N{MICRO SIGN}", -3: "m", 0: "", 3: "k", 6: "M"}
FINEST = {"dB": -2}  # [1] power of ten of the last place: nobody hears a hundredth of a decibel
EXACT = 1e-9  # [1] of a value: an interval narrower than this is none
EXACT_DIGITS = 6  # of a value without an interval
MOST_TOLD = 5.0  # [1] relative standard uncertainty, of more the figure would tell nothing
SLACK = Decimal("1e-6")  # [1] of the last place: a limit that is off its place by less lies on it
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Grid:
    """Where numbers end, as a power of ten, and which power of ten the prefix stands for."""

    place: int
    exponent: int = 0

    def steps(self, value: float, rounding: str = ROUND_HALF_EVEN) -> int:
        exact = Decimal(repr(float(value))).scaleb(-self.place)
        slack = {ROUND_FLOOR: SLACK, ROUND_CEILING: -SLACK}.get(rounding, Decimal(0))
        return int((exact + slack).to_integral_value(rounding))

    def text(self, steps: int) -> str:
        places = max(self.exponent - self.place, 0)
        return f"{Decimal(steps).scaleb(self.place - self.exponent):.{places}f}".replace("-", MINUS)


def interval_texts(value: float, low: float, high: float, unit: str) -> tuple[str, str]:
    """Write a value and its interval with as many digits as the interval deserves.

    Parameters
    ----------
    value, low, high : float
        [`unit`]
    unit : str
        SI, without prefix; ``"dB"``, ``"%"``; ``"1"`` or empty for pure numbers.

    Returns
    -------
    value, interval : str
        For example ``"2.874 H"`` and ``"2.833 … 2.916 H"``; ``"exact"`` for an interval below a billionth of the value.

    References
    ----------
    JCGM 100:2008, 7.2.6.

    Examples
    --------
    >>> interval_texts(92.4e-12, 88.87e-12, 95.93e-12, "F")
    ('92.4 pF', '88.8 … 96.0 pF')
    >>> interval_texts(6467.49, 6466.843, 6468.137, "Hz")
    ('6.46749 kHz', '6.46684 … 6.46814 kHz')
    """
    unit = unit.replace("1", "")
    if _is_exact(value, low, high):
        return format_quantity(value, unit, EXACT_DIGITS).replace("-", MINUS), "exact"
    half = (high - low) / 2
    if not math.isfinite(half):
        return format_quantity(value, unit, 2).replace("-", MINUS), "no limits told"
    grid = _grid(max(abs(value), half), half, unit, FINEST.get(unit))
    suffix = f" {PREFIXES[grid.exponent]}{unit}".rstrip()
    middle = grid.steps(value)
    first = min(grid.steps(low, ROUND_FLOOR), middle - (low < value))
    last = max(grid.steps(high, ROUND_CEILING), middle + (high > value))
    return f"{grid.text(middle)}{suffix}", f"{grid.text(first)} … {grid.text(last)}{suffix}"


def limits_text(low: float, high: float, unit: str, *, half: float) -> str:
    """Write two limits with the digits that an uncertainty deserves, rounded inwards: what is written is never wider.

    Parameters
    ----------
    low, high : float
        [`unit`]
    half : float
        Half of the 95 % interval of what they are for, above 0. [`unit`]

    Examples
    --------
    >>> limits_text(29.9371e-9, 36.0106e-9, "F", half=0.245e-9)
    '29.94 … 36.01 nF'
    """
    grid = _grid(max(abs(low), abs(high)), half, unit, None)
    suffix = f" {PREFIXES[grid.exponent]}{unit}".rstrip()
    return f"{grid.text(grid.steps(low, ROUND_CEILING))} … {grid.text(grid.steps(high, ROUND_FLOOR))}{suffix}"


def spread_texts(value: float, half: float, *, finest: int | None = None) -> tuple[str, str]:
    """Write a value and the half-width of its interval as bare numbers that end at the same place.

    Parameters
    ----------
    value, half : float
        In one unit; `half` from 0 up.
    finest : int or None
        Power of ten of the last place, where more is of no use to anybody.

    Returns
    -------
    value, half : str
        The half-width rounded up.

    Examples
    --------
    >>> spread_texts(-14.012, 0.3512)
    ('−14.01', '0.36')
    >>> spread_texts(-14.012, 0.3512, finest=-1)
    ('−14.0', '0.4')
    """
    if _is_exact(value, value - half, value + half):
        grid = _Grid(place=_place(abs(value) or 1.0) + 2 - EXACT_DIGITS if finest is None else finest)
    else:
        grid = _grid(half, half, "", finest)
    return grid.text(grid.steps(value)), grid.text(grid.steps(half, ROUND_CEILING))


def part_texts(parts: Sequence[float], whole: float, unit: str) -> tuple[str, ...]:
    """Write half-widths that together make up one, none with digits finer than those of the whole.

    Parameters
    ----------
    parts : sequence of float
        Half-widths, from 0 up. [`unit`]
    whole : float
        Half-width of the whole interval, above 0. [`unit`]

    Returns
    -------
    tuple of str
        With the prefix of the whole; what rounds to nothing is told as a bound.

    Examples
    --------
    >>> part_texts((0.0412, 0.0035, 1e-6), 0.0414, "H")
    ('± 41 mH', '± 4 mH', '< 1 mH')
    """
    grid = _grid(whole, whole, unit, FINEST.get(unit))
    suffix = f" {PREFIXES[grid.exponent]}{unit.replace('1', '')}".rstrip()
    steps = [grid.steps(part) for part in parts]
    return tuple(f"± {grid.text(count)}{suffix}" if count else f"< {grid.text(1)}{suffix}" for count in steps)


def rough_percent(relative: float) -> str:
    """Say how uncertain a value is that is too uncertain to be told.

    Parameters
    ----------
    relative : float
        Standard uncertainty over the value; of more than `MOST_TOLD`, that is told in its place. [1]

    Examples
    --------
    >>> rough_percent(0.21), rough_percent(1e6)
    ('± 41 %', '± 980 %')
    """
    return f"± {100 * NORMAL_FACTOR * min(relative, MOST_TOLD):.0f} %"


def allowed_digits(value: float, half: float, *, most: int) -> int:
    """Count the significant digits that the half-width of its interval allows a value, where a few are enough.

    Parameters
    ----------
    value, half : float
        In one unit; `half` from 0 up.

    Returns
    -------
    int
        1 to `most`.

    Examples
    --------
    >>> allowed_digits(463e3, 8.8e3, most=3), allowed_digits(463e3, 120e3, most=3)
    (3, 2)
    """
    if value == 0 or _is_exact(value, value - half, value + half):
        return most
    if not math.isfinite(half):
        return 1
    return min(max(math.floor(math.log10(abs(value))) - _place(half) + 1, 1), most)


def _is_exact(value: float, low: float, high: float) -> bool:
    return high - low <= 2 * EXACT * abs(value)


# Power of ten of the second significant digit, of 0.0996 that of 0.10.
def _place(half: float) -> int:
    return math.floor(math.log10(float(f"{half:.1e}"))) - 1


# The prefix that leaves 1 to 999 before the point; the next where the last place would stand before it: 0.46 kΩ, not 460 Ω.
def _grid(size: float, half: float, unit: str, finest: int | None) -> _Grid:
    place = _place(half) if finest is None else max(_place(half), finest)
    if unit not in UNITS_WITH_PREFIX:
        return _Grid(place=place)
    exponent = min(max(3 * math.floor(math.log10(size) / 3), min(PREFIXES)), max(PREFIXES))
    return _Grid(place=place, exponent=exponent + 3 if place > exponent and exponent < max(PREFIXES) else exponent)
