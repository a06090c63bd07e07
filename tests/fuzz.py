"""Does anything that is read, typed or sent make it fall? Hostile inputs by the hundred thousand, each drawn from its number.

`python -m tests.fuzz --n 200000 --seed 7 --keep DIR` tries them on every reader in turn. A reader takes an input or refuses it
by one printable line, within 5 s of processor time and 500 MB; whatever else comes is printed with its number, and its input
kept in DIR.
"""

import argparse
import contextlib
import hashlib
import io
import json
import random
import re
import resource
import signal
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import click
import msgspec
import numpy as np
import soundfile

from fit.answers.encoding import decode_answer
from fit.desk.book.fits import Fit, last_wish
from fit.desk.book.history import read_history
from fit.desk.book.instrument import open_instrument_file
from fit.desk.book.kept_fit import last_fit
from fit.desk.command.main import coilsweep
from fit.desk.command.main import main as command
from fit.desk.guide.console import read_memory
from fit.desk.show.words import error_line, plain_text
from fit.desk.window.messages import FromPage
from measure.errors import FileError, MeasureError
from measure.kinds import KINDS
from measure.logbook.curves import decode_loopback
from measure.logbook.derived import read_derived
from measure.logbook.drifts import CHECKED_FILE, read_checked
from measure.logbook.responses import look_at_table, read_table
from measure.logbook.rig import read_rig
from measure.logbook.store import Logbook, instrument_path, list_takes, open_logbook, read_take
from measure.marking import parse_parts, read_part, read_value
from measure.quantity import parse_capacitor_code, parse_quantity, parse_temperature
from measure.response import Origin, Response
from measure.source.files import read_recording, read_stimulus
from tests.coil_book import make_coil_book
from tests.hostile import changed, some_text
from tests.instrument_texts import SOUND

LIMIT_S = 5.0  # [s] of the processor for one input
LIMIT_BYTES = 500 << 20  # that one input may make the process grow by
MOST_LINE = 1000  # characters of what is said of a file
MOST_TYPED = 400_000  # of what is said of words, which are told as they were typed
CARD = {"bench", "calibrate", "demo", "devices", "guide", "level", "take"}  # play, serve or ask: only what is typed is read
OFFERED = (
    "open",
    "plus-1n",
    "loud",
    "volume=3",
    "capacitor.tone=10n",
    "1n ± 1%",
    "6.35k ± 1%",
    "tone=5",
    "x.png",
    "y.html",
    "pickup",
)
SHARES = {"command": 1, "options": 4, "recording": 4, "stimulus": 2, "fit": 4, "take": 8}  # of the others 20 each

