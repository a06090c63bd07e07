"""Files written in one step, read with a limit, and messages of one line."""

import errno
import hashlib
import os
from pathlib import Path

import msgspec
import pytest

from measure.errors import FileError
from measure.logbook import disk
from measure.logbook.disk import (
    create_file,
    created_file,
    describe,
    disk_message,
    make_folder,
    one_line,
    read_small,
    reading,
    replace_file,
    replaced_file,
    require_plain,
    sync_folder,
    unchanged_file,
    write_new,
)

on_posix = pytest.mark.skipif(os.name != "posix", reason="links and pipes of POSIX systems")


class Inner(msgspec.Struct, forbid_unknown_fields=True):
    rate_hz: int = 1


class Outer(msgspec.Struct, forbid_unknown_fields=True):
    interface: Inner
    kind: str = ""


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a b", "a b"),
        ("a\nb\x1b[2J", "a?b?[2J"),
        ("x" * 201, "x" * 200 + "…"),
        ("x" * 200, "x" * 200),
        (Path("d/e"), "d/e"),
        (7, "7"),
    ],
)
def test_text_for_a_message_is_one_printable_line(text, shown):
    assert one_line(text) == shown
    assert one_line("abcdef", 3) == "abc…"


@pytest.mark.parametrize(
    ("number", "cure"),
    [
        (errno.ENOSPC, "; free some space and try again"),
        (errno.EACCES, "; choose a folder that you may write to"),
        (errno.EFBIG, "; no larger file may be written there, choose another place"),
        (errno.ENAMETOOLONG, "; choose a shorter name"),
        (errno.EIO, ""),
    ],
)
def test_what_the_disk_refused_has_its_cure(number, cure):
    said = disk_message("not written", Path("a\nb"), OSError(number, "it said\nso"))
    assert said == f"a?b not written: it said?so{cure}"
    assert disk_message("not read", Path("a"), OSError()) == "a not read: OSError"


def test_files_and_folders_are_told_apart(tmp_path):
    file = tmp_path / "file"
    file.write_bytes(b"abc")
    assert require_plain(file, is_folder=False).st_size == 3
    assert require_plain(tmp_path, is_folder=True).st_mtime > 0
    with pytest.raises(FileError, match="file is not a plain folder"):
        require_plain(file, is_folder=True)
    with pytest.raises(FileError, match="is not a plain file"):
        require_plain(tmp_path, is_folder=False)
    with pytest.raises(FileError, match="nothing not found: No such file"):
        require_plain(tmp_path / "nothing", is_folder=False)


@on_posix
def test_a_link_is_neither(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path)
    for is_folder in (True, False):
        with pytest.raises(FileError, match="links and devices are not followed"):
            require_plain(tmp_path / "link", is_folder=is_folder)
    with pytest.raises(FileError, match="is not a plain folder"):
        make_folder(tmp_path / "link")


def test_a_small_file_is_read_whole_up_to_its_limit(tmp_path):
    (tmp_path / "file").write_bytes(b"12345")
    assert read_small(tmp_path / "file", 5) == b"12345"
    with pytest.raises(FileError, match="larger than the 4 bytes"):
        read_small(tmp_path / "file", 4)
    with pytest.raises(FileError, match="is not a file"):
        read_small(tmp_path, 4)
    with pytest.raises(FileError, match="not read: No such file"):
        read_small(tmp_path / "nothing", 4)


@on_posix
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="pipe is not a file"):
        read_small(tmp_path / "pipe", 4)


@on_posix
@pytest.mark.parametrize("is_relative", [True, False])
def test_no_name_on_the_way_to_a_kept_file_is_a_link(tmp_path, monkeypatch, is_relative):
    monkeypatch.setattr(disk, "IS_RELATIVE", is_relative and disk.IS_RELATIVE)
    book, victim = tmp_path / "book", tmp_path / "victim"
    for folder in (book / "takes" / "open", victim / "open"):
        folder.mkdir(parents=True)
        (folder / "take.json").write_bytes(b"in " + folder.parent.name.encode())
    file = book / "takes" / "open" / "take.json"
    (tmp_path / "named").symlink_to(book)
    for below, path in ((book, file), (tmp_path / "named", tmp_path / "named" / "takes" / "open" / "take.json"), (None, file)):
        assert read_small(path, 100, below=below) == b"in takes"
    (book / "takes" / "link").symlink_to(victim / "open")
    (book / "takes" / "open" / "link").symlink_to(victim / "open" / "take.json")
    (book / "linked").symlink_to(victim)
    for path in (
        book / "takes" / "link" / "take.json",
        book / "takes" / "open" / "link",
        book / "linked" / "open" / "take.json",
        book / "takes",
    ):
        with pytest.raises(FileError, match="is not a plain file; links and devices are not followed"):
            read_small(path, 100, below=book)
    assert read_small(book / "takes" / "open" / "link", 100) == b"in victim"  # somebody named it


