"""The examples of README.md and of the manual, typed anew: python -m tests.manual_pages PAGE ... renews what they show.

In front of a block of commands a comment may say what has to be there: `<!-- after: PAGE -->` the folder that the examples of
another page leave, `<!-- before: NAME -->` what somebody copies, edits or makes meanwhile (`MEANWHILE`), `<!-- needs: NAME -->`
that there is such a command, or such an option of it, `<!-- not run: WHY -->` that it cannot be had here. What is shown may be
cut: a line of … stands for any lines; nothing shown, for anything. A picture of the page is renewed by the file of that name.
"""

import argparse
import atexit
import contextlib
import difflib
import io
import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import fit.desk.show.manual
from fit.desk.command.main import coilsweep, main
from tests import kept_coil, readme_guitars
from tests.golden import scenes
from tests.golden.comparing import differences
from tests.places import TOP

FOLDER = Path(fit.desk.show.manual.__file__).parent
CUT = "…"
N_COLOURS = 64  # of a picture
STUB = 'coilsweep() { printf "%s\\0" "$#" "$@" >> "$CALLS"; }\n'
STAMP = re.compile(  # a moment; a day before a digest or in a list, with its times; a digest
    r"\d{4}-\d\d-\d\d(?:T[\d:.]+Z|(?=-[0-9a-f]{12}\b|, UTC))|~\d{8}T\d+Z"
    r"|(?m:^  \d{4}-\d\d-\d\d(?=  ))|(?<!:)\b\d\d:\d\d\b(?!:)|(?<=-)[0-9a-f]{12}\b"
)


