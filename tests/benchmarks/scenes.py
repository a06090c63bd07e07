"""What the benchmark of the commands works on: python -m tests.benchmarks.scenes FOLDER [KIND...] lays it out.

KIND of the recordings of ten minutes: silence, after a sweep of 10 s; sweep, all the time.
"""

import contextlib
import io
import shutil
import sys
from pathlib import Path

import numpy as np
import soundfile

from fit.desk.command.main import main
from measure.signal.stimulus import Sweep, sweep_samples
from tests import readme_guitars
from tests.places import RECORDINGS
from tests.python_bench import make_logbook
from tests.takes_by_formula import apply_response, coil_response, hum_wave

RATE_HZ = 48000
PLAYED_S, LONG_S = 180.0, 600.0
SWEEPS_S = {"silence": 10.0, "sweep": 598.8}  # [s] the rest of ten minutes is silence
POSITIONS = ("bridge", "middle", "neck")
RIG = ("--input-resistance", "1M ± 1%", "--input-capacitance", "185p ± 3p", "--sense-resistor", "100 ± 1%")
CHANNELS = ("--reference", "current", "--pickup-channel", "1", "--reference-channel", "2")


def lay_out(folder, kinds):
    """Logbooks of a guitar, of a job and of a wiring; a recording to import, one of playing, and those of ten minutes."""
    make_logbook(folder, "guitar")
    make_logbook(folder, "shielding")
    shutil.copytree(folder / "guitar", folder / "fitted")
    _done("fit", "up", "up-1n", "down", "--logbook", folder / "fitted")
    three = folder / "three"
    readme_guitars.write_three_pickups(three)
    _done("rig", *RIG, *CHANNELS, "--logbook", three)
    for pickup in POSITIONS:
        for at in POSITIONS:
            words = ("--stimulus", three / "sweep.flac", "--coil-over", pickup, "--set", f"selector={at}")
            _done("import", f"{pickup}-{at}", three / f"{pickup}-at-{at}.flac", *words, "--logbook", three)
    (folder / "empty").mkdir()
    _done("rig", *RIG, *CHANNELS, "--logbook", folder / "empty")
    shutil.copy(RECORDINGS / "tone-capacitor" / "tone-up.flac", folder / "up.flac")
    rng = np.random.default_rng(0)
    playing = 0.1 * rng.uniform(-1, 1, (round(PLAYED_S * RATE_HZ), 1))
    soundfile.write(folder / "playing.wav", playing, RATE_HZ, subtype="PCM_24")
    for kind in kinds:
        write_long(folder / f"{kind}.wav", rng, SWEEPS_S[kind])


def write_long(path, rng, sweep_s):
    """Ten minutes of a bare coil, in two channels of 24 bits, with hum and noise."""
    sweep = Sweep(rate_hz=RATE_HZ, duration_s=sweep_s, before_s=0.7, after_s=0.5)
    reference = sweep_samples(sweep)
    pickup = apply_response(reference, RATE_HZ, coil_response)
    pickup *= 0.3 / np.abs(pickup).max()
    both = np.zeros((round(LONG_S * RATE_HZ), 2), dtype=np.float32)
    both[: len(pickup), 0], both[: len(reference), 1] = pickup, reference
    both += 1e-6 * rng.standard_normal(both.shape, dtype=np.float32)
    second = hum_wave(rng, RATE_HZ, RATE_HZ, mains_hz=50.0, level=1e-4)  # whole periods: each second is like the one before
    both[:, 0] += np.tile(second, round(LONG_S)).astype(np.float32)
    soundfile.write(path, both, RATE_HZ, subtype="PCM_24")


def _done(*words):
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as said:
        code = main([str(word) for word in words])
    assert code == 0, (words, said.getvalue())


if __name__ == "__main__":
    lay_out(Path(sys.argv[1]), sys.argv[2:])
