"""rig.toml: the interface, its channels, the sense resistor, the input and cable."""

import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import msgspec

from measure.errors import FileError
from measure.kinds import Kind
from measure.logbook.disk import describe, one_line, read_small, replace_file
from measure.logbook.writers import one_writer
from measure.marking import read_value
from measure.quantity import Quantity, check_origin

LIMIT_BYTES = 100_000  # a rig has about 1000
RATE_LIMITS_HZ = (8000, 768_000)  # [Hz] as the sweep's
MAX_CHANNEL = 256
CLOCK_LIMITS_PPM = (0.001, 1000.0)  # [ppm] a clock locked to an atomic one, and worse than any crystal
MAX_TEXT = 200  # [characters] of a device's name
ReferenceKind = Literal["current", "loopback", "none"]
Value = str | int | float
CHOICES = {"reference.kind": '"current", "loopback" or "none"'}

_CLOCK = re.compile(r"(?:± ?|\+-)?(?P<number>[0-9]{1,4}(?:\.[0-9]{0,6})?|\.[0-9]{1,6}) ?(?:ppm)?")

NEW_RIG = """\
# What the takes are made with. Channels count from 1; after ± stands a bound, as printed on a part or in a meter's data sheet.
# In [reference], [exciter], [input], and in [part."1n ± 1%"] for a part across the jack, source = "meter no. 3" and
# date = "2026-03-01" may say where a value is from; a report tells it.

[interface]  # clock = "20ppm", where the data sheet states it: 100 ppm is assumed otherwise

[reference]  # kind = "current": the voltage of the sense resistor is recorded; "loopback": the output itself; "none"

[input]  # what the pickup's output sees: input and cable together
"""


