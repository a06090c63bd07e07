"""Processor time and peak memory of the README's commands, as ratios to fixed work of the same run.

python -m tests.benchmarks.commands prints them beside those of the last release (commands.json, which --renew writes, from three
rounds and with a sweep of ten minutes besides), and fails where an import is over its limit, or a whole answer half above the
last release's; what is stated of whole answers is told as missed where it is.
Nothing but the standard library is imported here: the peak memory of a process that is started begins with the size of the one
that starts it.
"""

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
KEPT = Path(__file__).with_suffix(".json")
RENEWED_ROUNDS = 3
MARGIN = 1.5  # [1] over the last release's ratio of an answer, that other machines, and other work on them, may make of it
STATED = {  # [1] ratios: what fixed_work tells under this name, over two FFTs
    "bare": ("whole answer on two bare takes, over two FFTs", 4.84),
    "guitar": ("whole answer on a guitar's three takes, over two FFTs", 16.0),
}
LONG_TIME = ("import of ten minutes, {}: over reading it and its FFTs", 6.0)
LONG_MEMORY = ("import of ten minutes, {}: memory over the file", 4.0)
RUN = ("-c", "from fit.desk.command.main import run; run()")
THREE = ("up", "up-1n", "down")
WIRED = tuple(f"{pickup}-{at}" for pickup in ("bridge", "middle", "neck") for at in ("bridge", "middle", "neck"))
CHANGE = ("--change", "capacitor.tone=10n")
COMMANDS = {  # name: logbook, words; {} is the folder
    "import": ("empty", ("import", "up", "{}/up.flac", "--set", "volume=10", "--set", "tone=10")),
    "fit": ("guitar", ("fit", *THREE)),
    "confirm": ("guitar", ("confirm", "capacitor.tone", *THREE, "--marked", "223K")),
    "compare": ("shielding", ("compare", "--before", "before", "before-1n", "--after", "after", "after-1n")),
    "wiring": ("three", ("wiring", *WIRED)),
    "predict": ("fitted", ("predict", "--set", "tone=0", *CHANGE, "--at", "E4")),
    "listen, three minutes": ("fitted", ("listen", "{}/playing.wav", "{}/changed.wav", "--replace", *CHANGE)),
    "report": ("fitted", ("report",)),
    "page of a fit": ("guitar", ("fit", *THREE, "--page", "{}/page.html", "--replace")),
}
SCENES, FIXED_WORK = "tests.benchmarks.scenes", "tests.benchmarks.fixed_work"


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """Of a process that ended well."""

    processor_s: float
    peak_bytes: int


def use(*words):
    """Run Python with these words, to its end."""
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen([sys.executable, *map(str, words)], cwd=TOP, stdout=said, stderr=said)
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            said.seek(0)
            raise SystemExit(f"{' '.join(map(str, words))}\n{said.read().decode(errors='replace')}")
    unit = 1 if sys.platform == "darwin" else 1024
    return Used(processor_s=usage.ru_utime + usage.ru_stime, peak_bytes=usage.ru_maxrss * unit)


def fixed(*words):
    return json.loads(subprocess.run([sys.executable, "-m", FIXED_WORK, *words], cwd=TOP, check=True, capture_output=True).stdout)


def use_command(folder, name):
    """On a logbook of its own, so that nothing is kept from the time before."""
    book, words = COMMANDS[name]
    fresh = folder / "fresh"
    shutil.copytree(folder / book, fresh)
    used = use(*RUN, *(word.replace("{}", str(folder)) for word in words), "--logbook", fresh)
    shutil.rmtree(fresh)
    return used


def measure_commands(folder, ffts_s, *, n_rounds):
    """Each command: processor time over two FFTs, over `import numpy`; peak memory over that of `import numpy`, and in MiB."""
    found = {}
    for name in COMMANDS:
        pairs = [(use("-c", "import numpy"), use_command(folder, name)) for _ in range(n_rounds)]
        seconds = statistics.median(used.processor_s for _, used in pairs)
        found[name] = {
            "seconds": seconds,
            "ffts": seconds / ffts_s,
            "numpy": statistics.median(used.processor_s / numpy.processor_s for numpy, used in pairs),
            "memory": statistics.median(used.peak_bytes / numpy.peak_bytes for numpy, used in pairs),
            "mib": statistics.median(used.peak_bytes for _, used in pairs) / 2**20,
        }
    return found


def measure_stated(folder, work, kinds):
    """Name, ratio, and the most that is stated of it."""
    found = [(name, work[key], most) for key, (name, most) in STATED.items()]
    for kind in kinds:
        path = folder / f"{kind}.wav"
        used = use(*RUN, "import", kind, path, "--logbook", folder / "empty")
        found.append((LONG_TIME[0].format(kind), used.processor_s / fixed(str(path))["reading"], LONG_TIME[1]))
        found.append((LONG_MEMORY[0].format(kind), used.peak_bytes / path.stat().st_size, LONG_MEMORY[1]))
    return found


def show(found, stated, kept):
    """Two tables; what was kept stands in brackets."""
    release = kept.get("version", "none")
    print(f"Processor time and peak memory; in brackets: release {release}")
    print(f"{'':24}{'s':>6}{'× two FFTs':>18}{'× import numpy':>18}{'MiB':>7}{'× its memory':>16}")
    for name, one in found.items():
        last = kept.get("commands", {}).get(name)
        cells = [f"{one[key]:.3g}" + (f" ({last[key]:.3g})" if last else "") for key in ("ffts", "numpy", "memory")]
        print(f"{name:24}{one['seconds']:6.2f}{cells[0]:>18}{cells[1]:>18}{one['mib']:7.0f}{cells[2]:>16}")
    print()
    for name, ratio, most in stated:
        last = kept.get("stated", {}).get(name)
        beside = f" ({last:.2f})" if last else ""
        print(f"{name:64}{ratio:7.2f}{beside:9} at most {most:g}{'' if ratio <= most else ', missed'}")


def short(value):
    return float(f"{value:.3g}")


def main(words):
    is_renewed = "--renew" in words
    kinds = ("silence", "sweep") if is_renewed else ("silence",)
    kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        use("-m", SCENES, folder, *kinds)
        work = fixed()
        found = measure_commands(folder, work["ffts"], n_rounds=RENEWED_ROUNDS if is_renewed else 1)
        stated = measure_stated(folder, work, kinds)
    show(found, stated, kept)
    if is_renewed:
        from measure.version import VERSION

        commands = {name: {key: short(value) for key, value in one.items()} for name, one in found.items()}
        whole = {"version": VERSION, "commands": commands, "stated": {name: short(ratio) for name, ratio, _ in stated}}
        KEPT.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    over = [name for name, ratio, most in stated if ratio > limit_of(name, most, kept)]
    for name in over:
        print(f"over its limit: {name}")
    return 1 if over else 0


def limit_of(name, most, kept):
    """What ends in exit code 1: for answers what the last release had, with a margin, since it is missed on some machines."""
    last = kept.get("stated", {}).get(name)
    is_answer = name in {one for one, _ in STATED.values()}
    return MARGIN * last if is_answer and last is not None else most


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
