"""Calibrations on the disk: the curves of a loopback in results/, and what [calibration] of rig.toml says of them.

A curve's file has a name of its own and is never changed: older takes keep the name and the SHA-256 of the one they were made
under in their copy of the rig.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

import msgspec
import numpy as np

from measure.errors import FileError
from measure.logbook.disk import one_line, read_small, reading
from measure.logbook.naming import check_name
from measure.logbook.rig import Rig, read_rig, write_rig
from measure.logbook.store import RESULTS, Logbook, rig_path, write_result
from measure.logbook.take import parse_time
from measure.logbook.writers import one_writer
from measure.transfer.calibration import Calibration, Curve

LIMIT_BYTES = 2_000_000  # of a file; a loopback has about 30 kB
SCHEMA = "coilsweep.loopback/1"
Kind = Literal["loopback", "input", "exciter"]
CURVES = ("channels", "card")


class CurvePoints(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A `measure.transfer.calibration.Curve` as JSON has it, which knows no complex numbers; lists of one length."""

    frequency_hz: list[float]
    real: list[float]
    imaginary: list[float]
    relative_std: list[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """A file of results."""

    name: str
    sha256: str


def encode_loopback(calibration: Calibration) -> bytes:
    """Calibration as JSON, one line a field."""
    plain: dict[str, Any] = {"schema": SCHEMA} | {field.name: getattr(calibration, field.name) for field in fields(calibration)}
    for name in CURVES:
        plain[name] = None if plain[name] is None else _points(plain[name])
    return msgspec.json.format(msgspec.json.encode(plain), indent=0) + b"\n"


def decode_loopback(content: bytes, name: str) -> Calibration:
    """Calibration from the JSON of the file of that name.

    Raises
    ------
    FileError
        If it is none; one line that names file and key.
    """
    with reading(name, "a loopback", {"schema": SCHEMA}):
        return _calibration(msgspec.json.decode(content, type=dict[str, Any]))


def _calibration(plain: dict[str, Any]) -> Calibration:
    names = {"schema", *(field.name for field in fields(Calibration))}
    for says, keys in (("missing required field", names - set(plain)), ("contains unknown field", set(plain) - names)):
        if keys:
            msg = f"Object {says} `{min(keys)}`"
            raise msgspec.ValidationError(msg)
    if plain.pop("schema") != SCHEMA:
        msg = "Invalid enum value - at `$.schema`"
        raise msgspec.ValidationError(msg)
    parse_time(msgspec.convert(plain["time_utc"], str))
    return msgspec.convert(plain | {key: _curve(plain[key], key) for key in CURVES}, Calibration)


def keep_result(logbook: Logbook, kind: Kind, content: bytes, *, date: str) -> KeptFile:
    """Write what a calibration found to results/, under a name of its own.

    Parameters
    ----------
    date : str
        ISO 8601; its day stands in the name.

    Returns
    -------
    KeptFile
        Name and SHA-256; the same content has the same name.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    name = f"{kind}-{date[:10]}-{sha256[:12]}.json"
    write_result(logbook, name, content)
    return KeptFile(name=name, sha256=sha256)


def read_loopback(logbook: Logbook, rig: Rig | None) -> Calibration | None:
    """Calibration that a rig names, after a look that its file is unchanged.

    Parameters
    ----------
    rig : Rig or None
        The present one, or that of a take.

    Returns
    -------
    Calibration or None
        None where the rig names none.

    Raises
    ------
    FileError
        If the file is missing, changed or damaged.
    """
    stated = None if rig is None else rig.calibration
    if stated is None or stated.loopback is None:
        return None
    try:
        check_name(stated.loopback)
    except ValueError as err:
        msg = f"calibration.loopback of the rig: {err}"
        raise FileError(msg) from None
    path = logbook.path / RESULTS / stated.loopback
    content = read_small(path, LIMIT_BYTES, below=logbook.path)
    if hashlib.sha256(content).hexdigest() != stated.loopback_sha256:
        msg = f"{one_line(path)} has changed since the calibration: run coilsweep calibrate loopback again"
        raise FileError(msg)
    return decode_loopback(content, stated.loopback)


def state_calibration(
    logbook: Logbook, kind: Kind, kept: KeptFile, *, date: str, rate_hz: int, device: str, changes: Mapping[str, str | float]
) -> Rig:
    """Write [calibration] of rig.toml, and the values that were found.

    Parameters
    ----------
    date : str
        ISO 8601.
    rate_hz : int
        Of the recordings. [Hz]
    device : str
        They were made with.
    changes : mapping
        Other keys of rig.toml to their new values.

    Returns
    -------
    Rig
        As it is now on the disk. What was calibrated with another device is no longer named; input and exciter hold at any rate.
    """
    with one_writer(logbook.path):
        return write_rig(
            rig_path(logbook), _stated(logbook, kind, kept, date=date, rate_hz=rate_hz, device=device) | dict(changes)
        )


def _stated(
    logbook: Logbook, kind: Kind, kept: KeptFile, *, date: str, rate_hz: int, device: str
) -> dict[str, str | int | float | None]:
    """Say what becomes of [calibration]."""
    path = rig_path(logbook)
    before = read_rig(path, below=logbook.path).calibration if path.exists() else None
    stated: dict[str, str | int | float | None] = {"calibration.date": date, f"calibration.{kind}": kept.name}
    if kind == "loopback" or before is None or before.device != device:
        stated |= {"calibration.rate_hz": rate_hz, "calibration.device": device}
    if kind == "loopback":
        stated["calibration.loopback_sha256"] = kept.sha256
    if before is not None and before.device != device:
        others = [name for name in ("loopback", "input", "exciter") if name != kind and getattr(before, name) is not None]
        stated |= {f"calibration.{name}": None for name in others}
        if "loopback" in others:
            stated["calibration.loopback_sha256"] = None
    return stated


def _points(curve: Curve) -> CurvePoints:
    return CurvePoints(
        frequency_hz=curve.frequency_hz.tolist(),
        real=curve.value.real.tolist(),
        imaginary=curve.value.imag.tolist(),
        relative_std=curve.relative_std.tolist(),
    )


def _curve(plain: object, key: str) -> Curve | None:
    points = msgspec.convert(plain, CurvePoints | None)
    if points is None:
        return None
    if len(points.real) != len(points.imaginary):
        msg = f"{key}: a curve has {len(points.real)} real and {len(points.imaginary)} imaginary parts"
        raise ValueError(msg)
    value = np.array(points.real) + 1j * np.array(points.imaginary)
    return Curve(frequency_hz=np.array(points.frequency_hz), value=value, relative_std=np.array(points.relative_std))
