"""A take: the conditions it was made under, what was recorded, and what the checks found.

take.json is flat: the conditions stand beside the rest, and a finding has other keys than here (`FINDING_KEYS`).
"""

import math
import re
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

import msgspec

from measure.logbook.conditions import MAX_TEXT, Conditions
from measure.logbook.disk import one_line
from measure.logbook.naming import RECORDING_SUFFIXES, RESPONSE_SUFFIXES, check_name
from measure.logbook.rig import Rig
from measure.response import Finding, Outcome
from measure.signal.stimulus import Sweep
from measure.text import plain_text

TAKE_FILE = "take.json"
MAX_REPEATS = 100
MAX_FINDINGS = 1000
MAX_AMENDED = 1000
CHOICES = {
    "schema": '"coilsweep.take/1"; a newer version of coilsweep may have made it',
    "method": '"exciter", "impedance", "plate" or "quiet"',
    "kind": '"recording" or "response"',
    "outcome": '"good", "usable" or "rejected"',
    "rig.reference.kind": '"current", "loopback" or "none"',
}
TIME_FORMAT = "2026-01-31T12:00:00.000Z"

# What take.json calls the fields of a finding.
FINDING_KEYS = {"code": "name", "severity": "outcome", "figure": "figure", "unit": "unit", "text": "advice"}

# Written only where they say something: older versions know no such keys.
LATER_KEYS = ("is_after", "item", "operator", "amended")

_SHA256 = re.compile(r"[0-9a-f]{64}")


