"""Reading and writing files so that a crash leaves the old or the new content, never half of it."""

import contextlib
import errno
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from io import BufferedReader, FileIO
from pathlib import Path

import msgspec

from measure.errors import FileError
from measure.text import plain_text

HIDDEN = "."  # what starts with it in the logbook is unfinished, and passed over
UNFINISHED = ".unfinished"  # ends the name of a file that is not whole yet
DAMAGE = (msgspec.DecodeError, ValueError, RecursionError)  # what reading the text of a damaged file raises
CURES = {
    errno.ENOSPC: "; free some space and try again",
    errno.EDQUOT: "; free some space and try again",
    errno.EFBIG: "; no larger file may be written there, choose another place",
    errno.EACCES: "; choose a folder that you may write to",
    errno.EPERM: "; choose a folder that you may write to",
    errno.EROFS: "; choose a folder that you may write to",
    errno.ENAMETOOLONG: "; choose a shorter name",
}
LARGEST_BYTES = 8_000_000_000  # of a file of a take: an hour of two channels at 192 kHz has 5.5 GB
READ_FLAGS = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)  # a pipe that nobody writes to is not waited for
IS_RELATIVE = os.open in os.supports_dir_fd and hasattr(os, "O_NOFOLLOW") and hasattr(os, "O_DIRECTORY")
NO_FILE = (errno.ELOOP, errno.ENOTDIR, errno.ENXIO, errno.EISDIR)  # what opening a link, a folder or a device comes to
LONGEST_STEM = 120  # [bytes] of a name that is told in that of the unfinished file; systems allow 255 in all


def one_line(text: object, limit: int = 200) -> str:
    """Text for a message: printable, on one line, short.

    Parameters
    ----------
    text : object
        Anything with a text form.

    Returns
    -------
    str
        With ``?`` for what cannot be printed.
    """
    shown = str(text)
    return plain_text(shown[:limit], "?") + ("…" if len(shown) > limit else "")


def disk_message(doing: str, path: Path, error: OSError) -> str:
    """Say in one line what the disk refused.

    Parameters
    ----------
    doing : str
        For example ``"not written"``.
    """
    reason = error.strerror or type(error).__name__
    return f"{one_line(path)} {doing}: {one_line(reason)}{CURES.get(error.errno or 0, '')}"


def require_plain(path: Path, *, is_folder: bool) -> os.stat_result:
    """See that a path is a file or a folder itself, not a link to one, a pipe or a device.

    Parameters
    ----------
    is_folder : bool
        A folder is wanted, not a file.

    Raises
    ------
    FileError
        If it is missing or something else.
    """
    try:
        status = path.lstat()
    except OSError as err:
        msg = disk_message("not found", path, err)
        raise FileError(msg) from None
    if not (stat.S_ISDIR if is_folder else stat.S_ISREG)(status.st_mode):
        msg = f"{one_line(path)} is not a plain {'folder' if is_folder else 'file'}; links and devices are not followed"
        raise FileError(msg)
    return status


def open_plain(path: Path, *, below: Path | None = None) -> FileIO:
    """Open a file itself for reading; nothing else is waited for.

    Parameters
    ----------
    below : Path or None
        A folder from which on no name on the way may be a link, nor become one meanwhile; None where somebody named the
        file, who may mean a link.

    Raises
    ------
    FileError
        If it cannot be opened, or is a folder, a pipe or a device.
    """
    try:
        file = FileIO(str(path), "r", opener=lambda _, flags: _handle(path, flags | READ_FLAGS, below))
    except OSError as err:
        if err.errno in NO_FILE:
            wrong = _no_file(path, below)
            raise wrong from None
        msg = disk_message("not read", path, err)
        raise FileError(msg) from None
    if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        file.close()
        wrong = _no_file(path, below)
        raise wrong
    return file