class Interface(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """The sound card; channels count from 1.

    Attributes
    ----------
    device, host_api : str or None
        As the system names them.
    input_device : str or None
        Where another device records.
    rate_hz : int or None
        Sample rate. [Hz]
    output_channel, pickup_channel, reference_channel : int or None
        From 1 up; pickup and reference differ.
    clock : float, str or None
        How far the sample clock may be off, a number or as people write it ("20ppm"). [ppm]
    """

    device: str | None = None
    host_api: str | None = None
    input_device: str | None = None
    rate_hz: int | None = None
    output_channel: int | None = None
    pickup_channel: int | None = None
    reference_channel: int | None = None
    clock: float | str | None = None


class ValueOrigin(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Where a value is from.

    Attributes
    ----------
    source : str or None
        Who says so: a meter, a data sheet, a certificate.
    date : str or None
        When that was, ISO 8601: a year, a month or a day.
    """

    source: str | None = None
    date: str | None = None


class Reference(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """What the reference channel records.

    Attributes
    ----------
    kind : {"current", "loopback", "none"} or None
        The sense resistor's voltage, the output itself, or nothing.
    sense_resistor : str or None
        As written, for example ``"100 ± 1%"``. [Ω]
    source, date : str or None
        Where the value of the sense resistor is from, and of which day.
    """

    kind: ReferenceKind | None = None
    sense_resistor: str | None = None
    source: str | None = None
    date: str | None = None


class Exciter(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """The driven coil.

    Attributes
    ----------
    corner_hz : float, str or None
        R / (2πL) with all that is in series, a number or as people write it ("9k ± 5%"); needed only where the current is
        not recorded. [Hz]
    source, date : str or None
        Where its value is from, and of which day.
    """

    corner_hz: float | str | None = None
    source: str | None = None
    date: str | None = None


class Input(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """Input and cable together, as the pickup's output sees them.

    Attributes
    ----------
    resistance : str or None
        As written, for example ``"1M ± 1%"``. [Ω]
    capacitance : str or None
        As written, for example ``"185p ± 3p"``. [F]
    source, date : str or None
        Where the values are from, and of which day.
    """

    resistance: str | None = None
    capacitance: str | None = None
    source: str | None = None
    date: str | None = None


class Calibration(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """When, and with what interface, what was calibrated; `measure.logbook.curves` writes and reads the files.

    Attributes
    ----------
    date : str
        Of the last calibration. ISO 8601.
    rate_hz : int
        Sample rate that it holds for. [Hz]
    device : str
        Interface that it holds for; empty where none was stated.
    loopback, input, exciter : str or None
        Files in results/ that tell what was found.
    loopback_sha256 : str or None
        Of the loopback's file, which is applied to takes.
    """

    date: str
    rate_hz: int
    device: str
    loopback: str | None = None
    loopback_sha256: str | None = None
    input: str | None = None
    exciter: str | None = None

    def __post_init__(self) -> None:
        """See that a loopback comes with its hash.

        Raises
        ------
        ValueError
            If one of the two is missing, or the hash is none.
        """
        hash_is_there = self.loopback_sha256 is not None and re.fullmatch(r"[0-9a-f]{64}", self.loopback_sha256) is not None
        if (self.loopback is not None) != hash_is_there:
            msg = "calibration.loopback_sha256: expected 64 hexadecimal digits beside calibration.loopback, and only there"
            raise ValueError(msg)


class Rig(msgspec.Struct, kw_only=True, frozen=True, forbid_unknown_fields=True, omit_defaults=True):
    """All of rig.toml; every field may still be open.

    Attributes
    ----------
    interface : Interface
        The sound card.
    reference : Reference
        What the reference channel records.
    exciter : Exciter
        The driven coil.
    input : Input
        Input and cable.
    calibration : Calibration or None
        None before the first calibration.
    part : dict of str to ValueOrigin
        Parts that are clipped across the jack, as they are written for a take, to where their values are from.
    """

    interface: Interface = Interface()
    reference: Reference = Reference()
    exciter: Exciter = Exciter()
    input: Input = Input()
    calibration: Calibration | None = None
    part: dict[str, ValueOrigin] = {}

    def __post_init__(self) -> None:
        """Check each number and quantity once.

        Raises
        ------
        ValueError
            If one is out of its range; the message begins with its key.
        """
        _check_numbers(self)
        _check_texts(self)
        for place, one in (("reference", self.reference), ("exciter", self.exciter), ("input", self.input)):
            check_origin(place, one.source, one.date)
        for part, origin in self.part.items():
            check_origin(f"part.{one_line(part, 40)}", origin.source, origin.date)
        for key, (text, kind) in _written_quantities(self).items():
            if text is not None:
                try:
                    read_value(text, kind)
                except ValueError as err:
                    msg = f"{key}: {err}"
                    raise ValueError(msg) from None


def sense_resistor(rig: Rig) -> Quantity | None:
    """Sense resistor of a rig.

    Parameters
    ----------
    rig : Rig
        As read.

    Returns
    -------
    Quantity or None
        In ohms; None where it is not stated.
    """
    return _quantity(rig, "reference.sense_resistor")


def exciter_corner(rig: Rig) -> Quantity | None:
    """Corner of a rig's exciter.

    Parameters
    ----------
    rig : Rig
        As read.

    Returns
    -------
    Quantity or None
        In hertz; None where it is not stated.
    """
    return _quantity(rig, "exciter.corner_hz")


def input_resistance(rig: Rig) -> Quantity | None:
    """Resistance of input and cable together.

    Parameters
    ----------
    rig : Rig
        As read.

    Returns
    -------
    Quantity or None
        In ohms; None where it is not stated.
    """
    return _quantity(rig, "input.resistance")


def input_capacitance(rig: Rig) -> Quantity | None:
    """Capacitance of input and cable together.

    Parameters
    ----------
    rig : Rig
        As read.

    Returns
    -------
    Quantity or None
        In farads; None where it is not stated.
    """
    return _quantity(rig, "input.capacitance")


def clock_bound(rig: Rig) -> float | None:
    """Bound of a rig's sample clock.

    Parameters
    ----------
    rig : Rig
        As read.

    Returns
    -------
    float or None
        Relative; None where it is not stated. [1]
    """
    clock = rig.interface.clock
    return None if clock is None else 1e-6 * _clock_ppm(clock)


def card_channel(rig: Rig, role: Literal["pickup", "reference"]) -> int:
    """Tell which input of the card records what.

    Parameters
    ----------
    rig : Rig
        As it is now.
    role : {"pickup", "reference"}
        What.

    Returns
    -------
    int
        From 1; where the rig states none, the first two inputs.
    """
    pickup = rig.interface.pickup_channel or (2 if rig.interface.reference_channel == 1 else 1)
    return pickup if role == "pickup" else rig.interface.reference_channel or (1 if pickup == 2 else 2)


def missing(rig: Rig, *, for_sound_card: bool = False) -> dict[str, str]:
    """List what a rig does not state yet and will be needed.

    Parameters
    ----------
    rig : Rig
        As read.
    for_sound_card : bool
        Count also what only a live take needs: device, rate and output channel.

    Returns
    -------
    dict
        Key to what it is, with an example; empty where nothing is missing.
    """
    interface, reference = rig.interface, rig.reference
    wanted: dict[str, tuple[object, str]] = {
        "reference.kind": (reference.kind, 'what the reference channel records: "current", "loopback" or "none"'),
        "input.resistance": (rig.input.resistance, 'of input and cable together, such as "1M ± 1%"'),
        "input.capacitance": (rig.input.capacitance, 'of input and cable together, such as "185p ± 3p"'),
        "interface.pickup_channel": (interface.pickup_channel, "input channel of the pickup, counted from 1"),
    }
    if reference.kind != "none":
        wanted["interface.reference_channel"] = (interface.reference_channel, "input channel of the reference, counted from 1")
    if reference.kind in ("current", None):
        wanted["reference.sense_resistor"] = (reference.sense_resistor, 'in series with the exciter, such as "100 ± 1%"')
    else:
        wanted["exciter.corner_hz"] = (rig.exciter.corner_hz, "R / (2πL) of the exciter and what is in series with it")
    if for_sound_card:
        wanted["interface.device"] = (interface.device, "name of the sound card")
        wanted["interface.rate_hz"] = (interface.rate_hz, "sample rate, such as 96000")
        wanted["interface.output_channel"] = (interface.output_channel, "output channel of the exciter, counted from 1")
    return {key: meaning for key, (value, meaning) in wanted.items() if value is None}


def read_rig(path: Path, *, below: Path | None = None) -> Rig:
    """Read and check rig.toml.

    Parameters
    ----------
    path : Path
        Of the file.
    below : Path or None
        As for `open_plain`.

    Returns
    -------
    Rig
        With what the file states.

    Raises
    ------
    FileError
        If it is missing, not TOML, or a key is unknown or wrong; one line that names file and key.
    """
    return _rig_from_text(_read_text(path, below), path)


def write_rig(path: Path, changes: Mapping[str, Value | None]) -> Rig:
    """Change some keys of rig.toml, or begin one; comments and layout of the file stay.

    Parameters
    ----------
    path : Path
        Of the file; it need not be there, and a link is replaced, not followed.
    changes : mapping
        Key such as ``"input.resistance"`` to its new value; None takes the key out.

    Returns
    -------
    Rig
        As it is now on the disk.

    Raises
    ------
    ValueError
        If a key or value is wrong; nothing is written then.
    FileError
        If the file was damaged before, or cannot be written.
    """
    with one_writer(path.parent):
        return _change_rig(path, changes)


def _change_rig(path: Path, changes: Mapping[str, Value | None]) -> Rig:
    import tomlkit

    text = _read_text(path) if path.exists() else NEW_RIG
    _rig_from_text(text, path)
    document = tomlkit.parse(text)
    for key, value in changes.items():
        section, _, name = key.partition(".")
        if section not in Rig.__struct_fields__ or not name or "." in name:
            msg = f"no key {one_line(key)} in a rig: expected one such as input.resistance"
            raise ValueError(msg)
        table = document.setdefault(section, tomlkit.table())
        if value is None:
            table.pop(name, None)
        else:
            table[name] = value
    changed = tomlkit.dumps(document)
    try:
        rig = _rig_from_text(changed, path)
    except FileError as err:
        raise ValueError(str(err)) from None
    replace_file(path, changed.encode())
    return rig


def _read_text(path: Path, below: Path | None = None) -> str:
    content = read_small(path, LIMIT_BYTES, below=below)
    try:
        return content.decode("utf-8-sig")  # some editors put a mark before the first character
    except UnicodeDecodeError as err:
        msg = f"{one_line(path)} is not UTF-8 text: byte {err.start} is {content[err.start]:#04x}"
        raise FileError(msg) from None


def _rig_from_text(text: str, path: Path) -> Rig:
    import tomlkit  # not loaded where there is no rig yet
    from tomlkit.exceptions import TOMLKitError

    try:
        tomlkit.parse(text)  # it must be writable later, so both readers have to agree that it is TOML
        return msgspec.convert(msgspec.to_builtins(tomllib.loads(text)), Rig)  # a date of TOML is kept as text
    except msgspec.ValidationError as err:
        msg = f"{one_line(path)}, {describe(err, CHOICES)}"
    except (ValueError, RecursionError, TOMLKitError) as err:
        msg = f"{one_line(path)} is not TOML: {one_line(err) if not isinstance(err, RecursionError) else 'nested too deep'}"
    raise FileError(msg)


def _check_numbers(rig: Rig) -> None:
    interface = rig.interface
    low, high = RATE_LIMITS_HZ
    rates = {"interface.rate_hz": interface.rate_hz, "calibration.rate_hz": rig.calibration.rate_hz if rig.calibration else None}
    for key, rate_hz in rates.items():
        if rate_hz is not None and not low <= rate_hz <= high:
            msg = f"{key}: {rate_hz} is not a sample rate, expected {low} to {high} Hz"
            raise ValueError(msg)
    for name in ("output_channel", "pickup_channel", "reference_channel"):
        channel = getattr(interface, name)
        if channel is not None and not 1 <= channel <= MAX_CHANNEL:
            msg = f"interface.{name}: {channel} is not a channel, expected 1 to {MAX_CHANNEL}"
            raise ValueError(msg)
    if interface.pickup_channel is not None and interface.pickup_channel == interface.reference_channel:
        msg = f"interface.reference_channel: {interface.reference_channel} is the pickup's channel too"
        raise ValueError(msg)
    if interface.clock is not None:
        _clock_ppm(interface.clock)
    corner_hz = rig.exciter.corner_hz
    if isinstance(corner_hz, float) and not 0 < corner_hz < 1e9:
        msg = f"exciter.corner_hz: {corner_hz:g} is not a corner, expected a frequency above 0 Hz"
        raise ValueError(msg)


def _clock_ppm(clock: float | str) -> float:
    match = _CLOCK.fullmatch(clock.strip(" ")) if isinstance(clock, str) and len(clock) <= MAX_TEXT else None
    ppm = float(match["number"]) if match is not None else clock if isinstance(clock, float) else math.nan
    low, high = CLOCK_LIMITS_PPM
    if not low <= ppm <= high:
        shown = f'"{one_line(clock, 40)}"' if isinstance(clock, str) else f"{clock:g}"
        msg = f'interface.clock: {shown} is not the bound of a sample clock, expected {low:g} to {high:g} ppm, such as "20ppm"'
        raise ValueError(msg)
    return ppm


def _check_texts(rig: Rig) -> None:
    sections = {"interface": msgspec.structs.asdict(rig.interface)}
    if rig.calibration is not None:
        sections["calibration"] = msgspec.structs.asdict(rig.calibration)
    for section, fields in sections.items():
        for name, text in fields.items():
            if isinstance(text, str) and (len(text) > MAX_TEXT or not text.isprintable()):
                msg = f"{section}.{name}: expected at most {MAX_TEXT} printable characters"
                raise ValueError(msg)


def _written_quantities(rig: Rig) -> dict[str, tuple[str | None, Kind]]:
    corner_hz = rig.exciter.corner_hz
    return {
        "reference.sense_resistor": (rig.reference.sense_resistor, "sense resistor"),
        "input.resistance": (rig.input.resistance, "input resistance"),
        "input.capacitance": (rig.input.capacitance, "input capacitance"),
        "exciter.corner_hz": (
            None if corner_hz is None else corner_hz if isinstance(corner_hz, str) else f"{corner_hz!r} Hz",
            "corner",
        ),
    }


def _quantity(rig: Rig, key: str) -> Quantity | None:
    text, kind = _written_quantities(rig)[key]
    return None if text is None else read_value(text, kind)
