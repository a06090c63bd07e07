"""What the columns of a table are, from the line that names them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from measure.response import ComplexArray, FloatArray
from measure.text import plain_text

ROLES: tuple[tuple[str, frozenset[str]], ...] = (  # the first that fits counts
    ("std", frozenset({"std", "stdev", "sigma", "deviation", "uncertainty"})),
    (
        "phase",
        frozenset({"phase", "angle", "arg", "argument", "phi", "deg", "degree", "degrees", "rad", "radian", "radians", "theta"}),
    ),
    ("magnitude", frozenset({"db"})),
    ("real", frozenset({"real", "re", "resistance"})),
    ("imaginary", frozenset({"imaginary", "imag", "im", "reactance"})),
    ("frequency", frozenset({"frequency", "freq", "f", "hz", "khz", "megahz", "ghz"})),
    ("magnitude", frozenset({"magnitude", "mag", "abs", "absolute", "amplitude", "modulus", "gain", "level", "impedance", "z"})),
)
SERIES_WORDS = {"r": "real", "rs": "real", "x": "imaginary", "xs": "imaginary"}  # alone, or beside a unit and these
BESIDE_SERIES = frozenset({"s", "series", "z", "in", "ohm", "ohms", "kohm", "kohms", "milliohm", "megohm", "megohms"})
OHM_WORDS = frozenset(
    {"z", "impedance", "resistance", "reactance", "r", "rs", "x", "xs"}
)  # are in ohms where nothing else is said
OTHER_WORDS = frozenset({"rl", "return", "swr", "vswr", "rho", "gamma", "reflection", "parallel"})  # of no response
DEGREE_WORDS, RADIAN_WORDS = frozenset({"deg", "degree", "degrees"}), frozenset({"rad", "radian", "radians"})
LEVEL_WORDS = frozenset({"vpp", "vp", "vrms", "volt", "volts", "dbm", "dbv", "dbu", "dbfs"})  # of one voltage: no ratio
OPEN_WORDS = frozenset({"gain", "level"})  # said of ratios and of decibels alike
HZ_SCALES = {"hz": 1.0, "khz": 1e3, "megahz": 1e6, "ghz": 1e9}
OHM_SCALES = {"milliohm": 1e-3, "ohm": 1.0, "ohms": 1.0, "kohm": 1e3, "kohms": 1e3, "megohm": 1e6, "megohms": 1e6}
SIGNS = (
    ("\N{OHM SIGN}", "Ω"),
    ("kΩ", " kohm "),
    ("MΩ", " megohm "),
    ("mΩ", " milliohm "),
    ("Ω", " ohm "),
    ("MOhm", " megohm "),
    ("mOhm", " milliohm "),
    ("MHz", " megahz "),
    ("%", " percent "),
    ("°", " degree "),
    ("σ", " sigma "),
    ("θ", " theta "),
    ("Θ", " theta "),
    ("φ", " phi "),
    ("ϕ", " phi "),
    ("∠", " angle "),
)
RADIANS_AT_MOST = 7.0  # [1] a phase beyond it, of which nobody said whether it is degrees, is in degrees
EXAMPLE = "frequency_hz,real,imaginary"
NAMELESS = f"no column is named frequency; name the columns in a first line, for example {EXAMPLE}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column that is used.

    Attributes
    ----------
    index : int
        From 0.
    unit : str
        "Hz", "Ω", "V/V", "dB", "deg", "rad", "%", or empty where the header does not say.
    """

    index: int
    name: str
    unit: str
    scale: float = 1.0


