"""The logbook's folder: whole takes or none, whatever happens."""

import errno
import hashlib
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

from measure.errors import FileError
from measure.logbook import disk, store
from measure.logbook.conditions import Conditions
from measure.logbook.store import (
    Logbook,
    instrument_path,
    kept_path,
    list_takes,
    open_logbook,
    read_take,
    read_takes,
    rig_path,
    write_result,
    write_take,
)
from measure.logbook.take import FileStimulus, RecordingFile, ResponseFile, Take, encode_take
from tests.places import TOP

on_posix = pytest.mark.skipif(os.name != "posix", reason="links, locks and limits of POSIX systems")
SOUND = np.random.default_rng(1).bytes(300_000)


@pytest.fixture
def logbook(tmp_path: Path) -> Logbook:
    return open_logbook(tmp_path / "bench", create=True)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "incoming.wav"
    path.write_bytes(SOUND)
    return path


def plain_take(name: str, **fields: object) -> Take:
    take = Take(name=name, recordings=(RecordingFile(file="recording.wav"),), rate_hz=48000)
    return msgspec.structs.replace(take, **fields)


def keep(logbook: Logbook, source: Path, name: str = "open", **fields: object) -> Take:
    return write_take(logbook, plain_take(name, **fields), {"recording.wav": source})


def files_in(logbook: Logbook) -> list[str]:
    return sorted(str(path.relative_to(logbook.path)) for path in logbook.path.rglob("*"))


def test_a_take_is_kept_byte_for_byte_and_read_back(logbook: Logbook, source: Path) -> None:
    kept = keep(logbook, source, outcome="rejected")
    assert kept.recordings[0].sha256 == hashlib.sha256(SOUND).hexdigest()
    assert kept.sequence == 1
    assert kept.time_utc.endswith("Z")
    assert read_take(logbook, "open") == kept
    assert kept.outcome == "rejected"
    assert kept_path(logbook, kept, "recording.wav").read_bytes() == SOUND
    assert files_in(logbook) == ["takes", "takes/open", "takes/open/recording.wav", "takes/open/take.json"]
    assert source.read_bytes() == SOUND
    assert rig_path(logbook) == logbook.path / "rig.toml"
    assert instrument_path(logbook) == logbook.path / "instrument.toml"


def test_repeats_stimulus_and_a_response_are_kept(logbook: Logbook, source: Path, tmp_path: Path) -> None:
    stimulus = tmp_path / "played.flac"
    stimulus.write_bytes(b"stimulus")
    take = plain_take(
        "twice",
        recordings=(RecordingFile(file="recording.wav"), RecordingFile(file="recording-2.wav")),
        stimulus=FileStimulus(file="stimulus.flac"),
    )
    kept = write_take(logbook, take, {"recording.wav": source, "recording-2.wav": source, "stimulus.flac": stimulus})
    assert read_take(logbook, "twice") == kept
    assert kept_path(logbook, kept, "recording-2.wav").name == "recording-2.wav"
    assert kept_path(logbook, kept, "stimulus.flac").read_bytes() == b"stimulus"
    elsewhere = Take(name="elsewhere", kind="response", response_file=ResponseFile(file="response.csv"))
    kept = write_take(logbook, elsewhere, {"response.csv": stimulus})
    assert kept_path(logbook, read_take(logbook, "elsewhere"), "response.csv").read_bytes() == b"stimulus"
    with pytest.raises(ValueError, match=r'names no file "recording.wav", only response.csv'):
        kept_path(logbook, kept, "recording.wav")


def test_a_source_is_removed_only_once_the_take_is_kept(logbook: Logbook, source: Path) -> None:
    write_take(logbook, plain_take("open"), {"recording.wav": source}, move=True)
    assert not source.exists()
    source.write_bytes(SOUND)
    with pytest.raises(FileError, match="choose another name"):
        write_take(logbook, plain_take("open"), {"recording.wav": source}, move=True)
    assert source.read_bytes() == SOUND


