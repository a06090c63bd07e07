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
from measure.logbook.disk import one_line, read_small
from measure.logbook.naming import check_name
from measure.logbook.rig import Rig, describe, read_rig, write_rig
from measure.logbook.store import RESULTS, Logbook, rig_path, write_result
from measure.logbook.take import parse_time
from measure.transfer.calibration import Calibration, Curve

LIMIT_BYTES = 2_000_000  # of a file; a loopback has about 30 kB
SCHEMA = "coilsweep.loopback/1"
Kind = Literal["loopback", "input", "exciter"]
CURVES = ("channels", "card")


class CurveRecord(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A curve as it is kept.

    Attributes
    ----------
    frequency_hz, real, imaginary, relative_std : list of float
        As in `measure.transfer.calibration.Curve`, all of one length.
    """

    frequency_hz: list[float]
    real: list[float]
    imaginary: list[float]
    relative_std: list[float]


class LoopbackRecord(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A calibration as it is kept; the fields are those of `measure.transfer.calibration.Calibration`.

    Attributes
    ----------
    schema : str
        Of this form.
    channels, card : CurveRecord
        Card: None where it is not known.
    gain_std, delay_std_s, rate_hz, device, pickup_channel, reference_channel, time_utc, latency_s, floor_dbfs
        As there.
    recording_sha256, simulated
        As there.
    """

    schema: Literal["coilsweep.loopback/1"] = "coilsweep.loopback/1"
    channels: CurveRecord
    card: CurveRecord | None = None
    gain_std: float
    delay_std_s: float
    rate_hz: int
    device: str
    pickup_channel: int
    reference_channel: int
    time_utc: str
    latency_s: float | None = None
    floor_dbfs: tuple[float | None, float | None] = (None, None)
    recording_sha256: tuple[str, ...] = ()
    simulated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptFile:
    """A file of results.

    Attributes
    ----------
    name : str
        In results/.
    sha256 : str
        Of its content.
    """

    name: str
    sha256: str


def encode_loopback(calibration: Calibration) -> bytes:
    """Calibration as JSON.

    Parameters
    ----------
    calibration : Calibration
        To be kept.

    Returns
    -------
    bytes
        UTF-8, one line a field.
    """
    plain: dict[str, Any] = {field.name: getattr(calibration, field.name) for field in fields(calibration)}
    for name in CURVES:
        curve = plain[name]
        plain[name] = None if curve is None else _record(curve)
    return msgspec.json.format(msgspec.json.encode(LoopbackRecord(**plain)), indent=0) + b"\n"


def decode_loopback(content: bytes, name: str) -> Calibration:
    """Calibration from JSON.

    Parameters
    ----------
    content : bytes
        Of the file.
    name : str
        Of the file, for messages.

    Returns
    -------
    Calibration
        Checked.

    Raises
    ------
    FileError
        If it is none; one line that names file and key.
    """
    try:
        record = msgspec.json.decode(content, type=LoopbackRecord)
        parse_time(record.time_utc)
        plain = {key: getattr(record, key) for key in LoopbackRecord.__struct_fields__ if key != "schema"}
        return Calibration(**(plain | {key: _curve(plain[key]) for key in CURVES if plain[key] is not None}))
    except msgspec.ValidationError as err:
        msg = f"{one_line(name)}, {describe(err, {'schema': SCHEMA})}"
    except (msgspec.DecodeError, ValueError, RecursionError) as err:
        msg = f"{one_line(name)} is not a loopback: {one_line(err)}"
    raise FileError(msg)


def keep_result(logbook: Logbook, kind: Kind, content: bytes, *, date: str) -> KeptFile:
    """Write what a calibration found to results/, under a name of its own.

    Parameters
    ----------
    logbook : Logbook
        Open.
    kind : {"loopback", "input", "exciter"}
        Begins the name.
    content : bytes
        JSON.
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
    logbook : Logbook
        Open.
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
    content = read_small(path, LIMIT_BYTES)
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
    logbook : Logbook
        Open.
    kind : {"loopback", "input", "exciter"}
        What was calibrated.
    kept : KeptFile
        Its file.
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
    path = rig_path(logbook)
    before = read_rig(path).calibration if path.exists() else None
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
    return write_rig(path, stated | dict(changes))


def _record(curve: Curve) -> CurveRecord:
    return CurveRecord(
        frequency_hz=curve.frequency_hz.tolist(),
        real=curve.value.real.tolist(),
        imaginary=curve.value.imag.tolist(),
        relative_std=curve.relative_std.tolist(),
    )


def _curve(record: CurveRecord) -> Curve:
    if len(record.real) != len(record.imaginary):
        msg = f"a curve has {len(record.real)} real and {len(record.imaginary)} imaginary parts"
        raise ValueError(msg)
    return Curve(
        frequency_hz=np.array(record.frequency_hz),
        value=np.array(record.real) + 1j * np.array(record.imaginary),
        relative_std=np.array(record.relative_std),
    )