def recognise_columns(names: Sequence[str]) -> tuple[dict[str, Column], tuple[str, ...]]:
    """Find frequency, value and standard deviation among named columns.

    Returns
    -------
    columns : dict
        ``"frequency"``, then ``"real"`` and ``"imaginary"``, or ``"magnitude"`` and ``"phase"``; ``"std"`` where there is one.

    Raises
    ------
    ValueError
        If one is missing, or two columns are the same.
    """
    found: dict[str, list[Column]] = {}
    for index, name in enumerate(names):
        words = column_words(name)
        role = _role_of(name, words)
        if role is not None:
            unit, scale = _unit_of(role, words)
            scale = -scale if name.strip().startswith(("-", "−")) else scale
            found.setdefault(role, []).append(Column(index=index, name=shown(name), unit=unit, scale=scale))
    if "frequency" not in found:
        raise ValueError(NAMELESS)
    pair = next((p for p in (("real", "imaginary"), ("magnitude", "phase")) if all(role in found for role in p)), None)
    if pair is None:
        there = ", ".join(column.name[:30] for columns in found.values() for column in columns)
        msg = f"beside the frequency, real and imaginary or magnitude and phase are needed; found only {there}"
        raise ValueError(msg)
    used: dict[str, Column] = {}
    for role in ("frequency", *pair, "std"):
        columns = found.get(role, [])
        if len(columns) > 1:
            (i, first), (j, second) = ((column.index + 1, column.name[:30]) for column in columns[:2])
            msg = f'columns {i} and {j}, "{first}" and "{second}", are both {role}: leave one'
            raise ValueError(msg)
        if columns:
            used[role] = columns[0]
    taken = {column.index for column in used.values()}
    return used, tuple(name.strip() for index, name in enumerate(names) if index not in taken and name.strip())


def column_words(name: str) -> list[str]:
    """Words of a column's name, signs of units spelled out.

    Examples
    --------
    >>> column_words("|Z| [kΩ]"), column_words("phase_degree"), column_words("Gain (dB)")
    (['impedance', 'kohm'], ['phase', 'degree'], ['gain', 'db'])
    """
    text = re.sub(r"\|[zZ]\w*\|", " impedance ", name)
    text = re.sub(r"\|\w*\|", " magnitude ", text)
    text = re.sub(r"\b[zZ]('')(?!')|\b[zZ][\"″]", " imaginary z ", text)
    text = re.sub(r"\b[zZ]['′](?!')", " real z ", text)
    for sign, word in SIGNS:
        text = text.replace(sign, word)
    return re.findall(r"[a-z]+", text.lower())


def column_value(read: Mapping[str, FloatArray], columns: Mapping[str, Column], lines: Sequence[int]) -> ComplexArray:
    """Complex value from real and imaginary part, or from magnitude and phase.

    Parameters
    ----------
    read : mapping
        Role to numbers, shape (n,), scaled.

    Returns
    -------
    ndarray of complex, shape (n,)
        In the unit of the columns.

    Raises
    ------
    ValueError
        If a magnitude is negative, or the header leaves open what a column is and the numbers do not tell.
    """
    if "real" in columns:
        return _joined(read["real"], read["imaginary"])
    size, phase = columns["magnitude"], columns["phase"]
    unit, number, name = size.unit, size.index + 1, size.name[:30]
    is_negative = bool(np.any(read["magnitude"] < 0))
    if unit == "dB or V/V":
        if not is_negative:
            msg = f'column {number}, "{name}", may be dB or a ratio: name it "{name} (dB)" or "{name} (V/V)"'
            raise ValueError(msg)
        unit = "dB"
    if is_negative and unit != "dB":
        line = lines[int(np.argmax(read["magnitude"] < 0))]
        msg = f'line {line}, column {number}: a magnitude below 0; if these are decibels, name the column "{name} (dB)"'
        raise ValueError(msg)
    turn = read["phase"]
    if not phase.unit and not np.any(np.abs(turn) > RADIANS_AT_MOST):
        msg = f'column {phase.index + 1}, "{phase.name[:30]}", may be degrees or radians: name it "phase (deg)" or "phase (rad)"'
        raise ValueError(msg)
    degrees = np.degrees(turn) if phase.unit == "rad" else turn
    return complex_values("db" if unit == "dB" else "ma", read["magnitude"], degrees)


