"""What there is on the bench: sound cards, the rig, what the inputs hear, a sweep as a file."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fit.desk.show.sheet import Block, Row, Section, Sheet, Table, Text
from fit.desk.show.sheets.notices import next_line
from measure.quantity import format_quantity
from measure.response import Finding

if TYPE_CHECKING:
    from measure.logbook.rig import Rig
    from measure.signal.levels import ChannelLevel
    from measure.signal.stimulus import Sweep
    from measure.source.devices import Device, DeviceList

SHARED = (
    "Resampled maybe: shared mode, in which the system may resample without a word where the card runs at another rate.",
    "Set both to one rate; coilsweep calibrate loopback looks for what resampling leaves.",
)


def sheet_of_devices(listed: "DeviceList", rig: "Rig") -> Sheet:
    """List what PortAudio offers, which of it a rig names, and what a rig names in vain."""
    rows: list[Row] = [("device", "sound system", "in", "out", "rates that open", "own", "resampled", "")]
    for device in listed.devices:
        shown = _kilohertz(device.rates_hz) or ("did not answer" if device.rates_hz is None else "none")
        own = "" if device.rates_hz is None else f"{device.own_rate_hz / 1000:g}"
        marks = ", ".join(word for word, is_so in _marks(device, rig) if is_so)
        channels = str(device.n_inputs), str(device.n_outputs)
        rows.append((device.name, device.host_api, *channels, shown, own, _resampled(device), marks))
    there = {device.name for device in listed.devices if is_named(device, rig)}
    absent = sorted({str(name) for name in (rig.interface.device, rig.interface.input_device) if name is not None} - there)
    blocks: list[Block] = [Table(tuple(rows))] if listed.devices else []
    if any(_resampled(device) not in ("no", "") for device in listed.devices):
        blocks.append(Text(SHARED))
    blocks.append(Text((listed.explanation, *(f"The rig names {name}, which is not there." for name in absent))))
    return Sheet(title="Sound cards", blocks=tuple(blocks))


def _kilohertz(rates_hz: Sequence[int] | None) -> str:
    return f"{', '.join(f'{rate / 1000:g}' for rate in rates_hz)} kHz" if rates_hz else ""


def _resampled(device: "Device") -> str:
    """Say what a device promises of its samples; nothing where it did not answer."""
    if device.rates_hz is None:
        return ""
    if not device.may_resample:
        return "no"
    exact = _kilohertz(device.exact_hz)
    if not exact:
        return "maybe"
    return "no" if device.exact_hz == device.rates_hz else f"not at {exact}"


def is_named(device: "Device", rig: "Rig") -> bool:
    """Whether a rig means a device."""
    interface = rig.interface
    return device.name in (interface.device, interface.input_device) and interface.host_api in (None, device.host_api)


def _marks(device: "Device", rig: "Rig") -> tuple[tuple[str, bool], ...]:
    return (
        ("in the rig", is_named(device, rig)),
        ("default output", device.is_default_output),
        ("default input", device.is_default_input),
    )


def sheet_of_level(levels: "tuple[ChannelLevel, ...]", findings: tuple[Finding, ...], following: str) -> Sheet:
    """Last levels of the inputs, what they mean for a take, and what to type next where all is well."""
    if not levels:
        return Sheet(title="Levels", blocks=(Text(("Nothing was heard long enough to tell levels.",)),))
    rows: list[Row] = [("", "peak", "tone", "hum", "noise")]
    for name, level in zip(("pickup", "reference"), levels, strict=False):
        figures = (level.peak_dbfs, level.tone_dbfs, level.hum_dbfs, level.noise_dbfs)
        rows.append((name, *(f"{figure:.1f} dBFS" for figure in figures)))
    told = tuple(f"look: {each.text}" for each in findings if each.severity != "pass")
    sound = "; ".join(each.text for each in findings if each.code == "exciter")
    return Sheet(title="Levels", blocks=(Table(tuple(rows)), Text(told or (f"All right: {sound}.", next_line(following)))))


def most_urgent(findings: Sequence[Finding]) -> Finding | None:
    """Choose what is to be put right first; None where all passes."""
    for severity in ("reject", "warn"):
        for finding in findings:
            if finding.severity == severity:
                return finding
    return None


def level_advice(levels: "tuple[ChannelLevel, ...]", findings: Sequence[Finding], *, is_tone: bool) -> tuple[str, bool]:
    """Say in one sentence what to do, and whether all is well.

    Parameters
    ----------
    is_tone : bool
        The quiet tone plays; without it nothing can be said of the exciter.
    """
    told = findings if is_tone else [each for each in findings if each.code in ("clipped", "dead-channel")]
    urgent = most_urgent(told)
    text = next((each.text for each in findings if each.code == "exciter"), "")
    if urgent is not None:
        text = urgent.text
    elif not is_tone:
        hum, noise = (f"{figure:.0f} dBFS" for figure in (levels[0].hum_dbfs, levels[0].noise_dbfs))
        text = f"no tone plays; the pickup hears hum of {hum} and noise of {noise}"
    return f"{text[:1].upper()}{text[1:]}." if text else "", urgent is None


def sheet_of_rig(file: Path, rows: Sequence[tuple[str, str]], missing: Sequence[Row], odd: Sequence[str]) -> Sheet:
    """Say what a rig states, and what is missing.

    Parameters
    ----------
    rows : sequence of (str, str)
        Key and value; none where nothing is stated.
    missing : sequence of rows
        Key, option and meaning of what is not stated and would be needed.
    odd : sequence of str
        What is to be looked at, one line each.
    """
    first: Block = (
        Section(heading=f"Rig in {file}", blocks=(Table(tuple(rows), has_head=False),), is_apart=False)
        if rows
        else Text(("No rig is stated yet.",))
    )
    blocks = [first]
    if missing:
        blocks.append(Section(heading="Still missing", blocks=(Table(tuple(missing), has_head=False),)))
    if odd:
        blocks.append(Section(blocks=(Text(tuple(f"look: {line}" for line in odd)),)))
    return Sheet(title="Rig", blocks=tuple(blocks))


def sheet_of_stimulus(file: Path, sweep: "Sweep", *, seconds: float) -> Sheet:
    """Say what a sweep's file holds, and how it is used."""
    return Sheet(
        title="Sweep",
        blocks=(
            Text(
                (
                    f"Written: {file}, {seconds:.2f} s, {sweep.rate_hz} Hz, 24 bit",
                    f"Sweep from {format_quantity(sweep.start_hz, 'Hz')} to {format_quantity(sweep.stop_hz, 'Hz')}, with silence "
                    "around it.",
                    "Play it unchanged (no effects, no resampling), record pickup and reference at the same rate, silences "
                    "included, then:",
                    f'  coilsweep import NAME RECORDING.wav --stimulus "{file}"',
                )
            ),
        ),
    )
