"""Command lines that write, and the folders that they are typed beside: what a full disk and a hostile logbook are tried on."""

import contextlib
import hashlib
import io
import shutil

from fit.desk.command.main import main
from tests.coil_book import make_coil_book
from tests.desk_bench import RIG
from tests.kept_coil import write_check, write_repeat
from tests.python_bench import make_logbook

BOOK, NEW, GUITAR, SHIELDING, REHEARSAL = (("--logbook", name) for name in ("book", "new", "guitar", "shielding", "rehearsal"))
BARE = ("open", "plus-1n")
CHANGE = ("--change", "capacitor.tone=10n")
SETS = tuple(f"coil-{number}{what}" for number in range(1, 5) for what in ("", "-1n"))
BEFORE = ("--before", "before", "--before", "before-1n", "--after", "after", "--after", "after-1n")

# By what they write first: the file that a message has to name.
QUICK = {
    "rig": ("rig.toml", ("rig", "--sense-resistor", "99 ± 1%", *BOOK)),
    "rig-new": ("rig.toml", ("rig", "--sense-resistor", "99 ± 1%", *NEW)),
    "stimulus-wav": ("sweep-2.wav", ("stimulus", "sweep-2.wav", "--rate", "8000", "--duration", "1")),
    "stimulus-flac": ("sweep-2.flac", ("stimulus", "sweep-2.flac", "--rate", "8000", "--duration", "1")),
    "stimulus-aiff": ("sweep-2.aiff", ("stimulus", "sweep-2.aiff", "--rate", "8000", "--duration", "1")),
    "stimulus-again": ("sweep.wav", ("stimulus", "sweep.wav", "--rate", "8000", "--duration", "1", "--replace")),
    "import": ("takes/again", ("import", "again", "open.wav", "--stimulus", "sweep.wav", *BOOK)),
    "export-csv": ("open.csv", ("export", *BARE, "--to", "csv", "--out", "book", *BOOK)),
    "layout": ("instrument.toml", ("instrument", "--layout", "one-pickup", *NEW)),
    "drawing": ("d.svg", ("instrument", "--drawing", "d.svg", *GUITAR)),
    "amend": ("take.json", ("takes", "amend", "open", "--note", "seen again", *BOOK)),
    "rename": ("fit.json", ("takes", "rename", "open", "other", *BOOK)),
}
LONG = {
    "take": ("takes/new", ("take", "new", "--virtual", "--duration", "1", *BOOK)),
    "loopback": ("results/loopback", ("calibrate", "loopback", "--virtual", "--no-wait", *REHEARSAL)),
    "input": (
        "results/input",
        ("calibrate", "input", "--virtual", "--no-wait", "--through", "100k ± 1%", "--through", "1M ± 1%", *REHEARSAL),
    ),
    "corner": ("results/exciter", ("calibrate", "exciter", "--virtual", "--no-wait", *REHEARSAL)),
    "fit": ("fit.json", ("fit", *BARE, *BOOK)),
    "report": ("r.html", ("report", "r.html", *BOOK)),
    "export-spice": ("o.cir", ("export", *BARE, "--to", "spice", "--out", "o.cir", *BOOK)),
    "export-touchstone": ("o.s1p", ("export", *BARE, "--to", "touchstone", "--out", "o.s1p", *BOOK)),
    "export-ir": ("o.wav", ("export", *BARE, "--to", "ir", "--out", "o.wav", *BOOK)),
    "predict-png": ("p.png", ("predict", *CHANGE, "--plot", "p.png", *GUITAR)),
    "predict-html": ("p.html", ("predict", *CHANGE, "--page", "p.html", *GUITAR)),
    "listen-wav": ("l.wav", ("listen", "open.wav", "l.wav", *CHANGE, *GUITAR)),
    "listen-flac": ("l", ("listen", "open.wav", "l.flac", "--true-level", "l-2.flac", *CHANGE, *GUITAR)),
    "confirm": ("c.svg", ("confirm", "capacitor.tone", "up", "up-1n", "down", "--plot", "c.svg", *GUITAR)),
    "compare": ("c.png", ("compare", *BEFORE, "--plot", "c.png", *SHIELDING)),
    "repeat": ("r.html", ("repeat", *SETS, "--page", "r.html", "--logbook", "repeat")),
    "exciter": ("e.html", ("exciter", "--page", "e.html")),
    "inspect": ("i.png", ("inspect", "open", "--plot", "i.png", *BOOK)),
    "manual": ("m.html", ("manual", "--page", "m.html")),
    "guide": ("guide-pickup.json", ("guide", "pickup", "--virtual", *NEW)),
    "demo": ("rig.toml", ("demo", "demo")),
}
# Nothing is asked to be written; what is derived may be kept, or not.
READING = {
    "list": ("takes", "list", *BOOK),
    "history": ("history", *BOOK),
    "rig": ("rig", *BOOK),
    "instrument": ("instrument", *GUITAR),
}
READING_LONG = {
    "inspect": ("inspect", "open", *BOOK),
    "predict": ("predict", *CHANGE, *GUITAR),
    "confirm": ("confirm", "capacitor.tone", "up", "up-1n", "down", *GUITAR),
    "compare": ("compare", *BEFORE, *SHIELDING),
    "check": ("check", "drawer", "--logbook", "check"),
}


def make_quick(folder):
    """FOLDER with a coil's logbook and its recordings, and a guitar's that holds no takes yet."""
    make_coil_book(folder)
    made = {"book": ("fit", *BARE), "guitar": ("instrument", "--layout", "one-pickup"), "rehearsal": ("rig", *RIG)}
    for book, words in made.items():
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            assert main([*words, "--logbook", str(folder / book)]) == 0
    return folder


def make_long(folder):
    """The same with takes of a guitar, of one that was shielded, and of coils measured again and again."""
    make_quick(folder)
    shutil.rmtree(folder / "guitar")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        make_logbook(folder, "guitar")
        make_logbook(folder, "shielding")
        assert main(["fit", "up", "up-1n", "down", "--logbook", str(folder / "guitar")]) == 0
    write_repeat(folder / "repeat", ((1, 1), (1, 1)))
    write_check(folder / "check", 1)
    return folder


def content(folder):
    """Each file with what it holds, and where a link leads; what is derived may come and go."""
    paths = [path for path in sorted(folder.rglob("*")) if "derived" not in path.parts]
    return {str(path.relative_to(folder)): held(path) for path in paths if path.is_symlink() or path.is_file()}


def held(path):
    return f"to {path.readlink()}" if path.is_symlink() else hashlib.sha256(path.read_bytes()).hexdigest()
