"""What ``import measure`` offers: recordings read or made here, their checks, their responses, and the takes of a logbook.

Thin: every number comes from the functions that the command line uses too. Nothing heavy is imported before it is used.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from measure.logbook import store
    from measure.logbook.take import Take
    from measure.response import Finding, FloatArray, Response
    from measure.signal import recording as signal
    from measure.source.interface import Source

USUAL_RATE_HZ = 96000  # [Hz] of a take where the rig states none
BITS = 24  # of what a sound card gives


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Recording:
    """A recording of the exciter over a pickup, checked for every fault that it can show.

    Attributes
    ----------
    samples : ndarray, shape (n, channels)
        As recorded; full scale is 1, read-only.
    rate_hz : int
        Sample rate. [Hz]
    name : str
        Of the file, or as given to `record`.
    findings : tuple of Finding
        All checks, those that passed among them; the command line tells the same.
    outcome : {"good", "usable", "rejected"}
        What they come to: "usable" with warnings, "rejected" where no value may rest on it.

    See Also
    --------
    read, record : Where recordings come from.
    """

    samples: "signal.Samples" = field(repr=False)
    rate_hz: int
    name: str
    findings: "tuple[Finding, ...]"
    outcome: Literal["good", "usable", "rejected"]
    _response: "Response | None"

    def response(self) -> "Response":
        """Pickup over reference against frequency, with its noise.

        Returns
        -------
        Response
            On the grid 1000·2^(k/16) Hz; a ratio in V/V with the covariance of its noise.

        Raises
        ------
        MeasureError
            If the recording was rejected; the message says why.

        Notes
        -----
        The method and its limits are those of `measure.transfer.response.estimate_response`.
        """
        from measure.errors import MeasureError

        if self._response is None:
            reasons = "; ".join(finding.text for finding in self.findings if finding.severity == "reject")
            msg = f"{self.name}: rejected, no value may rest on it: {reasons}"
            raise MeasureError(msg)
        return self._response

    def write(self, path: Path | str) -> None:
        """Write the samples to a new WAV, FLAC or AIFF file of 24 bits.

        Parameters
        ----------
        path : Path or str
            The file; must not exist.

        Raises
        ------
        FileError
            If it exists or cannot be written.
        ValueError
            If its name ends in something else.
        """
        from measure.logbook.recordings import write_sound

        write_sound(Path(path), self.samples, self.rate_hz)

    def __repr__(self) -> str:
        """Name, size, outcome, and what is not good; at most 38 lines."""
        seconds = len(self.samples) / self.rate_hz
        head = f"Recording {self.name}: {seconds:.3g} s at {self.rate_hz} Hz, {self.outcome}"
        return "\n".join([head, *(f"  {one.code}: {one.text}" for one in self.findings if one.severity != "pass")][:38])


def read(
    path: Path | str,
    *,
    pickup_channel: int | None = None,
    reference_channel: int | Literal["none"] | None = None,
    rig: Path | str | None = None,
    stimulus: Path | str | None = None,
) -> Recording:
    """Read a recording of the exciter over a pickup, and check it.

    Parameters
    ----------
    path : Path or str
        WAV, FLAC or AIFF.
    pickup_channel : int, optional
        Counts from 1; as the rig states it where it is left out, else 1.
    reference_channel : int or "none", optional
        Counts from 1; as the rig states it where it is left out, else the other one of the first two. "none": the reference was
        not recorded, and `stimulus` is needed.
    rig : Path or str, optional
        A rig.toml: says which channel is which; the loopback that it names is taken out of the response, or a finding says
        why not.
    stimulus : Path or str, optional
        What was played. With a reference channel it is not needed: an exponential sweep is recognised.

    Returns
    -------
    Recording
        Also where it is rejected: `findings` says why.

    Raises
    ------
    FileError
        If a file is missing, damaged or not what it should be, has no such channel, or stimulus and recording differ in rate.
    ValueError
        If there is neither a reference channel nor a stimulus.

    Notes
    -----
    A recording of another method (impedance through a resistor, a foil, silence), or several repeats, go through a logbook,
    ``coilsweep import``.

    """
    from measure.logbook.card import freeing
    from measure.logbook.rig import Rig, read_rig
    from measure.logbook.store import Logbook as Folder
    from measure.source.files import read_recording, read_stimulus, require_same_rate

    stated = Rig() if rig is None else read_rig(Path(rig))
    pickup = pickup_channel or stated.interface.pickup_channel or 1
    if reference_channel is None and stated.reference.kind == "none":
        reference_channel = "none"
    reference = reference_channel or stated.interface.reference_channel or (1 if pickup == 2 else 2)
    recording = read_recording(path, pickup_channel=pickup, reference_channel=None if reference == "none" else reference)
    played = None
    if stimulus is not None:
        played, rate_hz = read_stimulus(stimulus)
        require_same_rate(rate_hz, recording.rate_hz, name=str(stimulus))
    elif recording.reference_channel is None:
        msg = "without a reference channel the sweep is needed: stimulus=FILE, what was played"
        raise ValueError(msg)
    free = None if rig is None else freeing(Folder(path=Path(rig).parent), stated, [recording], is_live=False)
    return _checked(recording, played, free=free)


def record(name: str, *, rig: Path | str, level: float = 0.5, source: "Source | None" = None) -> Recording:
    """Play the sweep by the sound card, record, and check: what ``coilsweep take`` does before it keeps anything.

    Nothing is kept: keeping a take means to state what was true when it was made (parts across the jack, controls, where the coil
    lay), and that is the work of ``coilsweep take``. `Recording.write` keeps the samples. There is no look before the sweep
    either, so begin with the output low. The sweep is loud: headphones off the ears, monitors down, phantom power off.

    Parameters
    ----------
    name : str
        For messages.
    rig : Path or str
        The rig.toml that names the sound card, its channels and its rate; the loopback that it names is taken out of the
        response.
    level : float
        Peak of the sweep over full scale, 0 to 1.
    source : Source, optional
        Another source than the sound card, such as the virtual bench.

    Returns
    -------
    Recording
        Channel 1 is the pickup, channel 2 the reference. Also where it is rejected: `findings` says why.

    Raises
    ------
    DeviceError
        If the sound card fails; named (see `measure.errors`), with what was recorded until then.
    FileError
        If the rig cannot be read, or the loopback that it names.
    ValueError
        If the level is out of its range.
    """
    import numpy as np

    from measure.logbook.card import freeing
    from measure.logbook.rig import card_channel, read_rig
    from measure.logbook.store import Logbook as Folder
    from measure.signal.recording import Recording as Samples
    from measure.signal.stimulus import Sweep, sweep_samples
    from measure.source.soundcard import SoundCard, play_and_record

    stated = read_rig(Path(rig))
    interface, has_reference = stated.interface, stated.reference.kind != "none"
    rate_hz = interface.rate_hz or USUAL_RATE_HZ
    inputs = (card_channel(stated, "pickup"), card_channel(stated, "reference") if has_reference else None)
    stimulus = sweep_samples(Sweep(rate_hz=rate_hz, level=level))
    n_channels = 2 if has_reference else 1
    findings: tuple[Finding, ...] = ()
    if source is None:
        card = SoundCard(
            device=interface.device,
            host_api=interface.host_api,
            input_device=interface.input_device,
            output_channel=interface.output_channel or 1,
            pickup_channel=inputs[0],
            reference_channel=inputs[1],
        )
        capture = play_and_record(card, stimulus, rate_hz=rate_hz, n_channels=n_channels)
        samples, findings = capture.samples.astype(float), capture.findings
    else:
        samples = source.record(stimulus, rate_hz=rate_hz, n_channels=n_channels)
    recording = Samples(
        samples=np.clip(samples, -1, 1), rate_hz=rate_hz, reference_channel=2 if has_reference else None, n_bits=BITS, name=name
    )
    free = freeing(Folder(path=Path(rig).parent), stated, [recording], is_live=True)
    return _checked(recording, stimulus, free=free, told=findings)


class Logbook:
    """A folder with a rig, an instrument and takes, as the command line keeps them.

    Parameters
    ----------
    path : Path or str
        Of the folder.

    Attributes
    ----------
    path : Path
        Of the folder.

    Raises
    ------
    FileError
        If it is not a folder.
    """

    def __init__(self, path: Path | str) -> None:
        """Open it; nothing needs closing."""
        from measure.logbook.store import open_logbook

        self._folder: store.Logbook = open_logbook(Path(path))
        self.path: Path = self._folder.path

    @property
    def takes(self) -> tuple[str, ...]:
        """Names of the takes in the order they were made; damaged ones are left out, `take` says what is wrong with one."""
        from measure.logbook.store import list_takes

        return tuple(take.name for take in list_takes(self._folder).takes)

    def take(self, name: str) -> "Take":
        """Read a take: its conditions, files and findings.

        Parameters
        ----------
        name : str
            Of the take.

        Returns
        -------
        measure.logbook.take.Take
            Its files are verified by their SHA-256.

        Raises
        ------
        FileError
            If there is no such take, or something of it is missing or changed.
        ValueError
            If it cannot be the name of a take.
        """
        from measure.logbook.store import read_take

        return read_take(self._folder, name)

    def response(self, name: str) -> "Response":
        """Compute the response of a take's recordings, or read the one measured elsewhere that it holds.

        Parameters
        ----------
        name : str
            Of the take.

        Returns
        -------
        Response
            Averaged over the repeats, the card taken out where the take's rig names a loopback; where that does not fit, its
            findings say so.

        Raises
        ------
        MeasureError
            If the take was rejected.
        FileError
            If there is no such take, or something of it is missing, changed or damaged.
        """
        from measure.errors import MeasureError
        from measure.logbook.recordings import response_of_recordings
        from measure.logbook.responses import response_of_take

        take = self.take(name)
        if take.outcome == "rejected":
            reasons = "; ".join(item.text for item in take.findings if item.severity == "reject")
            msg = f'the take "{name}" was rejected, no value may rest on it: {reasons}'
            raise MeasureError(msg)
        return (response_of_take if take.kind == "response" else response_of_recordings)(self._folder, take)

    def __repr__(self) -> str:
        """Where it is, and how many takes it holds."""
        return f"Logbook({str(self.path)!r}), {len(self.takes)} takes"


def _checked(
    recording: "signal.Recording",
    stimulus: "FloatArray | None",
    *,
    free: "Callable[[Response], Response] | None",
    told: "Sequence[Finding]" = (),
) -> Recording:
    from measure.transfer.assessment import assess, join_findings

    judgement = join_findings(assess([recording], stimulus=stimulus, free=free), told)
    return Recording(
        samples=recording.samples,
        rate_hz=recording.rate_hz,
        name=recording.name,
        findings=judgement.findings,
        outcome=judgement.outcome,
        _response=judgement.response,
    )
