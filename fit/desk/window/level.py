"""The level page: what the inputs hear while a quiet tone plays, or nothing does, ten times a second and more."""

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from fit.desk.bench.level import SETTLED_S, SWEEP_LEVEL, WINDOW_S, card_of
from fit.desk.bench.preparation import USUAL_RATE_HZ, rehearsal_source
from fit.desk.book.rig import rig_of
from fit.desk.show.sheets.bench import level_advice
from fit.desk.show.words import error_line
from fit.desk.window.line import Order
from fit.desk.window.messages import Card, Level, LevelEnded, LevelStart, Meter, Spectrum, Told
from measure.errors import MeasureError
from measure.logbook.rig import Rig
from measure.logbook.store import Logbook, open_logbook
from measure.response import FloatArray
from measure.signal.levels import TONE_HZ, TONE_LEVEL, judge_levels, read_levels
from measure.signal.meters import band_spectrum, read_meters
from measure.source.listening import Progress
from measure.source.soundcard import play_and_record

METER_S = 0.08  # [s] between two readings of the meters
SLOW_S = 0.25  # [s] between two looks at the spectrum
HOLD_S = 2.0  # [s] that a peak stays
SPAN_S = 120.0  # [s] after which the tone begins anew: what was heard is let go of
NAMES = ("pickup", "reference")

Tell = Callable[[Told], None]


@dataclass(slots=True, eq=False, kw_only=True)
class Meters:
    """Turns samples, as they come, into what a page shows.

    Attributes
    ----------
    is_tone : bool
        The tone plays, so that its level tells of the exciter.
    """

    rate_hz: int
    is_tone: bool
    tell: Tell
    n_heard: int = 0
    fresh: list[FloatArray] = field(default_factory=list)
    kept: list[FloatArray] = field(default_factory=list)
    peaks: deque[tuple[int, tuple[float, ...], tuple[bool, ...]]] = field(default_factory=deque)
    slow_at: int = 0
    advice: tuple[str, bool] = ("", False)

    def take(self, samples: FloatArray) -> None:
        """Take new samples, and tell what they say where it is time."""
        self.n_heard += len(samples)
        if self.n_heard < SETTLED_S * self.rate_hz or not len(samples):
            return
        self.fresh.append(np.asarray(samples, dtype=float))
        if sum(map(len, self.fresh)) >= METER_S * self.rate_hz:
            self._read(np.concatenate(self.fresh))
            self.fresh = []

    def _read(self, part: FloatArray) -> None:
        readings = read_meters(part)
        peaks, clipped = tuple(one.peak_dbfs for one in readings), tuple(one.is_clipped for one in readings)
        self.peaks.append((self.n_heard, peaks, clipped))
        while self.n_heard - self.peaks[0][0] > HOLD_S * self.rate_hz:
            self.peaks.popleft()
        inputs = tuple(
            Meter(
                name=name,
                rms_db=one.rms_dbfs,
                peak_db=one.peak_dbfs,
                hold_db=max(held[column] for _, held, _ in self.peaks),
                is_clipped=any(was[column] for _, _, was in self.peaks),
            )
            for column, (name, one) in enumerate(zip(NAMES, readings, strict=False))
        )
        spectrum = self._look(part)
        self.tell(Level(inputs=inputs, advice=self.advice[0], is_fine=self.advice[1], spectrum=spectrum))

    def _look(self, part: FloatArray) -> Spectrum | None:
        """Look at half a second, some times a second."""
        self.kept.append(part)
        wanted = round(WINDOW_S * self.rate_hz)
        while sum(map(len, self.kept[1:])) >= wanted:
            self.kept.pop(0)
        if sum(map(len, self.kept)) < wanted or self.n_heard < self.slow_at:
            return None
        self.slow_at = self.n_heard + round(SLOW_S * self.rate_hz)
        window = np.concatenate(self.kept)[-wanted:]
        levels = read_levels(window, self.rate_hz)
        findings = judge_levels(levels, tone_level=TONE_LEVEL, sweep_level=SWEEP_LEVEL)
        self.advice = level_advice(levels, findings, is_tone=self.is_tone)
        found = band_spectrum(window, self.rate_hz)
        rows = tuple(tuple(round(float(value), 2) for value in row) for row in found.level_dbfs)
        return Spectrum(frequency_hz=tuple(map(float, found.frequency_hz)), db=rows, mains_hz=found.mains_hz)


def run_level(order: Order, tell: Tell) -> None:
    """Listen until somebody stops it, or nobody is there any more."""
    is_tone = isinstance(order.message, LevelStart) and order.message.what == "tone"
    text = ""
    tell(Card(owner=False, held_by=None, activity="level", is_playing=True))
    try:
        book = open_logbook(order.logbook) if order.logbook.exists() else None
        rig = Rig() if book is None else rig_of(book)
        rate_hz = rig.interface.rate_hz or USUAL_RATE_HZ
        stimulus = (TONE_LEVEL if is_tone else 0.0) * np.sin(2 * np.pi * TONE_HZ * np.arange(rate_hz) / rate_hz)
        meters = Meters(rate_hz=rate_hz, is_tone=is_tone, tell=tell)
        if order.is_virtual:
            for part in _virtual_parts(book, rig, stimulus, order, rate_hz=rate_hz):
                meters.take(part)
        else:
            _listen(rig, stimulus, order, meters)
    except (MeasureError, ValueError, OSError) as err:
        text = error_line(err)
    tell(LevelEnded(text=text))


def _listen(rig: Rig, stimulus: FloatArray, order: Order, meters: Meters) -> None:
    card = card_of(rig)
    n_channels = 1 if card.reference_channel is None else 2
    while not order.halt.is_set():

        def on_block(progress: Progress) -> bool:
            if order.halt.is_set() or progress.n_recorded > SPAN_S * meters.rate_hz:
                return True  # what comes now is the ramp to silence
            meters.take(progress.samples)
            return False

        meters.n_heard = 0
        play_and_record(card, stimulus, rate_hz=meters.rate_hz, n_channels=n_channels, on_block=on_block, repeats=True)


def _virtual_parts(book: Logbook | None, rig: Rig, stimulus: FloatArray, order: Order, *, rate_hz: int) -> Iterator[FloatArray]:
    """Let the virtual bench be heard as a card would be, block by block in time."""
    n_channels = 1 if rig.reference.kind == "none" else 2
    step = round(METER_S * rate_hz)
    tone = np.tile(stimulus, 2)
    heard = rehearsal_source(book, rig).record(tone, rate_hz=rate_hz, n_channels=n_channels)
    settled = heard[len(stimulus) : 2 * len(stimulus)]  # a second, which the tone and the mains divide: it joins its own end
    start, next_s = 0, time.monotonic() + METER_S
    while not order.halt.wait(max(next_s - time.monotonic(), 0.0)):
        yield settled[(start + np.arange(step)) % len(settled)]
        start, next_s = start + step, next_s + METER_S
