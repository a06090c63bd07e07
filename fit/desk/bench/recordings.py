"""Recordings as they arrive, from files or from the card; and through what the input is driven for a calibration."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fit.desk.book.desk import Desk
from fit.desk.book.rig import rig_of
from fit.desk.show.words import plain_text
from measure.errors import FileError
from measure.logbook.curves import Kind
from measure.logbook.rig import Rig
from measure.logbook.store import list_takes, open_logbook
from measure.logbook.take import time_now
from measure.marking import parse_parts
from measure.quantity import Quantity
from measure.response import Finding, FloatArray
from measure.signal.recording import Recording
from measure.source.files import require_same_rate

if TYPE_CHECKING:
    from measure.source.interface import Source

LIVE_BITS = 24  # [bits] of a sample, as takes are kept


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Batch:
    """Repeats of one recording, and what was played.

    Attributes
    ----------
    repeats : tuple of Recording
        One or several, of one rate.
    played : ndarray, shape (n,), or None
        None where that is not known.
    time_utc : str
        When. ISO 8601, UTC.
    is_live : bool
        Recorded here: the channels are those of rig.toml, in this order.
    findings : tuple of Finding
        What the card said of itself.
    """

    repeats: tuple[Recording, ...]
    played: FloatArray | None
    time_utc: str
    is_live: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class InputLoad:
    """How the input is driven in one take.

    Attributes
    ----------
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


def read_batch(
    desk: Desk, files: Sequence[Path], stimulus_file: Path | None, *, channels: tuple[int, int | None], simulated: bool = False
) -> Batch:
    """Read what was recorded elsewhere.

    Parameters
    ----------
    channels : tuple
        Pickup's and reference channel of the files, from 1; None where the reference was not recorded.
    simulated : bool
        Made by the virtual bench.

    Returns
    -------
    Batch
        Dated now: a file does not say reliably when it was recorded.

    Raises
    ------
    FileError
        If a file cannot be used, or rates differ.
    """
    from measure.source.files import read_recording, read_stimulus

    pickup, reference = channels
    repeats = tuple(
        replace(read_recording(file, pickup_channel=pickup, reference_channel=reference), simulated=simulated)
        for file in desk.steps(files, "reading")
    )
    rates = sorted({recording.rate_hz for recording in repeats})
    if len(rates) > 1:
        msg = f"the repeats have different sample rates, {rates} Hz: import those of one rate as one take"
        raise FileError(msg)
    played = None
    if stimulus_file is not None:
        played, rate_hz = read_stimulus(stimulus_file)
        require_same_rate(rate_hz, repeats[0].rate_hz, name=stimulus_file.name)
    return Batch(repeats=repeats, played=played, time_utc=time_now())


def read_by_rig(desk: Desk, files: Sequence[Path], stimulus_file: Path | None) -> Batch:
    """Read what was recorded elsewhere by the channels of rig.toml, the reference always among them."""
    return read_batch(desk, files, stimulus_file, channels=_channels(_rig_at(desk)))


def _rig_at(desk: Desk) -> Rig:
    return rig_of(open_logbook(desk.logbook)) if desk.logbook.is_dir() else Rig()


def _channels(rig: Rig) -> tuple[int, int]:
    pickup = rig.interface.pickup_channel or 1
    return pickup, rig.interface.reference_channel or (1 if pickup == 2 else 2)


def play(
    desk: Desk, source: "Source", stimulus: FloatArray, *, rate_hz: int, n_channels: int, label: str
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Play and record, with a bar where the source tells how far it is.

    Returns
    -------
    samples : ndarray, shape (n, n_channels)
        Full scale is 1.
    findings : tuple of Finding
        What a card said of itself.
    """
    from measure.source.soundcard import SoundCard, play_and_record

    if not isinstance(source, SoundCard):
        return np.clip(source.record(stimulus, rate_hz=rate_hz, n_channels=n_channels), -1, 1), ()
    with desk.bar(label) as advance:
        capture = play_and_record(
            source,
            stimulus,
            rate_hz=rate_hz,
            n_channels=n_channels,
            on_block=lambda progress: advance(progress.n_recorded, progress.n_wanted),
        )
    return np.clip(capture.samples.astype(float), -1, 1), capture.findings


def require_card_of_rig(desk: Desk) -> None:
    """See that the card that rig.toml names is there, before somebody is asked to connect it.

    Raises
    ------
    DeviceError
        If it is not, or there is none at all.
    """
    from fit.desk.bench.level import card_of
    from measure.source.soundcard import require_card

    require_card(card_of(_rig_at(desk)))


def record_by_rig(desk: Desk, *, level: float, label: str, source: "Source | None" = None) -> Batch:
    """Play the sweep once and record both inputs of the card that rig.toml names.

    Parameters
    ----------
    level : float
        Peak over full scale. [1]
    source : Source, optional
        Virtual bench, instead of the card.
    """
    from fit.desk.bench.level import card_of
    from fit.desk.bench.rig import DEFAULT_RATE_HZ
    from measure.signal.stimulus import Sweep, sweep_samples

    rig = rig_of(open_logbook(desk.logbook, create=True))
    card = source or replace(card_of(rig), reference_channel=_channels(rig)[1])
    rate_hz = rig.interface.rate_hz or DEFAULT_RATE_HZ
    stimulus = sweep_samples(Sweep(rate_hz=rate_hz, level=level))
    time_utc = time_now()
    samples, found = play(desk, card, stimulus, rate_hz=rate_hz, n_channels=2, label=label)
    recording = Recording(samples=samples, rate_hz=rate_hz, n_bits=LIVE_BITS, name=label, simulated=source is not None)
    findings = tuple(finding for finding in found if finding.severity != "pass")
    return Batch(repeats=(recording,), played=stimulus, time_utc=time_utc, is_live=True, findings=findings)


def calibration_source(desk: Desk, kind: Kind, load: InputLoad | None = None) -> "Source":
    """Connect the virtual bench for a calibration, by the rig of a logbook."""
    from fit.desk.bench.virtual import calibration_bench

    rig = _rig_at(desk)
    if load is None:
        return calibration_bench(kind, rig)
    return calibration_bench(kind, rig, series=load.series, added=load.added)


def real_take(desk: Desk) -> str | None:
    """Name a take of a logbook that is not simulated; None where there is none."""
    takes = list_takes(open_logbook(desk.logbook)).takes if desk.logbook.is_dir() else ()
    return next((take.name for take in takes if not take.simulated), None)


def require_rehearsal(desk: Desk) -> None:
    """See that no real take stands where a calibration is only rehearsed: it would be written to their rig.toml.

    Raises
    ------
    ValueError
        If one does.
    """
    real = real_take(desk)
    if real is not None:
        msg = f'the take "{plain_text(real)}" here is real: rehearse in a folder of its own, --virtual --logbook rehearsal'
        raise ValueError(msg)


def read_loads(driven: Sequence[str], stated: Sequence[str]) -> list[InputLoad]:
    """Read how the input is driven in each recording.

    Parameters
    ----------
    driven : sequence of str
        ``R`` or ``R, PARTS`` of each recording that is to be made.
    stated : sequence of str
        ``FILE=R`` or ``FILE=R, PARTS`` of each that was made elsewhere, for example ``"a.wav=1M ± 1%, 1n ± 1%"``.

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