TABLES = (
    b"frequency_hz,real,imaginary,standard_deviation\n" + b"".join(b"%d,0.5,-0.%d,0.001\n" % (100 * i, i) for i in range(1, 40)),
    b"Frequency (Hz); Magnitude (dB); Phase (deg)\n" + b"".join(b"%d;-%d,5;%d\n" % (50 * i, i, -3 * i) for i in range(1, 40)),
    b"* remark\nfreq\tmag\tphase\n" + b"".join(b"%de1\t%d.5\t%d\n" % (7 * i, i, i) for i in range(1, 30)),
)
TOUCHSTONES = (
    b"# kHz Z RI R 10000\n" + b"".join(b"%d 0.5 0.25\n" % i for i in range(1, 30)),
    b"! remark\n# Hz S MA R 50\n" + b"".join(b"%d 0.9 -%d\n" % (100 * i, i) for i in range(1, 30)),
)
VALUES = (
    "1n ± 1%",
    "4k7 ± 5%",
    "2A333K",
    "500k ± 20% at 24C",
    "100 ± 1% at 20C",
    "185p ± 3p",
    "0.047 \u00b5F",
    "223J",
    "B500K",
    "1M",
    "24C",
)
COILS = json.dumps(
    {
        "schema": "coilsweep.checks/1",
        "coils": {
            "drawer": {
                "judged_utc": "2026-07-06T17:00:00.000Z",
                "n_measurements": 10,
                "drifts": {
                    "resonance": {
                        "centre": 5900.0,
                        "size": -59.0,
                        "unit": "Hz",
                        "since_take": "drawer-10",
                        "since_utc": "2026-07-06T17:00:00.000Z",
                        "good_until_utc": "2026-06-22T17:00:00.000Z",
                        "is_lasting": True,
                    }
                },
            }
        },
    }
).encode()
SESSION = json.dumps(
    {
        "schema": "coilsweep.guide/1",
        "job": "pickup",
        "entries": [
            {"key": "added", "answer": "1n ± 1%", "is_asked": True},
            {"key": "ready.open", "answer": "yes"},
            {"key": "take.open", "answer": "open"},
        ],
    }
).encode()
CURVE = {
    "frequency_hz": [100.0, 1e3, 1e4, 2e4],
    "real": [0.3, -0.8, 0.4, 0.2],
    "imaginary": [0.2, 0.1, -0.4, 0.1],
    "relative_std": [1e-4, 2e-4, 3e-4, 4e-4],
}
LOOPBACK = json.dumps(
    {
        "schema": "coilsweep.loopback/1",
        "channels": CURVE,
        "card": CURVE,
        "gain_std": 2.1e-4,
        "delay_std_s": 1e-8,
        "rate_hz": 96000,
        "device": "card",
        "pickup_channel": 2,
        "reference_channel": 1,
        "time_utc": "2026-03-01T12:00:00.000Z",
        "latency_s": 0.0123,
        "floor_dbfs": [-97.1, None],
        "recording_sha256": ["0" * 64],
        "simulated": True,
    }
).encode()
MESSAGES = tuple(
    json.dumps(message).encode()
    for message in (
        {"kind": "alive", "id": 3},
        {"kind": "guide_open", "job": "pickup", "added": "1n", "controls": {"tone": "3"}},
        {"kind": "guide_answer", "key": "level", "text": "0.1"},
        {"kind": "what_if_set", "set": {"tone": "3"}, "change": {"capacitor.tone": "10n"}, "solder": ["jack=470p"], "at": ["E4"]},
        {"kind": "sound", "edge": "low", "recorded": {"tone": "3"}, "rate_hz": 48000},
        {"kind": "compare_open", "before": ["a"], "after": ["b", "c"]},
        {"kind": "take_amend", "name": "open", "note": "x"},
        {"kind": "book_open", "folder": "x"},
    )
)


class HungError(Exception):
    """Five seconds of the processor went by."""


@dataclass(frozen=True)
class Reader:
    """What reads one kind of input, and sound inputs of that kind."""

    form: str
    seeds: tuple[bytes, ...]
    read: Callable[[bytes], object]
    place: str = ""  # what a refusal has to name


@dataclass
class Fall:
    """An input that made a reader fall."""

    reader: str
    number: int
    what: str
    content: bytes = field(repr=False)


def file_reader(path: Path, read: Callable[[Path], object]) -> Callable[[bytes], object]:
    def from_file(content: bytes) -> None:
        path.write_bytes(content)
        read(path)

    return from_file