def column_std(
    read: Mapping[str, FloatArray], columns: Mapping[str, Column], value: ComplexArray, *, lines: Sequence[int]
) -> FloatArray | None:
    """Stated standard deviation.

    Parameters
    ----------
    read : mapping
        Role to numbers, shape (n,), scaled.
    value : ndarray of complex, shape (n,)
        That a percentage refers to.

    Returns
    -------
    ndarray, shape (n,), or None
        In the unit of the value; None where no column states it.

    Raises
    ------
    ValueError
        If it is not above 0, or in dB.
    """
    if "std" not in columns:
        return None
    column, std = columns["std"], read["std"]
    if column.unit == "dB":
        msg = f'column {column.index + 1}, "{column.name[:30]}": a deviation in dB is not read; state it in % or in the unit'
        raise ValueError(msg)
    if np.any(std <= 0):
        line = lines[int(np.argmax(std <= 0))]
        where = f"line {line}, column {column.index + 1}"
        msg = f"{where}: a standard deviation must be above 0; leave the column out if it is not known"
        raise ValueError(msg)
    return std * np.abs(value) if column.unit == "%" else std


def column_unit(columns: Mapping[str, Column], stated: str) -> Literal["V/V", "Ω", ""]:
    """Tell the unit of the value.

    Parameters
    ----------
    stated : str
        Elsewhere in the file; empty for nothing.

    Returns
    -------
    str
        Empty where nothing says it.
    """
    units = {columns[role].unit for role in ("real", "imaginary", "magnitude") if role in columns} | {stated}
    if units & {"Ω", "ohm", "Ohm"}:
        return "Ω"
    return "V/V" if units & {"V/V", "%"} else ""


def complex_values(form: str, first: FloatArray, second: FloatArray) -> ComplexArray:
    """Complex numbers from two columns.

    Parameters
    ----------
    form : {"ri", "ma", "db"}
        Real and imaginary part; magnitude, or decibels, and degrees.
    first, second : ndarray, shape (n,)
        The columns.

    Returns
    -------
    ndarray of complex, shape (n,)
        Not finite where the columns are not.
    """
    if form == "ri":
        return _joined(first, second)
    with np.errstate(over="ignore", invalid="ignore"):
        magnitude = 10 ** (first / 20) if form == "db" else first
        turn = np.radians(second)
        return _joined(magnitude * np.cos(turn), magnitude * np.sin(turn))


# Part by part: the sum first + 1j·second would make a whole number "not a number" where one part is infinite.
def _joined(real: FloatArray, imaginary: FloatArray) -> ComplexArray:
    value = np.empty(len(real), dtype=complex)
    value.real, value.imag = real, imaginary
    return value


def shown(text: str) -> str:
    """Text of a file for a message: printable."""
    return plain_text(text.strip(), "?")


def _role_of(name: str, words: Sequence[str]) -> str | None:
    """Tell what a column is; None for one that says nothing of a response."""
    told = set(words)
    if OTHER_WORDS & told or re.search(r"\bs\d\d\b", name.lower()):
        return None
    part = next((SERIES_WORDS[word] for word in words if word in SERIES_WORDS), None)
    if part is not None and told - set(SERIES_WORDS) <= BESIDE_SERIES:
        return part
    role = next((role for role, wanted in ROLES if wanted & told), None)
    return None if role == "magnitude" and LEVEL_WORDS & told else role


def _unit_of(role: str, words: Sequence[str]) -> tuple[str, float]:
    if role == "frequency":
        return "Hz", next((HZ_SCALES[word] for word in words if word in HZ_SCALES), 1.0)
    if role == "phase":
        return ("deg" if DEGREE_WORDS & set(words) else "rad" if RADIAN_WORDS & set(words) else ""), 1.0
    if "db" in words:
        return "dB", 1.0
    if "percent" in words:
        return "%", 0.01
    ohm = next((OHM_SCALES[word] for word in words if word in OHM_SCALES), None)
    if ohm is not None:
        return "Ω", ohm
    if words.count("v") == 2:
        return "V/V", 1.0
    if OHM_WORDS & set(words):
        return "Ω", 1.0
    return ("dB or V/V" if OPEN_WORDS & set(words) else ""), 1.0
