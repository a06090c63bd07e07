"""A 10 s stereo take at 96 kHz to a response, beside the bare FFTs of its two channels; the ratio is what counts."""

import time

import numpy as np
import pytest
import scipy.fft

from measure.signal.recording import Recording
from measure.signal.stimulus import Sweep, sweep_samples
from measure.transfer.response import estimate_response
from tests.takes_by_formula import apply_response, coil_response, hum_wave

RATE_HZ = 96000
ROUNDS = 25


def ten_seconds():
    rng = np.random.default_rng(0)
    reference = sweep_samples(Sweep(rate_hz=RATE_HZ, duration_s=8.8))
    pickup = apply_response(reference, RATE_HZ, coil_response) + 1e-5 * rng.standard_normal(len(reference))
    pickup += hum_wave(rng, len(reference), RATE_HZ, mains_hz=50.1, level=1e-3)
    return Recording(samples=np.stack([pickup, reference], axis=1).astype(np.float32), rate_hz=RATE_HZ, n_bits=24)


@pytest.mark.parametrize("remove_hum", [True, False], ids=["mains-lines-removed", "mains-lines-left"])
def test_response_beside_its_bare_ffts(benchmark, remove_hum):
    recording = ten_seconds()
    channels = [recording.samples[:, i].astype(float) for i in (0, 1)]
    n_fft = scipy.fft.next_fast_len(len(channels[0]), real=True)

    def bare():
        return [scipy.fft.rfft(channel, n_fft) for channel in channels]

    def response():
        return estimate_response([recording], remove_hum=remove_hum)

    assert len(response().frequency_hz) > 170
    # Turn by turn, so that what else runs on the machine hits both alike.
    pairs = [(timed(bare), timed(response)) for _ in range(ROUNDS)]
    bare_s, response_s = (float(np.median(times)) for times in zip(*pairs, strict=True))
    ratio = float(np.median([response / bare for bare, response in pairs]))
    benchmark.extra_info["bare_fft_ms"] = 1e3 * bare_s
    benchmark.extra_info["response_ms"] = 1e3 * response_s
    benchmark.extra_info["ratio"] = ratio
    benchmark(response)
    print(f"\nresponse {1e3 * response_s:.1f} ms, bare FFTs {1e3 * bare_s:.1f} ms, ratio {ratio:.2f}")


def timed(call):
    start = time.perf_counter()
    call()
    return time.perf_counter() - start
