"""The recordings that a take keeps: read again, and what their response is; and sound written as a file."""

from dataclasses import replace
from pathlib import Path

from measure.errors import FileError
from measure.logbook.card import without_card
from measure.logbook.disk import created_file, one_line
from measure.logbook.store import Logbook, kept_file
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
    for item in take.recordings:
        channels = (item.pickup_channel, item.reference_channel)
        with kept_file(logbook, take, item.file) as raw:
            recording = read_recording(item.file, pickup_channel=channels[0], reference_channel=channels[1], raw=raw)
        recordings.append(replace(recording, simulated=take.simulated))
    stimulus = None
    if isinstance(take.stimulus, Sweep):
        stimulus = sweep_samples(take.stimulus)
    elif isinstance(take.stimulus, FileStimulus):
        with kept_file(logbook, take, take.stimulus.file) as raw:
            stimulus, rate_hz = read_stimulus(take.stimulus.file, raw=raw)
        require_same_rate(rate_hz, recordings[0].rate_hz, name=take.stimulus.file)
    return recordings, stimulus


def response_of_recordings(logbook: Logbook, take: Take) -> Response:
    """Response of a take's recordings, averaged over the repeats; without the card where the take's rig names a loopback."""
    from measure.transfer.response import estimate_response

    recordings, stimulus = kept_recordings(logbook, take)
    return without_card(logbook, take, estimate_response(recordings, stimulus=stimulus, time_utc=take.time_utc))


def write_sound(path: Path, samples: FloatArray | Samples, rate_hz: int) -> None:
    """Write samples as an audio file of 24 bits, whole or not at all; the suffix decides of which kind.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
        Full scale is 1.

    Raises
    ------
    FileError
        If the file exists, or cannot be written.
    ValueError
        If the suffix or the samples are not usable.
    """
    try:
        with created_file(path) as unfinished:
            write_recording(unfinished, samples, rate_hz, suffix=path.suffix or path.name)
    except FileExistsError:
        msg = f"{one_line(path)} exists already, and is not overwritten: choose another name, or remove it"
        raise FileError(msg) from None