def readers(folder: Path) -> dict[str, Reader]:
    """Every reader, over a logbook of a simulated coil made in a folder."""
    book = make_coil_book(folder) / "book"
    where = ["--logbook", str(book)]
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert command(["fit", "open", "plus-1n", "--dcr", "6k ± 1%", *where]) == 0
        assert command(["export", "open", "--to", "csv", "--out", str(folder / "open.csv"), *where]) == 0
    logbook = open_logbook(book)
    instrument_path(logbook).write_text(SOUND, encoding="utf-8")
    fit_json, take_json = book / "results" / "fit.json", book / "takes" / "open" / "take.json"
    kept = json.loads(fit_json.read_text())
    kept["parts"]["instrument_sha256"] = _sha256(SOUND.encode())
    derived = {kind: next((book / "derived").glob(f"{kind}-*")) for kind in ("fit", "response")}
    types = {"fit": Fit, "response": Response}
    sounds = sounds_of(folder)
    table = (folder / "open.csv").read_bytes()[:2500].rpartition(b"\n")[0]
    found = {
        "recording": Reader("sound", sounds, file_reader(folder / "r.wav", read_recording), "r.wav"),
        "stimulus": Reader("sound", sounds, file_reader(folder / "s.flac", read_stimulus), "s.flac"),
        "table": Reader("table", (table, *TABLES), file_reader(folder / "t.csv", look_at)),
        "touchstone": Reader("table", TOUCHSTONES, file_reader(folder / "t.s1p", look_at)),
        "take": Reader("json", (take_json.read_bytes(),), file_reader(take_json, lambda _: look_at_take(book)), "open"),
        "rig": Reader("toml", ((book / "rig.toml").read_bytes(),), file_reader(folder / "rig.toml", read_rig), "rig.toml"),
        "instrument": Reader(
            "toml", (SOUND.encode(),), file_reader(folder / "instrument.toml", open_instrument_file), "instrument.toml"
        ),
        "fit": Reader("json", (json.dumps(kept).encode(),), file_reader(fit_json, lambda _: look_at_fit(book)), "fit.json"),
        "history": Reader(
            "json",
            ((book / "results" / "history.json").read_bytes(),),
            _result(book, "history.json", read_history),
            "history.json",
        ),
        "coils": Reader("json", (COILS,), _result(book, CHECKED_FILE, read_checked), CHECKED_FILE),
        "session": Reader(
            "json", (SESSION,), _result(book, "guide-pickup.json", lambda one: read_memory(one, "pickup")), "guide-pickup.json"
        ),
        "loopback": Reader("json", (LOOPBACK,), lambda content: decode_loopback(content, "loopback.json"), "loopback.json"),
        "values": Reader("text", tuple(text.encode() for text in VALUES), read_values),
        "message": Reader("json", MESSAGES, read_message),
        "command": Reader("words", (), lambda content: run_command(content, folder, book, is_run=True)),
        "options": Reader("words", (), lambda content: run_command(content, folder, book, is_run=False)),
    }
    for kind, path in derived.items():
        content = path.read_bytes().partition(b"\n")[2]
        found[f"derived {kind}"] = Reader("pack", (content,), lambda content, kind=kind: decode_answer(content, types[kind]))
        key = path.name.partition("-")[2]
        whole = file_reader(path, lambda _, kind=kind, key=key: read_derived(logbook, kind, key))
        found[f"file of {kind}"] = Reader("pack", (path.read_bytes(),), whole)
    return found


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def sounds_of(folder: Path) -> tuple[bytes, ...]:
    """The same 0.15 s as WAV of 16 and 24 bits, of floats, as FLAC, AIFF and W64."""
    samples = 0.3 * np.sin(np.arange(1200) / 7)[:, None] * [1.0, 0.5]
    forms = (
        ("WAV", "PCM_16"),
        ("WAV", "PCM_24"),
        ("WAV", "FLOAT"),
        ("WAVEX", "PCM_24"),
        ("FLAC", "PCM_16"),
        ("AIFF", "PCM_24"),
        ("W64", "PCM_16"),
    )
    found = []
    for form, kind in forms:
        soundfile.write(folder / "sound", samples, 8000, format=form, subtype=kind)
        found.append((folder / "sound").read_bytes())
    return tuple(found)


def _result(book: Path, name: str, read: Callable[[Logbook], object]) -> Callable[[bytes], object]:
    return file_reader(book / "results" / name, lambda _: read(open_logbook(book)))


def look_at(path: Path) -> None:
    """Read a table as each of the two methods: as one of them a sound one can be taken."""
    table, refused = read_table(path)[0], []
    for method in ("exciter", "impedance"):
        try:
            look_at_table(table, method=method, origin=Origin())
        except FileError as err:
            refused.append(err)
    if len(refused) == 2:
        raise refused[0]


