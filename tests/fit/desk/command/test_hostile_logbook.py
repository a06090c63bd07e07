"""A logbook from somebody else: nothing outside is touched, nothing waited for, and one line says what is wrong."""

import io
import json
import os
import shutil
import stat
import sys

import pytest

from fit.desk.command.main import main
from measure.text import is_unseen
from tests.desk_bench import run
from tests.writing_commands import QUICK, READING, held, make_quick

pytestmark = pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX systems")

FOLDERS = ("takes", "results", "derived", "removed")
PLACES = (*FOLDERS, "rig.toml", "instrument.toml", "results/fit.json", "results/history.json", "takes/open", "derived/fit-0")
TAKE_FILES = ("take.json", "recording.wav", "stimulus.wav")
OPENING = {name: words for name, (_, words) in QUICK.items() if words[-1] == "book"} | {
    name: words for name, words in READING.items() if words[-1] == "book"
}
OPENING |= {
    "layout": ("instrument", "--layout", "one-pickup", "--logbook", "book"),
    "fit": ("fit", "open", "plus-1n", "--logbook", "book"),
    "report": ("report", "r.html", "--logbook", "book"),
    "remove": ("takes", "remove", "open", "--logbook", "book"),
    "restore": ("takes", "restore", "open", "--logbook", "book"),
    "guide": ("guide", "pickup", "--virtual", "--logbook", "book"),
    "predict": ("predict", "--change", "capacitor.tone=10n", "--logbook", "book"),
    "compare": ("compare", "--before", "open", "--after", "plus-1n", "--logbook", "book"),
    "confirm": ("confirm", "capacitor.tone", "open", "plus-1n", "--logbook", "book"),
    "wiring": ("wiring", "open", "plus-1n", "--logbook", "book"),
    "repeat": ("repeat", "open", "plus-1n", "--logbook", "book"),
    "check": ("check", "drawer", "--logbook", "book"),
    "listen": ("listen", "open.wav", "l.wav", "--change", "capacitor.tone=10n", "--logbook", "book"),
    "calibrate": ("calibrate", "loopback", "--virtual", "--no-wait", "--logbook", "book"),
    "level": ("level", "--virtual", "--json", "--logbook", "book"),
    "take": ("take", "new", "--virtual", "--duration", "1", "--logbook", "book"),
    "exciter": ("exciter", "--logbook", "book"),
}
RAW = "x\x1b[2J\x9b31m\u202ey\u2066"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return make_quick(tmp_path_factory.mktemp("bench"))


@pytest.fixture
def bench(made, tmp_path, monkeypatch):
    copy = shutil.copytree(made, tmp_path / "bench")
    monkeypatch.chdir(copy)
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 5))
    return copy


@pytest.fixture
def victim(tmp_path):
    """What lies elsewhere: files such as a logbook has, and unfinished ones that are old."""
    folder = tmp_path / "victim"
    for name in FOLDERS:
        (folder / name).mkdir(parents=True)
        for file in ("fit.json", "take.json", ".fit.json.0123456789ab.unfinished", ".rig.toml.0123456789ab.unfinished"):
            (folder / name / file).write_text("theirs", encoding="utf-8")
    (folder / "takes" / ".writing-a-0123456789ab").mkdir()
    (folder / "file").write_text("theirs", encoding="utf-8")
    for path in [*folder.rglob("*"), folder]:
        os.utime(path, (1, 1))
    return folder


def traces(folder):
    """Name, kind, content and times of all, the folders too."""
    paths = [folder, *sorted(folder.rglob("*"))]
    return [(str(path), "" if path.is_dir() else held(path), path.lstat().st_mtime_ns, path.lstat().st_mode) for path in paths]


def put_link(book, place, victim):
    path = book / place
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    path.parent.mkdir(exist_ok=True)
    path.symlink_to(victim / (place if place in FOLDERS else "takes" if place == "takes/open" else "file"))


def refused(capsys, words):
    code, _, err = run(capsys, *words)
    assert code == 2, err
    last = err.splitlines()[-1]
    assert last.startswith("coilsweep: ")
    assert "Traceback" not in err
    return last


@pytest.mark.parametrize("place", PLACES)
def test_no_command_follows_a_link_out_of_a_logbook(bench, victim, capsys, place):
    put_link(bench / "book", place, victim)
    before, beside = traces(victim), traces(bench / "book")
    for words in OPENING.values():
        assert "is a link, and none is followed in a logbook" in refused(capsys, words), words
    assert traces(victim) == before
    assert traces(bench / "book") == beside


@pytest.mark.parametrize("file", TAKE_FILES)
@pytest.mark.parametrize("kind", ["link", "pipe", "device", "folder"])
def test_a_file_of_a_take_that_is_none_is_told_and_not_waited_for(bench, victim, capsys, file, kind):
    path = bench / "book" / "takes" / "open" / file
    path.unlink()
    if kind == "link":
        path.symlink_to(victim / "file")
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        try:
            os.mknod(path, stat.S_IFCHR | 0o600, os.makedev(1, 5))  # as /dev/zero, which has no end
        except OSError:
            pytest.skip("no device may be made here")
    else:
        path.mkdir()
    before = traces(victim)
    for name in ("fit", "inspect", "export-csv", "rename", "amend"):
        words = OPENING.get(name, ("inspect", "open", "--logbook", "book"))
        assert f"{file} is not a plain file; links and devices are not followed" in refused(capsys, words)
    assert run(capsys, *OPENING["list"])[0] == 0
    assert traces(victim) == before


