"""The recordings that a take keeps: read again, and what their response is; and sound written as a file."""

from dataclasses import replace
from pathlib import Path

from measure.errors import FileError
from measure.logbook.card import without_card
from measure.logbook.disk import created_file, one_line, replaced_file
from measure.logbook.store import Logbook, kept_path, recording_path
from measure.logbook.take import FileStimulus, Take
from measure.response import Finding, FloatArray, Response
from measure.signal.recording import Recording, Samples
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.files import read_recording, read_stimulus, require_same_rate, write_recording


def card_findings(take: Take) -> tuple[Finding, ...]:
    """Get what the sound card told when a take was made: it cannot be seen in the recording again.

    Returns
    -------
    tuple of Finding
        How it was opened, what it delivered, and of two devices their clocks.
    """
    from measure.source import clocks, delivery

    return tuple(finding for finding in take.findings if finding.code in (*delivery.NAMES, delivery.OPENING, clocks.NAME))


def kept_recordings(logbook: Logbook, take: Take) -> tuple[list[Recording], FloatArray | None]:
    """Read the recordings of a take, and what was played.

    Returns
    -------
    stimulus : ndarray, shape (n,), or None
        None where it is not known.

    Raises
    ------
    FileError
        If the take holds no recordings, or its stimulus has another rate.
    """
    if not take.recordings:
        msg = f'the take "{take.name}" is a response measured elsewhere and holds no recordings'
        raise FileError(msg)
    recordings = []
    for index, item in enumerate(take.recordings):
        path = recording_path(logbook, take, index)
        recording = read_recording(path, pickup_channel=item.pickup_channel, reference_channel=item.reference_channel)
        recordings.append(replace(recording, simulated=take.simulated))
    stimulus = None
    if isinstance(take.stimulus, Sweep):
        stimulus = sweep_samples(take.stimulus)
    elif isinstance(take.stimulus, FileStimulus):
        stimulus, rate_hz = read_stimulus(kept_path(logbook, take, take.stimulus.file))
        require_same_rate(rate_hz, recordings[0].rate_hz, name=take.stimulus.file)
    return recordings, stimulus


def response_of_recordings(logbook: Logbook, take: Take) -> Response:
    """Response of a take's recordings, averaged over the repeats; without the card where the take's rig names a loopback."""
    from measure.transfer.response import estimate_response

    recordings, stimulus = kept_recordings(logbook, take)
    return without_card(logbook, take, estimate_response(recordings, stimulus=stimulus, time_utc=take.time_utc))


def write_sound(path: Path, samples: FloatArray | Samples, rate_hz: int, *, may_replace: bool = False) -> None:
    """Write samples as an audio file of 24 bits, whole or not at all; the suffix decides of which kind.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
        Full scale is 1.
    may_replace : bool
        An older file is replaced in one step.

    Raises
    ------
    FileError
        If the file exists and may not be replaced, or cannot be written.
    ValueError
        If the suffix or the samples are not usable.
    """
    try:
        with (replaced_file if may_replace else created_file)(path) as unfinished:
            write_recording(unfinished, samples, rate_hz, suffix=path.suffix or path.name)
    except FileExistsError:
        msg = f"{one_line(path)} exists already, and is not overwritten: choose another name, or remove it"
        raise FileError(msg) from None
