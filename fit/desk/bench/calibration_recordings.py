"""What was recorded for a calibration: from files, with what they were made through."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fit.desk.book.desk import Desk
from fit.desk.book.rig import rig_of
from fit.desk.book.take import same_rate
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.rig import Rig
from measure.logbook.store import open_logbook
from measure.logbook.take import time_now
from measure.quantity import Quantity, parse_parts
from measure.response import Finding, FloatArray
from measure.signal.recording import Recording

LIVE_BITS = 24  # [bits] of a sample, as takes are kept


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Heard:
    """What was recorded for a calibration.

    Attributes
    ----------
    recordings : tuple of Recording
        One, or several repeats.
    stimulus : ndarray, shape (n,), or None
        What was played; None where that is not known.
    time_utc : str
        When. ISO 8601, UTC.
    is_live : bool
        Recorded here: the channels are those of rig.toml, in this order.
    findings : tuple of Finding
        What the card said of itself.
    """

    recordings: tuple[Recording, ...]
    stimulus: FloatArray | None
    time_utc: str
    is_live: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InputLoad:
    """How the input is driven in one take.

    Attributes
    ----------
    name : str
        For messages.
    series : Quantity
        Resistor between the driven end, on the reference input, and the pickup's input. [Ω]
    added : tuple of Quantity
        Known parts across the pickup's input.
    file : Path or None
        Recording; None where it is still to be made.
    """

    name: str
    series: Quantity
    added: tuple[Quantity, ...] = ()
    file: Path | None = None


def heard_from_files(desk: Desk, files: Sequence[Path], stimulus_file: Path | None, *, simulated: bool = False) -> Heard:
    """Read what was recorded elsewhere; the channels are those of rig.toml.

    Parameters
    ----------
    desk : Desk
        Where.
    files : sequence of Path
        Repeats.
    stimulus_file : Path or None
        What was played.
    simulated : bool
        Made by the virtual bench.

    Returns
    -------
    Heard
        Dated now: a file does not say reliably when it was recorded.

    Raises
    ------
    FileError
        If a file cannot be used, or the stimulus has another rate.
    """
    from measure.source.files import read_recording, read_stimulus

    interface = (rig_of(open_logbook(desk.logbook)) if desk.logbook.is_dir() else Rig()).interface
    pickup = interface.pickup_channel or 1
    reference = interface.reference_channel or (1 if pickup == 2 else 2)
    recordings = tuple(
        replace(read_recording(file, pickup_channel=pickup, reference_channel=reference), simulated=simulated) for file in files
    )
    if len({recording.rate_hz for recording in recordings}) > 1:
        msg = f"the repeats have different sample rates, {sorted({recording.rate_hz for recording in recordings})} Hz"
        raise FileError(msg)
    stimulus = None
    if stimulus_file is not None:
        stimulus, rate_hz = read_stimulus(stimulus_file)
        same_rate(rate_hz, recordings[0].rate_hz, name=stimulus_file.name)
    return Heard(recordings=recordings, stimulus=stimulus, time_utc=time_now())


def heard_live(desk: Desk, *, level: float, label: str) -> Heard:
    """Play the sweep and record both inputs of the card that rig.toml names.

    Parameters
    ----------
    desk : Desk
        Where.
    level : float
        Peak over full scale.
    label : str
        In front of the bar.

    Returns
    -------
    Heard
        One recording.
    """
    from fit.desk.bench.level import card_of
    from fit.desk.bench.rig import DEFAULT_RATE_HZ
    from measure.signal.stimulus import Sweep, sweep_samples
    from measure.source.soundcard import play_and_record

    rig = rig_of(open_logbook(desk.logbook, create=True))
    pickup = rig.interface.pickup_channel or 1
    card = replace(card_of(rig), reference_channel=rig.interface.reference_channel or (1 if pickup == 2 else 2))
    rate_hz = rig.interface.rate_hz or DEFAULT_RATE_HZ
    stimulus = sweep_samples(Sweep(rate_hz=rate_hz, level=level))
    time_utc = time_now()
    with desk.bar(label) as advance:
        capture = play_and_record(
            card, stimulus, rate_hz=rate_hz, on_block=lambda progress: advance(progress.n_recorded, progress.n_wanted)
        )
    samples = np.clip(capture.samples.astype(float), -1, 1)
    recording = Recording(samples=samples, rate_hz=rate_hz, n_bits=LIVE_BITS, name=label)
    findings = tuple(finding for finding in capture.findings if finding.severity != "pass")
    return Heard(recordings=(recording,), stimulus=stimulus, time_utc=time_utc, is_live=True, findings=findings)


def read_loads(driven: Sequence[str], stated: Sequence[str]) -> list[InputLoad]:
    """Read how the input is driven in each recording.

    Parameters
    ----------
    driven : sequence of str
        ``R`` or ``R, PARTS`` of each recording that is to be made.
    stated : sequence of str
        ``FILE=R`` or ``FILE=R, PARTS`` of each that was made elsewhere, for example ``"a.wav=1M ± 1%, 1n ± 1%"``.

    Returns
    -------
    list of InputLoad
        In this order.

    Raises
    ------
    ValueError
        If one cannot be read, or both kinds, or none, are given.
    """
    if bool(driven) == bool(stated):
        msg = 'give either --through "R[, PARTS]" for each recording to be made, or --from "FILE=R[, PARTS]" for each file'
        raise ValueError(msg)
    loads = [read_through(text) for text in driven]
    for text in stated:
        file, _, parts = text.rpartition("=")
        if not file:
            msg = f'--from "{plain_text(text[:80])}": expected FILE=R, or FILE=R, PARTS, such as "a.wav=1M ± 1%, 1n ± 1%"'
            raise ValueError(msg)
        loads.append(replace(read_through(parts), name=Path(file).name, file=Path(file)))
    return loads


def read_through(text: str) -> InputLoad:
    """Read what the input is driven through.

    Parameters
    ----------
    text : str
        ``R`` or ``R, PARTS``, for example ``"1M ± 1%, 1n ± 1%"``.

    Returns
    -------
    InputLoad
        Resistor, and what is across the input.

    Raises
    ------
    ValueError
        If it does not begin with a resistor.
    """
    stated = parse_parts(text)
    if not stated or stated[0].unit != "Ω":
        msg = f'"{plain_text(text[:80])}" does not begin with a resistor: expected R, or R, PARTS, such as "1M ± 1%, 1n ± 1%"'
        raise ValueError(msg)
    return InputLoad(name=f"through {plain_text(text)}", series=stated[0], added=stated[1:])