# Opening some devices does something, so there is a look before, and one after for what changed meanwhile.
def _handle(path: Path, flags: int, below: Path | None) -> int:
    if below is None or not IS_RELATIVE:
        for place in () if below is None else (path, *path.parents[: len(path.relative_to(below).parts) - 1]):
            if place.is_symlink():
                raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
        if not stat.S_ISREG(path.stat().st_mode):
            raise OSError(errno.ENXIO, os.strerror(errno.ENXIO))
        return os.open(path, flags)
    *folders, name = path.relative_to(below).parts
    with contextlib.ExitStack() as handles:
        at = os.open(below, os.O_RDONLY | os.O_DIRECTORY)
        handles.callback(os.close, at)
        for folder in folders:
            at = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW, dir_fd=at)
            handles.callback(os.close, at)
        if not stat.S_ISREG(os.stat(name, dir_fd=at, follow_symlinks=False).st_mode):
            raise OSError(errno.ENXIO, os.strerror(errno.ENXIO))
        return os.open(name, flags | os.O_NOFOLLOW, dir_fd=at)


def _no_file(path: Path, below: Path | None) -> FileError:
    if below is None:
        return FileError(f"{one_line(path)} is not a file")
    return FileError(f"{one_line(path)} is not a plain file; links and devices are not followed")


@contextmanager
def unchanged_file(path: Path, sha256: str, *, below: Path) -> Iterator[FileIO]:
    """Open a kept file after a look that it is what it was when its take was made; it stays open, so it stays that.

    Parameters
    ----------
    sha256 : str
        64 hexadecimal digits; empty where none was kept, which is an error.

    Raises
    ------
    FileError
        If it is missing, changed, larger than a file of a take may be, or cannot be read.
    """
    with open_plain(path, below=below) as file:
        if os.fstat(file.fileno()).st_size > LARGEST_BYTES:
            msg = f"{one_line(path)} is larger than the {LARGEST_BYTES / 1e9:.0f} GB that a file of a take may have"
            raise FileError(msg)
        try:
            found = hashlib.file_digest(file, "sha256").hexdigest()
            file.seek(0)
        except OSError as err:
            msg = disk_message("not read", path, err)
            raise FileError(msg) from None
        if found != sha256:
            kept = sha256[:12] or "none"
            msg = f"{one_line(path)} has changed since the take was made: SHA-256 {found[:12]}…, kept {kept}…"
            raise FileError(msg)
        yield file


def require_unchanged(path: Path, sha256: str, *, below: Path, is_read: bool = True) -> None:
    """See that a kept file is the plain file that it was when its take was made.

    Parameters
    ----------
    sha256 : str
        64 hexadecimal digits; empty where none was kept, which is an error.
    is_read : bool
        Read it; without that it only has to be there.

    Raises
    ------
    FileError
        If it is missing, changed or cannot be read.
    """
    require_plain(path, is_folder=False)
    if is_read:
        with unchanged_file(path, sha256, below=below):
            pass


def read_small(path: Path, limit_bytes: int, *, below: Path | None = None) -> bytes:
    """Content of a file that ought to be small.

    Parameters
    ----------
    below : Path or None
        As for `open_plain`.

    Raises
    ------
    FileError
        If it cannot be read, is no regular file, or is larger.
    """
    with open_plain(path, below=below) as file, BufferedReader(file) as reader:
        try:
            content = reader.read(limit_bytes + 1)
        except OSError as err:
            msg = disk_message("not read", path, err)
            raise FileError(msg) from None
    if len(content) > limit_bytes:
        msg = f"{one_line(path)} is larger than the {limit_bytes} bytes that such a file may have"
        raise FileError(msg)
    return content


def make_folder(path: Path) -> None:
    """Make a folder if it is not there.

    Raises
    ------
    FileError
        If it cannot be made, or is a link or a file.
    """
    try:
        path.mkdir(exist_ok=True)
    except OSError as err:
        msg = disk_message("not made", path, err)
        raise FileError(msg) from None
    require_plain(path, is_folder=True)


