"""Takes made here: a look before, the sweep played and recorded, checked, and kept whole or not at all."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import msgspec
import numpy as np

from fit.desk.bench.imports import TakeFacts, describe_take, say_reasons
from fit.desk.bench.preparation import USUAL_RATE_HZ, require_reference, require_resistor, say_cautions, say_open
from fit.desk.book.bounds import assumption
from fit.desk.book.card import freeing
from fit.desk.book.desk import DONE, REJECTED, Desk, Outcome
from fit.desk.book.rig import rig_of
from fit.desk.book.take import exists_already, join_findings, look_at
from fit.desk.show.document import Document
from fit.desk.show.sheets.fit import checks_told
from fit.desk.show.words import MINUS
from measure.checks.judgement import Looked
from measure.errors import FileError
from measure.logbook.kept import findings_to_keep, stimulus_of_sweep
from measure.logbook.naming import check_name
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook, write_take
from measure.quantity import parse_parts
from measure.response import Finding, FloatArray, Response, relative_std
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples

if TYPE_CHECKING:
    from measure.source.interface import Source

QUIET_S = 5.0  # [s] of a take in which nothing is played
MOST_REPEATS = 16
LOOK_S, LOOK_DOWN = 0.5, 0.25  # [s], [1] the look before: a short sweep, so much softer than the one that follows
FULL = 0.98  # [1] of full scale that the sweep would reach
LOOK_BEFORE_S, LOOK_AFTER_S = 0.1, 0.2  # [s] of silence around it; the first tells the hum, which does not grow with the level
HEARD = 1e-5  # [1] of full scale: softer than this a channel is dead


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOrder:
    """What is to be taken.

    Attributes
    ----------
    name : str
        Of the take.
    facts : TakeFacts
        What is true of it; its channels and stimulus file do not count here.
    level : float
        Peak of the sweep over full scale.
    duration_s : float or None
        Of the sweep, or of the silence of a quiet take; None for the usual one. [s]
    start_hz, stop_hz : float or None
        First and last frequency of the sweep; None for the usual ones. [Hz]
    repeats : int
        At least so many.
    noise_db : float or None
        Repeat until the noise lies so far below the response at half of the frequencies, `MOST_REPEATS` at most. [dB]
    is_looked_at_first : bool
        Play a short, soft sweep first, and stop where that shows something wrong.
    """

    name: str
    facts: TakeFacts
    level: float = 0.5
    duration_s: float | None = None
    start_hz: float | None = None
    stop_hz: float | None = None
    repeats: int = 1
    noise_db: float | None = None
    is_looked_at_first: bool = True


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakeMade:
    """A take as it was kept.

    Attributes
    ----------
    name : str
        Of the take.
    looked : Looked
        What the checks found.
    outcome : Outcome
        For the command line.
    """

    name: str
    looked: Looked
    outcome: Outcome


class PreflightError(Exception):
    """A look before the sweep showed that it would not be worth recording."""

    exit_code = REJECTED


def make_take(desk: Desk, order: TakeOrder, *, source: "Source") -> TakeMade:
    """Make a take.

    Parameters
    ----------
    desk : Desk
        Where.
    order : TakeOrder
        What.
    source : Source
        A sound card, or a virtual bench.

    Returns
    -------
    TakeMade
        Kept, also where its recording was rejected.

    Raises
    ------
    ValueError
        If something is stated wrongly.
    PreflightError
        If a look before showed that the sweep would clip, or that nothing arrives.
    FileError
        If the take is there already, or cannot be written.
    DeviceError
        If the sound card fails; nothing is kept then.
    """
    check_name(order.name)
    parts = parse_parts(order.facts.added)
    require_resistor(order.facts)
    if not desk.logbook.exists():
        desk.say(f"New logbook: {desk.logbook}")
    logbook = open_logbook(desk.logbook, create=True)
    if exists_already(logbook, order.name):
        msg = f'there is a take "{order.name}" already, and takes are never overwritten: choose another name'
        raise FileError(msg)
    rig = rig_of(logbook)
    require_reference(rig, order.facts)
    if not order.facts.simulated:
        say_cautions(desk, logbook, rig, method=order.facts.method)
    say_open(desk, rig, source)
    for part in parts:
        if part.bound is None:
            desk.say(f"warning: {assumption(part, 'added')}")
    bench = _Bench(desk=desk, logbook=logbook, source=source, rig=rig, order=order)
    if order.is_looked_at_first and order.facts.method != "quiet":
        bench.look_first()
    recordings, stimulus, findings = bench.record_all()
    looked = join_findings(bench.look(recordings, stimulus), findings)
    return _keep(desk, logbook, order, bench, recordings, looked)


def with_next_step(made: TakeMade, *, method: str) -> Outcome:
    """Add what to do after a take.

    Parameters
    ----------
    made : TakeMade
        The take.
    method : str
        What was driven.

    Returns
    -------
    Outcome
        With one line more where the take can be used in a fit.
    """
    outcome = made.outcome
    if made.looked.outcome == "rejected" or method != "exciter":
        return outcome
    line = f"Next: coilsweep fit {made.name}; or another take with a known part across the jack (--add), the coil left in place"
    return replace(outcome, lines=(*outcome.lines, line))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Bench:
    """A source with what it is asked for."""

    desk: Desk
    logbook: Logbook
    source: "Source"
    rig: Rig
    order: TakeOrder

    @property
    def rate_hz(self) -> int:
        return self.rig.interface.rate_hz or USUAL_RATE_HZ

    @property
    def sweep(self) -> Sweep:
        order = self.order
        stated = {"duration_s": order.duration_s, "start_hz": order.start_hz, "stop_hz": order.stop_hz}
        return Sweep(
            rate_hz=self.rate_hz, level=order.level, **{name: value for name, value in stated.items() if value is not None}
        )

    @property
    def n_channels(self) -> int:
        return 1 if self.rig.reference.kind == "none" else 2

    def look(self, recordings: Sequence[Recording], stimulus: FloatArray | None) -> Looked:
        free = freeing(self.logbook, self.rig, recordings, is_live=True)
        return look_at(recordings, stimulus=stimulus, method=self.order.facts.method, free=free)

    def look_first(self) -> None:
        """Play a short soft sweep.

        Raises
        ------
        PreflightError
            If the sweep would clip, or a channel is dead.
        """
        softer = Sweep(
            rate_hz=self.rate_hz,
            level=LOOK_DOWN * self.order.level,
            duration_s=LOOK_S,
            before_s=LOOK_BEFORE_S,
            after_s=LOOK_AFTER_S,
        )
        samples, _ = _play(self.desk, self.source, sweep_samples(softer), self.rate_hz, self.n_channels, label="a look before")
        for column, name in enumerate(("pickup", "reference")[: self.n_channels]):
            peak = float(np.max(np.abs(samples[:, column])))
            hum = float(np.max(np.abs(samples[: round(LOOK_BEFORE_S * self.rate_hz), column])))
            will_reach = hum + max(peak - hum, 0.0) / LOOK_DOWN
            if will_reach > FULL:
                down_db = math.ceil(20 * math.log10(will_reach / FULL) + 6)
                least = "at least " if peak > FULL else ""  # the look itself was cut off
                reach = f"it would reach {least}{100 * will_reach:.0f} % of full scale"
                softer_level = self.order.level * 10 ** (-down_db / 20)
                how = f"Lower its input gain by {down_db} dB, or play softer, --level {softer_level:.2g}"
                msg = f"the {name} would clip: {reach}. {how}; nothing was kept"
                raise PreflightError(msg)
            if peak < HEARD and not (name == "pickup" and self.order.facts.method == "plate"):
                found = f"{20 * math.log10(peak):.0f} dBFS" if peak > 0 else "exact zeros"
                msg = (
                    f"nothing arrives at the {name}'s input: {found}. Check plugs, volume "
                    "controls and the output's level; nothing was kept"
                )
                raise PreflightError(msg)

    def record_all(self) -> tuple[list[Recording], FloatArray | None, tuple[Finding, ...]]:
        """Record until there are enough repeats."""
        is_quiet = self.order.facts.method == "quiet"
        n_quiet = round((self.order.duration_s or QUIET_S) * self.rate_hz)
        stimulus = np.zeros(n_quiet) if is_quiet else sweep_samples(self.sweep)
        recordings: list[Recording] = []
        findings: list[Finding] = []
        while True:
            samples, found = _play(self.desk, self.source, stimulus, self.rate_hz, self.n_channels, label=self.order.name)
            findings += found
            recordings.append(
                Recording(
                    samples=samples,
                    rate_hz=self.rate_hz,
                    pickup_channel=1,
                    reference_channel=2 if self.n_channels == 2 and not is_quiet else None,
                    n_bits=24,
                    name=f"repeat {len(recordings) + 1}",
                    simulated=self.order.facts.simulated,
                )
            )
            if self._is_enough(recordings, None if is_quiet else stimulus):
                return recordings, None if is_quiet else stimulus, tuple(findings)

    def _is_enough(self, recordings: Sequence[Recording], stimulus: FloatArray | None) -> bool:
        if len(recordings) < self.order.repeats:
            return False
        if self.order.noise_db is None:
            return True
        looked = self.look(recordings, stimulus)
        if looked.response is None:
            return True  # rejected, or of a kind without a response: more of it does not help
        noise_db = _noise_db(looked.response)
        self.desk.say(
            f"repeat {len(recordings)}: noise {noise_db:.1f} dB against the response, asked for {self.order.noise_db:g} dB"
        )
        return noise_db <= self.order.noise_db or len(recordings) >= MOST_REPEATS


def _play(
    desk: Desk, source: "Source", stimulus: FloatArray, rate_hz: int, n_channels: int, *, label: str
) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Play and record, with a bar where the source tells how far it is."""
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


