"""The commands level and devices: what there is, and what the inputs hear while a quiet tone plays."""

import threading
import time
from dataclasses import dataclass, field

import numpy as np

from fit.desk.bench.preparation import USUAL_RATE_HZ
from fit.desk.book.desk import Desk, Outcome
from fit.desk.book.next_step import free_name
from fit.desk.book.rig import rig_of
from fit.desk.show.document.bench import AudioDevice, DevicesDocument, LevelDocument
from fit.desk.show.document.pieces import checks_of
from fit.desk.show.sheets.bench import is_named, most_urgent, sheet_of_devices, sheet_of_level
from fit.desk.show.words import SIMULATED_TEXT, SWEEP_CAUTION, command_text
from measure.logbook.rig import Rig, card_channel
from measure.logbook.store import open_logbook
from measure.response import Finding, FloatArray
from measure.signal.levels import TONE_HZ, TONE_LEVEL, ChannelLevel, judge_levels, read_levels
from measure.source.devices import list_devices
from measure.source.listening import Progress
from measure.source.soundcard import SoundCard, play_and_record

WINDOW_S = 0.5  # [s] that levels are read from
SETTLED_S = 0.3  # [s] from which on the tone has arrived through any interface
REDRAW_S = 0.25  # [s]
SWEEP_LEVEL = 0.5  # [1] of the take that is to follow


def card_of(rig: Rig) -> SoundCard:
    """Find the sound card that a rig names.

    Returns
    -------
    SoundCard
        Channels 1 and 2, and the default device, where it names none.
    """
    interface = rig.interface
    return SoundCard(
        device=interface.device,
        host_api=interface.host_api,
        input_device=interface.input_device,
        output_channel=interface.output_channel or 1,
        pickup_channel=card_channel(rig, "pickup"),
        reference_channel=None if rig.reference.kind == "none" else card_channel(rig, "reference"),
    )


def show_devices(desk: Desk) -> Outcome:
    """List what PortAudio offers.

    Parameters
    ----------
    desk : Desk
        Where; the rig there may name one of them.
    """
    listed = list_devices()
    rig = rig_of(open_logbook(desk.logbook)) if desk.logbook.exists() else Rig()
    document = DevicesDocument(
        library=listed.library,
        explanation=listed.explanation,
        devices=tuple(
            AudioDevice(
                device=device.name,
                host_api=device.host_api,
                inputs=device.n_inputs,
                outputs=device.n_outputs,
                rates_hz=device.rates_hz,
                own_rate_hz=device.own_rate_hz,
                exact_rates_hz=device.exact_hz,
                may_resample=device.may_resample,
                is_default_input=device.is_default_input,
                is_default_output=device.is_default_output,
                is_in_rig=is_named(device, rig),
            )
            for device in listed.devices
        ),
    )
    return Outcome(sheet=sheet_of_devices(listed, rig), document=document)


@dataclass(slots=True, eq=False)
class _Watch:
    """Keeps the last samples, and when to draw and to stop."""

    rate_hz: int
    n_channels: int
    end_s: float | None
    stop: threading.Event = field(default_factory=threading.Event)
    kept: list[FloatArray] = field(default_factory=list)
    drawn_s: float = 0.0
    levels: tuple[ChannelLevel, ...] = ()

    def take(self, progress: Progress) -> bool:
        """Keep the new samples; whether it is time to draw."""
        if len(progress.samples) and progress.n_recorded > SETTLED_S * self.rate_hz:
            self.kept.append(np.asarray(progress.samples, dtype=float))
        wanted = round(WINDOW_S * self.rate_hz)
        while sum(len(part) for part in self.kept[1:]) >= wanted:
            self.kept.pop(0)
        now = time.monotonic()
        if sum(len(part) for part in self.kept) < wanted or now - self.drawn_s < REDRAW_S:
            return False
        self.drawn_s = now
        self.levels = read_levels(np.concatenate(self.kept)[-wanted:], self.rate_hz)
        return True