class RecordingFile(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One recording of a take.

    Attributes
    ----------
    file : str
        Name in the take's folder.
    pickup_channel : int
        Counts from 1.
    reference_channel : int or None
        Counts from 1; None where the reference was not recorded.
    sha256 : str
        Of the file; empty until it is kept.
    """

    file: str
    pickup_channel: int = 1
    reference_channel: int | None = 2
    sha256: str = ""

    def __post_init__(self) -> None:
        """Check name, channels and hash.

        Raises
        ------
        ValueError
            If one is wrong.
        """
        _check_file(self.file, self.sha256, RECORDING_SUFFIXES)
        channels = [self.pickup_channel, *([] if self.reference_channel is None else [self.reference_channel])]
        if min(channels) < 1 or len(set(channels)) != len(channels):
            msg = f"channels {channels} of {self.file}: expected two different ones, counted from 1"
            raise ValueError(msg)


class ResponseFile(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A response that was measured elsewhere.

    Attributes
    ----------
    file : str
        Name in the take's folder.
    sha256 : str
        Of the file; empty until it is kept.
    """

    file: str
    sha256: str = ""

    def __post_init__(self) -> None:
        """Check name and hash.

        Raises
        ------
        ValueError
            If one is wrong.
        """
        _check_file(self.file, self.sha256, RESPONSE_SUFFIXES)


class FileStimulus(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, tag_field="kind", tag="file"):
    """A file that was played.

    Attributes
    ----------
    file : str
        Name in the take's folder.
    sha256 : str
        Of the file; empty until it is kept.
    """

    file: str
    sha256: str = ""

    def __post_init__(self) -> None:
        """Check name and hash.

        Raises
        ------
        ValueError
            If one is wrong.
        """
        _check_file(self.file, self.sha256, RECORDING_SUFFIXES)


class Amendment(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What was stated of a take otherwise before; the recordings stayed as they are.

    Attributes
    ----------
    time_utc : str
        When it was changed, ISO 8601 with Z.
    key : str
        "name", or one of the conditions.
    before, after : str, float, bool, dict or None
        Old and new value; a number is a temperature. [°C]
    """

    time_utc: str
    key: str
    before: str | float | bool | dict[str, str] | None
    after: str | float | bool | dict[str, str] | None

    def __post_init__(self) -> None:
        """Check time and key.

        Raises
        ------
        ValueError
            If one is wrong.
        """
        parse_time(self.time_utc)
        if self.key not in ("name", *Conditions.__struct_fields__):
            msg = f'amended: "{one_line(self.key, 40)}" is nothing that a take states'
            raise ValueError(msg)


class Take(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One recording, or several repeats, or a response measured elsewhere, with all that was true when they were made.

    Attributes
    ----------
    kind : {"recording", "response"}
        Recordings made here or elsewhere, or a response measured elsewhere.
    time_utc : str
        When it was made, ISO 8601 with Z; empty until it is kept.
    sequence : int
        Rises from take to take of a logbook; 0 until it is kept.
    recordings : tuple of RecordingFile
        Repeats; none for a response measured elsewhere.
    response_file : ResponseFile or None
        For a response measured elsewhere.
    rate_hz : int or None
        Sample rate of the recordings. [Hz]
    stimulus : Sweep, FileStimulus or None
        What was played; None where that is not known, or nothing was.
    rig : Rig or None
        The rig as it was then.
    simulated : bool
        Made by the virtual bench.
    findings : tuple of Finding
        Every check that had something to say.
    amended : tuple of Amendment
        What was changed since, the oldest first.
    """

    schema: Literal["coilsweep.take/1"] = "coilsweep.take/1"
    name: str
    conditions: Conditions = Conditions()
    kind: Literal["recording", "response"] = "recording"
    time_utc: str = ""
    sequence: int = 0
    recordings: tuple[RecordingFile, ...] = ()
    response_file: ResponseFile | None = None
    rate_hz: int | None = None
    stimulus: Sweep | FileStimulus | None = None
    rig: Rig | None = None
    simulated: bool = False
    outcome: Outcome = "good"
    findings: tuple[Finding, ...] = ()
    tool_version: str = ""
    amended: tuple[Amendment, ...] = ()

    def __post_init__(self) -> None:
        """Check everything once.

        Raises
        ------
        ValueError
            If something is wrong; the message names it.
        """
        check_name(self.name)
        _check_content(self)
        _check_texts(self)
        if self.time_utc:
            parse_time(self.time_utc)

    @property
    def hears_input(self) -> bool:
        """Cable and input were connected; they were not where an impedance was measured elsewhere."""
        return self.conditions.method != "impedance" or self.kind == "recording"


def parse_time(time_utc: str) -> datetime:
    """Read the time of a take.

    Parameters
    ----------
    time_utc : str
        ISO 8601, UTC.

    Raises
    ------
    ValueError
        If it is anything else.
    """
    try:
        time = datetime.fromisoformat(time_utc if len(time_utc) <= MAX_TEXT else "")
    except ValueError:
        time = None
    if time is None or time.utcoffset() != timedelta(0):
        msg = f'time_utc "{one_line(time_utc, 40)}" is not a time in UTC such as {TIME_FORMAT}'
        raise ValueError(msg)
    return time


def time_now() -> str:
    """Time of day in the form that takes keep.

    Returns
    -------
    str
        ISO 8601 with Z, to the millisecond.
    """
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def kept_files(take: Take) -> dict[str, str]:
    """All files of a take but take.json.

    Returns
    -------
    dict of str to str
        Name to SHA-256, empty where it is not known yet.
    """
    extra = [item for item in (take.response_file, take.stimulus) if isinstance(item, ResponseFile | FileStimulus)]
    return {item.file: item.sha256 for item in [*take.recordings, *extra]}


def with_sha256(take: Take, sha256: dict[str, str]) -> Take:
    """Take with the hashes of its files filled in.

    Parameters
    ----------
    sha256 : dict of str to str
        For each file of `kept_files`.
    """
    stimulus, response = take.stimulus, take.response_file
    if isinstance(stimulus, FileStimulus):
        stimulus = msgspec.structs.replace(stimulus, sha256=sha256[stimulus.file])
    if response is not None:
        response = msgspec.structs.replace(response, sha256=sha256[response.file])
    recordings = tuple(msgspec.structs.replace(item, sha256=sha256[item.file]) for item in take.recordings)
    return msgspec.structs.replace(take, recordings=recordings, stimulus=stimulus, response_file=response)


def encode_take(take: Take) -> bytes:
    """Take as the JSON of its folder, UTF-8, indented; a figure that is not finite becomes null."""
    document: dict[str, Any] = {"schema": take.schema, "name": take.name} | msgspec.structs.asdict(take.conditions)
    document |= {key: getattr(take, key) for key in Take.__struct_fields__ if key != "conditions"}
    for key in LATER_KEYS:
        if not document[key]:
            del document[key]
    document["findings"] = [{key: _plain(getattr(one, own)) for own, key in FINDING_KEYS.items()} for one in take.findings]
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def decode_take(content: bytes) -> Take:
    """Take from the JSON of its folder; raises what `measure.logbook.disk.reading` puts in words."""
    return _take(msgspec.json.decode(content))


def _plain(value: str | float | None) -> str | float | None:
    if value is None or isinstance(value, str):
        return value
    return float(value) if math.isfinite(value) else None


def _take(document: object) -> Take:
    if not isinstance(document, dict):
        return msgspec.convert(document, Take)  # it says what is wrong
    _require("conditions" not in document, "Object contains unknown field `conditions`")
    stated = {key: document.pop(key) for key in Conditions.__struct_fields__ if key in document}
    findings, stimulus = document.get("findings"), document.get("stimulus")
    if isinstance(findings, list):
        document["findings"] = [_finding(one) for one in findings]
    if isinstance(stimulus, dict) and stimulus.get("kind") == "sweep":
        for key in Sweep.__struct_fields__:  # the defaults are for sweeps that are still to be made
            _require(key in stimulus, f"Object missing required field `{key}` - at `$.stimulus`")
    try:
        return msgspec.convert(document | {"conditions": stated}, Take)
    except msgspec.ValidationError as err:
        raise msgspec.ValidationError(_as_written(str(err))) from None


def _require(is_good: bool, what: str) -> None:
    if not is_good:
        raise msgspec.ValidationError(what)


def _finding(document: object) -> object:
    if not isinstance(document, dict):
        return document
    for key in document:
        _require(key in FINDING_KEYS.values(), f"Object contains unknown field `{key}` - at `$.findings`")
    return {own: document[key] for own, key in FINDING_KEYS.items() if key in document}


def _as_written(text: str) -> str:
    text = text.replace("$.conditions", "$")
    for own, key in FINDING_KEYS.items():
        text = re.sub(rf"( at `\$\.findings\[\d+\])\.{own}`", rf"\1.{key}`", text)
        text = re.sub(rf"`{own}`( - at `\$\.findings\[)", rf"`{key}`\1", text)
    return text


def _check_file(file: str, sha256: str, suffixes: tuple[str, ...]) -> None:
    check_name(file)
    if not file.endswith(suffixes):
        msg = f"file {file}: expected a name that ends in {', '.join(suffixes)}"
        raise ValueError(msg)
    if sha256 and not _SHA256.fullmatch(sha256):
        msg = f"sha256 of {file}: expected 64 hexadecimal digits"
        raise ValueError(msg)


def _check_content(take: Take) -> None:
    if take.kind == "recording" and (not take.recordings or take.response_file is not None or take.rate_hz is None):
        msg = "recordings: a take of recordings needs them and their rate_hz, and no response_file"
        raise ValueError(msg)
    if take.kind == "response" and (take.recordings or take.response_file is None):
        msg = "response_file: a take that is a response measured elsewhere needs it, and no recordings"
        raise ValueError(msg)
    extra = (take.response_file is not None) + isinstance(take.stimulus, FileStimulus)
    if len(kept_files(take)) != len(take.recordings) + extra:
        msg = "recordings: two files of the take have the same name"
        raise ValueError(msg)
    if take.rate_hz is not None and not 1000 <= take.rate_hz <= 10_000_000:
        msg = f"rate_hz: {take.rate_hz} is not a sample rate"
        raise ValueError(msg)
    if take.sequence < 0:
        msg = f"sequence: {take.sequence} is below 0"
        raise ValueError(msg)


def _check_texts(take: Take) -> None:
    sizes = {
        "recordings": (len(take.recordings), MAX_REPEATS),
        "findings": (len(take.findings), MAX_FINDINGS),
        "amended": (len(take.amended), MAX_AMENDED),
        "tool_version": (len(take.tool_version), MAX_TEXT),
    }
    for key, (size, limit) in sizes.items():
        if size > limit:
            msg = f"{key}: {size} is more than the {limit} that a take may have"
            raise ValueError(msg)
    written = [take.tool_version, *(text for one in take.findings for text in (one.code, one.unit, one.text))]
    if any(plain_text(text) != text for text in written):
        msg = "findings and tool_version: expected printable text"
        raise ValueError(msg)