def _noise_db(response: Response) -> float:
    """Tell how far the noise lies below the response at half of its frequencies, in dB."""
    return 20 * math.log10(max(float(np.median(relative_std(response))), 1e-15))


def _keep(
    desk: Desk, logbook: Logbook, order: TakeOrder, bench: _Bench, recordings: Sequence[Recording], looked: Looked
) -> TakeMade:
    from measure.source.files import write_recording

    with TemporaryDirectory() as folder:
        files = [Path(folder) / f"{index}.wav" for index in range(1, len(recordings) + 1)]
        for file, recording in zip(files, recordings, strict=True):
            write_recording(file, recording.samples, recording.rate_hz)
        take = describe_take(order.name, files, recordings, bench.rig, order.facts, looked)
        played = None if order.facts.method == "quiet" else stimulus_of_sweep(bench.sweep)
        take = msgspec.structs.replace(take, stimulus=played, findings=findings_to_keep(looked.findings))
        named = {item.file: file for item, file in zip(take.recordings, files, strict=True)}
        take = write_take(logbook, take, named)
    say_reasons(desk, logbook, take, looked)
    lines, document = checks_told(take.simulated, looked, noise=None)
    code = REJECTED if looked.outcome == "rejected" else DONE
    kept: Document = {"schema": "coilsweep.take/1", "take": order.name, "kept": str(logbook.path / "takes" / order.name)}
    noise_db = None if looked.response is None else _noise_db(looked.response)
    kept |= {"repeats": len(recordings), "rate_hz": bench.rate_hz, "noise_db": noise_db}
    noise = () if noise_db is None else (f"Noise: {noise_db:.0f} dB of the response".replace("-", MINUS),)
    outcome = Outcome(lines=(f"Kept: take {order.name}", *lines, *noise), document=kept | document, exit_code=code)
    return TakeMade(name=order.name, looked=looked, outcome=outcome)