def test_a_take_is_never_overwritten(logbook: Logbook, source: Path) -> None:
    kept = keep(logbook, source)
    source.write_bytes(b"other")
    with pytest.raises(FileError, match='there is a take "open" already, and takes are never overwritten: choose another name'):
        keep(logbook, source)
    assert read_take(logbook, "open") == kept


def test_sources_must_be_the_files_that_the_take_names(logbook: Logbook, source: Path) -> None:
    with pytest.raises(ValueError, match=r"sources are \['other.wav'\], but the take names \['recording.wav'\]"):
        write_take(logbook, plain_take("open"), {"other.wav": source})


def test_takes_are_listed_as_they_were_made(logbook: Logbook, source: Path) -> None:
    late, early = "2026-01-31T12:00:00.000Z", "2026-01-31T11:59:59.999Z"
    for name, moment in (("c", late), ("a", late), ("b", late), ("d", early)):
        keep(logbook, source, name, time_utc=moment)
    listing = list_takes(logbook)
    assert [(take.name, take.sequence) for take in listing.takes] == [("d", 4), ("c", 1), ("a", 2), ("b", 3)]
    assert listing.damaged == {}
    assert list_takes(open_logbook(logbook.path)).takes == listing.takes


def test_named_takes_are_read_as_they_were_made_and_what_is_not_there_is_said(logbook: Logbook, source: Path) -> None:
    for name in ("b", "a", "c"):
        keep(logbook, source, name)
    assert [take.name for take in read_takes(logbook, ("a", "b"))] == ["b", "a"]
    assert read_takes(logbook, ()) == []
    with pytest.raises(FileError, match=r'^no take "d" in .*; there are: a, b, c$'):
        read_takes(logbook, ("a", "d"))
    with pytest.raises(FileError, match='there is "a"'):
        read_takes(logbook, ("A",))
    flip_a_bit(logbook.path / "takes" / "c" / "recording.wav")
    with pytest.raises(FileError, match=r"recording\.wav has changed since the take was made"):
        read_takes(logbook, ("a", "c"))
    (logbook.path / "takes" / "b" / "take.json").write_bytes(b"{")
    with pytest.raises(FileError, match=r"take\.json is not a take"):
        read_takes(logbook, ("a", "b"))


def test_an_empty_folder_is_a_logbook(logbook: Logbook) -> None:
    assert list_takes(logbook).takes == ()
    with pytest.raises(FileError, match=r'no take "open" in .*; there are: none yet'):
        read_take(logbook, "open")
    with pytest.raises(ValueError, match="cannot be a name"):
        read_take(logbook, "../open")
    with pytest.raises(FileError, match="nowhere is not a folder: make it, or name another logbook"):
        open_logbook(logbook.path / "nowhere")


