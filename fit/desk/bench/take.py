"""Takes made here: a look before, the sweep played and recorded, checked, and kept whole or not at all."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from fit.desk.bench.intake import KeptTake, draft_take, keep_take, open_for_take, say_assumptions
from fit.desk.bench.preparation import USUAL_RATE_HZ, require_reference, require_resistor, say_cautions, say_open
from fit.desk.bench.recordings import LIVE_BITS, Batch, play
from fit.desk.book.desk import REJECTED, Desk
from fit.desk.book.rig import rig_of
from fit.desk.show.document.bench import TakeDocument
from fit.desk.show.words import MINUS
from measure.checks.judgement import Judgement
from measure.logbook.card import freeing
from measure.logbook.conditions import Conditions
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook
from measure.logbook.take import time_now
from measure.response import Finding, FloatArray, Response, relative_std
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.owner import one_owner
from measure.transfer.assessment import assess, join_findings

if TYPE_CHECKING:
    from measure.source.interface import Source

QUIET_S = 5.0  # [s] of a take in which nothing is played
MOST_REPEATS = 16
LOOK_S, LOOK_DOWN = 0.5, 0.25  # [s], [1] the look before: a short sweep, so much softer than the one that follows
FULL = 0.98  # [1] of full scale that the sweep would reach
LOOK_BEFORE_S, LOOK_AFTER_S = 0.1, 0.2  # [s] of silence around it; the first tells the hum, which does not grow with the level
HEARD = 1e-5  # [1] of full scale: softer than this a channel is dead


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is to be taken.

    Attributes
    ----------
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
    conditions: Conditions = field(default_factory=Conditions)
    simulated: bool = False
    level: float = 0.5
    duration_s: float | None = None
    start_hz: float | None = None
    stop_hz: float | None = None
    repeats: int = 1
    noise_db: float | None = None
    is_looked_at_first: bool = True


class PreflightError(Exception):
    """A look before the sweep showed that it would not be worth recording."""

    exit_code = REJECTED

    def __init__(self, message: str, *, code: str = "", options: str = "") -> None:
        """Keep the code of the finding that the take would have had, where there is one.

        Parameters
        ----------
        options : str
            Of the command, that would help; a guide, which asks how loud to play, leaves them out.
        """
        super().__init__(f"{message}, by {options}" if options else message)
        self.message = message
        self.code = code


def make_take(desk: Desk, order: Order, *, source: "Source") -> KeptTake:
    """Make a take.

    Parameters
    ----------
    source : Source
        A sound card, or a virtual bench.

    Returns
    -------
    KeptTake
        Also where its recording was rejected.

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
    require_resistor(order.conditions)
    logbook = open_for_take(desk, order.name, order.conditions)
    rig = rig_of(logbook)
    require_reference(rig, order.conditions)
    if not order.simulated:
        say_cautions(desk, logbook, rig, method=order.conditions.method)
    say_open(desk, rig, source)
    say_assumptions(desk, order.conditions)
    bench = _Bench(desk=desk, logbook=logbook, source=source, rig=rig, order=order)
    with one_owner():
        if order.is_looked_at_first and order.conditions.method != "quiet":
            bench.look_first()
        batch = bench.record_all()
    judgement = join_findings(bench.look(batch.repeats, batch.played), batch.findings)
    return _keep(bench, batch, judgement)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Bench:
    """A source with what it is asked for."""

    desk: Desk
    logbook: Logbook
    source: "Source"
    rig: Rig
    order: Order

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

    def look(self, recordings: Sequence[Recording], stimulus: FloatArray | None) -> Judgement:
        free = freeing(self.logbook, self.rig, recordings, is_live=True)
        return assess(recordings, stimulus=stimulus, method=self.order.conditions.method, free=free)

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
        samples, _ = self.play(sweep_samples(softer), label="a look before")
        for column, name in enumerate(("pickup", "reference")[: self.n_channels]):
            peak = float(np.max(np.abs(samples[:, column])))
            hum = float(np.max(np.abs(samples[: round(LOOK_BEFORE_S * self.rate_hz), column])))
            will_reach = hum + max(peak - hum, 0.0) / LOOK_DOWN
            if will_reach > FULL:
                down_db = math.ceil(20 * math.log10(will_reach / FULL) + 6)
                least = "at least " if peak > FULL else ""  # the look itself was cut off
                reach = f"it would reach {least}{100 * will_reach:.0f} % of full scale"
                softer_level = self.order.level * 10 ** (-down_db / 20)
                how = f"Nothing was kept: lower its input gain by {down_db} dB, or play softer"
                msg = f"the {name} would clip: {reach}. {how}"
                raise PreflightError(msg, code="clipped", options=f"--level {softer_level:.2g}")
            if peak < HEARD and not (name == "pickup" and self.order.conditions.method == "plate"):
                found = f"{20 * math.log10(peak):.0f} dBFS" if peak > 0 else "exact zeros"
                msg = (
                    f"nothing arrives at the {name}'s input: {found}. Check plugs, volume "
                    "controls and the output's level; nothing was kept"
                )
                raise PreflightError(msg)

    def play(self, stimulus: FloatArray, *, label: str) -> tuple[FloatArray, tuple[Finding, ...]]:
        return play(self.desk, self.source, stimulus, rate_hz=self.rate_hz, n_channels=self.n_channels, label=label)

    def record_all(self) -> Batch:
        """Record until there are enough repeats."""
        is_quiet = self.order.conditions.method == "quiet"
        n_quiet = round((self.order.duration_s or QUIET_S) * self.rate_hz)
        stimulus = np.zeros(n_quiet) if is_quiet else sweep_samples(self.sweep)
        recordings: list[Recording] = []
        findings: list[Finding] = []
        time_utc = time_now()
        while True:
            samples, found = self.play(stimulus, label=self.order.name)
            findings += found
            recordings.append(
                Recording(
                    samples=samples,
                    rate_hz=self.rate_hz,
                    pickup_channel=1,
                    reference_channel=2 if self.n_channels == 2 and not is_quiet else None,
                    n_bits=LIVE_BITS,
                    name=f"repeat {len(recordings) + 1}",
                    simulated=self.order.simulated,
                )
            )
            played = None if is_quiet else stimulus
            if self._is_enough(recordings, played):
                return Batch(repeats=tuple(recordings), played=played, time_utc=time_utc, is_live=True, findings=tuple(findings))

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


