"""A take: its recordings, and all that was true when they were made."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

import msgspec

from measure.errors import FileError
from measure.logbook.disk import one_line
from measure.logbook.naming import RECORDING_SUFFIXES, RESPONSE_SUFFIXES, check_name
from measure.logbook.rig import Rig, describe
from measure.quantity import COLDEST_C, HOTTEST_C, parse_parts, parse_quantity
from measure.signal.stimulus import Sweep

TAKE_FILE = "take.json"
MAX_REPEATS = 100
MAX_CONTROLS = 100
MAX_FINDINGS = 1000
MAX_NOTE = 10_000  # [characters]
MAX_TEXT = 1000  # [characters] of any other text
CHOICES = {
    "schema": '"coilsweep.take/1"; a newer version of coilsweep may have made it',
    "method": '"exciter", "impedance", "plate" or "quiet"',
    "kind": '"recording" or "response"',
    "outcome": '"good", "usable" or "rejected"',
    "rig.reference.kind": '"current", "loopback" or "none"',
}
TIME_FORMAT = "2026-01-31T12:00:00.000Z"

Method = Literal["exciter", "impedance", "plate", "quiet"]
Outcome = Literal["good", "usable", "rejected"]

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


class SweepStimulus(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, tag_field="kind", tag="sweep"):
    """The exponential sweep that was played; the fields are those of `measure.signal.stimulus.Sweep`.

    Attributes
    ----------
    rate_hz : int
        Sample rate. [Hz]
    start_hz, stop_hz : float
        First and last frequency. [Hz]
    duration_s, before_s, after_s : float
        Of the sweep and the silences around it. [s]
    level : float
        Peak over full scale.
    """

    rate_hz: int
    start_hz: float
    stop_hz: float
    duration_s: float
    before_s: float
    after_s: float
    level: float

    def __post_init__(self) -> None:
        """Let the sweep check itself.

        Raises
        ------
        ValueError
            If a number is out of its range.
        """
        _sweep(self)


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


class FindingRecord(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One check of the recordings, as kept.

    Attributes
    ----------
    name : str
        Of the check.
    outcome : {"pass", "warn", "reject"}
        What it came to.
    figure : float or None
        What was judged. [`unit`]
    unit : str
        Empty for a pure number.
    advice : str
        What was found and what to do.
    """

    name: str
    outcome: Literal["pass", "warn", "reject"]
    figure: float | None = None
    unit: str = ""
    advice: str = ""