def flip_a_bit(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def make_a_link(path: Path) -> None:
    elsewhere = path.parent / ".elsewhere"
    path.rename(elsewhere)
    path.symlink_to(elsewhere)


def make_a_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def move_the_take(path: Path) -> None:
    path.parent.rename(path.parent.with_name("other"))
    path.parent.mkdir()
    (path.parent.with_name("other") / "take.json").rename(path.parent / "take.json")


@on_posix
@pytest.mark.parametrize(
    ("file", "damage", "match"),
    [
        ("recording.wav", flip_a_bit, r"open/recording.wav has changed since the take was made: SHA-256 "),
        ("recording.wav", lambda path: os.truncate(path, 1000), "recording.wav has changed"),
        ("recording.wav", Path.unlink, "recording.wav not found: No such file"),
        ("recording.wav", make_a_link, "recording.wav is not a plain file; links and devices are not followed"),
        ("recording.wav", make_a_pipe, "recording.wav is not a plain file"),
        ("recording.wav", move_the_take, "recording.wav not found"),
        ("take.json", Path.unlink, "take.json not found"),
        ("take.json", make_a_link, "take.json is not a plain file"),
        ("take.json", make_a_pipe, "take.json is not a plain file"),
        ("take.json", lambda path: os.truncate(path, 100), "take.json is not a take"),
        ("take.json", lambda path: os.truncate(path, 0), "take.json is not a take"),
        ("take.json", lambda path: os.truncate(path, 5_000_000), "take.json is larger than the 4000000 bytes"),
        ("take.json", lambda path: path.write_bytes(b"[" * 1_000_000), "take.json is not a take|take.json, "),
        ("take.json", lambda path: path.write_bytes(encode_take(plain_take("x"))), 'take.json is of the take "x"'),
        (
            "take.json",
            lambda path: path.write_bytes(path.read_bytes().replace(b'"recording.wav"', b'"../../x.wav"')),
            'take.json, .*"../../x.wav" cannot be a name',
        ),
        ("", make_a_link, "open is not a plain folder"),
    ],
)
def test_damage_is_named_and_spares_the_other_takes(
    logbook: Logbook, source: Path, file: str, damage: Callable[[Path], object], match: str
) -> None:
    kept = keep(logbook, source)
    keep(logbook, source, "sound")
    damage(logbook.path / "takes" / "open" / file)
    with pytest.raises(FileError, match=match) as caught:
        read_take(logbook, "open")
    assert str(caught.value).isprintable()
    assert "sound" in [take.name for take in list_takes(logbook).takes]
    if file == "recording.wav":
        with pytest.raises(FileError, match=match):
            kept_path(logbook, kept, "recording.wav")
    else:
        assert list(list_takes(logbook).damaged) == ["open"]
    assert read_take(logbook, "sound").name == "sound"


@on_posix
def test_links_in_place_of_the_folders_are_refused(logbook: Logbook, source: Path, tmp_path: Path) -> None:
    (tmp_path / "victim").mkdir()
    for folder in ("takes", "results"):
        (logbook.path / folder).symlink_to(tmp_path / "victim")
    with pytest.raises(FileError, match="takes is not a plain folder"):
        keep(logbook, source)
    with pytest.raises(FileError, match="takes is not a plain folder"):
        list_takes(logbook)
    with pytest.raises(FileError, match="results is not a plain folder"):
        write_result(logbook, "report.html", b"x")
    assert list((tmp_path / "victim").iterdir()) == []


@on_posix
@pytest.mark.parametrize("name", ["rig.toml", "instrument.toml", "results", "derived", "takes", "results/fit.json", "takes/open"])
def test_a_logbook_that_leads_elsewhere_is_not_opened_and_nothing_is_touched_there(tmp_path: Path, name: str) -> None:
    victim, link = tmp_path / "victim", tmp_path / "book" / name
    victim.mkdir()
    (victim / ".fit.json.0123456789ab.unfinished").write_text("theirs", encoding="utf-8")
    os.utime(victim / ".fit.json.0123456789ab.unfinished", (0, 0))
    link.parent.mkdir(parents=True)
    link.symlink_to(victim)
    with pytest.raises(FileError, match=f"{Path(name).name} is a link, and none is followed in a logbook: put a copy"):
        open_logbook(tmp_path / "book")
    assert [path.name for path in victim.iterdir()] == [".fit.json.0123456789ab.unfinished"]


def test_no_name_of_a_folder_reaches_the_terminal_raw(logbook: Logbook, source: Path) -> None:
    keep(logbook, source)
    (logbook.path / "takes" / "a\x1b[2J\u202eb").mkdir()
    with pytest.raises(FileError, match=r"there are: a\?\[2J\?b, open$"):
        read_take(logbook, "nosuch")


@on_posix
def test_sources_that_cannot_be_read_leave_nothing(logbook: Logbook, source: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for bad, match in (
        (tmp_path / "pipe", "pipe is not a file"),
        (tmp_path, "is not a file"),
        (tmp_path / "no", "no not read: No"),
    ):
        with pytest.raises(FileError, match=match):
            write_take(logbook, plain_take("open"), {"recording.wav": bad})
    take = plain_take("open", recordings=(RecordingFile(file="recording.wav", sha256="0" * 64),))
    with pytest.raises(FileError, match="has changed since it was looked at"):
        write_take(logbook, take, {"recording.wav": source})
    assert files_in(logbook) == ["takes"]


@on_posix
def test_a_real_limit_on_the_disk_leaves_nothing(logbook: Logbook, source: Path) -> None:
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(SOUND) // 2, hard))
    try:
        with pytest.raises(FileError, match="takes/open not kept, nothing of it was written: File too large"):
            keep(logbook, source)
        with pytest.raises(FileError, match=r"report.html not written, left as it was: File too large"):
            write_result(logbook, "report.html", SOUND)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert files_in(logbook) == ["results", "takes"]
    assert keep(logbook, source).sequence == 1


def let_a_step_fail(patch: pytest.MonkeyPatch, failing: int, error: BaseException) -> list[str]:
    """Let the n-th call that touches the disk fail; the names of those made so far."""
    made: list[str] = []

    def counted(name: str, original: Callable[..., object]) -> Callable[..., object]:
        def call(*args: object, **kwargs: object) -> object:
            made.append(name)
            if len(made) == failing:
                raise error
            return original(*args, **kwargs)

        return call

    for place, name in ((os, "fsync"), (Path, "rename"), (store, "write_new"), (store, "_copy_in"), (store, "sync_folder")):
        patch.setattr(place, name, counted(name, getattr(place, name)))
    return made


@on_posix
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_an_error_at_any_step_leaves_nothing(
    logbook: Logbook, source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    error = OSError(number, os.strerror(number))
    with monkeypatch.context() as patch:
        steps = let_a_step_fail(patch, 0, error)
        keep(open_logbook(tmp_path / "trial", create=True), source)
    assert steps == ["_copy_in", "fsync", "write_new", "fsync", "sync_folder", "fsync", "rename", "sync_folder", "fsync"]
    cure = "; free some space and try again" if number == errno.ENOSPC else ""
    for failing in range(1, 8):
        with monkeypatch.context() as patch:
            let_a_step_fail(patch, failing, error)
            with pytest.raises(FileError, match=f"not kept, nothing of it was written: {os.strerror(number)}{cure}$"):
                keep(logbook, source)
        assert files_in(logbook) == ["takes"]
    with monkeypatch.context() as patch:  # the take has its name by now, so it is kept, whatever comes
        let_a_step_fail(patch, 8, error)
        kept = keep(logbook, source)
    assert read_take(logbook, "open") == kept


def test_an_interruption_at_any_step_leaves_nothing(logbook: Logbook, source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for failing in range(1, 6):
        with monkeypatch.context() as patch:
            let_a_step_fail(patch, failing, KeyboardInterrupt("pressed"))
            with pytest.raises(KeyboardInterrupt, match="pressed"):
                keep(logbook, source)
        assert files_in(logbook) == ["takes"]


# One process that writes takes until it is killed, for each job: folder, how names begin, and before which step it kills itself.
WRITERS = """
    import os, signal, sys
    from pathlib import Path
    from measure.logbook import store
    from measure.logbook.take import RecordingFile, Take

    def write_takes(folder, source, first, deadly):
        done = 0
        def counted(original):
            def call(*args, **kwargs):
                nonlocal done
                done += 1
                if done == deadly:
                    os.kill(os.getpid(), signal.SIGKILL)
                return original(*args, **kwargs)
            return call
        for place, name in ((os, "fsync"), (Path, "rename"), (Path, "mkdir"), (store, "sync_folder"), (store, "_copy_in")):
            setattr(place, name, counted(getattr(place, name)))
        logbook = store.open_logbook(folder)
        for i in range(1000):
            take = Take(name=f"{first}{i}", recordings=(RecordingFile(file="recording.wav"),), rate_hz=48000)
            try:
                store.write_take(logbook, take, {"recording.wav": source})
                os.write(1, f"{take.name}\\n".encode())
            except store.FileError as err:
                os.write(1, f"error {err}\\n".encode())

    for number, job in enumerate(sys.argv[2:]):
        folder, first, deadly = job.split("|")
        if os.fork() == 0:
            os.dup2(os.open(f"{folder}.{number}.log", os.O_CREAT | os.O_WRONLY), 1)
            write_takes(Path(folder), Path(sys.argv[1]), first, int(deadly))
            os._exit(0)
    for _ in sys.argv[2:]:
        print(os.wait()[1])
"""


def run_writers(source: Path, jobs: list[tuple[Logbook, str, int]], *, kill_after_s: float | None = None) -> list[list[str]]:
    """Let writers run at once until they kill themselves, or are killed; the lines that each told."""
    words = [f"{logbook.path}|{first}|{deadly}" for logbook, first, deadly in jobs]
    command = [sys.executable, "-c", textwrap.dedent(WRITERS), str(source), *words]
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    logs = [Path(f"{logbook.path}.{number}.log") for number, (logbook, _, _) in enumerate(jobs)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=TOP, env=environment, start_new_session=True) as child:
        if kill_after_s is not None:
            while not all(log.exists() for log in logs):
                time.sleep(0.001)
            time.sleep(kill_after_s)
            os.killpg(child.pid, signal.SIGKILL)
        out = child.communicate(timeout=60)[0]
    if kill_after_s is None:
        assert [int(line) for line in out.split()] == [signal.SIGKILL] * len(jobs)
    return [log.read_text().splitlines() for log in logs]


def assert_whole(logbook: Logbook, told: list[str], *, n_writers: int) -> None:
    """Every take that was told of is there, at most one more for each writer, and all are whole."""
    opened = open_logbook(logbook.path)
    listing = list_takes(opened)
    assert listing.damaged == {}
    names = {take.name for take in listing.takes}
    assert set(told) <= names
    assert len(names - set(told)) <= n_writers  # kept, but killed before that could be said
    for name in names:
        assert kept_path(opened, read_take(opened, name), "recording.wav").read_bytes() == SOUND


@on_posix
def test_kill_9_at_every_step_leaves_a_whole_logbook(tmp_path: Path, source: Path) -> None:
    books = [open_logbook(tmp_path / f"bench{deadly}", create=True) for deadly in range(1, 23)]
    told = run_writers(source, [(book, "t", deadly) for deadly, book in enumerate(books, start=1)])
    for book, lines in zip(books, told, strict=True):
        assert_whole(book, lines, n_writers=1)
    assert [len(lines) for lines in told] == sorted(len(lines) for lines in told)
    assert len(told[0]) == 0
    assert len(told[-1]) == 2  # so every step of a take was met, of the first and of a later one


@pytest.mark.long
@on_posix
def test_kill_9_at_random_moments_leaves_a_whole_logbook(logbook: Logbook, source: Path) -> None:
    random = np.random.default_rng(9)
    told: list[str] = []
    for turn in range(2):
        jobs = [(logbook, f"{turn}-{writer}-", 0) for writer in range(3)]
        told += [line for lines in run_writers(source, jobs, kill_after_s=random.uniform(0.02, 0.1)) for line in lines]
        for log in logbook.path.parent.glob("*.log"):
            log.unlink()
    assert_whole(logbook, told, n_writers=6)


@on_posix
def test_leftovers_are_passed_over_and_cleared_but_not_under_a_living_writer(logbook: Logbook, source: Path) -> None:
    keep(logbook, source)
    takes = logbook.path / "takes"
    left = takes / ".writing-other-0123456789ab"
    left.mkdir()
    (left / "recording.wav").write_bytes(b"half")
    unfinished = [logbook.path / ".rig.toml.0123456789ab.unfinished", logbook.path / "results" / ".x.0123456789ab.unfinished"]
    unfinished[1].parent.mkdir()
    for file in unfinished:
        file.write_bytes(b"half")
    mine = logbook.path / ".rig.toml.swp"
    mine.write_bytes(b"an editor's")
    open_logbook(logbook.path)
    assert left.exists()  # it is so young that its writer may not have locked it yet
    old = time.time() - 2 * store.SETTLED_S
    for path in (*unfinished, mine, left):
        os.utime(path, (old, old))
    handle = store._lock(left)
    assert handle is not None
    open_logbook(logbook.path)
    assert left.exists()  # its writer lives
    os.close(handle)
    open_logbook(logbook.path)
    assert not left.exists()
    assert not any(file.exists() for file in unfinished)
    assert mine.exists()
    assert [take.name for take in list_takes(logbook).takes] == ["open"]


@on_posix
def test_of_those_that_write_one_name_one_wins(logbook: Logbook, source: Path) -> None:
    told = run_writers(source, [(logbook, "same", 60)] * 3)
    kept = [line for lines in told for line in lines if line.startswith("same")]
    refused = [line for lines in told for line in lines if not line.startswith("same")]
    assert len(kept) == len(set(kept)) >= 3
    assert refused
    assert all(line.endswith("already, and takes are never overwritten: choose another name") for line in refused)
    assert_whole(logbook, kept, n_writers=3)


@pytest.mark.parametrize("is_empty", [True, False])
def test_the_slower_of_two_gets_the_error_in_the_last_step(
    logbook: Logbook, source: Path, monkeypatch: pytest.MonkeyPatch, is_empty: bool
) -> None:
    original = store.sync_folder

    def overtake(folder: Path) -> None:
        monkeypatch.setattr(store, "sync_folder", original)
        if not is_empty:
            keep(logbook, source, conditions=Conditions(note="faster"))
        original(folder)

    monkeypatch.setattr(store, "sync_folder", overtake)
    if is_empty:
        assert keep(logbook, source, conditions=Conditions(note="slower")).conditions.note == "slower"
    else:
        with pytest.raises(FileError, match="choose another name"):
            keep(logbook, source, conditions=Conditions(note="slower"))
    assert read_take(logbook, "open").conditions.note == ("slower" if is_empty else "faster")
    assert files_in(logbook) == ["takes", "takes/open", "takes/open/recording.wav", "takes/open/take.json"]


def test_a_file_in_place_of_the_takes_is_one_line(logbook: Logbook, source: Path) -> None:
    (logbook.path / "takes").write_bytes(b"")
    for work in (lambda: keep(logbook, source), lambda: list_takes(logbook)):
        with pytest.raises(FileError, match=r"takes not made: File exists|takes is not a plain folder"):
            work()


def test_results_are_replaced_in_one_step(logbook: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_result(logbook, "report.html", b"old")
    assert path == logbook.path / "results" / "report.html"
    with monkeypatch.context() as patch:
        patch.setattr(
            disk, "write_new", lambda _path, _content: (_ for _ in ()).throw(OSError(errno.ENOSPC, "No space left on device"))
        )
        with pytest.raises(FileError, match=r"report.html not written, left as it was: No space left on device; free some space"):
            write_result(logbook, "report.html", b"new")
    assert path.read_bytes() == b"old"
    write_result(logbook, "report.html", b"new")
    assert path.read_bytes() == b"new"
    assert files_in(logbook) == ["results", "results/report.html"]
    with pytest.raises(ValueError, match="cannot be a name"):
        write_result(logbook, "../rig.toml", b"x")


@on_posix
def test_new_files_can_be_read_as_others_of_the_user(logbook: Logbook, source: Path) -> None:
    umask = os.umask(0o022)
    try:
        keep(logbook, source)
        write_result(logbook, "a.json", b"{}")
    finally:
        os.umask(umask)
    assert (logbook.path / "takes" / "open").stat().st_mode & 0o777 == 0o755
    assert (logbook.path / "takes" / "open" / "take.json").stat().st_mode & 0o777 == 0o644
    assert (logbook.path / "results" / "a.json").stat().st_mode & 0o777 == 0o644
