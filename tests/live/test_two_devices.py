"""An output here and an input there: their clocks' drift is measured, taken out, and said."""

import numpy as np
import pytest

from measure.signal.stimulus import Sweep, sweep_samples
from measure.source.soundcard import SoundCard
from tests.live.playing import departure, record, record_cleanly, short_sweep, troubles

CARDS = SoundCard(device="bench", input_device="bench in")


@pytest.mark.parametrize("drift_ppm", [0.0, 80.0, -40.0])
def test_drift_is_taken_out(live, drift_ppm):
    _, bench = live(48000, two_devices=True, drift_ppm=drift_ppm)
    capture = record_cleanly(bench, 48000, card=CARDS, stimulus=sweep_samples(Sweep(rate_hz=48000)))
    assert troubles(capture) == {}
    assert (capture.output, capture.input) == tuple(f"{name} (JACK Audio Connection Kit)" for name in ("bench", "bench in"))
    print(f"{drift_ppm:+.0f} ppm: measured {capture.drift_ppm:+.2f} ppm, response off by {departure(capture)} dB, degree")
    # The bench takes a sample each 1 + ppm·1e-6: what is played at t comes at t/(1 + ppm·1e-6).
    assert capture.drift_ppm == pytest.approx(-drift_ppm, abs=2.0)
    assert departure(capture)[0] < 0.01
    assert departure(capture)[1] < 0.1
    finding = capture.findings[-1]
    assert (finding.code, finding.severity) == ("two-clocks", "pass")
    assert "which was taken out" in finding.text


def test_drift_that_cannot_be_measured_is_said(live):
    live(48000, two_devices=True)
    noise = np.random.default_rng(1).uniform(-0.3, 0.3, 48000 * 2)
    capture = record(48000, card=CARDS, stimulus=noise)
    assert capture.drift_ppm is None
    assert (capture.findings[-1].code, capture.findings[-1].severity) == ("two-clocks", "warn")


def test_unplugged(live):
    _, bench = live(48000, two_devices=True)
    capture = record(48000, card=CARDS, stimulus=short_sweep(48000), after_s=1.0, action=lambda: bench.order("unplug"))
    assert troubles(capture)["unplugged"] == "reject"
