"""The tests' side of the emulated bench: what is plugged in, and orders to it."""

import json
import os
import queue
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np

PROCESS = Path(__file__).with_name("bench_process.py")
ANSWER_S = 8.0  # [s]
N_RESPONSE_S = 0.35  # [s] the coil and the coupling have rung down to nothing
BEFORE = 256  # [samples] of delay in both responses: room for what a band limit rings before
TOP, EDGE = 0.465, 0.495  # [1] of the rate: flat up to the one, nothing from the other on

# Of the recordings in fixtures/recordings/bare-single-coil, with a loss of one loop: a coil of 2.87 H on 1 MΩ and 185 pF.
INDUCTANCE_H, DCR_OHM, CAPACITANCE_F = 2.87, 6350.0, 92e-12
EDDY_COUPLING, EDDY_CORNER_HZ, EDDY_FIELD = 0.35, 8e3, 0.2
INPUT_OHM, INPUT_F = 1e6, 185e-12
EXCITER_CORNER_HZ = 60e3
AC_CORNER_HZ = 4.0
HEALTHY = {
    "seed": 1,
    "buffer_s": 0.08,
    "pickup_noise": 3e-6,
    "reference_noise": 3e-6,
    "hum": 0.0,
    "hum_hz": 50.0,
    "clip": 1.0,
    "dead": [],
    "is_muted": False,
    "is_swapped": False,
    "drift_ppm": 0.0,
    "two_devices": False,
    "output_channel": 1,
}


def coil(frequency_hz, *, added_f=0.0, added_s=0.0):
    """Pickup over sense resistor, both in full scales: Faraday's law, eddy loop, loaded resonance (section "Physics" by hand)."""
    s = 2j * np.pi * frequency_hz
    load = s * (CAPACITANCE_F + INPUT_F + added_f) + 1 / INPUT_OHM + added_s
    loop = s / (s + 2 * np.pi * EDDY_CORNER_HZ)
    impedance = DCR_OHM + s * INDUCTANCE_H * (1 - EDDY_COUPLING**2 * loop)
    return 0.05 * s / 6283 * (1 - EDDY_FIELD * loop) / (1 + impedance * load)


def current(frequency_hz):
    """The sense resistor's voltage for what is played: the exciter's own corner and the coupling capacitors."""
    s = 2j * np.pi * frequency_hz
    return 0.6 / (1 + s / (2 * np.pi * EXCITER_CORNER_HZ)) * s / (s + 2 * np.pi * AC_CORNER_HZ)


def impulse_responses(rate_hz, pickup):
    """Both inputs' for what is played; `pickup` gives the pickup over the sense resistor."""
    n = 1 << int(np.ceil(np.log2(N_RESPONSE_S * rate_hz)))
    frequency_hz = np.arange(n // 2 + 1) * rate_hz / n
    edge = np.clip((frequency_hz / rate_hz - TOP) / (EDGE - TOP), 0, 1)
    band = (0.5 + 0.5 * np.cos(np.pi * edge)) * np.exp(-2j * np.pi * frequency_hz * BEFORE / rate_hz)
    reference = current(frequency_hz) * band
    return np.fft.irfft(np.stack([reference * pickup(frequency_hz), reference]), n, axis=1)


class LiveBench:
    """The bench's process; runs until `end`."""

    def __init__(self, server, folder, *, load=None, **changes):
        self.folder = Path(folder)
        self.folder.mkdir(parents=True, exist_ok=True)
        unknown = set(changes) - set(HEALTHY)
        if unknown:
            raise KeyError(unknown)
        (self.folder / "config.json").write_text(json.dumps({**HEALTHY, **changes}))
        np.save(self.folder / "responses.npy", impulse_responses(server.rate_hz, lambda f: coil(f, **(load or {}))))
        self.rate_hz = server.rate_hz
        self.printed = (self.folder / "printed.txt").open("wb")
        self.process = subprocess.Popen(
            [sys.executable, str(PROCESS), str(self.folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.printed,
            env={**os.environ, **server.environment(), "OMP_NUM_THREADS": "1"},
            start_new_session=True,
            text=True,
        )
        self.answers = queue.SimpleQueue()
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()
        self._expect("ready")

    def order(self, *words):
        """Tell it something, and wait until it is done."""
        self.process.stdin.write(" ".join(map(str, words)) + "\n")
        self.process.stdin.flush()
        self._expect("done")

    def change(self, pickup):
        """Clip a part on, or turn a control: from now on the pickup's input has that response over the sense resistor."""
        path = self.folder / "changed.npy"
        np.save(path, impulse_responses(self.rate_hz, pickup))
        self.order("change", path)

    def played(self):
        """Everything that reached its input, from its start on."""
        path = self.folder / "played.npy"
        self.order("save", path)
        return np.load(path)

    def send(self, number):
        self.process.send_signal(number)

    def leave(self):
        """Close its ports in order, as a card whose plug is pulled."""
        self.process.stdin.close()
        self.process.wait(timeout=ANSWER_S)

    def end(self):
        self.process.kill()
        self.process.wait()
        self.reader.join()
        for file in (self.process.stdin, self.process.stdout, self.printed):
            try:
                file.close()
            except BrokenPipeError:
                continue

    def _read(self):
        for line in self.process.stdout:
            self.answers.put(line.strip())
        self.answers.put("ended")

    def _expect(self, word):
        answer = self.answers.get(timeout=ANSWER_S)
        if answer != word:
            msg = f"the bench said {answer!r} instead of {word!r}: {(self.folder / 'printed.txt').read_text()[-2000:]}"
            self.end()
            raise RuntimeError(msg)
