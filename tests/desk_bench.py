"""Recordings for the tests of the commands: a coil with one eddy loop on the virtual bench, 48 kHz, a short sweep."""

import json

import numpy as np

from fit.desk.command.main import main
from measure.source.files import read_stimulus, write_recording
from measure.source.virtual import Faults, Noise, VirtualBench
from tests.documents import typed

INDUCTANCE_H, DCR_OHM, CAPACITANCE_F = 2.6, 6000.0, 100e-12
EDDY_COUPLING, EDDY_CORNER_HZ, EDDY_FIELD = 0.35, 8e3, 0.2
INPUT_OHM, INPUT_F = 1e6, 185e-12
RIG = [
    "--input-resistance",
    "1M ± 1%",
    "--input-capacitance",
    "185p ± 3p",
    "--sense-resistor",
    "100 ± 1%",
    "--reference",
    "current",
]


def coil(added_f=0.0, gain=0.04):
    def response(frequency_hz):
        s = 2j * np.pi * frequency_hz
        load = s * (CAPACITANCE_F + INPUT_F + added_f) + 1 / INPUT_OHM
        loop = s / (s + 2 * np.pi * EDDY_CORNER_HZ)
        impedance = DCR_OHM + s * INDUCTANCE_H * (1 - EDDY_COUPLING**2 * loop)
        return flat(frequency_hz) * gain * s / 6283 * (1 - EDDY_FIELD * loop) / (1 + impedance * load)

    return response


# What both inputs have in common: no DC.
def flat(frequency_hz):
    s = 2j * np.pi * frequency_hz
    return 0.5 * s / (s + 25)


def record(folder, name, *, added_f=0.0, gain=0.04, faults=None, seed=1, n_channels=2):
    stimulus, rate_hz = read_stimulus(folder / "sweep.wav")
    noise = Noise(pickup_hum=(1e-3, 0.0, 3e-4), pickup_white=2e-5, reference_white=1e-5)
    bench = VirtualBench(pickup=coil(added_f, gain), reference=flat, noise=noise, faults=faults or Faults(), seed=seed)
    path = folder / f"{name}.wav"
    write_recording(path, bench.record(stimulus, rate_hz=rate_hz, n_channels=n_channels), rate_hz)
    return path


def run(capsys, *words):
    """Exit code, stdout, stderr of one command."""
    capsys.readouterr()
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    return code, said.out, said.err


def is_one_line(err):
    """What is said of an error: one line that a terminal only shows."""
    return err.startswith("coilsweep: ") and err.endswith("\n") and err[:-1].isprintable() and "Traceback" not in err


def run_json(capsys, *words):
    """Exit code, the document, stderr; the document is of its type, every interval what its factor says."""
    code, out, err = run(capsys, *words, "--json")
    document = json.loads(out)
    typed(document)
    for quantity in quantities_in(document):
        assert set(quantity) >= QUANTITY_KEYS, quantity
        factor, std = quantity["coverage_factor"], quantity["standard_uncertainty"]
        value, (_, high) = quantity["value"], quantity["interval_95"]
        assert quantity["distribution"] in ("normal", "rectangular", "mixed", "profile", "t"), quantity
        if quantity["distribution"] != "profile" and None not in (value, high):
            linear = np.isclose(high - value, factor * std, rtol=1e-3)
            assert linear or np.isclose(np.log(high / value), factor * std / value, rtol=1e-3), quantity
    return code, document, err


QUANTITY_KEYS = {"value", "unit", "standard_uncertainty", "interval_95", "coverage_factor", "distribution"}


def quantities_in(document):
    """Every value with an interval, however deep."""
    if isinstance(document, dict):
        if {"value", "interval_95"} <= set(document):
            yield document
        document = list(document.values())
    if isinstance(document, list):
        for inner in document:
            yield from quantities_in(inner)


def names_of(document, role=None):
    """Names of the takes in a document, those of one role where it is named."""
    return [take["name"] for take in document["takes"] if role in (None, take["role"])]


def run_plain(capsys, *words):
    """As `run`, with the details, and as if the terminal were one line."""
    code, out, err = run(capsys, *words, "--details")
    return code, " ".join(out.split()), err