def write_new(path: Path, content: bytes) -> None:
    """Write a file that must not be there yet, and wait until it is on the disk.

    Notes
    -----
    Raises OSError as it comes; the caller knows what the file was for.
    """
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Wait until the names in a folder are on the disk; only POSIX systems can."""
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def replaced_file(path: Path) -> Iterator[Path]:
    """Hand out a place beside a file; what was written there becomes the file, in one step, when all went well.

    Parameters
    ----------
    path : Path
        Of the file; a link is replaced, not followed.

    Raises
    ------
    FileError
        If it cannot be written; the old file is then unchanged.
    """
    try:
        with _beside(path) as unfinished:
            yield unfinished
            _require_replaceable(path)
            unfinished.replace(path)
        sync_folder(path.parent)
    except OSError as err:
        msg = disk_message("not written, left as it was", path, err)
        raise FileError(msg) from None


@contextmanager
def created_file(path: Path) -> Iterator[Path]:
    """Hand out a place beside a file that is not there yet; what was written there becomes the file when all went well.

    Raises
    ------
    FileExistsError
        If it is there by then; it stays as it is.
    FileError
        If it cannot be written; nothing is left then.
    """
    try:
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "there already", str(path))
        with _beside(path) as unfinished:
            yield unfinished
            _name_new(unfinished, path)
        sync_folder(path.parent)
    except FileExistsError:
        raise
    except OSError as err:
        msg = disk_message("not written, nothing of it is left", path, err)
        raise FileError(msg) from None


@contextmanager
def _beside(path: Path) -> Iterator[Path]:
    stem = os.fsdecode(os.fsencode(path.name)[:LONGEST_STEM])
    unfinished = path.with_name(f"{HIDDEN}{stem}.{secrets.token_hex(6)}{UNFINISHED}")
    try:
        yield unfinished
    finally:
        with contextlib.suppress(OSError):  # what went wrong before is what has to be told
            unfinished.unlink(missing_ok=True)


# The name of a device, a pipe or a folder is never given to a file.
def _require_replaceable(path: Path) -> None:
    with contextlib.suppress(FileNotFoundError):
        mode = path.lstat().st_mode
        if not (stat.S_ISREG(mode) or stat.S_ISLNK(mode)):
            msg = f"{one_line(path)} is not a plain file and is not written over: choose another name"
            raise FileError(msg)


# A second name is refused where there is one of that kind; some disks know no second names, there a look has to do.
def _name_new(unfinished: Path, path: Path) -> None:
    try:
        path.hardlink_to(unfinished)
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "there already", str(path)) from None
        unfinished.rename(path)


# msgspec says "Expected `int`, got `str` - at `$.interface.rate_hz`"
def describe(error: Exception, choices: Mapping[str, str]) -> str:
    """Put what msgspec found wrong the way people read it, the key first.

    Parameters
    ----------
    error : Exception
        One of `DAMAGE`, from reading a file.
    choices : mapping of str to str
        Key to what may stand there, which msgspec does not say.

    Returns
    -------
    str
        For example ``"interface.rate_hz: expected int, got str"``.
    """
    if not isinstance(error, msgspec.ValidationError):
        return one_line(error)
    what, _, place = one_line(error, 400).partition(" - at `$")
    key = place.rstrip("`").lstrip(".").replace("[...]", "")
    plain = what.replace("`", "").replace(" | null", "")
    if key and plain.startswith("Object contains unknown field "):
        return f"{key}.{plain.removeprefix('Object contains unknown field ')}: no such key"
    if not key and plain.startswith("Object contains unknown field "):
        return f"{plain.removeprefix('Object contains unknown field ')}: no such key"
    if re.match(r"[a-z_]+\.[a-z_]+: ", plain):  # from our own checks, which name the key themselves
        return plain
    plain = plain[:1].lower() + plain[1:] + (f", expected {choices[key]}" if key in choices else "")
    return f"{key}: {plain}" if key else plain


@contextmanager
def reading(name: object, what: str, choices: Mapping[str, str]) -> Iterator[None]:
    """Say what is wrong with the text of a file in one line that names file and key.

    Parameters
    ----------
    what : str
        The file ought to be, for example ``"a take"``.
    choices : mapping of str to str
        As for `describe`.

    Raises
    ------
    FileError
        Instead of what msgspec or a record's own checks raise.
    """
    try:
        yield
    except DAMAGE as err:
        between = ", " if isinstance(err, msgspec.ValidationError) else f" is not {what}: "
        msg = f"{one_line(name)}{between}{describe(err, choices)}"
        raise FileError(msg) from None


def replace_file(path: Path, content: bytes) -> None:
    """Write a file in one step: readers see the old or the new content, also after a crash.

    Parameters
    ----------
    path : Path
        Of the file; a link is replaced, not followed.
    """
    with replaced_file(path) as unfinished:
        write_new(unfinished, content)


def create_file(path: Path, content: bytes) -> None:
    """Write a file that must not be there yet, whole or not at all.

    Raises
    ------
    FileExistsError
        If it is there.
    FileError
        If it cannot be written.
    """
    with created_file(path) as unfinished:
        write_new(unfinished, content)
