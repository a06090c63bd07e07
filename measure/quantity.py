"""Quantities as people write them, ``4k7 ± 1%``, to a value with its uncertainty, and back.

Also the codes printed on parts (IEC 60062) and preferred values (IEC 60063).
"""

import datetime
import math
import re
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

COVERAGE_95 = 1.959963984540054  # [1] half-width of a Gaussian's 95 % interval over its standard deviation
NORMAL_FACTOR = 1.96  # [1] the same to the two decimals that intervals of answers are stated with
MAX_TEXT = 120  # [characters] of one quantity; the longest sensible one has about 30
SMALLEST_BOUND = Decimal("1e-9")  # [1] over the value; nothing at a bench is known better
LEAST_TANGENT = 1e-6  # [1] less than any dielectric's
COLDEST_C, HOTTEST_C = -40.0, 120.0  # [°C] of a bench
MAX_ORIGIN = 200  # [characters] of where a value is from
MAX_PARTS = 20  # more parts than anyone clips across one jack

PREFIX_EXPONENTS = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6, "Meg": 6, "G": 9, "T": 12}
SHOWN_PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "\u00b5", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
KINDS = {
    "Ω": "a resistance such as 4k7 ± 1%",
    "F": "a capacitance such as 1n ± 1%",
    "H": "an inductance such as 3.1 ± 1%",
    "Hz": "a frequency such as 9k ± 5%",
    "V": "a voltage such as 1.5 ± 1%",
    "A": "a current such as 10m ± 1%",
    "s": "a time such as 20u ± 1%",
    "": "a number such as 0.42 ± 1%",
}
LIMITS = {"Ω": (1e-3, 1e12), "F": (1e-18, 1.0), "H": (1e-12, 1e5), "Hz": (1e-6, 1e12)}  # wider than any part; catches slips
WIDEST = (1e-18, 1e15)
UNIT_SPELLINGS = {"Ω": "Ω", "ohm": "Ω", "ohms": "Ω", "R": "Ω", "F": "F", "H": "H", "Hz": "Hz", "V": "V", "A": "A", "s": "s"}
INFERRED_UNITS = {"p": "F", "n": "F", "u": "F", "k": "Ω", "K": "Ω", "M": "Ω", "Meg": "Ω", "G": "Ω"}

_MICRO = str.maketrans({"\u00b5": "u", "\u03bc": "u", "\u2126": "Ω"})  # two code points each look like micro and ohm
_NUMBER = r"(?P<number>(?:[0-9]{1,25}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,2})?)"
_UNIT = r"(?P<unit>Ω|ohms?|Hz|[FHVAsR])?"
_SPELLINGS = {"(?i:ohm)(?=s?\\b)": "ohm", "(?i:meg)(?![a-z])": "Meg", "(?<=[pnu])f(?![A-Za-z])": "F", " {1,3}": " "}
_PLAIN = re.compile(rf"{_NUMBER} ?(?P<prefix>Meg|[fpnumkKMGT])? ?{_UNIT}")
_LETTER_CODE = re.compile(rf"(?P<whole>[0-9]{{0,6}})(?P<letter>[pnumkKMGR])(?P<part>[0-9]{{1,6}}) ?{_UNIT}")
_PERCENT = re.compile(rf"{_NUMBER} ?%")
_CAPACITOR_DIGITS = re.compile(r"(?P<digits>[1-9][0-9])(?P<zeros>[0-689])(?P<letter>[BCDFGJKMNZ])?")
_CAPACITOR_LETTERS = re.compile(r"(?P<value>[0-9]{0,3}[pnum][0-9]{0,3})(?P<letter>[BCDGJKMNZ])?")  # F would be farad
_CONDITIONS = re.compile(
    r"(?P<plain>.*?)(?: ?tan ?(?P<tangent>[0-9]{1,3}(?:\.[0-9]{0,9})?) ?%)?"
    r"(?: ?at ?(?P<temperature>-?[0-9]{1,3}(?:\.[0-9]{0,3})?) ?°?C)?"
)
_TEMPERATURE = re.compile(r"(?P<number>[+-]?[0-9]{1,3}(?:\.[0-9]{0,3})?) ?(?:°? ?C)?")
_TWO_WAYS = re.compile(r"[1-9][0-9][1-9][KM]")

