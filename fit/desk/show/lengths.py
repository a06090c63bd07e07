"""Lengths, wires, formers and levels as people write them: 20 mm, AWG 32, 70x12, 1.4 V peak, 4 dBu."""

import math
import re
from dataclasses import dataclass

from fit.answers.exciter.conductor import DIAMETERS_M, enamelled_diameter_m, gauge_diameter_m
from fit.answers.exciter.design import Wire
from measure.quantity import parse_quantity

MILLIMETRES = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4, '"': 25.4, "mil": 0.0254, "um": 1e-3}
LONGEST_MM = 1000.0
DBU_V = math.sqrt(0.6)  # [V] 1 mW in 600 Ω
LEVELS_V = (1e-3, 30.0)  # [V] RMS; beyond it is no line or headphone output
# Enamelled wires by bare diameter, series R 20 as in IEC 60317-0-1 (from memory), and every second gauge.
METRIC_MM = (0.1, 0.112, 0.125, 0.14, 0.16, 0.18, 0.2, 0.224, 0.25, 0.28, 0.315, 0.355, 0.4)
GAUGES = tuple(range(38, 24, -2))
_LENGTH = re.compile(r'(?P<number>[0-9.eE+-]+?) ?(?P<unit>mm|cm|in|mil|um|")?')
_GAUGE = re.compile(r"(?:awg ?(?P<after>[0-9]{1,2})|(?P<before>[0-9]{1,2}) ?awg)", re.IGNORECASE)
_LEVEL = re.compile(r"(?P<number>[+-]?[0-9.]{1,12}) ?(?P<unit>[A-Za-z ]*)")
_LEVEL_FACTORS = {
    "": 1.0, "v": 1.0, "vrms": 1.0, "mv": 1e-3, "mvrms": 1e-3,
    "vp": math.sqrt(0.5), "vpeak": math.sqrt(0.5), "vpk": math.sqrt(0.5), "vpp": math.sqrt(0.125),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """A length, and its relative bound where one was written.

    Attributes
    ----------
    value_m : float
        Above 0. [m]
    bound : float or None
        Over the value; None where nothing stands after ±. [1]
    """

    value_m: float
    bound: float | None


def read_length(text: str, *, of: str) -> Length:
    """Read a length, in millimetres unless it says otherwise.

    Parameters
    ----------
    text : str
        For example ``"20"``, ``"20 mm ± 0.5 mm"``, ``"2cm"``, ``"0.8in ± 2%"``.
    of : str
        What it is the length of, for the message.

    Returns
    -------
    Length
        Up to 1 m.

    Raises
    ------
    ValueError
        If it is anything else; one line.
    """
    stated, mark, tolerance = text.replace("+-", "±").replace("+/-", "±").partition("±")
    try:
        value_mm = _millimetres(stated)
        is_percent = tolerance.strip().endswith("%")
        bound_mm = None
        if mark and is_percent:
            bound_mm = value_mm * parse_quantity(tolerance.strip()[:-1], "").value / 100
        elif mark:
            bound_mm = _millimetres(tolerance)
    except ValueError:
        msg = f'{of} "{text[:40]}" is not a length: expected millimetres such as 20, or 20 mm ± 0.5 mm, 2 cm, 0.8 in'
        raise ValueError(msg) from None
    if not 0 < value_mm <= LONGEST_MM or (bound_mm is not None and not 0 < bound_mm < value_mm):
        msg = f"{of} {text[:40]}: expected above 0 up to {LONGEST_MM:g} mm, and a bound smaller than the length"
        raise ValueError(msg)
    return Length(value_m=value_mm / 1000, bound=None if bound_mm is None else bound_mm / value_mm)


def read_sides(text: str, *, of: str) -> tuple[Length, Length | None]:
    """Read a diameter, or the sides of a rectangle.

    Parameters
    ----------
    text : str
        ``"20"`` is a circle, ``"70x12"`` a rectangle.
    of : str
        What it is the size of, for the message.

    Returns
    -------
    width, depth : Length, Length or None
        Diameter and None for a circle.
    """
    first, cross, second = text.replace("×", "x").partition("x")
    if not cross:
        return read_length(text, of=of), None
    return read_length(first, of=of), read_length(second, of=of)


def read_wire(text: str) -> Wire:
    """Read a wire by its gauge or its bare diameter.

    Parameters
    ----------
    text : str
        For example ``"AWG 32"``, ``"32AWG"``, ``"0.2 mm"``, ``"0.2"``.

    Returns
    -------
    Wire
        With the enamel of grade 1.

    Raises
    ------
    ValueError
        If it is neither; one line.
    """
    gauge = _GAUGE.fullmatch(text.strip())
    if gauge is not None:
        number = int(gauge["after"] or gauge["before"])
        bare_m = gauge_diameter_m(number)
        return Wire(name=f"AWG {number}", bare_m=bare_m, enamelled_m=enamelled_diameter_m(bare_m))
    bare_m = read_length(text, of="wire").value_m
    low_m, high_m = DIAMETERS_M
    if not low_m <= bare_m <= high_m:
        hint = f"; for the gauge write AWG {text.strip()}" if text.strip().isdecimal() else ""
        msg = f"wire {text[:40]}: expected {1e3 * low_m:g} to {1e3 * high_m:g} mm, or a gauge such as AWG 32{hint}"
        raise ValueError(msg)
    return Wire(name=f"{1e3 * bare_m:.4g} mm", bare_m=bare_m, enamelled_m=enamelled_diameter_m(bare_m))


def wires_to_choose(text: str | None) -> tuple[Wire, ...]:
    """Wires that a coil may be designed with.

    Parameters
    ----------
    text : str or None
        ``"mm"`` or None for metric ones, ``"AWG"`` for gauges, or one wire.
    """
    if text is None or text.strip().lower() == "mm":
        return tuple(read_wire(f"{diameter:g} mm") for diameter in METRIC_MM)
    if text.strip().lower() == "awg":
        return tuple(read_wire(f"AWG {gauge}") for gauge in GAUGES)
    return (read_wire(text),)


def read_level_v(text: str) -> float:
    """Read an output's level.

    Parameters
    ----------
    text : str
        ``"1"``, ``"1 V"``, ``"1 Vrms"``, ``"1.4 V peak"``, ``"2.8 Vpp"``, ``"4 dBu"``, ``"-10 dBV"``.

    Returns
    -------
    float
        RMS of a sine. [V]

    Raises
    ------
    ValueError
        If it is anything else; one line.
    """
    written = text.strip().replace("\N{MINUS SIGN}", "-")
    match = _LEVEL.fullmatch(written)
    unit = "" if match is None else match["unit"].replace(" ", "").lower()
    if match is None or (unit not in _LEVEL_FACTORS and unit not in ("dbu", "dbv")) or written.count(".") > 1:
        hint = "; dBFS says nothing of volts: measure them at the socket" if "dbfs" in written.lower() else ""
        msg = f'level "{text[:40]}" is not a level: expected 1 V (rms), 1.4 V peak, 2.8 Vpp, 4 dBu or -10 dBV{hint}'
        raise ValueError(msg)
    number = float(match["number"].rstrip(".") or "0")
    decibel_v = {"dbu": DBU_V, "dbv": 1.0}
    level_v = decibel_v[unit] * 10 ** (number / 20) if unit in decibel_v else number * _LEVEL_FACTORS[unit]
    low_v, high_v = LEVELS_V
    if not low_v <= level_v <= high_v:
        msg = f"level {text[:40]} is {level_v:.3g} V rms: expected {low_v:g} to {high_v:g} V, as line and headphone outputs give"
        raise ValueError(msg)
    return level_v


def _millimetres(text: str) -> float:
    match = _LENGTH.fullmatch(text.strip())
    if match is None:
        raise ValueError(text)
    return parse_quantity(match["number"], "").value * MILLIMETRES[match["unit"] or ""]