def look_at_take(book: Path) -> None:
    logbook = open_logbook(book)
    listing = list_takes(logbook)
    for line in listing.damaged.values():
        require_line(line)
    read_take(logbook, "open", verify=False)


def look_at_fit(book: Path) -> None:
    logbook = open_logbook(book)
    last_fit(logbook, instrument_path(logbook), load={})
    last_wish(logbook, is_needed=True)


def read_values(content: bytes) -> None:
    """Read a text as everything that may be typed; each refuses it by a line of its own."""
    text = content.decode("utf-8", "replace")
    reads = [parse_quantity, parse_temperature, parse_capacitor_code, read_part, parse_parts]
    reads += [lambda text, kind=kind: read_value(text, kind) for kind in KINDS]
    for read in reads:
        try:
            read(text)
        except ValueError as err:
            require_refusal(err)


def read_message(content: bytes) -> None:
    """Read what a page sends as the server does, which tells errors cut to a line."""
    try:
        msgspec.json.decode(content.decode("utf-8", "replace"), type=FromPage)
    except (msgspec.MsgspecError, UnicodeError, RecursionError) as err:
        require_line(error_line(err)[:MOST_LINE])


def run_command(content: bytes, folder: Path, book: Path, *, is_run: bool) -> None:
    """Run a command on words kept one a line, or only have its options read."""
    words = content.decode("utf-8", "surrogateescape").split("\n")
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(folder / "desk"):
        if not is_run:
            read_options(words)
            return
        code = command([*words, "--logbook", str(book)])
    require(code in (0, 2, 3, 4), f"exit code {code}")
    require("Traceback" not in err.getvalue(), "a traceback was printed")
    for line in (out.getvalue() + err.getvalue()).splitlines():
        require(is_printable(line), f"not printable: {line!r}")
    if code == 2:
        require(err.getvalue().count("\n") <= 1 or "Usage:" in err.getvalue(), f"more than a line: {err.getvalue()!r}")
        require_line(err.getvalue().strip(), most=MOST_TYPED)


def read_options(words: list[str]) -> None:
    try:
        coilsweep.commands[words[0]].make_context(words[0], words[1:])
    except click.exceptions.Exit:
        pass
    except (click.ClickException, ValueError) as err:
        text = err.format_message() if isinstance(err, click.ClickException) else str(err)
        require_line(plain_text(" ".join(text.split())), most=MOST_TYPED)


def some_words(rng: random.Random, *, is_run: bool) -> bytes:
    """Draw a command with options of its own, some sound and some hostile values, and words that nobody asked for."""
    names = sorted(name for name in coilsweep.commands if not is_run or name not in CARD)
    words = [rng.choice(names)]
    found = coilsweep.commands[words[0]]
    if isinstance(found, click.Group) and rng.random() < 0.9:
        words.append(rng.choice(sorted(found.commands)))
        found = found.commands[words[1]]
    for option in rng.sample(found.params, min(len(found.params), rng.randrange(5))):
        if isinstance(option, click.Option):
            words.append(rng.choice(option.opts))
            if option.is_flag:
                continue
        choices = option.type.choices if isinstance(option.type, click.Choice) else OFFERED
        words.append(str(rng.choice(choices)) if rng.random() < 0.4 else some_text(rng))
    words += [some_text(rng) if rng.random() < 0.4 else rng.choice(OFFERED) for _ in range(rng.randrange(3))]
    if rng.random() < 0.1:
        words.insert(rng.randrange(1, len(words) + 1), some_text(rng))
    kept = [re.sub(r"[/\\~\n\0]|\.\.", "_", word) for word in words if word not in ("--ask", "--virtual", "--logbook", "--debug")]
    return "\n".join(kept).encode("utf-8", "surrogateescape")


def require(is_good: bool, what: str) -> None:
    if not is_good:
        raise AssertionError(what)


def is_printable(text: str) -> bool:
    """Signs that no font has are nobody's harm; those that steer a terminal are."""
    return plain_text(text) == text


