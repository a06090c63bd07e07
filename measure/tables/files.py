"""Responses as text: tables with named columns (CSV), and Touchstone version 1 files of one port. No disk here.

References
----------
Touchstone File Format Specification, version 1.1, EIA/IBIS Open Forum, 2002 (from memory): one option line ``# Hz S RI R 50``;
Z and Y parameters are normalised to R.
"""

import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from measure.response import ComplexArray, FloatArray, Response
from measure.tables.columns import (
    EXAMPLE,
    NAMELESS,
    Column,
    column_std,
    column_unit,
    column_value,
    complex_values,
    recognise_columns,
    shown,
)
from measure.tables.traces import NOT_FINITE, NUMBER, Row, Trace, find_traces, is_comment, split_names

MOST_ROWS = 50_000
PORT_SCALES = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
DEFAULT_R_OHM = 50.0  # [Ω] of an option line that does not say

_FACT = re.compile(r"\W*(unit|simulated)\s*:\s*(\S+)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class ResponseTable:
    """A response as a file states it, not judged yet: numbers may be in any order, and not finite.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        As written. [Hz]
    value : ndarray of complex, shape (n,)
        Of a ratio or an impedance. [`unit`]
    std : ndarray, shape (n,), or None
        √(var Re + var Im); None where the file states none. [`unit`]
    unit : {"V/V", "Ω", ""}
        Empty where the file does not say.
    lines : tuple of int, length n
        Line of the file that each point stands in, from 1.
    unused : tuple of str
        Columns that were not used.
    """

    frequency_hz: FloatArray
    value: ComplexArray
    std: FloatArray | None = None
    unit: Literal["V/V", "Ω", ""] = ""
    lines: tuple[int, ...]
    simulated: bool = False
    unused: tuple[str, ...] = ()


def parse_csv(text: str) -> ResponseTable:
    r"""Read a table with named columns.

    Parameters
    ----------
    text : str
        Separated by tab, semicolon, comma or spaces; a decimal comma not with the third. Lines that begin with # ! % * ; or //
        are comments; the columns may be named in the last of them. Other words above and below the numbers are left alone. Of
        several traces one may be a response, or all of them together, at the same frequencies.

    Raises
    ------
    ValueError
        If it is no such table; one line that names line and column.

    Examples
    --------
    >>> parse_csv("frequency (kHz);gain (dB);phase (deg)\n1;-20;90\n2;0;0").value.round(9)
    array([0.+0.1j, 1.+0.j ])
    """
    traces, separator = find_traces(text)
    if not traces:
        msg = (
            f"no line of numbers separated by comma, semicolon, tab or spaces; expected for example {EXAMPLE} and lines below it"
        )
        raise ValueError(msg)
    n_rows = sum(len(trace.rows) for trace in traces)
    if n_rows > MOST_ROWS:
        msg = f"{n_rows} lines of numbers, at most {MOST_ROWS} are read: keep fewer frequencies"
        raise ValueError(msg)
    comments = [(number, line) for number, line in enumerate(text.splitlines(), start=1) if is_comment(line)]
    return _chosen(traces, facts=_facts(comments), separator=separator)


def format_csv(response: Response, *, comments: Sequence[str] = ()) -> str:
    """Write a response as a table that `parse_csv` reads back exactly.

    Parameters
    ----------
    comments : sequence of str
        Lines for the head, without sign.

    Returns
    -------
    str
        Frequency, real and imaginary part, magnitude in dB, phase in degrees, standard deviation √(var Re + var Im).
    """
    unit = "_ohm" if response.unit == "Ω" else ""
    head = [*comments, f"unit: {response.unit}", f"simulated: {'yes' if response.origin.simulated else 'no'}"]
    names = ("frequency_hz", f"real{unit}", f"imaginary{unit}", "magnitude_db", "phase_degree", f"standard_deviation{unit}")
    std = np.sqrt(response.covariance[:, 0, 0] + response.covariance[:, 1, 1])
    with np.errstate(divide="ignore"):
        decibel = 20 * np.log10(np.abs(response.value))
    degree = np.degrees(np.angle(response.value))
    rows = [
        f"{frequency!r},{value.real!r},{value.imag!r},{db:.4f},{phase:.4f},{one!r}"
        for frequency, value, db, phase, one in zip(
            response.frequency_hz.tolist(), response.value.tolist(), decibel.tolist(), degree.tolist(), std.tolist(), strict=True
        )
    ]
    return "\n".join([*(f"# {' '.join(line.split())}" for line in head), ",".join(names), *rows]) + "\n"


def parse_touchstone(text: str) -> ResponseTable:
    r"""Read a Touchstone file, version 1, of one port.

    Parameters
    ----------
    text : str
        S, Z or Y parameters; RI, MA or DB; Hz to GHz. Where the option line leaves something out: GHz, S, MA, R 50.

    Returns
    -------
    ResponseTable
        Impedance of the port. [Ω]

    Raises
    ------
    ValueError
        If it is no such file; one line that names the line.

    Examples
    --------
    >>> parse_touchstone("# kHz Z RI R 10000\n1 0.5 0.25\n").value
    array([5000.+2500.j])
    """
    option: _Option | None = None
    rows, lines, is_simulated = [], [], False
    for number, written in enumerate(text.splitlines(), start=1):
        line, _, comment = written.partition("!")
        is_simulated |= _facts([(number, comment)]).get("simulated") == "yes"
        words = line.split()
        if not words:
            continue
        if words[0].startswith("["):
            msg = f"line {number}: {shown(words[0][:30])} belongs to a version 2 file; only version 1 is read, write it as that"
            raise ValueError(msg)
        if words[0].startswith("#"):
            # the standard: option lines after the first are ignored
            option = option or _option(number, line.replace("#", " ", 1).split())
            continue
        if option is None:
            msg = f"line {number}: numbers before the option line; expected one such as # Hz Z RI R 50"
            raise ValueError(msg)
        rows.append(_port_row(number, words))
        lines.append(number)
    if option is None or not rows:
        what = "option line such as # Hz Z RI R 50" if option is None else "line of three numbers"
        msg = f"no {what} in the file; expected a Touchstone file of one port"
        raise ValueError(msg)
    frequency, first, second = np.array(rows).T
    value = _impedance(complex_values(option.form, first, second), option)
    with np.errstate(over="ignore"):  # found by the checks, as what is written without an end
        frequency_hz = frequency * option.scale_hz
    return ResponseTable(frequency_hz=frequency_hz, value=value, unit="Ω", lines=tuple(lines), simulated=is_simulated)


def format_touchstone(
    frequency_hz: FloatArray, impedance: ComplexArray, *, reference_ohm: float = 10e3, comments: Sequence[str] = ()
) -> str:
    """Write an impedance as a Touchstone file, version 1, of one port: Z parameters with 12 digits.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising. [Hz]
    impedance : ndarray of complex, shape (n,)
        Of the port. [Ω]
    reference_ohm : float
        R, that the numbers are divided by. [Ω]
    comments : sequence of str
        Lines for the head, without sign.
    """
    ratio = np.asarray(impedance) / reference_ohm
    rows = [
        f"{f:.11e} {z.real:.11e} {z.imag:.11e}" for f, z in zip(np.asarray(frequency_hz).tolist(), ratio.tolist(), strict=True)
    ]
    head = [f"! {' '.join(line.split())}" for line in comments]
    return "\n".join([*head, f"# Hz Z RI R {reference_ohm:g}", *rows]) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Option:
    """What the option line of a Touchstone file says."""

    scale_hz: float
    parameter: str  # s, z or y
    form: str  # ri, ma or db
    reference_ohm: float


def _option(number: int, words: Sequence[str]) -> _Option:
    scale_hz, parameter, form, reference_ohm = 1e9, "s", "ma", DEFAULT_R_OHM
    left = [word.lower() for word in words]
    while left:
        word = left.pop(0)
        if word in PORT_SCALES:
            scale_hz = PORT_SCALES[word]
        elif word in ("s", "z", "y"):
            parameter = word
        elif word in ("ri", "ma", "db"):
            form = word
        elif word == "r" and left and NUMBER.fullmatch(left[0]) and 0 < _plain(left[0]) < math.inf:
            reference_ohm = _plain(left.pop(0))
        else:
            what = {"r": "R without a resistance above 0", "g": "G parameters, of two ports", "h": "H parameters, of two ports"}
            msg = f"line {number}: {what.get(word, repr(word[:20]))} in the option line; expected for example # Hz Z RI R 50"
            raise ValueError(msg)
    return _Option(scale_hz=scale_hz, parameter=parameter, form=form, reference_ohm=reference_ohm)


def _port_row(number: int, words: Sequence[str]) -> list[float]:
    if len(words) != 3:
        msg = f"line {number}: {len(words)} numbers, expected 3 (frequency and one complex number): a file of one port is needed"
        raise ValueError(msg)
    return [_number(word, number=number, column=place) for place, word in enumerate(words, start=1)]


def _impedance(value: ComplexArray, option: _Option) -> ComplexArray:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if option.parameter == "z":
            ratio = value
        elif option.parameter == "y":
            ratio = 1 / value
        else:
            ratio = (1 + value) / (1 - value)
        return option.reference_ohm * ratio


def _facts(comments: Sequence[tuple[int, str]]) -> dict[str, str]:
    found = (match for _, line in comments if (match := _FACT.fullmatch(line)) is not None)
    return {match[1].lower(): match[2] for match in found}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Headed:
    """A trace, and what its columns are; `slip` says why they are no response."""

    trace: Trace
    columns: dict[str, Column]
    names: list[str]
    unused: tuple[str, ...] = ()
    slip: str = ""


def _chosen(traces: Sequence[Trace], *, facts: dict[str, str], separator: str) -> ResponseTable:
    """Read the one trace of several that holds a response.

    Raises
    ------
    ValueError
        If none does, or more than one: which is meant would be a guess.
    """
    headed: list[_Headed] = []
    for trace in traces:
        one = _headed(trace, separator)
        before = headed[-1] if headed else None
        if before is not None and not one.names:  # no names of its own: goes on where the one before ended, or is another like it
            if _rises(before, trace):
                before.trace.rows.extend(trace.rows)
                continue
            one = replace(before, trace=trace)
        headed.append(one)
    whole = [one for one in headed if not one.slip]
    used = whole[:1] or _side_by_side(headed)
    whole = whole or _together(used)
    if not whole:
        raise ValueError(headed[0].slip)
    tables = [_table(one.trace.rows, one, facts=facts, separator=separator) for one in whole]
    others = [table for table in tables[1:] if not _is_same(table, tables[0])]
    if others:
        first, second = tables[0].lines, others[0].lines
        end = max(table.lines[-1] for table in tables)
        msg = (
            f"line {second[0]}: another trace begins, and a take is one: to keep the first ({len(first)} frequencies) cut lines "
            f"{first[-1] + 1} to {end}"
        )
        raise ValueError(msg)
    left = [one.trace.rows for one in headed if one not in used]
    unused = (*tables[0].unused, *(f"lines {rows[0][0]} to {rows[-1][0]}" for rows in left))
    return replace(tables[0], unused=unused)


def _headed(trace: Trace, separator: str) -> _Headed:
    """Find the line that names the columns of a trace: the nearest above that does, words before comments."""
    width, slip = len(trace.rows[0][1]), ""
    for number, ways in _heads(trace, separator):
        for names in ways:
            if len(names) < 2:
                continue
            try:
                columns, unused = recognise_columns(names)
            except ValueError as err:
                slip = slip or f"line {number}: {err}"
                continue
            if len(names) == width or not slip:
                return _Headed(trace=trace, columns=columns, names=names, unused=unused)
    if slip:
        names = next((names for _, ways in _heads(trace, separator) for names in ways if len(names) == width), [""] * width)
        return _Headed(trace=trace, columns={}, names=names, slip=slip)
    number = trace.words[-1][0] if trace.words else trace.rows[0][0]
    return _Headed(trace=trace, columns={}, names=[], slip=f"line {number}: {NAMELESS}")


def _heads(trace: Trace, separator: str) -> Iterator[tuple[int, Iterator[list[str]]]]:
    """Lines that may name the columns, each in the ways it may be split; two together where units have one of their own."""
    words = trace.words
    if words:
        yield words[-1][0], split_names(*words[-1], separator)
    if len(words) > 1:
        pairs = zip(split_names(*words[-2], separator), split_names(*words[-1], separator), strict=False)
        joined = (
            [f"{name} ({unit})" for name, unit in zip(*pair, strict=True)] for pair in pairs if len(pair[0]) == len(pair[1])
        )
        yield words[-1][0], joined
    for number, line in (*words[-2::-1], *trace.comments[::-1]):
        yield number, split_names(number, line, separator)


def _rises(before: _Headed, trace: Trace) -> bool:
    """See whether a run of numbers goes on where the one before ended."""
    place = before.columns["frequency"].index if "frequency" in before.columns else 0
    last, first = (row[place] if place < len(row) else "" for row in (before.trace.rows[-1][1], trace.rows[0][1]))
    if len(trace.rows[0][1]) != len(before.trace.rows[0][1]) or not (NUMBER.fullmatch(last) and NUMBER.fullmatch(first)):
        return False
    return _plain(first) > _plain(last)


def _side_by_side(headed: Sequence[_Headed]) -> list[_Headed]:
    """Find traces that may hold a part of the response each: all at the same frequencies."""
    first = headed[0].trace.rows
    same = [one for one in headed if len(one.names) > 1 and len(one.trace.rows) == len(first)]
    if len(same) < 2 or any(
        [row[0] for _, row in one.trace.rows] != [row[0] for _, row in first]
        or {len(row) for _, row in one.trace.rows} != {len(one.names)}
        for one in same
    ):
        return []
    return same


def _together(same: Sequence[_Headed]) -> list[_Headed]:
    """Put traces at the same frequencies together; none where they are no response even so."""
    if not same:
        return []
    names = same[0].names + [name for one in same[1:] for name in one.names[1:]]
    rows = [
        (number, row + [cell for one in same[1:] for cell in one.trace.rows[place][1][1:]])
        for place, (number, row) in enumerate(same[0].trace.rows)
    ]
    try:
        columns, unused = recognise_columns(names)
    except ValueError:
        return []
    return [_Headed(trace=Trace(rows=rows, words=[], comments=[]), columns=columns, names=names, unused=unused)]


def _is_same(one: ResponseTable, other: ResponseTable) -> bool:
    return np.array_equal(one.frequency_hz, other.frequency_hz) and np.array_equal(one.value, other.value)


def _table(rows: Sequence[Row], headed: _Headed, *, facts: dict[str, str], separator: str) -> ResponseTable:
    columns = headed.columns
    for number, row in rows:
        if len(row) != len(headed.names):
            msg = f"line {number}: {len(row)} columns, but {len(headed.names)} are named"
            raise ValueError(msg)
    numbers = [number for number, _ in rows]
    as_point = _decimal_sign(rows, columns, separator)
    with np.errstate(over="ignore"):
        read: dict[str, FloatArray] = {
            role: column.scale
            * np.array([_number(as_point(row[column.index]), number=number, column=column.index + 1) for number, row in rows])
            for role, column in columns.items()
        }
    value = column_value(read, columns, numbers)
    return ResponseTable(
        frequency_hz=read["frequency"],
        value=value,
        std=column_std(read, columns, value, lines=numbers),
        unit=column_unit(columns, facts.get("unit", "")),
        lines=tuple(numbers),
        simulated=facts.get("simulated", "").lower() == "yes",
        unused=headed.unused,
    )


def _decimal_sign(rows: Sequence[Row], columns: dict[str, Column], separator: str) -> Callable[[str], str]:
    """How a cell becomes a number with a decimal point.

    Raises
    ------
    ValueError
        If both signs occur: which one is the decimal sign would be a guess.
    """
    points, commas = [0], [0]
    for number, row in rows if separator != "," else ():
        for column in columns.values():
            points += [number] * ("." in row[column.index])
            commas += [number] * ("," in row[column.index])
    if len(points) > 1 and len(commas) > 1:
        msg = f"a decimal point in line {points[1]} and a comma in line {commas[1]}: write numbers one way, without thousands"
        raise ValueError(msg)
    return (lambda cell: cell.replace(",", ".", 1)) if len(commas) > 1 else (lambda cell: cell)


# Some programs write 1.5D+03.
def _plain(cell: str) -> float:
    return float(cell.lower().replace("d", "e"))


def _number(cell: str, *, number: int, column: int) -> float:
    if NUMBER.fullmatch(cell):
        return _plain(cell)
    if NOT_FINITE.fullmatch(cell):
        return math.nan  # kept, and found by the checks, which name all such lines
    wrong = f': "{shown(cell[:20])}" is not a number' if cell else ": empty"
    msg = f"line {number}, column {column}{wrong}"
    raise ValueError(msg)
