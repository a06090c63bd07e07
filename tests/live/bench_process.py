"""The emulated bench, as a process: a JACK client that convolves what is played with two impulse responses.

Started with a folder as its argument: config.json, responses.npy (2, n). Orders come as lines on standard input, each is
answered by a line. What was played is kept, and written on the order `save`.

PortAudio shows every client as a device: `bench` has outputs and inputs; with `two_devices` it is `bench` (plays) and `bench in`.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np

HISTORY = 1 << 17  # [samples] kept of what the two inputs will hold
TAPS = 64  # [samples] of the interpolation for clocks that drift
PHASES = 4096  # places between two samples
BETA = 9.0  # of its Kaiser window
START_S = 5.0  # [s] for the server to be there


class Convolver:
    """Both inputs, block by block, exactly: overlap-save in partitions of one block."""

    def __init__(self, responses, n_block):
        n_parts = -(-responses.shape[1] // n_block)
        padded = np.zeros((2, n_parts * n_block))
        padded[:, : responses.shape[1]] = responses
        parts = padded.reshape(2, n_parts, n_block)
        self.spectra = np.fft.rfft(np.concatenate([parts, np.zeros_like(parts)], axis=2), axis=2)
        self.heard = np.zeros((n_parts, n_block + 1), dtype=complex)
        self.before = np.zeros(n_block)

    def feed(self, block):
        self.heard = np.roll(self.heard, 1, axis=0)
        self.heard[0] = np.fft.rfft(np.concatenate([self.before, block]))
        self.before = block
        sums = np.einsum("cpk,pk->ck", self.spectra, self.heard)
        return np.fft.irfft(sums, axis=1)[:, len(block) :]


def interpolation_weights():
    """For each of so many places between two samples."""
    offsets = np.arange(PHASES + 1)[:, None] / PHASES - (np.arange(TAPS) - TAPS // 2 + 1)
    window = np.i0(BETA * np.sqrt(np.maximum(1 - (offsets / (TAPS / 2)) ** 2, 0))) / np.i0(BETA)
    return np.sinc(offsets) * window


class Bench:
    """What is behind the ports; orders change its attributes."""

    def __init__(self, config, responses, *, n_block, rate_hz):
        self.config, self.n_block, self.rate_hz = config, n_block, rate_hz
        self.convolver = Convolver(responses, n_block)
        self.generator = np.random.default_rng(config["seed"])
        self.history = np.zeros((2, HISTORY))
        self.n_written = 0
        self.n_read = 0
        # with drift a sample is made from its neighbours on both sides
        self.read_at = float(-round(config["buffer_s"] * rate_hz))
        self.weights = interpolation_weights()
        self.played = []
        self.late_s = 0.0
        self.lose = 0

    def play(self, block):
        if self.late_s:
            time.sleep(self.late_s)
            self.late_s = 0.0
        self.played.append(block.copy())
        heard = np.zeros_like(block, dtype=float) if self.config["is_muted"] else block.astype(float)
        at = (self.n_written + np.arange(self.n_block)) % HISTORY
        self.history[:, at] = self.convolver.feed(heard)
        self.n_written += self.n_block

    def record(self):
        if self.lose:
            self.read_at += self.lose
            self.lose = 0
        stretch = 1 + 1e-6 * self.config["drift_ppm"]
        positions = self.read_at + np.arange(self.n_block) * stretch
        self.read_at += self.n_block * stretch
        values = self._exactly(positions) if stretch == 1.0 else self._between(positions)
        return self._through_inputs(values)

    def _exactly(self, positions):
        return self.history[:, np.round(positions).astype(int) % HISTORY]

    def _between(self, positions):
        first = np.floor(positions).astype(int) - TAPS // 2 + 1
        phase = (positions - np.floor(positions)) * PHASES
        index = np.minimum(phase.astype(int), PHASES - 1)
        between = (phase - index)[:, None]
        weights = self.weights[index] * (1 - between) + self.weights[index + 1] * between
        gathered = self.history[:, (first[:, None] + np.arange(TAPS)) % HISTORY]
        return np.einsum("cnt,nt->cn", gathered, weights)

    def _through_inputs(self, values):
        config = self.config
        values = values + self.generator.normal(size=values.shape) * np.array(
            [[config["pickup_noise"]], [config["reference_noise"]]]
        )
        time_s = (self.n_read + np.arange(self.n_block)) / self.rate_hz
        self.n_read += self.n_block
        values[0] += config["hum"] * np.sin(2 * np.pi * config["hum_hz"] * time_s)
        values = np.clip(values, -config["clip"], config["clip"])
        for channel in config["dead"]:
            values[channel - 1] = 0.0
        return values[::-1] if config["is_swapped"] else values


def connect(jack, name):
    """A client of the server, which may just be starting."""
    end_s = time.monotonic() + START_S
    while True:
        try:
            return jack.Client(name, no_start_server=True)
        except jack.JackOpenError:
            if time.monotonic() > end_s:
                raise
            time.sleep(0.05)


def open_clients(jack, config, responses):
    client = connect(jack, "bench")
    n_block = client.blocksize
    bench = Bench(config, responses, n_block=n_block, rate_hz=client.samplerate)
    other = jack.Client("bench in", no_start_server=True) if config["two_devices"] else client
    inlets = [client.inports.register(f"playback_{k + 1}") for k in range(2)]
    outlets = [other.outports.register(f"capture_{k + 1}") for k in range(2)]

    def play(_frames):
        bench.play(inlets[config["output_channel"] - 1].get_array())

    def record(_frames):
        for port, values in zip(outlets, bench.record(), strict=True):
            port.get_array()[:] = values

    def both(frames):
        play(frames)
        record(frames)

    if config["two_devices"]:
        client.set_process_callback(play)
        other.set_process_callback(record)
    else:
        client.set_process_callback(both)
    clients = [client] if other is client else [client, other]
    for each in clients:
        each.activate()
    return clients, bench


def unplug(clients):
    for client in clients:
        for port in [*client.inports, *client.outports]:
            port.disconnect()


def obey(words, clients, bench):
    match words:
        case ["unplug"]:
            unplug(clients)
        case ["lose", count]:
            bench.lose = int(count)
        case ["late", seconds]:
            bench.late_s = float(seconds)
        case ["set", name, value]:
            bench.config[name] = json.loads(value)
        case ["change", path]:
            bench.convolver = Convolver(np.load(path), bench.n_block)
        case ["forget"]:
            bench.played.clear()
        case ["save", path]:
            np.save(path, np.concatenate(bench.played) if bench.played else np.zeros(0))


def main():
    import jack

    folder = Path(sys.argv[1])
    config = json.loads((folder / "config.json").read_text())
    clients, bench = open_clients(jack, config, np.load(folder / "responses.npy"))
    print("ready", flush=True)
    for line in sys.stdin:
        obey(line.split(), clients, bench)
        print("done", flush=True)
    for client in clients:
        client.deactivate()
        client.close()


if __name__ == "__main__":
    main()
