"""Command lines, scene by scene, each in a new folder: python -m tests.golden.scenes --renew [SCENE ...] writes anew what is kept.

A scene is what a person would type, and in between what they would copy or edit. What each command said, wrote and drew, and
the same with --json, stands in kept/SCENE.
"""

import argparse
import contextlib
import json
import os
import shlex
import shutil
import sys
import tempfile
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

import numpy as np
import scipy.fft

from fit.desk.cli import main
from tests import kept_coil, readme_guitars
from tests import simulated_cases as simulated
from tests.golden import seeing

ROOT = Path(__file__).parent.parent.parent
FIXTURES = ROOT / "fixtures" / "recordings"
KEPT = Path(__file__).parent / "kept"
N_ANSWERS = 150  # more would be a question that is asked for ever
SURROUNDINGS = {"COLUMNS": "100", "TERM": "dumb", "TZ": "UTC"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What is typed after ``coilsweep``; what is answered, by how the question begins, then Enter."""

    typed: str
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    is_json_too: bool = True

    @property
    def words(self):
        return shlex.split(self.typed)

    @property
    def name(self):
        words = [word for word in self.words if not word.startswith("-")][:1] or ["coilsweep"]
        return "-".join(self.words[:2]) if words[0] in ("calibrate", "guide") else words[0]


def text_only(typed, **answers):
    """A line that takes long, or asks: not once more with --json."""
    return Line(typed=typed, is_json_too=False, answers={key.replace("_", " "): texts for key, texts in answers.items()})


class Answers:
    """Standard input of somebody who reads the questions."""

    def __init__(self, answers, streams):
        self.waiting = {begin: list(texts) for begin, texts in answers.items()}
        self.streams, self.n_asked = streams, 0

    def readline(self, _size=-1):
        self.n_asked += 1
        if self.n_asked > N_ANSWERS:
            return ""
        questions = [seeing.text_of(stream).rpartition("\n")[2] for stream in self.streams]
        for begin, texts in self.waiting.items():
            if texts and any(question.startswith(begin) for question in questions):
                return texts.pop(0) + "\n"
        return "\n"

    def isatty(self):
        return False


def play(scene, folder):
    """Play a scene in a new folder; texts by the name of the file in which they are kept."""
    folder.mkdir(parents=True)
    told, before = {}, dict(os.environ)
    os.environ.update(SURROUNDINGS)
    try:
        for step in SCENES[scene]:
            if callable(step):
                step(folder)
                continue
            line = Line(typed=step) if isinstance(step, str) else step
            name = f"{1 + sum(key.endswith('.txt') for key in told):02d}-{line.name}"
            if line.is_json_too and "--help" not in line.words:
                twin = folder.parent / "twin"
                shutil.copytree(folder, twin)
                told[f"{name}.json"] = _as_document(line, twin, (twin, folder))
                shutil.rmtree(twin)
            told[f"{name}.txt"] = _as_text(line, folder)
    finally:
        os.environ.clear()
        os.environ.update(before)
    return told


def _run(line, folder, *more):
    """Exit code, stdout, stderr, figures."""
    stdin = sys.stdin
    with contextlib.chdir(folder), seeing.caught_streams() as streams, seeing.drawn_figures() as figures:
        sys.stdin = Answers(line.answers, streams)
        try:
            code = main([*line.words, *more])
        finally:
            sys.stdin = stdin
    return code, *map(seeing.text_of, streams), figures


def _as_document(line, folder, folders):
    code, out, err, _ = _run(line, folder, "--json")
    document = json.loads(out) if out.strip() else None
    whole = {"typed": f"coilsweep {line.typed} --json", "exit": code, "stderr": err.splitlines(), "document": document}
    return seeing.neutral("\n".join(seeing.document_lines(whole, depth=3)), folders) + "\n"


def _as_text(line, folder):
    before = _stamps(folder)
    code, out, err, figures = _run(line, folder)
    after = _stamps(folder)
    lines = [f"$ coilsweep {line.typed}", f"exit {code}", "== stdout", out.rstrip(), "== stderr", err.rstrip()]
    written = {
        seeing.neutral(path.relative_to(folder).as_posix(), [folder]): path
        for path, stamp in after.items()
        if before.get(path) != stamp
    }
    for name in sorted(written):
        lines += [f"== written: {name}", *seeing.file_lines(written[name])]
    lines += [f"== gone: {path.relative_to(folder).as_posix()}" for path in sorted(before.keys() - after.keys())]
    for figure in figures:
        lines += ["== drawn", *figure]
    return seeing.neutral("\n".join(text for text in lines if text), [folder]) + "\n"


def _stamps(folder):
    return {path: (path.stat().st_mtime_ns, path.stat().st_ino) for path in folder.rglob("*") if path.is_file()}


# What somebody does between two commands.


def copied(*patterns, source=FIXTURES, to="."):
    """Recordings of the fixtures, or of another folder within that of the scene."""

    def copy(folder):
        (folder / to).mkdir(exist_ok=True)
        for pattern in patterns:
            found = sorted((folder / source).glob(pattern))
            assert found, pattern
            for path in found:
                shutil.copy(path, folder / to / path.name)

    return copy


def drawn(write):
    """Recordings and instrument.toml of a drawn guitar."""

    def draw(folder):
        write(folder / "guitar")
        for path in (folder / "guitar").iterdir():
            path.rename(folder / path.name)
        (folder / "guitar").rmdir()

    return draw


def edited(file, *changes):
    """Each change is a text and what stands there instead."""

    def edit(folder):
        text = (folder / file).read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        (folder / file).write_text(text, encoding="utf-8")

    return edit


def written(file, text):
    return lambda folder: (folder / file).write_text(text, encoding="utf-8")


def elsewhere(folder):
    """Two exported tables with three of their columns, as another program would write them, and one with a slip."""
    (folder / "elsewhere").mkdir()
    shutil.copy(folder / "rig.toml", folder / "elsewhere" / "rig.toml")
    for name, wanted in (("open.csv", "bare.csv"), ("plus-1n.csv", "with-1n.csv")):
        rows = [line.split(",") for line in (folder / name).read_text(encoding="utf-8").splitlines() if line[0] != "#"]
        (folder / wanted).write_text("".join(f"{row[0]},{row[3]},{row[4]}\n" for row in rows), encoding="utf-8")
    (folder / "slip.csv").write_text("frequency_hz,real,imaginary\n100,x,2\n", encoding="utf-8")


def fake_card(folder):
    """A stand-in for the audio library, before the real one on the path of the process that drives the card."""
    (folder / "library").mkdir()
    shutil.copy(ROOT / "tests" / "fake_card.py", folder / "library" / "sounddevice.py")
    os.environ["PYTHONPATH"] = os.pathsep.join((str(folder / "library"), str(ROOT)))
    os.environ["FAKE_CARD"] = json.dumps({"devices": [["card", 0, 2, 2, 48000.0], ["other", 0, 2, 0, 44100.0]]})


CALIBRATION_HZ = 48000


def calibration_recordings(folder):
    """Inputs that differ by 0.5 dB and 5° at 10 kHz: loopback, through known resistors, the sense resistor over the output."""
    mismatch, exciter, gain = 10e3 / np.tan(np.radians(5.0)), 9.1e3, 10 ** (0.5 / 20)
    stimulus = simulated.sweep(CALIBRATION_HZ, level=0.3)
    card = simulated.Card(rate_hz=CALIBRATION_HZ, hum_dbfs=-80.0)
    n_fft = scipy.fft.next_fast_len(len(stimulus) + CALIBRATION_HZ // 2, real=True)
    f = np.maximum(np.arange(n_fft // 2 + 1) * CALIBRATION_HZ / n_fft, 1e-3)
    played = scipy.fft.rfft(stimulus, n_fft) * f / (f - 2j) * np.exp(-2j * np.pi * f * card.latency_s)

    def through(ohm, across_f=0.0):
        return 1 / (1 + ohm * (1 / 1e6 + 2j * np.pi * f * (185e-12 + across_f)))

    coil = 1 / (1 / 1e6 + 2j * np.pi * f * 285e-12 + 1 / (6000 + 2j * np.pi * f * 2.6))
    corner = 100 / 130 / (1 + 1j * f / exciter)
    jack = coil / (coil + 100e3)
    ratios = {
        "loopback": (1.0, 1.0),
        "through-100k": (through(100.2e3), 1.0),
        "through-1M": (through(997e3), 1.0),
        "through-1M-1n": (through(997e3, 1.0024e-9), 1.0),
        "sense-over-output": (corner, 1.0),
        "by-output": (jack * corner, 1.0),
        "by-current": (jack * corner, corner),
        "jack": (jack, 1.0),
    }
    for seed, (name, (pickup, reference)) in enumerate(ratios.items(), start=1):
        spectra = np.stack([played * pickup * gain / (1 + 1j * f / mismatch), played * reference])
        clean = scipy.fft.irfft(spectra, n_fft)[:, : len(stimulus)].T
        noisy = simulated.dirty(np.random.default_rng(seed), clean, card)
        simulated.write(folder / f"{name}.wav", noisy, rate_hz=CALIBRATION_HZ)
    simulated.write(folder / "sweep.wav", stimulus, rate_hz=CALIBRATION_HZ)


def riff(folder):
    """Six strings struck one after the other, two seconds, as README.md makes them."""
    rate_hz, dice = 48000, np.random.default_rng(1)
    played = np.zeros(2 * rate_hz)
    for string, pitch_hz in enumerate((82.41, 110.0, 146.83, 196.0, 246.94, 329.63)):
        start, loop = int(0.2 * string * rate_hz), dice.uniform(-0.12, 0.12, round(rate_hz / pitch_hz))
        while start + len(loop) <= len(played):
            played[start : start + len(loop)] += loop
            start, loop = start + len(loop), 0.996 * (0.9 * loop + 0.1 * np.roll(loop, 1))
    simulated.write(folder / "riff.wav", played, rate_hz=rate_hz)


RIG = (
    'rig --input-resistance "1M ± 1%" --input-capacitance "185p ± 3p" --sense-resistor "100 ± 1%"'
    " --reference current --pickup-channel 1 --reference-channel 2"
)
COMMANDS = (
    *(
        "calibrate",
        "calibrate loopback",
        "calibrate input",
        "calibrate exciter",
        "check",
        "compare",
        "confirm",
        "demo",
        "devices",
    ),
    *("exciter", "export", "fit", "guide", "import", "inspect", "instrument", "level", "listen", "predict", "repeat", "report"),
    *("rig", "stimulus", "take", "wiring"),
)
POSITIONS = ("bridge", "bridge-middle", "middle", "neck-middle", "neck")
ALL_WIRED = [f"{pickup}-at-{at}" for pickup in ("bridge", "middle", "neck") for at in POSITIONS]
UP, DOWN, ADDED = "--set volume=10 --set tone=10", "--set volume=10 --set tone=0", '--add "1n ± 1%"'


def imports_of_three(stimulus, *, more=""):
    """Everything at 10, the same with the known part, tone at 0."""
    return (
        f"import up tone-up.flac --stimulus {stimulus} {UP} {more}".strip(),
        f"import up-1n tone-up-plus-1n.flac --stimulus {stimulus} {UP} {ADDED} {more}".strip(),
        f"import down tone-down.flac --stimulus {stimulus} {DOWN} {more}".strip(),
    )


SCENES = {
    "help": ("", "--help", *(f"{name} --help" for name in COMMANDS)),
    "exciter": (
        'exciter --turns 100 --wire "0.2 mm"',
        'exciter --former 24 --output line --level "4 dBu"',
        'exciter --turns 100 --wire "0.2 furlongs"',
    ),
}


def main_of_scenes(argv=None):
    """Write scenes anew; those not named stay."""
    parser = argparse.ArgumentParser(prog="python -m tests.golden.scenes", description="Write anew what is kept of each scene.")
    parser.add_argument("--renew", nargs="*", metavar="SCENE", required=True, help="all where none is named")
    for scene in parser.parse_args(argv).renew or SCENES:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("error")
            told = play(scene, Path(folder).resolve() / scene)
        shutil.rmtree(KEPT / scene, ignore_errors=True)
        (KEPT / scene).mkdir(parents=True)
        for name, text in told.items():
            (KEPT / scene / name).write_text(text, encoding="utf-8")
        print(f"{scene}: {len(told)} files, {sum(map(len, told.values()))} characters")


if __name__ == "__main__":
    main_of_scenes()
