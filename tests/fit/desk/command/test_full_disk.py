"""A disk that takes no more: whatever is typed, what was there stays whole, nothing is left half, and one line says the cure."""

import contextlib
import errno
import io
import os
import shutil
import subprocess
import sys

import pytest

from tests.desk_bench import run
from tests.writing_commands import LONG, QUICK, READING, READING_LONG, content, make_long, make_quick

TALKING = ("demo", "guide", "calibrate")  # they have said something by then
ON_A_DISK = QUICK | {name: LONG[name] for name in ("take", "fit", "report", "export-ir", "predict-png", "listen-flac", "demo")}
CUT_BYTES = 60  # less than any file that is written
ROOM_BYTES = 48_000_000  # of a disk of its own
CURES = {
    errno.EFBIG: "no larger file may be written there, choose another place",
    errno.ENOSPC: "free some space and try again",
    errno.EROFS: "choose a folder that you may write to",
}
on_linux = pytest.mark.skipif(sys.platform != "linux", reason="a disk of its own is made as on Linux")


@pytest.fixture(scope="module")
def quick(tmp_path_factory):
    return make_quick(tmp_path_factory.mktemp("quick"))


@pytest.fixture(scope="module")
def long(tmp_path_factory):
    return make_long(tmp_path_factory.mktemp("long"))


@pytest.fixture(scope="module")
def disk(tmp_path_factory):
    """A disk of its own, small enough to be filled."""
    folder = tmp_path_factory.mktemp("disk")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={ROOM_BYTES}", "tmpfs", folder], capture_output=True, text=True, check=False
    )
    if made.returncode:
        pytest.skip(f"no disk may be mounted here: {made.stderr.strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


@contextlib.contextmanager
def cut_files():
    """Let the system refuse what goes beyond some bytes of a file."""
    resource, signal = pytest.importorskip("resource"), pytest.importorskip("signal")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (CUT_BYTES, limits[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)


def assert_refused(capsys, folder, file, words, *, number):
    before = content(folder)
    code, out, err = run(capsys, *words)
    assert (code, "" if words[0] in TALKING else out) == (2, ""), err
    last = err.splitlines()[-1]
    assert last.startswith("coilsweep: ")
    assert file in last
    assert os.strerror(number) in last
    assert last.endswith(CURES[number])
    assert ".unfinished" not in err
    assert "Traceback" not in err
    assert content(folder) == before
    assert not [path for path in folder.rglob("*") if path.name.startswith((".writing", ".rig")) or path.suffix == ".unfinished"]


def beside(folder, tmp_path, monkeypatch):
    """Work in a copy, in which nobody waits for what is typed."""
    copy = shutil.copytree(folder, tmp_path / "bench")
    monkeypatch.chdir(copy)
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n" * 5))
    return copy


@pytest.mark.parametrize(("file", "words"), QUICK.values(), ids=QUICK)
def test_files_that_are_cut_are_not_left(quick, tmp_path, monkeypatch, capsys, file, words):
    copy = beside(quick, tmp_path, monkeypatch)
    with cut_files():
        assert_refused(capsys, copy, file, words, number=errno.EFBIG)


@pytest.mark.long
@pytest.mark.parametrize(("file", "words"), LONG.values(), ids=LONG)
def test_files_of_longer_commands_that_are_cut_are_not_left(long, tmp_path, monkeypatch, capsys, file, words):
    copy = beside(long, tmp_path, monkeypatch)
    with cut_files():
        assert_refused(capsys, copy, "1.wav" if words[0] == "take" else file, words, number=errno.EFBIG)


@pytest.mark.parametrize(("file", "words"), QUICK.values(), ids=QUICK)
def test_files_that_do_not_reach_the_disk_are_not_left(quick, tmp_path, monkeypatch, capsys, file, words):
    copy = beside(quick, tmp_path, monkeypatch)

    def refuse(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", refuse)
    assert_refused(capsys, copy, file, words, number=errno.ENOSPC)


@pytest.mark.long
@on_linux
@pytest.mark.parametrize(("file", "words"), ON_A_DISK.values(), ids=ON_A_DISK)
def test_a_disk_without_room_is_told(long, disk, monkeypatch, capsys, file, words):
    bench = beside(long, disk, monkeypatch)
    try:
        fill(disk / "filler")
        assert_refused(capsys, bench, file, words, number=errno.ENOSPC)
    finally:
        empty(disk)


@pytest.mark.long
@on_linux
@pytest.mark.parametrize(("file", "words"), QUICK.values(), ids=QUICK)
def test_a_disk_that_is_only_read_is_told(long, disk, monkeypatch, capsys, file, words):
    bench = beside(long, disk, monkeypatch)
    (bench / "new").mkdir()
    try:
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        assert_refused(capsys, bench, "takes" if words[0] == "import" else file, words, number=errno.EROFS)
    finally:
        subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
        empty(disk)


@pytest.mark.parametrize("words", READING.values(), ids=READING)
def test_what_is_only_asked_is_answered_on_a_full_disk(quick, tmp_path, monkeypatch, capsys, words):
    same_answer(beside(quick, tmp_path, monkeypatch), capsys, words)


@pytest.mark.long
@pytest.mark.parametrize("words", READING_LONG.values(), ids=READING_LONG)
def test_what_is_only_computed_is_answered_on_a_full_disk(long, tmp_path, monkeypatch, capsys, words):
    same_answer(beside(long, tmp_path, monkeypatch), capsys, words)


def same_answer(bench, capsys, words):
    for derived in bench.glob("*/derived"):
        shutil.rmtree(derived)
    with cut_files():
        code, out, err = run(capsys, *words)
    assert (code, "unfinished" in err) == (0, False)
    assert not [path for path in bench.glob("*/derived/*") if path.is_file()]
    assert run(capsys, *words)[:2] == (0, out)


def fill(path):
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(1 << 16)):
            pass


def empty(folder):
    for path in folder.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
