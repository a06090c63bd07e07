"""What live tests have in common: a short sweep, a recording with something done on the way, and its checks."""

import contextlib
import time

import numpy as np

from measure.checks.recording import check_recording
from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.soundcard import SoundCard, play_and_record
from measure.transfer.response import estimate_response
from tests.live.bench import coil

LEVEL = 0.4
CARD = SoundCard(device="bench", host_api="JACK Audio Connection Kit")


def short_sweep(rate_hz, *, duration_s=2.0, level=LEVEL):
    return sweep_samples(Sweep(rate_hz=rate_hz, duration_s=duration_s, before_s=0.4, after_s=0.4, level=level))


def record(rate_hz=48000, *, card=CARD, stimulus=None, after_s=0.0, action=None):
    """Record; when so many seconds have come, do something."""
    stimulus = short_sweep(rate_hz) if stimulus is None else stimulus
    waiting = [] if action is None else [action]

    def on_block(progress):
        if waiting and progress.n_recorded >= after_s * rate_hz:
            return waiting.pop()()
        return None

    with deadline(len(stimulus) / rate_hz + 5.0):
        return play_and_record(card, stimulus, rate_hz=rate_hz, on_block=on_block)


def record_cleanly(bench, rate_hz=48000, **options):
    """Record, again where the server itself reports that it was late: this machine is busy, and nothing else is to be learnt."""
    for _ in range(3):
        bench.order("forget")
        capture = record(rate_hz, **options)
        if "stream-flags" not in severities(capture.findings):
            return capture
    return capture


def departure(capture):
    """Rms by which the response departs from that of the bench, from 20 Hz to the end of the sweep. [dB], [degree]"""
    response = estimate_response([take_of(capture)])
    is_swept = (response.frequency_hz > 20) & (response.frequency_hz < 0.45 * capture.rate_hz)
    assert np.sum(is_swept) > 150
    ratio = (response.value / coil(response.frequency_hz))[is_swept]
    db, degree = 20 * np.log10(np.abs(ratio)), np.degrees(np.angle(ratio))
    return np.sqrt(np.mean(db**2)), np.sqrt(np.mean(degree**2))


@contextlib.contextmanager
def deadline(limit_s):
    start_s = time.monotonic()
    try:
        yield
    finally:
        took_s = time.monotonic() - start_s
        assert took_s < limit_s, f"it took {took_s:.2f} s, {limit_s:.2f} s are allowed"


def take_of(capture):
    return Recording(samples=capture.samples, rate_hz=capture.rate_hz)


def troubles(capture):
    """Severity of everything that is not in order, by the engine and by the recording itself."""
    return severities([*capture.findings, *check_recording(take_of(capture), stimulus=capture.played.astype(float))])


def severities(findings):
    return {finding.code: finding.severity for finding in findings if finding.severity != "pass"}