@pytest.mark.long
@pytest.mark.parametrize("place", ["rig.toml", "instrument.toml", "results/fit.json", "results/history.json", "derived/fit-0"])
def test_a_pipe_in_a_logbook_is_not_waited_for(bench, capsys, place):
    path = bench / "book" / place
    path.unlink(missing_ok=True)
    os.mkfifo(path)
    for words in OPENING.values():
        code, _, err = run(capsys, *words)
        assert code in (0, 2, 3)
        assert "Traceback" not in err
    assert path.is_fifo() or place.startswith("results")  # what is found anew takes the place of what was kept


def test_a_take_as_large_as_a_disk_is_told(bench, capsys):
    recording = bench / "book" / "takes" / "open" / "recording.wav"
    try:
        os.truncate(recording, 9_000_000_000)  # nothing is written for it
    except OSError:
        pytest.skip("the disk has no such files")
    assert "recording.wav is larger than the 8 GB" in refused(capsys, OPENING["fit"])
    os.truncate(bench / "book" / "takes" / "open" / "take.json", 9_000_000_000)
    assert "take.json is larger than the 4000000 bytes" in refused(capsys, OPENING["fit"])
    os.truncate(bench / "book" / "rig.toml", 9_000_000_000)
    assert "rig.toml is larger than" in refused(capsys, OPENING["rig"])


def test_more_takes_than_a_logbook_may_have_are_not_gone_through(bench, capsys, monkeypatch):
    from measure.logbook import store

    monkeypatch.setattr(store, "MOST_ENTRIES", 30)
    for number in range(40):
        (bench / "book" / "takes" / f"d{number}").mkdir()
    for name in ("list", "fit", "import"):
        assert "takes holds more than 30 files and folders: begin another logbook" in refused(capsys, OPENING[name])


def change_texts(value, text):
    """Put a text in the place of every other in a document."""
    if isinstance(value, dict):
        return {
            key: one if key in ("name", "schema", "time_utc", "sha256") else change_texts(one, text) for key, one in value.items()
        }
    if isinstance(value, list):
        return [change_texts(one, text) for one in value]
    return text if isinstance(value, str) else value


def plant(book, place):
    """Put text that would do something to a terminal in a place of a logbook, and its name where it is a file's."""
    file = book / place.partition(":")[0]
    quoted = json.dumps(RAW).replace("\\u00", "\\U000000")
    if place == "takes":
        (file / RAW).mkdir()
    elif file.suffix == ".json":
        document = json.loads(file.read_bytes())
        if place.endswith(":note"):
            document["conditions"] = {"note": "seen\tonce\ntwice"}
        elif place.endswith(":finding"):
            document["findings"] = [{"code": RAW, "severity": "warn", "text": RAW}]
        else:
            document = change_texts(document, RAW)
        file.write_text(json.dumps(document), encoding="utf-8")
    elif place == "rig.toml":
        file.write_text(f"{file.read_text(encoding='utf-8')}\n[{quoted}]\nkey = {quoted}\n", encoding="utf-8")
    elif place == "rig.toml:raw":
        file.write_text(f"a = '{RAW}'\n", encoding="utf-8")
    else:
        assert main(["instrument", "--layout", "one-pickup", "--logbook", str(book)]) == 0
        text = file.read_text(encoding="utf-8").replace('kind = "single-coil"', f"kind = {quoted}")
        file.write_text(f"name = {quoted}\n{text}" if place.endswith("name") else f"{text}\n[{quoted}]\n", encoding="utf-8")


@pytest.mark.parametrize(
    "place",
    [
        "takes",
        "takes/open/take.json",
        "takes/open/take.json:note",
        "takes/open/take.json:finding",
        "rig.toml",
        "rig.toml:raw",
        "instrument.toml:name",
        "instrument.toml:part",
        "results/fit.json",
        "results/history.json",
    ],
)
def test_nothing_that_a_logbook_holds_reaches_the_terminal_raw(bench, capsys, monkeypatch, place):
    plant(bench / "book", place)
    commands = [
        OPENING[name] for name in ("list", "history", "rig", "export-csv", "predict", "check", "amend", "rename", "restore")
    ]
    said = ""
    for words in (*commands, ("inspect", "open", "--logbook", "book"), ("inspect", "nosuch", "--logbook", "book")):
        for more in ((), ("--json",), ("--debug",)):
            monkeypatch.setattr(sys, "stdin", io.StringIO(f"{RAW}\n"))
            said += "".join(run(capsys, *words, *more)[1:])
    assert {char for char in said if is_unseen(char)} == {"\n"}
    assert "[2J" in said or place not in ("takes", "takes/open/take.json", "rig.toml", "instrument.toml:part")


@pytest.mark.parametrize(
    "words",
    [
        ("inspect", RAW),
        ("rig", "--sense-resistor", RAW),
        (RAW,),
        ("inspect", f"--{RAW}"),
        ("history", RAW),
        ("rig", "--logbook", RAW),
    ],
)
@pytest.mark.usefixtures("bench")
def test_nothing_that_is_typed_reaches_the_terminal_raw(capsys, words):
    beside = () if "--logbook" in words else ("--logbook", "book")
    for more in ((), ("--json",), ("--debug",)):
        code, out, err = run(capsys, *words, *beside, *more)
        assert code == 2
        assert {char for char in out + err if is_unseen(char)} == {"\n"}
        assert "[2J" in err


def test_a_link_that_leads_to_a_logbook_is_one_that_somebody_named(bench, capsys):
    (bench / "named").symlink_to(bench / "book")
    code, out, _ = run(capsys, "inspect", "open", "--logbook", "named")
    assert (code, out) == run(capsys, "inspect", "open", "--logbook", "book")[:2]
    assert code == 0