@on_posix
def test_what_becomes_a_link_after_the_look_is_not_followed(tmp_path, monkeypatch):
    book, victim = tmp_path / "book", tmp_path / "victim"
    for folder in (book / "takes", victim):
        folder.mkdir(parents=True)
        (folder / "take.json").write_bytes(folder.name.encode())
    look = os.stat

    def look_and_swap(path, **how):
        found = look(path, **how)
        if path == "take.json":
            (book / "takes" / "take.json").unlink()
            (book / "takes" / "take.json").symlink_to(victim / "take.json")
        return found

    monkeypatch.setattr(disk.os, "stat", look_and_swap)
    with pytest.raises(FileError, match="is not a plain file"):
        read_small(book / "takes" / "take.json", 100, below=book)


@on_posix
@pytest.mark.parametrize("is_relative", [True, False])
def test_what_becomes_a_pipe_after_the_look_is_not_waited_for(tmp_path, monkeypatch, is_relative):
    monkeypatch.setattr(disk, "IS_RELATIVE", is_relative and disk.IS_RELATIVE)
    file = tmp_path / "file"
    file.write_bytes(b"once")
    original = os.open

    def swap(path, *how, **where):
        if str(path).endswith("file"):
            file.unlink()
            os.mkfifo(file)
        return original(path, *how, **where)

    monkeypatch.setattr(disk.os, "open", swap)
    with pytest.raises(FileError, match="is not a plain file"):
        read_small(file, 100, below=tmp_path)


def test_a_kept_file_is_what_was_looked_at(tmp_path):
    file, digest = tmp_path / "file", hashlib.sha256(b"sound").hexdigest()
    file.write_bytes(b"sound")
    with unchanged_file(file, digest, below=tmp_path) as raw:
        file.unlink()
        file.write_bytes(b"other")
        assert raw.read() == b"sound"
    with pytest.raises(FileError, match="file has changed since the take was made"), unchanged_file(file, digest, below=tmp_path):
        pass
    os.truncate(file, disk.LARGEST_BYTES + 1)  # nothing is written for it
    with pytest.raises(FileError, match="file is larger than the 8 GB"), unchanged_file(file, digest, below=tmp_path):
        pass


def test_a_folder_is_made_once_and_its_parent_has_to_be_there(tmp_path):
    make_folder(tmp_path / "a")
    (tmp_path / "a" / "kept").write_bytes(b"")
    make_folder(tmp_path / "a")
    assert (tmp_path / "a" / "kept").exists()
    with pytest.raises(FileError, match="c not made: No such file"):
        make_folder(tmp_path / "b" / "c")
    with pytest.raises(FileError, match=r"not made: File exists|is not a plain folder"):
        make_folder(tmp_path / "a" / "kept")


def test_a_new_file_is_on_the_disk_before_it_is_told(tmp_path, monkeypatch):
    synced = []
    monkeypatch.setattr(disk.os, "fsync", lambda handle: synced.append(os.fstat(handle).st_size))
    write_new(tmp_path / "new", b"content")
    assert (tmp_path / "new").read_bytes() == b"content"
    sync_folder(tmp_path)
    assert synced[0] == 7
    assert len(synced) == (2 if os.name == "posix" else 1)
    with pytest.raises(FileExistsError, match="exists"):
        write_new(tmp_path / "new", b"other")
    assert (tmp_path / "new").read_bytes() == b"content"


def test_a_file_is_replaced_whole_and_nothing_unfinished_stays(tmp_path):
    file = tmp_path / "file"
    replace_file(file, b"old")
    replace_file(file, b"new")
    assert file.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("error", [ValueError("mine"), KeyboardInterrupt("pressed")])
def test_what_goes_wrong_on_the_way_leaves_the_old_file_and_is_told_as_it_is(tmp_path, error):
    file = tmp_path / "file"
    file.write_bytes(b"old")

    def fail():
        with replaced_file(file) as unfinished:
            assert unfinished.parent == tmp_path
            assert unfinished.name.startswith(".")
            assert unfinished.name.endswith(".unfinished")
            unfinished.write_bytes(b"half")
            raise error

    with pytest.raises(type(error), match=str(error)):
        fail()
    assert file.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [file]