TOLERANCE_PERCENT = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2", "J": "5", "K": "10", "M": "20", "N": "30"}
TOLERANCE_PF = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2"}  # IEC 60062: capacitors below 10 pF
SMALL_CAPACITOR_PF = Decimal(10)

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_COARSE_SERIES = {"E3": _E24[::8], "E6": _E24[::4], "E12": _E24[::2], "E24": _E24}
_FINE_SERIES = {"E48": 48, "E96": 96, "E192": 192}


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A value, what is known of its error, and the text it was read from.

    Attributes
    ----------
    value : float
        In SI units without prefix. [`unit`]
    standard_uncertainty : float or None
        bound / √3, a rectangular distribution (JCGM 100, 4.3.7); None where no bound was written. [`unit`]
    bound : float or None
        What stands after ±; None where nothing does, which does not mean exact. [`unit`]
    unit : str
        ``"Ω"``, ``"F"``, ``"H"``, ``"Hz"``, ``"V"``, ``"A"``, ``"s"`` or empty for a pure number.
    text : str
        As it was written, without spaces around it.
    loss_tangent : float or None
        Of a capacitor, at 1 kHz; None where none was written. [1]
    temperature_c : float or None
        Of a resistance, when it was read; None where none was written. [°C]
    understood : str
        What a marking was taken for, ``"33 nF ± 10 %, from .033 and K"``; empty where it stands as it was written.
    taper : {"audio", "linear"} or None
        Of a pot whose marking says it.
    doubt : str
        What is odd about it, or may be meant otherwise; empty where nothing is.
    """

    value: float
    standard_uncertainty: float | None
    bound: float | None
    unit: str
    text: str
    loss_tangent: float | None = None
    temperature_c: float | None = None
    understood: str = ""
    taper: Literal["audio", "linear"] | None = None
    doubt: str = ""


def parse_quantity(text: str, unit: str | None = None) -> Quantity:
    """Read one quantity as people write it.

    SI prefixes and the letter code of IEC 60062 (``4k7``, ``2n2``, ``R47``); ``±``, ``+-`` or ``+/-`` before a bound
    in percent or in the same unit. Behind a capacitance its loss tangent, ``tan 0.1%``; behind a resistance the temperature it
    was read at, ``at 24C``.

    Parameters
    ----------
    text : str
        For example ``"1n ± 1%"``, ``"185p ± 3p"``, ``"4k7"``, ``"1n ± 1% tan 0.1%"``, ``"6.35k ± 0.5% at 24C"``.
    unit : str or None
        The unit it must have; None to infer it: p, n and u are capacitors, R, k, M and G resistors, a written unit wins.

    Returns
    -------
    Quantity
        Above 0; its bound, if there is one, above 0 and smaller than the value.

    Raises
    ------
    ValueError
        If `text` is anything else, or has another unit; one line that says what was expected.

    Examples
    --------
    >>> parse_quantity("4k7 ± 1%", "Ω").value
    4700.0
    >>> parse_quantity("185p+-3p").bound
    3e-12
    >>> parse_quantity("6.35k ± 0.5% at 24C").temperature_c
    24.0
    """
    if unit is not None and unit not in KINDS:
        msg = f"unit {unit!r} is not one of {', '.join(KINDS)}"
        raise ValueError(msg)
    written, tangent, temperature = _without_conditions(_normalised(text, unit))
    stated, mark, tolerance = written.partition("±")
    if not tolerance.strip(" ") and mark:
        raise ValueError(_expected(text, unit, "nothing stands after ±"))
    value, found, is_bare = _parse_value(stated.strip(" "), text=text, unit=unit)
    if value == 0:
        raise ValueError(_expected(text, unit, "it must be above 0"))
    bound = _parse_bound(tolerance.strip(" "), value, text=text, unit=found, is_bare=is_bare) if mark else None
    low, high = LIMITS.get(found, WIDEST)
    if not low <= value <= high:
        raise ValueError(
            _expected(text, unit, f"it must lie between {low:g} and {high:g} {found}".rstrip() + _code_hint(text, unit))
        )
    if tangent is not None and (found != "F" or not LEAST_TANGENT <= tangent < 1):
        raise ValueError(_expected(text, unit, "tan is the loss tangent of a capacitor, above 0 and below 100 %"))
    if temperature is not None and (found != "Ω" or not COLDEST_C <= temperature <= HOTTEST_C):
        raise ValueError(_expected(text, unit, f"at is the temperature of a resistance, {COLDEST_C:g} to {HOTTEST_C:g} °C"))
    plain = _quantity(value, bound, unit=found, text=text.strip(" "))
    return replace(plain, loss_tangent=tangent, temperature_c=temperature)


def refuse_decimal_comma(text: str) -> None:
    """Refuse a list of values in which a comma stands between digits: it would be read as two values.

    Raises
    ------
    ValueError
        One line that quotes the text.
    """
    if re.search(r"\d,\d", text):
        msg = f"{_quoted(text)}: write a point, not a comma, in a number; a comma and a space stand between values"
        raise ValueError(msg)


def parse_temperature(text: str) -> float:
    """Read a temperature in degrees Celsius.

    Parameters
    ----------
    text : str
        ``"24"``, ``"24C"``, ``"24 °C"``, ``"-5.5"``.

    Returns
    -------
    float
        -40 to 120. [°C]

    Raises
    ------
    ValueError
        If it is anything else; one line that quotes it.

    Examples
    --------
    >>> parse_temperature("24 °C")
    24.0
    """
    written = (
        text.strip(" ").replace("\u2212", "-").replace("\u2103", "°C") if isinstance(text, str) and len(text) <= MAX_TEXT else ""
    )
    match = _TEMPERATURE.fullmatch(written)
    if match is None or not COLDEST_C <= float(match["number"]) <= HOTTEST_C:
        limits = f"{COLDEST_C:g} to {HOTTEST_C:g}".replace("-", "\u2212")
        msg = f"{_quoted(text)} is not a temperature such as 24C: expected {limits} °C"
        raise ValueError(msg)
    return float(match["number"])


def parse_capacitor_code(text: str) -> Quantity:
    """Read what is printed on a capacitor, IEC 60062: ``223K``, ``473J``, ``104``, ``2n2K``, ``n47``.

    Parameters
    ----------
    text : str
        Two digits and a number of zeros in picofarads, or the letter code; then a tolerance letter or none.

    Returns
    -------
    Quantity
        In farads; without a bound where there is no letter.

    Raises
    ------
    ValueError
        If it is no such code, or ends in Z (−20/+80 %), which no symmetric bound can say.

    Notes
    -----
    The third digit counts zeros; 8 stands for × 0.01 and 9 for × 0.1. K and M are tolerances here, never kilo and mega.
    Below 10 pF the letters B, C, D, F, G are picofarads instead of percent.
    """
    stripped = text.strip(" ").translate(_MICRO) if isinstance(text, str) and len(text) <= MAX_TEXT else ""
    match = _CAPACITOR_DIGITS.fullmatch(stripped) or _CAPACITOR_LETTERS.fullmatch(stripped)
    if match is None:
        msg = f"{_quoted(text)} is not a capacitor code: expected three digits and a tolerance letter, such as 223K"
        raise ValueError(msg)
    groups = match.groupdict()
    if "digits" in groups:
        value_pf = Decimal(groups["digits"]).scaleb({"8": -2, "9": -1}.get(groups["zeros"], int(groups["zeros"])))
    else:
        value_pf = Decimal(str(parse_quantity(groups["value"], "F").value)).scaleb(12)
    letter = groups["letter"]
    if letter == "Z":
        msg = f"{_quoted(text)} ends in Z, −20/+80 %: write the middle and half the range instead, such as 13n ± 5n for 10 nF"
        raise ValueError(msg)
    value = value_pf.scaleb(-12)
    if letter is None:
        return _quantity(value, None, unit="F", text=stripped)
    is_absolute = value_pf < SMALL_CAPACITOR_PF and letter in TOLERANCE_PF
    bound = Decimal(TOLERANCE_PF[letter]).scaleb(-12) if is_absolute else value * Decimal(TOLERANCE_PERCENT[letter]) / 100
    return _quantity(value, bound, unit="F", text=stripped)


def capacitor_code(value_f: float, tolerance: float | None = None) -> str:
    """Write a capacitance as it is printed on the part, IEC 60062.

    Parameters
    ----------
    value_f : float
        Two significant digits, 0.1 pF to 99 uF. [F]
    tolerance : float or None
        Relative bound, for example 0.1 for K; None for no letter.

    Returns
    -------
    str
        For example ``"223K"``.

    Raises
    ------
    ValueError
        If the value needs more than two digits or no letter says the tolerance.
    """
    value_pf = _round_significant(_finite(value_f).scaleb(12), 12)  # a float that was computed may miss its decimal by a little
    zeros = value_pf.adjusted() - 1
    digits = value_pf.scaleb(-zeros)
    if value_pf <= 0 or not -2 <= zeros <= 6 or digits != digits.to_integral_value():
        msg = f"{value_f!r} F has no three-digit code: expected two significant digits between 0.1 pF and 99 uF"
        raise ValueError(msg)
    letter = "" if tolerance is None else _tolerance_letter(tolerance, is_small=value_pf < SMALL_CAPACITOR_PF)
    last = {-2: 8, -1: 9}.get(zeros, zeros)
    return f"{int(digits)}{last}{letter}"


def preferred_values(series: str) -> tuple[float, ...]:
    """One decade of a series of preferred values, IEC 60063.

    Parameters
    ----------
    series : str
        ``"E3"``, ``"E6"``, ``"E12"``, ``"E24"``, ``"E48"``, ``"E96"`` or ``"E192"``.

    Returns
    -------
    tuple of float
        Rising from 1.0, below 10.

    Raises
    ------
    ValueError
        If there is no such series.
    """
    return tuple(float(value) for value in _preferred_decimals(series))


def nearest_preferred(value: float, series: str = "E24") -> float:
    """Preferred value whose ratio to `value` is closest to 1.

    Parameters
    ----------
    value : float
        In any unit, above 0.
    series : str
        As in `preferred_values`.

    Returns
    -------
    float
        In the unit of `value`. By ratio, not by difference: 12.3 gives 15 in E6, since the border is √(10·15).

    Raises
    ------
    ValueError
        If `value` is not a number above 0, or there is no such series.
    """
    if not (math.isfinite(value) and value > 0):
        msg = f"no preferred value lies near {value!r}: expected a number above 0"
        raise ValueError(msg)
    decade = math.floor(math.log10(value))
    mantissas = _preferred_decimals(series)
    near = [mantissas[-1].scaleb(decade - 1), *(m.scaleb(decade) for m in mantissas), mantissas[0].scaleb(decade + 1)]
    exact = Decimal(value)
    return float(min(near, key=lambda candidate: max(candidate / exact, exact / candidate)))


def format_quantity(value: float, unit: str, digits: int = 3) -> str:
    """Write a value with its SI prefix.

    Parameters
    ----------
    value : float
        In SI units. [`unit`]
    unit : str
        One of those that `parse_quantity` reads takes a prefix; others, such as dB, do not.
    digits : int
        Significant digits, 1 to 17.

    Returns
    -------
    str
        For example ``"92.3 pF"``.

    Raises
    ------
    ValueError
        If `value` is not finite, or `digits` out of its range.

    Examples
    --------
    >>> format_quantity(6350.0, "Ω")
    '6.35 kΩ'
    """
    if not 1 <= digits <= 17:
        msg = f"{digits} significant digits asked for, expected 1 to 17"
        raise ValueError(msg)
    rounded = _round_significant(_finite(value), digits)
    exponent = _prefix_exponent(rounded, unit)
    return f"{_plain(rounded.scaleb(-exponent))} {SHOWN_PREFIXES[exponent]}{unit}".rstrip()


# One spelling of each sign, or a ValueError for what cannot be a quantity.
def _normalised(text: str, unit: str | None) -> str:
    if not isinstance(text, str) or len(text) > MAX_TEXT:
        raise ValueError(_expected(text, unit, f"it is no text of at most {MAX_TEXT} characters"))
    written = re.sub(r"\+ ?/? ?[-\u2212]", "±", text.strip(" ").translate(_MICRO))
    if written.count("±") > 1:
        raise ValueError(_expected(text, unit, "it has more than one ±"))
    for pattern, spelling in _SPELLINGS.items():
        written = re.sub(pattern, spelling, written)
    return written


# What stands behind a value: its loss tangent, its temperature.
def _without_conditions(written: str) -> tuple[str, float | None, float | None]:
    match = _CONDITIONS.fullmatch(written)
    if match is None:
        return written, None, None
    tangent, temperature = match["tangent"], match["temperature"]
    return match["plain"], None if tangent is None else float(tangent) / 100, None if temperature is None else float(temperature)


# Value, its unit, and whether it stands bare, without prefix and unit.
def _parse_value(stated: str, *, text: str, unit: str | None) -> tuple[Decimal, str, bool]:
    match = _PLAIN.fullmatch(stated) or _LETTER_CODE.fullmatch(stated)
    if match is None:
        raise ValueError(_expected(text, unit, _code_hint(text, unit) or ("write a point, not a comma" if "," in stated else "")))
    groups = match.groupdict()
    if "number" in groups:
        number, prefix, spelled = Decimal(groups["number"]), groups["prefix"] or "", groups["unit"]
    else:
        number = Decimal(f"{groups['whole'] or '0'}.{groups['part']}")
        prefix = "" if groups["letter"] == "R" else groups["letter"]
        spelled = groups["unit"] or ("R" if groups["letter"] == "R" else None)
    found = UNIT_SPELLINGS[spelled] if spelled else _implied_unit(prefix, text=text, unit=unit)
    if unit is not None and found != unit:
        raise ValueError(_expected(text, unit, f"it is in {found}"))
    return number.scaleb(PREFIX_EXPONENTS[prefix]), found, not prefix and not spelled


# Unit of a value that was written without one.
def _implied_unit(prefix: str, *, text: str, unit: str | None) -> str:
    if prefix in ("f", "T") or (prefix == "m" and unit in (None, "Ω")):
        cure = "write M for mega, or the unit" if prefix == "m" else "write the unit"
        raise ValueError(_expected(text, unit, f"{prefix} alone is easily a slip: {cure}"))
    if unit is not None:
        return unit
    if prefix not in INFERRED_UNITS:
        raise ValueError(_expected(text, unit, "it has no unit" + _code_hint(text, unit)))
    if _TWO_WAYS.fullmatch(text.strip(" ")):
        raise ValueError(_expected(text, unit, "K or M may be a prefix or a tolerance" + _code_hint(text, unit)))
    return INFERRED_UNITS[prefix]


# What stands after ±, in the unit of the value.
def _parse_bound(tolerance: str, value: Decimal, *, text: str, unit: str, is_bare: bool) -> Decimal:
    percent = _PERCENT.fullmatch(tolerance)
    if percent is not None:
        bound = value * Decimal(percent["number"]) / 100
    else:
        bound, _, is_bound_bare = _parse_value(tolerance, text=text, unit=unit)
        if is_bare != is_bound_bare:
            raise ValueError(_expected(text, unit, "write prefix or unit on both sides of ±"))
    if not SMALLEST_BOUND <= bound / value < 1:
        raise ValueError(_expected(text, unit, "the bound after ± must be above 0 and below 100 %"))
    return bound


# Decimals to floats, bound to standard uncertainty (JCGM 100, 4.3.7).
def _quantity(value: Decimal, bound: Decimal | None, *, unit: str, text: str) -> Quantity:
    return Quantity(
        value=float(value),
        standard_uncertainty=None if bound is None else float(bound) / math.sqrt(3),
        bound=None if bound is None else float(bound),
        unit=unit,
        text=text,
    )


def _quoted(text: object) -> str:
    shown = text if isinstance(text, str) else type(text).__name__
    cut = "".join(char if char.isprintable() else "?" for char in shown[:40])
    return f'"{cut}{"…" if len(shown) > 40 else ""}"'


# The one line for a quantity that cannot be read.
def _expected(text: object, unit: str | None, reason: str) -> str:
    kind = KINDS["F"] + " or a resistance such as 4k7 ± 1%" if unit is None else KINDS[unit]
    return f"{_quoted(text)} is not {kind}" + (f": {reason.removeprefix('; ')}" if reason else "")


# Say what the text means where it is a code printed on a capacitor.
def _code_hint(text: str, unit: str | None) -> str:
    match = _CAPACITOR_DIGITS.fullmatch(text.strip(" "))
    if match is None or match["letter"] == "Z" or unit not in (None, "F"):
        return ""
    meant = parse_capacitor_code(text)
    value = format_quantity(meant.value, "F", 2)
    percent = f" ± {100 * meant.bound / meant.value:.3g}%" if meant.bound else ""
    return f"; as a capacitor code it means {value}{percent}: then write that"


# Letter of IEC 60062 for a relative bound.
def _tolerance_letter(tolerance: float, *, is_small: bool) -> str:
    known = {float(percent): letter for letter, percent in TOLERANCE_PERCENT.items() if not (is_small and letter in TOLERANCE_PF)}
    for percent, letter in known.items():
        if math.isclose(percent, 100 * tolerance, rel_tol=1e-9):
            return letter
    choice = ", ".join(f"{percent:g}" for percent in known)
    msg = f"no letter says a tolerance of {100 * tolerance:g} %: expected one of {choice} %"
    raise ValueError(msg)


# One decade as exact decimals.
def _preferred_decimals(series: str) -> tuple[Decimal, ...]:
    if series in _COARSE_SERIES:
        return tuple(Decimal(value).scaleb(-1) for value in _COARSE_SERIES[series])
    if series not in _FINE_SERIES:
        msg = f"no series {_quoted(series)}: expected one of {', '.join([*_COARSE_SERIES, *_FINE_SERIES])}"
        raise ValueError(msg)
    n = _FINE_SERIES[series]
    rule = [round(100 * 10 ** (i / n)) for i in range(n)]
    return tuple(Decimal(920 if value == 919 else value).scaleb(-2) for value in rule)  # the standard's one exception to the rule


def _finite(value: float) -> Decimal:
    if not math.isfinite(value):
        msg = f"{value!r} cannot be written as a quantity: expected a finite number"
        raise ValueError(msg)
    return Decimal(value)


# Rounded to so many significant digits.
def _round_significant(value: Decimal, digits: int) -> Decimal:
    if value == 0:
        return Decimal(0)
    rounded = value.quantize(Decimal(1).scaleb(value.adjusted() - digits + 1), ROUND_HALF_EVEN)
    return rounded.quantize(Decimal(1).scaleb(rounded.adjusted() - digits + 1), ROUND_HALF_EVEN)


# Power of ten of the prefix that leaves 1 to 999 before the point.
def _prefix_exponent(value: Decimal, unit: str) -> int:
    if value == 0 or unit not in KINDS or not unit:
        return 0
    return min(max(3 * (value.adjusted() // 3), min(SHOWN_PREFIXES)), max(SHOWN_PREFIXES))


# Digits, without an exponent where that can be read, with a true minus sign.
def _plain(value: Decimal) -> str:
    return format(value, "f" if abs(value.adjusted()) < 18 else "e").replace("-", "\u2212")


def check_origin(place: str, source: str | None, date: str | None) -> None:
    """See that what is stated of a value's origin can stand in a report.

    Parameters
    ----------
    place : str
        Of the value in its file, for the message.
    source : str or None
        Who says so: a meter, a data sheet, a certificate.
    date : str or None
        When that was: a year, a month or a day.

    Raises
    ------
    ValueError
        If it cannot; the message names the key.

    Examples
    --------
    >>> check_origin("input", "meter no. 3", "2026-03-01")
    >>> check_origin("input", None, "2026-03")
    """
    if source is not None and not (0 < len(source) <= MAX_ORIGIN and source.isprintable() and source.strip()):
        msg = f"{place}.source: expected 1 to {MAX_ORIGIN} printable characters"
        raise ValueError(msg)
    if date is None:
        return
    is_date = re.fullmatch(r"[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?", date) is not None
    try:
        datetime.date.fromisoformat((date + "-01-01")[:10] if is_date else "")
    except ValueError:
        shown = "".join(char if char.isprintable() else "?" for char in date[:40])
        msg = f'{place}.date: "{shown}" is no date, expected one such as 2026-03-01 or 2026-03'
        raise ValueError(msg) from None
