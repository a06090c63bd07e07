"""Processor time of what others are told beside, and of whole answers: python -m tests.benchmarks.fixed_work [FILE.wav].

Prints JSON: seconds of two FFTs of 10 s at 96 kHz, and of two whole answers; with a file, of reading it and its FFTs instead.
"""

import json
import statistics
import sys
import time

import numpy as np
import scipy.fft
import soundfile

ROUNDS = 9


def spent(call):
    """Processor time of a call. [s]"""
    began = time.process_time()
    call()
    return time.process_time() - began


def reading(path):
    """Of a file: reading it, and a transform of each channel at the next quick length."""

    def read():
        samples, _ = soundfile.read(path, dtype="float32", always_2d=True)
        n_fft = scipy.fft.next_fast_len(len(samples), real=True)
        for channel in samples.T:
            scipy.fft.rfft(channel.astype(float), n_fft)

    return {"reading": spent(read)}


def answers():
    """Turn by turn, so that what else runs on the machine hits all alike."""
    from fit.answers.pickup.characterisation import characterise_pickup
    from tests.recorded import evidence_of
    from tests.recorded_guitars import recorded_guitar

    channels = np.random.default_rng(0).standard_normal((2, 960000))
    bare = evidence_of("bare-single-coil", ["open", "plus-1n"])
    guitar, _ = recorded_guitar("tone-capacitor", ["tone-up", "tone-up-plus-1n", "tone-down"])
    calls = {
        "ffts": lambda: [scipy.fft.rfft(channel) for channel in channels],
        "bare": lambda: characterise_pickup(bare),
        "guitar": lambda: characterise_pickup(guitar),
    }
    for call in calls.values():
        call()
    rounds = [{name: spent(call) for name, call in calls.items()} for _ in range(ROUNDS)]
    ratios = {name: statistics.median(one[name] / one["ffts"] for one in rounds) for name in ("bare", "guitar")}
    return {"ffts": statistics.median(one["ffts"] for one in rounds)} | ratios


if __name__ == "__main__":
    print(json.dumps(reading(sys.argv[1]) if sys.argv[1:] else answers()))