class Take(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One recording, or several repeats, with all that was true when they were made.

    Attributes
    ----------
    schema : str
        Of this form.
    name : str
        Of the take and its folder.
    method : {"exciter", "impedance", "plate", "quiet"}
        What was driven; nothing for ``"quiet"``.
    kind : {"recording", "response"}
        Recordings made here or elsewhere, or a response measured elsewhere.
    added : str
        Parts across the jack, as written, for example ``"680p±1%, 150k±1%"``; empty for none.
    controls : dict of str to str
        Control to setting, as written.
    coil_over : str or None
        Pickup that the coil stood over; None where that was not said.
    coil_moved : bool
        The coil was moved since the take before: a new placement begins.
    note : str
        For people.
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
    stimulus : SweepStimulus, FileStimulus or None
        What was played; None where that is not known, or nothing was.
    rig : Rig or None
        The rig as it was then.
    dcr : str or None
        Winding resistance from a multimeter, as written. [Ω]
    series_resistor : str or None
        Through which the jack was driven, as written; for the method impedance. [Ω]
    temperature_c : float or None
        Of the winding; None where that was not said. [°C]
    simulated : bool
        Made by the virtual bench.
    outcome : {"good", "usable", "rejected"}
        What the checks came to.
    findings : tuple of FindingRecord
        Every check that had something to say.
    tool_version : str
        That made the take.
    """

    schema: Literal["coilsweep.take/1"] = "coilsweep.take/1"
    name: str
    method: Method = "exciter"
    kind: Literal["recording", "response"] = "recording"
    added: str = ""
    controls: dict[str, str] = {}
    coil_over: str | None = None
    coil_moved: bool = False
    note: str = ""
    time_utc: str = ""
    sequence: int = 0
    recordings: tuple[RecordingFile, ...] = ()
    response_file: ResponseFile | None = None
    rate_hz: int | None = None
    stimulus: SweepStimulus | FileStimulus | None = None
    rig: Rig | None = None
    dcr: str | None = None
    series_resistor: str | None = None
    temperature_c: float | None = None
    simulated: bool = False
    outcome: Outcome = "good"
    findings: tuple[FindingRecord, ...] = ()
    tool_version: str = ""

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
        parse_parts(self.added)
        if self.dcr is not None:
            parse_quantity(self.dcr, "Ω")
        if self.series_resistor is not None:
            parse_quantity(self.series_resistor, "Ω")
        if self.time_utc:
            parse_time(self.time_utc)


def parse_time(time_utc: str) -> datetime:
    """Read the time of a take.

    Parameters
    ----------
    time_utc : str
        ISO 8601, UTC.

    Returns
    -------
    datetime
        With its time zone.

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

    Parameters
    ----------
    take : Take
        Kept or still to be kept.

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
    take : Take
        To be kept.
    sha256 : dict of str to str
        For each file of `kept_files`.

    Returns
    -------
    Take
        Changed copy.
    """
    stimulus, response = take.stimulus, take.response_file
    if isinstance(stimulus, FileStimulus):
        stimulus = msgspec.structs.replace(stimulus, sha256=sha256[stimulus.file])
    if response is not None:
        response = msgspec.structs.replace(response, sha256=sha256[response.file])
    recordings = tuple(msgspec.structs.replace(item, sha256=sha256[item.file]) for item in take.recordings)
    return msgspec.structs.replace(take, recordings=recordings, stimulus=stimulus, response_file=response)


def encode_take(take: Take) -> bytes:
    """Take as JSON for its folder.

    Parameters
    ----------
    take : Take
        To be kept.

    Returns
    -------
    bytes
        UTF-8, indented.
    """
    return msgspec.json.format(msgspec.json.encode(take), indent=2) + b"\n"


def decode_take(content: bytes, path: Path) -> Take:
    """Take from the JSON of its folder.

    Parameters
    ----------
    content : bytes
        Of take.json.
    path : Path
        For messages.

    Returns
    -------
    Take
        Checked.

    Raises
    ------
    FileError
        If it is no take, with one line that names file and key.
    """
    try:
        return msgspec.json.decode(content, type=Take)
    except msgspec.ValidationError as err:
        msg = f"{one_line(path)}, {describe(err, CHOICES)}"
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as err:
        msg = f"{one_line(path)} is not a take: {one_line(err)}"
    raise FileError(msg)


def _sweep(stimulus: SweepStimulus) -> Sweep:
    return Sweep(**msgspec.structs.asdict(stimulus))


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
    if take.temperature_c is not None and not COLDEST_C <= take.temperature_c <= HOTTEST_C:
        msg = (
            f"temperature_c: {take.temperature_c:g} is not the temperature of a winding, expected {COLDEST_C:g} to {HOTTEST_C:g}"
        )
        raise ValueError(msg)
    if take.sequence < 0:
        msg = f"sequence: {take.sequence} is below 0"
        raise ValueError(msg)


def _check_texts(take: Take) -> None:
    sizes = {
        "recordings": (len(take.recordings), MAX_REPEATS),
        "controls": (len(take.controls), MAX_CONTROLS),
        "findings": (len(take.findings), MAX_FINDINGS),
        "note": (len(take.note), MAX_NOTE),
        "tool_version": (len(take.tool_version), MAX_TEXT),
    }
    for key, (size, limit) in sizes.items():
        if size > limit:
            msg = f"{key}: {size} is more than the {limit} that a take may have"
            raise ValueError(msg)
    written = [take.tool_version, *(text for kept in take.findings for text in (kept.name, kept.unit, kept.advice))]
    if not (all(text.isprintable() for text in written) and take.note.replace("\n", "").replace("\t", "").isprintable()):
        msg = "note, findings and tool_version: expected printable text"
        raise ValueError(msg)
    for key, text in [*take.controls.items(), ("coil_over", take.coil_over or "-")]:
        if not (0 < len(key) <= MAX_TEXT and 0 < len(text) <= MAX_TEXT and (key + text).isprintable()):
            msg = f'controls and coil_over: "{one_line(key, 40)}" to "{one_line(text, 40)}": expected printable text'
            raise ValueError(msg)
