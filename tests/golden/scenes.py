"""Command lines, scene by scene, each in a new folder: python -m tests.golden.scenes --renew [SCENE ...] writes them anew.

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
from datetime import timedelta
from pathlib import Path

import numpy as np
import scipy.fft

from fit.desk.command.main import main
from tests import kept_coil, readme_guitars
from tests import simulated_cases as simulated
from tests.golden import seeing

ROOT = Path(__file__).parent.parent.parent
DERIVED = "derived"  # a folder of what may be made again at any time
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
    files = (path for path in folder.rglob("*") if path.is_file() and path.parent.name != DERIVED)
    return {path: (path.stat().st_mtime_ns, path.stat().st_ino) for path in files}


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
    """Six strings struck one after the other, two seconds, as the manual makes them."""
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
    *("rig", "schema", "stimulus", "take", "wiring"),
)
POSITIONS = ("bridge", "bridge-middle", "middle", "neck-middle", "neck")
ALL_WIRED = [f"{pickup}-at-{at}" for pickup in ("bridge", "middle", "neck") for at in POSITIONS]
UNKNOWN_PICKUP = (('inductance = "4.4"\n', ""), ('winding_capacitance = "110p"\n', ""))
UP, DOWN, ADDED = "--set volume=10 --set tone=10", "--set volume=10 --set tone=0", '--add "1n ± 1%"'


def two_days(folder):
    """A pickup in March and in May, and another one; of one take a part is stated wrongly."""
    book, rng = kept_coil.new_book(folder / "book"), np.random.default_rng(3)
    takes = (
        ("march", 0.0, 0, ("--item", "neck", "--operator", "me")),
        ("march-1n", kept_coil.ADDED_F, 0, ("--item", "neck", "--operator", "me", "--add", "2n ± 1%")),
        ("may", 0.0, 60, ("--item", "neck", "--temperature", "26C", "--coil-moved")),
        ("may-1n", kept_coil.ADDED_F, 60, ("--item", "neck", "--temperature", "26C", "--add", "1n ± 1%")),
        ("other", 0.0, 60, ("--coil-moved",)),
    )
    for minute, (name, added_f, day, stated) in enumerate(takes):
        text = kept_coil.take_text(rng, kept_coil.response(added_f, kelvin=6.0 if day else 0.0))
        kept_coil.keep(book, name, text, *stated, at=kept_coil.FIRST + timedelta(days=day, minutes=minute))


def imports_of_three(stimulus, *, more=""):
    """Everything at 10, the same with the known part, tone at 0."""
    return (
        f"import up tone-up.flac --stimulus {stimulus} {UP} {more}".strip(),
        f"import up-1n tone-up-plus-1n.flac --stimulus {stimulus} {UP} {ADDED} {more}".strip(),
        f"import down tone-down.flac --stimulus {stimulus} {DOWN} {more}".strip(),
    )


SCENES = {
    "help": ("", "--help", *(f"{name} --help" for name in COMMANDS), text_only("schema")),
    "exciter": (
        'exciter --turns 100 --wire "0.2 mm"',
        'exciter --former 24 --source line --source-level "4 dBu"',
        'exciter --turns 100 --wire "0.2 furlongs"',
    ),
    "first-session": (
        text_only("demo"),
        "demo",
        copied("open-loud.wav", "open.wav", "plus-1n.wav", source="coilsweep-demo"),
        lambda folder: shutil.rmtree(folder / "coilsweep-demo"),
        RIG,
        "rig",
        "stimulus sweep.wav --rate 96000",
        'import open-loud open-loud.wav --stimulus sweep.wav --note "input gain far up"',
        'import open open.wav --stimulus sweep.wav --note "input gain turned down"',
        f"import plus-1n plus-1n.wav --stimulus sweep.wav {ADDED}",
        "inspect open-loud",
        "inspect open",
        text_only("fit open"),
        'fit open plus-1n --dcr "5.62k ± 1%" --have "470p ± 1%, 2n2 ± 1%" --plot fit.png',
        text_only("report"),
        "export open plus-1n --to csv",
        "export open plus-1n --to touchstone",
        text_only("export open plus-1n --to spice --out pickup.cir"),
        text_only("export open plus-1n --to ir --out pickup.wav"),
        "export open plus-1n --to csv",
        elsewhere,
        "import bare bare.csv --logbook elsewhere",
        f"import with-1n with-1n.csv {ADDED} --logbook elsewhere",
        "inspect bare --logbook elsewhere",
        text_only('fit bare with-1n --dcr "5.62k ± 1%" --logbook elsewhere'),
        "import jack open-plus-1n.s1p --logbook elsewhere",
        text_only('fit jack --dcr "5.62k ± 1%" --logbook elsewhere'),
        "import slip slip.csv --logbook elsewhere",
    ),
    "mended": (
        two_days,
        "takes --logbook book",
        'takes amend march-1n --add "1n ± 1%" --note "was stated as 2n" --logbook book',
        "takes amend march-1n --set tone=0 --coil-over neck --logbook book",
        "takes amend march-1n --unset tone --coil-over '' --logbook book",
        "fit march march-1n --logbook book",
        "fit may may-1n --logbook book",
        "fit march may --logbook book",
        "takes amend other --item bridge --logbook book",
        "fit march other --logbook book",
        "history --logbook book",
        "takes rename may-1n Mai-1n --logbook book",
        "takes rename march MAY --logbook book",
        "takes remove may --logbook book",
        "takes list --logbook book",
        "fit may --logbook book",
        "fit may-1n --logbook book",
        "takes restore may --logbook book",
        "takes restore may --logbook book",
        "takes list --item neck --logbook book",
        "takes amend may --logbook book",
        "takes mend may",
    ),
    "takes": (
        "rig",
        RIG,
        "rig --rate 48000 --clock 20ppm",
        'take open --virtual --note "single coil from the drawer"',
        f"take plus-1n --virtual {ADDED} --repeats 2",
        "take near --virtual --level 1",
        "take noisy --virtual --level 0.001",
        "take hum --virtual --method quiet",
        "inspect hum",
        "take open --virtual",
        text_only('fit open plus-1n --dcr "5.62k ± 1%"'),
    ),
    "card": (
        fake_card,
        "devices",
        Line(typed="rig --ask", answers={"Which interface": ("card",), "Resistance of": ("?", "1", "1M ± 5%")}),
        "rig",
        "rig --device missing",
        "take other",
        "level --duration 1",
        "calibrate loopback",
    ),
    "calibrate": (
        calibration_recordings,
        "rig --device card --pickup-channel 1 --reference-channel 2",
        "calibrate loopback --from loopback.wav --stimulus sweep.wav",
        "calibrate loopback --from through-1M.wav --stimulus sweep.wav",
        'calibrate input --from "through-100k.wav=100k ± 1%" --from "through-1M.wav=1M ± 1%"'
        ' --from "through-1M-1n.wav=1M ± 1%, 1n ± 1%" --stimulus sweep.wav',
        "calibrate exciter --from sense-over-output.wav --stimulus sweep.wav",
        "calibrate exciter --by-output by-output.wav --by-current by-current.wav --stimulus sweep.wav",
        "rig",
        'import jack jack.wav --method impedance --series-resistor "100k ± 0.1%" --stimulus sweep.wav',
        "fit jack",
    ),
    "closed-guitar": (
        copied("tone-capacitor/*.flac", "stimulus-48000.flac"),
        RIG,
        "instrument",
        "instrument --layout one-pickup",
        edited("instrument.toml", *UNKNOWN_PICKUP, ("8k", "7150 ± 1%"), ("22n ± 10%", "33n ± 10%")),
        "instrument",
        *imports_of_three("stimulus-48000.flac"),
        "import slip tone-up.flac --stimulus stimulus-48000.flac --set treble=10",
        text_only("fit up up-1n"),
        text_only("fit up up-1n down --plot fit.png"),
        "confirm capacitor.tone up up-1n down --plot confirm.png",
        text_only("confirm capacitor.tone up up-1n"),
        text_only("confirm pot.tone up up-1n down --marked 250k"),
        "confirm capacitor.bass up up-1n down",
        'predict --set tone=0 --change "capacitor.tone=10n ± 5%" --at E4 --at 3k',
        "export --to spice --set volume=7 --set tone=3",
        riff,
        "listen riff.wav riff-10n.wav --recorded tone=3 --change capacitor.tone=10n",
        text_only("report guitar.html"),
    ),
    "one-pickup": (
        drawn(readme_guitars.write_one_pickup),
        RIG,
        *imports_of_three("sweep.flac"),
        "import tone-5 tone-5.flac --stimulus sweep.flac --set volume=10 --set tone=5",
        "import volume-6 volume-6.flac --stimulus sweep.flac --set volume=6 --set tone=10",
        "fit up up-1n down tone-5 volume-6 --plot-tapers tapers.png",
        "import quiet-before-1 quiet-before-1.flac --method quiet",
        "inspect quiet-before-1",
        "import plate-before plate-before.flac --method plate --stimulus sweep.flac",
        "import quiet-before-2 quiet-before-2.flac --method quiet",
        "import quiet-after-1 quiet-after-1.flac --method quiet",
        "import quiet-after-2 quiet-after-2.flac --method quiet",
        "import plate-after plate-after.flac --method plate --stimulus sweep.flac",
        "compare --before quiet-before-1 quiet-before-2 plate-before --after quiet-after-1 quiet-after-2 plate-after"
        " --plot shielding.png",
        f'import jack impedance-up.flac --method impedance --series-resistor "220k ± 1%" --stimulus sweep.flac {UP}',
        f'import jack-down impedance-down.flac --method impedance --series-resistor "220k ± 1%" --stimulus sweep.flac {DOWN}',
        text_only("fit jack jack-down"),
        "export jack --to touchstone",
    ),
    "real-parts": (
        drawn(readme_guitars.write_real_parts),
        RIG,
        *imports_of_three("sweep.flac", more="--temperature 28C"),
        'fit up up-1n down --dcr "7340 ± 1% at 20C"',
        'fit up up-1n down --dcr "7340 ± 1%"',
        "predict --set tone=3",
    ),
    "three-pickups": (
        drawn(readme_guitars.write_three_pickups),
        RIG,
        *(
            text_only(f"import {name} {name}.flac --stimulus sweep.flac --coil-over {name.split('-')[0]} --set selector={at}")
            for name in ALL_WIRED
            for at in [name.partition("-at-")[2]]
        ),
        f"wiring {' '.join(ALL_WIRED)} --plot wiring.png",
        "wiring bridge-at-bridge bridge-at-bridge-middle",
        text_only(f"import bridge-1n bridge-plus-1n.flac --stimulus sweep.flac --coil-over bridge --set selector=bridge {ADDED}"),
        text_only("fit bridge-at-bridge bridge-1n"),
    ),
    "shielding": (
        copied("shielding/*.flac", "stimulus-48000.flac"),
        RIG,
        "instrument --layout one-pickup",
        edited("instrument.toml", *UNKNOWN_PICKUP, ("8k", "6350 ± 1%"), ("500k", "250k")),
        *(
            text_only(f"import {side}{part} {side}{file}.flac --stimulus stimulus-48000.flac {UP} {more}".strip())
            for side in ("before", "after")
            for part, file, more in (("", "", ""), ("-1n", "-plus-1n", ADDED))
        ),
        "compare --before before before-1n --after after after-1n --plot compare.png",
    ),
    "predict": (
        'rig --input-resistance "1M ± 1%" --input-capacitance "470p ± 10p"',
        "instrument --layout three-singles",
        lambda folder: (folder / "moved").mkdir(),
        "instrument --layout three-singles-bridge-tone --logbook moved",
        "instrument",
        "instrument --layout three-singles",
        "predict --instrument moved/instrument.toml --set selector=bridge --set tone-2=6 --excite bridge --at E4 --at 2k"
        " --plot predict.png",
        "predict --stated --no-tolerance",
        "predict --set selector=banana",
        riff,
        "listen riff.wav riff-moved.wav --instrument moved/instrument.toml --recorded selector=bridge --set tone-2=6"
        " --true-level riff-moved-true.wav --plot listen.png",
        "listen riff.wav riff-moved.wav --set tone-2=6",
        "export --to spice --set selector=middle --set volume=7",
    ),
    "repeat": (
        lambda folder: kept_coil.write_repeat(folder / "book", ((2, 1), (1, 2)), seed=4) and None,
        (f'repeat {" ".join(f"coil-{n} coil-{n}-1n" for n in range(1, 7))} --dcr "6k ± 1%" --plot repeat.png --logbook book'),
        "repeat coil-1 --logbook book",
    ),
    "check": (
        lambda folder: kept_coil.write_check(folder / "book", 10, shifts_from=8, seed=2) and None,
        'check drawer --dcr "6k ± 1%" --plot drawer.png --logbook book',
        'fit drawer-10 drawer-10-1n --dcr "6k ± 1%" --logbook book',
        text_only('check drawer --dcr "6k ± 1%" --quantity loudness --logbook book'),
    ),
    "guide-pickup": (
        text_only(
            "guide pickup --virtual",
            Read_that=("what?",),
            Resistance_of_the_pickup=("1", "?", "b"),
            Capacitance_of_input=("190p ± 3p", "186p ± 3p"),
            How_loud=("much", "0.4"),
            Other_known_parts=("2n2 ± 1%",),
            Make_that_take=("yes",),
        ),
        text_only("guide pickup --virtual"),
        "guide pickup",
    ),
    "guide-capacitor": (text_only("guide capacitor --virtual", What_is_printed=("500", "223K", "33n ± 10%")),),
    "guide-compare": (
        text_only("guide compare --virtual", Which_wiring=("none",), Is_the_job_done=("q",)),
        text_only("guide compare --virtual"),
    ),
    "guide-wiring": (
        text_only("guide wiring --virtual", Which_wiring=("two-pickups-tone-after",)),
        "guide wiring --virtual",
    ),
    "refused": (
        copied("faulty/*.flac", "stimulus-48000.flac"),
        "fit open",
        RIG,
        *(
            f"import {name} {name}.flac --stimulus stimulus-48000.flac"
            for name in ("clipped", "silent", "dropouts", "swapped", "buried-in-hum", "overdriven")
        ),
        "fit clipped",
        "import missing missing.wav --stimulus stimulus-48000.flac",
        "import clipped clipped.flac --stimulus stimulus-48000.flac",
        "import slip clipped.flac --stimulus stimulus-48000.flac --add 1x",
        'rig --input-capacitance "185q ± 3p"',
        "rig --sense-resistor 100",
        "inspect nothing",
        "report nothing.html nothing",
        "export nothing --to csv",
        "export nothing --to music",
        "compare --before clipped --after silent",
        "wiring clipped",
        "check drawer",
        "predict",
        "listen riff.wav out.wav --set tone=3",
        "instrument --layout seven-pickups",
        "guide amplifier --virtual",
        "fit --unknown",
        "measure",
        written("rig.toml", "[input]\nresistance = 7\n"),
        "rig",
        "fit buried-in-hum",
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