def require_line(text: str, place: str = "", *, most: int = MOST_LINE) -> None:
    require(0 < len(text) <= most and is_printable(text), f"no printable line: {text[:200]!r}, {len(text)} characters")
    require(place in text, f"no place is named: {text[:200]!r}")


def require_refusal(error: Exception, place: str = "") -> None:
    """See that an error is one that this program raises on purpose, not one of a library that came through."""
    require(isinstance(error, MeasureError) or type(error) is ValueError, f"{type(error).__name__}: {error}"[:300])
    require_line(str(error), place)


def _give_up(*_: object) -> None:
    raise HungError


def attempt(reader: Reader, content: bytes) -> str:
    """Say what is wrong with how a reader takes an input; empty where nothing is."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    signal.signal(signal.SIGPROF, _give_up)
    signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
    try:
        with warnings.catch_warnings(action="error"):
            reader.read(content)
    except (MeasureError, ValueError) as err:
        try:
            require_refusal(err, reader.place)
        except AssertionError as wrong:
            return str(wrong)
    except HungError:
        return f"hangs: {traceback.format_exc().splitlines()[-4].strip()}"
    except BaseException as err:
        if isinstance(err, KeyboardInterrupt):
            raise
        places = [f"{frame.filename}:{frame.lineno}" for frame in traceback.extract_tb(err.__traceback__)]
        own = [place for place in places if "/measure/" in place or "/fit/" in place]
        return f"{type(err).__name__}: {str(err)[:200]} ({(own or places)[-1]})"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    grown = 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    return f"{grown >> 20} MB more of memory" if grown > LIMIT_BYTES else ""


def input_of(name: str, reader: Reader, seed: int, number: int) -> bytes:
    """Draw an input from its number: the same one each time."""
    rng = random.Random(f"{name} {seed} {number}")
    if reader.form == "words":
        return some_words(rng, is_run=name == "command")
    others = reader.seeds if len(reader.seeds) > 1 else ()
    return changed(rng.choice(reader.seeds), rng, reader.form, others)


def try_some(found: dict[str, Reader], n: int, seed: int, *, tell: Callable[[str], None] = print) -> Iterator[Fall]:
    """Try n inputs, spread over the readers."""
    shares = {name: SHARES.get(name, 20) for name in found}
    for name, reader in found.items():
        n_own = max(1, n * shares[name] // sum(shares.values()))
        for number in range(n_own):
            content = input_of(name, reader, seed, number)
            if wrong := attempt(reader, content):
                yield Fall(name, number, wrong, content)
        tell(f"{name}: {n_own}")


@contextlib.contextmanager
def bench() -> Iterator[dict[str, Reader]]:
    """All readers, over a logbook in a folder that goes afterwards."""
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "desk").mkdir()
        yield readers(Path(name))


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--n", type=int, default=2000, help="how many inputs")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", nargs="*", help="readers")
    parser.add_argument("--number", type=int, help="print the input of this number, of one reader")
    parser.add_argument("--keep", type=Path, help="folder for what made something fall, one input of each kind")
    asked = parser.parse_args(argv)
    n_of: Counter[tuple[str, str]] = Counter()
    with bench() as found:
        found = {name: reader for name, reader in found.items() if not asked.only or name in asked.only}
        if asked.number is not None:
            print(*(input_of(name, reader, asked.seed, asked.number) for name, reader in found.items()))
            return 0
        for fall in try_some(found, asked.n, asked.seed, tell=lambda line: print(line, flush=True)):
            kind = (fall.reader, re.sub(r"'.*'|\d+", "…", fall.what)[:80])
            n_of[kind] += 1
            if n_of[kind] > 1:
                continue
            print(f"  {fall.reader} {fall.number}: {fall.what}", flush=True)
            if asked.keep:
                asked.keep.mkdir(parents=True, exist_ok=True)
                (asked.keep / f"{fall.reader.replace(' ', '-')}-{fall.number}").write_bytes(fall.content)
    print(f"{sum(n_of.values())} fell, in {len(n_of)} ways")
    return 1 if n_of else 0


if __name__ == "__main__":
    sys.exit(main())