def watch_level(desk: Desk, *, seconds: float | None, level: float = TONE_LEVEL) -> Outcome:
    """Play a quiet tone and show what the inputs hear, until Enter, Ctrl-C or for some seconds.

    Parameters
    ----------
    seconds : float or None
        None until somebody stops it. [s]
    level : float
        Peak of the tone over full scale.

    Returns
    -------
    Outcome
        The last levels and what they mean.

    Raises
    ------
    KeyboardInterrupt
        If it was to last some seconds and is stopped before.
    """
    rig = rig_of(open_logbook(desk.logbook)) if desk.logbook.exists() else Rig()
    card, rate_hz = card_of(rig), rig.interface.rate_hz or USUAL_RATE_HZ
    n_channels = 1 if card.reference_channel is None else 2
    desk.say(SWEEP_CAUTION.replace("The sweep is loud", "A quiet tone plays, and later a loud sweep"))
    tone = level * np.sin(2 * np.pi * TONE_HZ * np.arange(rate_hz) / rate_hz)
    desk.say(level_heading(n_channels))
    watch = _Watch(rate_hz=rate_hz, n_channels=n_channels, end_s=None if seconds is None else time.monotonic() + seconds)
    if seconds is None:
        desk.say("Enter or Ctrl-C ends it.")
        threading.Thread(target=_wait_for_enter, args=(watch.stop,), daemon=True).start()

    def on_block(progress: Progress) -> bool:
        if watch.end_s is not None and time.monotonic() > watch.end_s:
            watch.stop.set()
        if watch.stop.is_set():  # what comes now is the ramp to silence
            return True
        if watch.take(progress):
            desk.redraw(level_line(watch.levels, judge_levels(watch.levels, tone_level=level, sweep_level=SWEEP_LEVEL)))
        return False

    try:
        play_and_record(card, tone, rate_hz=rate_hz, n_channels=n_channels, on_block=on_block, repeats=True)
    except KeyboardInterrupt:
        if seconds is not None:
            raise
    desk.redraw("")
    return _levels_outcome(desk, watch.levels, level=level)


def rehearse_level(desk: Desk, *, seconds: float | None = None, level: float = TONE_LEVEL) -> Outcome:
    """Show what the inputs of the virtual bench hear of a quiet tone.

    Parameters
    ----------
    seconds : float or None
        A look each second for so long; None for one look. [s]
    level : float
        Peak of the tone over full scale.
    """
    from fit.desk.bench.preparation import rehearsal_source

    book = open_logbook(desk.logbook) if desk.logbook.exists() else None
    rig = Rig() if book is None else rig_of(book)
    rate_hz = rig.interface.rate_hz or USUAL_RATE_HZ
    n_channels = 1 if rig.reference.kind == "none" else 2
    desk.say(SIMULATED_TEXT)
    time_s = np.arange(round((SETTLED_S + WINDOW_S) * rate_hz)) / rate_hz
    tone = level * np.sin(2 * np.pi * TONE_HZ * time_s)
    heard = rehearsal_source(book, rig).record(tone, rate_hz=rate_hz, n_channels=n_channels)
    until = len(tone)
    levels = read_levels(heard[until - round(WINDOW_S * rate_hz) : until], rate_hz)
    desk.say(level_heading(n_channels))
    line = level_line(levels, judge_levels(levels, tone_level=level, sweep_level=SWEEP_LEVEL))
    if seconds is None:
        desk.say(line)
    else:
        for _ in range(round(seconds)):  # nothing moves on the virtual bench, so each look is the same
            desk.redraw(line)
            time.sleep(1.0)
        desk.redraw("")
    return _levels_outcome(desk, levels, level=level, is_rehearsal=True)


def _levels_outcome(desk: Desk, levels: tuple[ChannelLevel, ...], *, level: float, is_rehearsal: bool = False) -> Outcome:
    findings = judge_levels(levels, tone_level=level, sweep_level=SWEEP_LEVEL) if levels else ()
    inputs = dict(zip(("pickup", "reference"), levels, strict=False))
    document = LevelDocument(inputs=inputs, checks=checks_of(findings), simulated=is_rehearsal)
    book = open_logbook(desk.logbook) if desk.logbook.exists() else None
    following = command_text(("take", free_name(book), *(("--virtual",) if is_rehearsal else ())), desk.logbook)
    return Outcome(sheet=sheet_of_level(levels, findings, following), document=document)


def _wait_for_enter(stop: threading.Event) -> None:
    import sys

    sys.stdin.readline()
    stop.set()


def level_heading(n_channels: int) -> str:
    """Name the columns of `level_line`.

    Returns
    -------
    str
        All figures are in dBFS.
    """
    return "  ".join([*(f"{name}: peak tone  hum noise" for name in ("pickup", "reference")[:n_channels]), "[dBFS]"])


def level_line(levels: tuple[ChannelLevel, ...], findings: tuple[Finding, ...]) -> str:
    """Put levels as one line that is drawn again and again.

    Parameters
    ----------
    levels : tuple of ChannelLevel
        Pickup, and reference where there is one.

    Returns
    -------
    str
        Short enough for a terminal.
    """
    parts = []
    for name, level in zip(("pickup", "reference"), levels, strict=False):
        figures = (level.peak_dbfs, level.tone_dbfs, level.hum_dbfs, level.noise_dbfs)
        parts.append(" " * len(name) + " " + "".join(f"{figure:5.0f}" for figure in figures))
    urgent = most_urgent(findings) or next((each for each in findings if each.code == "exciter"), None)
    return "  ".join([*parts, "" if urgent is None else urgent.text])
