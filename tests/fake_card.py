"""Stands in for the package sounddevice, to do what no server does on demand; tests put it in front of the path by that name.

What it shall do stands as JSON in the variable FAKE_CARD. Its output comes back on every input, a block later, with noise.
"""

import json
import os
import threading
import time

import numpy as np

SETTINGS = {
    "devices": [["card", 0, 2, 2, 48000.0]],  # name, host API, inputs, outputs, own rate
    "host_apis": ["Plain"],
    "default": [0, 0],
    "rates_hz": [44100, 48000],
    "pace": 1.0,  # true rate over the one asked for
    "ends_after_s": None,  # the stream is over then
    "hangs": "",  # in "import", "open", "start", "abort", "terminate", or with rates in "rates <device>"
    "fails": [],  # what PortAudio says at opening: text and number
    "flags_at": None,  # block with a lost one
    "prints": False,
    "zeros_s": None,  # from when to when both inputs hold zeros
    **json.loads(os.environ.get("FAKE_CARD", "{}")),
}
SETTINGS.setdefault("refuses_exact", [])  # what PortAudio says where nobody may resample: text and number
N_BLOCK = 480
FOR_EVER_S = 60.0


class PortAudioError(Exception):
    """As the package's."""


class CallbackFlags:
    input_underflow = output_overflow = output_underflow = False

    def __init__(self, input_overflow):
        self.input_overflow = input_overflow


class default:
    device = SETTINGS["default"]


def hang(place):
    if SETTINGS["hangs"] == place:
        time.sleep(FOR_EVER_S)


def query_hostapis():
    return tuple(
        {"name": name, "default_input_device": default.device[0], "default_output_device": default.device[1]}
        for name in SETTINGS["host_apis"]
    )


def query_devices():
    keys = ("name", "hostapi", "max_input_channels", "max_output_channels", "default_samplerate")
    return [dict(zip(keys, device, strict=True)) for device in SETTINGS["devices"]]


def get_portaudio_version():
    return 0, "none: a stand-in"


def _terminate():
    hang("terminate")


class WasapiSettings:
    def __init__(self, *, exclusive):
        assert exclusive


class CoreAudioSettings:
    def __init__(self, *, change_device_parameters, fail_if_conversion_required):
        assert change_device_parameters
        assert fail_if_conversion_required


class Stream:
    def __init__(self, *, device, channels, samplerate, callback, extra_settings=None, **_):
        hang("open")
        hang(f"rates {device}")
        if SETTINGS["fails"]:
            raise PortAudioError(*SETTINGS["fails"])
        if extra_settings is not None and SETTINGS["refuses_exact"]:
            raise PortAudioError(*SETTINGS["refuses_exact"])
        if samplerate not in SETTINGS["rates_hz"]:
            raise PortAudioError("Invalid sample rate", -9997)
        self.n_in, self.n_out = channels if isinstance(channels, tuple) else (channels, channels)
        self.rate_hz, self.callback = samplerate, callback
        self.is_over = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)

    def start(self):
        hang("start")
        if SETTINGS["prints"]:
            os.write(1, b"ALSA lib: on stdout\n")
            os.write(2, b"ALSA lib: on stderr\n")
        self.thread.start()

    def run(self):
        generator = np.random.default_rng(1)
        heard = np.zeros(N_BLOCK, dtype=np.float32)
        start_s = time.perf_counter()
        n = 0
        while not self.is_over.is_set():
            due_s = n * N_BLOCK / (self.rate_hz * SETTINGS["pace"])
            if SETTINGS["ends_after_s"] is not None and due_s > SETTINGS["ends_after_s"]:
                self.is_over.set()
                return
            time.sleep(max(start_s + due_s - time.perf_counter(), 0))
            indata = (heard[:, None] + 1e-4 * generator.normal(size=(N_BLOCK, self.n_in))).astype(np.float32)
            if SETTINGS["zeros_s"] and SETTINGS["zeros_s"][0] <= due_s < SETTINGS["zeros_s"][1]:
                indata[:] = 0.0
            outdata = np.full((N_BLOCK, self.n_out), 9.0, dtype=np.float32)  # what nobody fills in would be heard
            self.callback(indata, outdata, N_BLOCK, None, CallbackFlags(n == SETTINGS["flags_at"]))
            heard = outdata[:, 0].copy()
            n += 1

    @property
    def active(self):
        return not self.is_over.is_set()

    def abort(self, *, ignore_errors):
        assert ignore_errors
        hang("abort")
        self.is_over.set()

    def close(self, ignore_errors=True):
        assert ignore_errors
        self.is_over.set()


RawInputStream = RawOutputStream = Stream
hang("import")