def _noise_db(response: Response) -> float:
    """Tell how far the noise lies below the response at half of its frequencies, in dB."""
    return 20 * math.log10(max(float(np.median(relative_std(response))), 1e-15))


def _keep(bench: _Bench, batch: Batch, judgement: Judgement) -> KeptTake:
    from measure.source.files import write_recording

    order = bench.order
    noise_db = None if judgement.response is None else _noise_db(judgement.response)
    with TemporaryDirectory() as folder:
        files = [Path(folder) / f"{index}.wav" for index in range(1, len(batch.repeats) + 1)]
        for file, recording in zip(files, batch.repeats, strict=True):
            write_recording(file, recording.samples, recording.rate_hz)
        sweep = None if batch.played is None else bench.sweep
        draft = draft_take(order.name, order.conditions, batch, files, rig=bench.rig, judgement=judgement, stimulus=sweep)
        document = partial(TakeDocument, repeats=len(batch.repeats), rate_hz=bench.rate_hz, noise_db=noise_db)
        made = keep_take(bench.desk, bench.logbook, replace(draft, document=document))
    if noise_db is None:
        return made
    noise = f"Noise: {noise_db:.0f} dB of the response".replace("-", MINUS)
    return replace(made, reply=replace(made.reply, lines=(*made.reply.lines, noise)))