@dataclass(frozen=True, slots=True)
class Command:
    """What is typed, and the lines that are shown of what comes of it."""

    typed: str
    shown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A block of commands; begin and end are the lines between its fences."""

    page: str
    notes: tuple[tuple[str, str], ...]
    begin: int
    end: int
    commands: tuple[Command, ...]

    @property
    def is_run(self):
        return all(kind != "not run" and (kind != "needs" or is_there(what)) for kind, what in self.notes)


def is_there(what):
    """Tell whether there is such a command, or such an option of it."""
    name, *options = what.split()
    command = coilsweep.commands.get(name)
    return command is not None and {flag for one in command.params for flag in one.opts} >= set(options)


def path_of(page):
    return TOP / "README.md" if page == "README" else FOLDER / f"{page}.md"


PAGES = ("README", *sorted(path.stem for path in FOLDER.glob("*.md")))


def text_of(page):
    return path_of(page).read_text(encoding="utf-8")


def examples(page):
    """Blocks of commands of a page, in order."""
    lines, found, notes, begin = text_of(page).splitlines(), [], [], None
    for at, line in enumerate(lines):
        note = re.fullmatch(r"<!-- (after|before|needs|not run): (.*) -->", line)
        if note:
            notes.append((note[1], note[2]))
        elif line == "```console":
            begin = at + 1
        elif line == "```" and begin is not None:
            found.append(Example(page, tuple(notes), begin, at, tuple(_commands(lines[begin:at]))))
            notes, begin = [], None
    return found


def _commands(lines):
    typed, shown = [], []
    for line in lines:
        is_open = typed and (typed[-1].endswith("\\") or _depth(typed) > 0) and not shown
        if line.startswith("$ "):
            if typed:
                yield Command("\n".join(typed), tuple(shown))
            typed, shown = [line.removeprefix("$ ")], []
        elif is_open:
            typed.append(line)
        elif line.strip() or shown:
            shown.append(line)
    if typed:
        yield Command("\n".join(typed), tuple(shown))


def _depth(typed):
    words = re.findall(r"\b(?:do|done)\b", "\n".join(typed))
    return words.count("do") - words.count("done")


@contextlib.contextmanager
def surroundings():
    before = dict(os.environ)
    os.environ.update(scenes.SURROUNDINGS | {"COLUMNS": "80"})
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


class Enters(io.StringIO):
    """Somebody who presses Enter at each question."""

    n = 0

    def readline(self, _size=-1):
        self.n += 1
        return "\n" if self.n < scenes.N_ANSWERS else ""

    def isatty(self):
        return False


def play(page, folder):
    """Type all that can be run of a page; each command with what came of it, an exit code and lines."""
    told = []
    with surroundings():
        for example in examples(page):
            if not example.is_run:
                continue
            for kind, what in example.notes:
                if kind == "after":
                    _empty(folder)
                    shutil.copytree(left_by(what), folder, dirs_exist_ok=True)
                elif kind == "before":
                    MEANWHILE[what](folder)
            told += [(example, command, *type_in(command.typed, folder)) for command in example.commands]
    return told


def _empty(folder):
    for path in list(folder.iterdir()):
        shutil.rmtree(path) if path.is_dir() else path.unlink()


def left_by(page):
    """Folder that the examples of a page leave; they are played once in a run."""
    if page not in _LEFT:
        folder = Path(tempfile.mkdtemp(prefix="coilsweep-manual-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        play(page, folder)
        _LEFT[page] = folder
    return _LEFT[page]


_LEFT = {}


def type_in(typed, folder):
    """Run a line in a shell, and each coilsweep in it here."""
    with tempfile.TemporaryDirectory() as place:
        calls = Path(place) / "calls"
        env = os.environ | {"CALLS": str(calls), "LC_ALL": "C.UTF-8"}
        done = subprocess.run(
            ["bash", "-c", STUB + typed], cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False
        )
        words = calls.read_text(encoding="utf-8").split("\0")[:-1] if calls.exists() else []
    said, code = io.StringIO(done.stdout.decode()), done.returncode
    said.seek(0, io.SEEK_END)
    while words:
        n = int(words[0])
        code = max(code, _run(words[1 : n + 1], folder, said))
        words = words[n + 1 :]
    return code, tuple(line.rstrip() for line in said.getvalue().splitlines())


def _run(words, folder, said):
    stdin = sys.stdin
    sys.stdin = Enters()
    try:
        with contextlib.chdir(folder), contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            return main(words)
    finally:
        sys.stdin = stdin


def missing(shown, said):
    """Lines that are shown and were not said, with what was said there; empty where all of it was, or nothing is shown."""
    if not shown:
        return []
    at, is_cut = 0, False
    for part in _parts(shown):
        if part is None:
            is_cut = True
            continue
        ends = range(at, len(said) - len(part) + 1) if is_cut else range(at, at + 1)
        found = next((one for one in ends if not _off(part, said[one : one + len(part)])), None)
        if found is None:
            near = _nearest(part[0], said, at) if is_cut else at
            return _off(part, said[near : near + len(part)]) or ["- ", *part]
        at, is_cut = found + len(part), False
    return [] if is_cut else [f"+ {line}" for line in said[at:] if line]


def _parts(shown):
    part = []
    for line in shown:
        if line.strip() == CUT:
            if part:
                yield tuple(part)
            part = []
            yield None
        elif line.strip():
            part.append(line)
    if part:
        yield tuple(part)


def _off(one, other):
    return differences(*(STAMP.sub("WHEN", "\n".join(lines)) for lines in (one, other)))


def _nearest(line, said, at):
    return max(range(at, len(said)), key=lambda one: _likeness(line, said[one]), default=at)


def renewed(shown, said):
    """What to show of what is said now: the same parts of it, found by their first and last lines."""
    lines, at, parts = [], 0, list(_parts(shown))
    for number, part in enumerate(parts):
        if part is None:
            lines.append(f"  {CUT}")
            continue
        begin = _nearest(part[0], said, at) if number and parts[number - 1] is None else at
        end = len(said)
        if number + 1 < len(parts):
            window = range(begin, min(len(said), begin + 3 * len(part) + 3))
            end = 1 + max(window, key=lambda one: (_likeness(part[-1], said[one]), -one), default=begin)
        is_apart = begin and not said[begin - 1] and lines
        lines += [
            *([""] if is_apart else []),
            *said[begin:end],
            *(said[end : end + 1] if tuple(said[end : end + 1]) == ("",) else []),
        ]
        at = end
    return lines


def _likeness(one, other):
    pair = (re.sub(r"\d+", "0", text) for text in (one, other))
    return difflib.SequenceMatcher(None, *pair, autojunk=False).ratio()


def renew(page):
    """Write a page's examples anew."""
    lines = text_of(page).splitlines()
    with tempfile.TemporaryDirectory() as folder:
        told = play(page, Path(folder))
        for picture in re.findall(r"\]\((?:[\w./-]*/)?pictures/([\w-]+\.\w+)\)", "\n".join(lines)):
            if (Path(folder) / picture).exists():
                _save_small(Path(folder) / picture, FOLDER / "pictures" / picture)
    blocks = {}
    for example, command, _, said in told:
        shown = list(command.shown)
        while shown and not shown[-1].strip():
            shown.pop()
        now = renewed(shown, said) if missing(shown, list(filter(None, said))) else shown
        while now and not now[-1].strip():
            now.pop()
        begin, *more = command.typed.split("\n")
        blocks.setdefault((example.begin, example.end), []).append("\n".join([f"$ {begin}", *more, *now]))
    for (begin, end), texts in sorted(blocks.items(), reverse=True):
        lines[begin:end] = "\n\n".join(texts).split("\n")
    path_of(page).write_text("\n".join(lines) + "\n", encoding="utf-8")