def test_a_full_disk_leaves_the_old_file_and_is_one_line(tmp_path, monkeypatch):
    file = tmp_path / "file"
    file.write_bytes(b"old")

    def refuse(_handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(disk.os, "fsync", refuse)
    with pytest.raises(FileError, match="file not written, left as it was: No space left on device; free some space"):
        replace_file(file, b"new")
    assert file.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("knows_links", [True, False])
def test_a_new_file_appears_whole_and_an_old_one_stays(tmp_path, monkeypatch, knows_links):
    def refuse(*_):
        raise OSError(errno.EPERM, "no second names here")

    if not knows_links:
        monkeypatch.setattr(Path, "hardlink_to", refuse)
    create_file(tmp_path / "file", b"first")
    with pytest.raises(FileExistsError, match="there already"):
        create_file(tmp_path / "file", b"second")

    def overtaken():
        with created_file(tmp_path / "other") as unfinished:
            unfinished.write_bytes(b"mine")
            (tmp_path / "other").write_bytes(b"theirs")

    with pytest.raises(FileExistsError, match=r"exists|there already"):
        overtaken()
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"file": b"first", "other": b"theirs"}


def test_a_new_file_that_does_not_reach_the_disk_is_not_left(tmp_path, monkeypatch):
    def refuse(_handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(disk.os, "fsync", refuse)
    with pytest.raises(FileError, match="file not written, nothing of it is left: No space left on device; free some space"):
        create_file(tmp_path / "file", b"new")
    assert list(tmp_path.iterdir()) == []


@on_posix
def test_a_pipe_is_not_written_over(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match="pipe is not a plain file and is not written over: choose another name"):
        replace_file(tmp_path / "pipe", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["pipe"]
    assert (tmp_path / "pipe").is_fifo()


@pytest.mark.parametrize("letter", ["x", "\N{GREEK SMALL LETTER OMEGA}"])
def test_a_name_as_long_as_the_system_allows_is_written(tmp_path, letter):
    file = tmp_path / (letter * (255 // len(letter.encode())))
    replace_file(file, b"long")
    assert file.read_bytes() == b"long"
    assert list(tmp_path.iterdir()) == [file]


@on_posix
def test_a_link_is_replaced_and_what_it_points_to_is_not_touched(tmp_path):
    (tmp_path / "victim").write_bytes(b"victim")
    (tmp_path / "link").symlink_to(tmp_path / "victim")
    replace_file(tmp_path / "link", b"new")
    assert not (tmp_path / "link").is_symlink()
    assert (tmp_path / "victim").read_bytes() == b"victim"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"interface": {"rate_hz": "x"}}', "interface.rate_hz: expected int, got str"),
        (b'{"interface": {"rate": 1}}', "interface.rate: no such key"),
        (b'{"other": 1}', "other: no such key"),
        (b'{"interface": {}, "kind": 1}', 'kind: expected str, got int, expected "a" or "b"'),
        (b"{}", "object missing required field interface"),
    ],
)
def test_what_msgspec_found_is_said_with_the_key_first(content, said):
    with pytest.raises(msgspec.ValidationError) as caught:
        msgspec.json.decode(content, type=Outer)
    assert describe(caught.value, {"kind": '"a" or "b"'}) == said


def test_our_own_words_are_left_as_they_are():
    assert describe(msgspec.ValidationError("input.resistance: 3p is none - at `$`"), {}) == "input.resistance: 3p is none"
    assert describe(ValueError("no\nnumber"), {}) == "no?number"


def test_reading_names_the_file_and_what_it_should_be():
    with pytest.raises(FileError, match=r"^a\?b is not a rig: no number$"), reading("a\nb", "a rig", {}):
        raise ValueError("no number")
    with pytest.raises(FileError, match=r"^rig\.toml, kind: expected str, got int$"), reading("rig.toml", "a rig", {}):
        msgspec.convert({"interface": {}, "kind": 1}, Outer)
    with pytest.raises(FileError, match="is not a rig"), reading("rig.toml", "a rig", {}):
        raise RecursionError("deep")
    with pytest.raises(OSError, match="disk"), reading("rig.toml", "a rig", {}):
        raise OSError("disk")
