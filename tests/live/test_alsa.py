"""The same bench by another way, ALSA's, which differs in what it does when things break; its plug-in for JACK carries it."""

import signal
import time
from pathlib import Path

import numpy as np
import pytest

from measure.errors import DeviceGoneError, NoProgressError, ServerDiedError
from measure.source.devices import list_devices
from measure.source.soundcard import SoundCard
from tests.live.playing import departure, record, record_cleanly, troubles
from tests.live.steps import ramp_step

CARD = SoundCard(device="bench", host_api="ALSA")
CONFIGURATION = """
pcm.bench {
    type jack
    playback_ports { 0 "bench:playback_1" 1 "bench:playback_2" }
    capture_ports { 0 "bench:capture_1" 1 "bench:capture_2" }
    hint { show on description "the bench" }
}
pcm.!default { type plug slave.pcm bench }
"""

pytestmark = pytest.mark.skipif(
    not list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_jack.so")), reason="ALSA's plug-ins are not installed"
)


@pytest.fixture(autouse=True)
def alsa(tmp_path, monkeypatch):
    (tmp_path / "asound.conf").write_text(CONFIGURATION)
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(tmp_path / "asound.conf"))


def test_response_level_and_stop(live, capfd):
    _, bench = live(44100)
    assert [
        (each.rates_hz, each.n_inputs) for each in list_devices().devices if each.name == "bench" and each.host_api == "ALSA"
    ] == [((44100,), 2)]
    capture = record_cleanly(bench, 44100, card=CARD)
    assert troubles(capture) == {}
    rms_db, rms_degree = departure(capture)
    print(f"by ALSA: {rms_db:.5f} dB and {rms_degree:.4f}° rms")
    assert rms_db < 0.01
    assert rms_degree < 0.1
    assert capture.output == "bench (ALSA)"

    bench.order("forget")
    record(44100, card=CARD, stimulus=np.full(3 * 44100, 0.3), after_s=0.5, action=lambda: True)
    time.sleep(0.3)
    played = bench.played()
    assert np.max(np.abs(played)) == np.float32(0.3)
    assert np.max(np.abs(np.diff(played))) < ramp_step(44100, 0.3)
    assert not np.any(played[-4410:])
    assert "Expression" not in capfd.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGSTOP, signal.SIGKILL])
def test_server_goes_in_mid_sweep(live, number):
    server, _ = live(48000)
    with pytest.raises((NoProgressError, DeviceGoneError, ServerDiedError), match=r"after 1\.\d+ s of 3\.30 s") as caught:
        record(card=CARD, after_s=1.0, action=lambda: server.send(number))
    print(f"{type(caught.value).__name__}: {caught.value}")
    assert 1.0 <= len(caught.value.samples) / 48000 < 1.5