def _save_small(drawn, file):
    """A picture of few colours, as a wheel can carry it."""
    if file.suffix == ".svg":
        shutil.copy(drawn, file)
        return
    from PIL import Image

    with Image.open(drawn) as image:
        small = image.convert("RGB").quantize(N_COLOURS)
    small.save(file, optimize=True)


def _values_known(folder):
    edit = scenes.edited("instrument.toml", *scenes.UNKNOWN_PICKUP, ("8k", "7150 ± 1%"), ("22n ± 10%", "33n ± 10%"))
    edit(folder)


def _bounds(folder):
    usual = {"dcr": "6.2k ± 1%", "inductance": "2.4 ± 1%", "winding_capacitance": "100p ± 5p"}
    for file in ("instrument.toml", "moved/instrument.toml"):
        text = (folder / file).read_text(encoding="utf-8")
        for key, stated in usual.items():
            text = re.sub(rf'^{key} = ".*"$', f'{key} = "{stated}"', text, flags=re.MULTILINE)
        (folder / file).write_text(text, encoding="utf-8")


def typed(*lines):
    """What was typed before, on another page."""

    def type_them(folder):
        for line in lines:
            code, said = type_in(line, folder)
            assert code == 0, said

    return type_them


def _three_singles(folder):
    typed(
        'coilsweep rig --input-resistance "1M ± 1%" --input-capacitance "470p ± 10p"',
        "coilsweep instrument --layout three-singles",
        "mkdir moved",
        "coilsweep instrument --layout three-singles-bridge-tone --logbook moved",
    )(folder)
    _bounds(folder)


def _shielding_instrument(folder):
    typed("coilsweep instrument --layout one-pickup")(folder)
    scenes.edited("instrument.toml", *scenes.UNKNOWN_PICKUP, ("8k", "6350 ± 1%"), ("500k", "250k"))(folder)


# What somebody does between the blocks, by the name in the comment.
MEANWHILE = {
    "tone-capacitor recordings": scenes.copied("tone-capacitor/*.flac", "stimulus-48000.flac"),
    "shielding recordings": scenes.copied("shielding/*.flac", "stimulus-48000.flac"),
    "values known": _values_known,
    "one-pickup guitar": scenes.drawn(readme_guitars.write_one_pickup),
    "three-pickups guitar": scenes.drawn(readme_guitars.write_three_pickups),
    "real-parts guitar": scenes.drawn(readme_guitars.write_real_parts),
    "middle turned round": scenes.edited(
        "instrument.toml", ('ends = ["middle hot", "ground"]', 'ends = ["ground", "middle hot"]')
    ),
    "shielding instrument": _shielding_instrument,
    "rig": typed(f"coilsweep {scenes.RIG}"),
    "bounds": _bounds,
    "predict instrument": _three_singles,
    "demo recordings": lambda folder: _demo_recordings(folder),
    "riff": scenes.riff,
    "nothing": lambda folder: _empty(folder),
    "repeat book": scenes.drawn(lambda folder: kept_coil.write_repeat(folder, ((2, 2),) * 3)),
    "check book": scenes.drawn(lambda folder: kept_coil.write_check(folder, 14)),
    "calibration recordings": scenes.calibration_recordings,
    "exported": typed("coilsweep export open plus-1n --to csv", "coilsweep export open plus-1n --to touchstone"),
    "slip": scenes.written("slip.csv", "frequency_hz,real,imaginary\n100,x,2\n"),
}


def _demo_recordings(folder):
    with (
        tempfile.TemporaryDirectory() as place,
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        assert main(["demo", f"{place}/demo"]) == 0
        for name in ("open-loud", "open", "plus-1n"):
            shutil.copy(Path(place) / "demo" / f"{name}.wav", folder)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Renew what the examples of pages show.")
    parser.add_argument("pages", nargs="+", choices=PAGES)
    for one in parser.parse_args().pages:
        renew(one)
