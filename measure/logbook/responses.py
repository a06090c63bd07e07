"""Responses measured elsewhere: from the file that a take keeps to a Response, and its checks."""

import codecs
import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np

from measure.checks.causality import judge_causal
from measure.checks.judgement import Judgement
from measure.checks.table import ASSUMED_STD, judge_table, used_points
from measure.errors import FileError
from measure.logbook.conditions import Method
from measure.logbook.disk import one_line, read_small
from measure.logbook.store import Logbook, kept_path
from measure.logbook.take import Take
from measure.response import Origin, Response, Unit
from measure.tables.files import ResponseTable, parse_csv, parse_touchstone

LIMIT_BYTES = 8_000_000  # of a file; the most that is read has some 5 MB
METHOD_UNITS: dict[Method, Unit] = {"exciter": "V/V", "plate": "V/V", "impedance": "Ω"}
UNIT_WORDS = {"V/V": "pickup over reference", "Ω": "impedance at the jack"}


def response_of_take(logbook: Logbook, take: Take, *, is_whole: bool = False) -> Response:
    """Response measured elsewhere that a take keeps, read again from its file after a look that it is unchanged.

    Parameters
    ----------
    is_whole : bool
        With every frequency of the file; without it, those that a fit uses.

    Returns
    -------
    Response
        In ohms for the method impedance, else a ratio; its standard deviation as the file states it, or as assumed. The
        origin has no sample rate.

    Raises
    ------
    FileError
        If the file is missing, changed, or may not be used.
    """
    looked = look_at_file(logbook, take)
    if looked.response is None:
        reasons = "; ".join(finding.text for finding in looked.findings if finding.severity == "reject")
        msg = f'the response of the take "{take.name}" cannot be used: {one_line(reasons, 1000)}'
        raise FileError(msg)
    return looked.response if is_whole else _as_used(looked.response)


def look_at_file(logbook: Logbook, take: Take) -> Judgement:
    """Read and check the response that a take keeps.

    Returns
    -------
    Judgement
        With the response where it may be used.

    Raises
    ------
    FileError
        If the take keeps none, or the file is missing or changed.
    """
    if take.response_file is None:
        msg = f'the take "{take.name}" holds recordings, not a response measured elsewhere'
        raise FileError(msg)
    path = kept_path(logbook, take, take.response_file.file)
    origin = Origin(
        tool_version=take.tool_version,
        time_utc=take.time_utc,
        device=f"measured elsewhere, {path.name}",
        recording_sha256=(take.response_file.sha256,),
        simulated=take.simulated,
    )
    return look_at_table(
        read_table(path, below=logbook.path, sha256=take.response_file.sha256)[0], method=take.conditions.method, origin=origin
    )


def read_table(path: Path, *, below: Path | None = None, sha256: str = "") -> tuple[ResponseTable, bytes]:
    """Read a file with a response; the suffix says which kind.

    Parameters
    ----------
    path : Path
        .csv or .txt for a table, .s1p for Touchstone.
    below : Path or None
        As for `open_plain`.
    sha256 : str
        That it has to have; empty: any.

    Raises
    ------
    FileError
        If it cannot be read, or has another digest; one line that names file, line and column.
    """
    suffix = path.suffix.lower()
    if suffix not in (".csv", ".txt", ".s1p"):
        msg = f"{one_line(path.name)}: a response is read from .csv, .txt (a table) or .s1p (Touchstone of one port)"
        raise FileError(msg)
    content = read_small(path, LIMIT_BYTES, below=below)
    if sha256 and hashlib.sha256(content).hexdigest() != sha256:
        msg = f"{one_line(path)} has changed since the take was made"
        raise FileError(msg)
    try:
        return (parse_touchstone if suffix == ".s1p" else parse_csv)(_text(content)), content
    except ValueError as err:
        msg = f"{one_line(path.name)}, {err}"
        raise FileError(msg) from None


def look_at_table(table: ResponseTable, *, method: Method, origin: Origin) -> Judgement:
    """Check a response measured elsewhere.

    Parameters
    ----------
    method : str
        How it is said to have been measured.

    Returns
    -------
    Judgement
        With the response where nothing is wrong.

    Raises
    ------
    FileError
        If the file states another unit than the method gives, or the method gives no response.
    """
    unit = METHOD_UNITS.get(method)
    if unit is None:
        msg = f'a take of the method "{method}" has no response: import its recording'
        raise FileError(msg)
    if table.unit not in ("", unit):
        other = "impedance" if table.unit == "Ω" else "exciter"
        msg = (
            f"the file holds {UNIT_WORDS[table.unit]} ({table.unit}), but the method is {method}: import it with --method {other}"
        )
        raise FileError(msg)
    table = _without_dc(table)
    findings = judge_table(table, is_impedance=unit == "Ω")
    if any(finding.severity == "reject" for finding in findings):
        return Judgement(findings=findings)
    std = ASSUMED_STD * np.abs(table.value) if table.std is None else table.std
    response = Response(
        frequency_hz=table.frequency_hz,
        value=table.value,
        covariance=(std**2 / 2)[:, None, None] * np.eye(2),
        unit=unit,
        origin=replace(origin, simulated=origin.simulated or table.simulated),
    )
    findings = (*findings, judge_causal(_as_used(response)))
    warnings = tuple(finding for finding in findings if finding.severity == "warn")
    if findings[-1].severity == "reject":
        return Judgement(findings=findings)
    return Judgement(findings=findings, response=replace(response, findings=warnings))


def _as_used(response: Response) -> Response:
    """Only the frequencies that a fit uses."""
    kept = used_points(response.frequency_hz)
    return replace(
        response, frequency_hz=response.frequency_hz[kept], value=response.value[kept], covariance=response.covariance[kept]
    )


# Some programs write UTF-8, some two bytes a sign, others one; a degree sign in a header must not be what stops them.
def _text(content: bytes) -> str:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16", errors="replace")
    if b"\0" in content:
        msg = "not a text file"
        raise ValueError(msg)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


# Many analysers write a first line at 0 Hz, where a response says nothing about a coil.
def _without_dc(table: ResponseTable) -> ResponseTable:
    if len(table.frequency_hz) < 2 or table.frequency_hz[0] != 0:
        return table
    std = None if table.std is None else table.std[1:]
    return replace(table, frequency_hz=table.frequency_hz[1:], value=table.value[1:], std=std, lines=table.lines[1:])
