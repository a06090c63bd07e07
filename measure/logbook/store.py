"""The logbook: the folder that keeps rig, instrument, takes and results.

A take is written whole or not at all: into a hidden folder first, which gets its name when all of it is on the disk.
"""

import hashlib
import os
import secrets
import shutil
import sys
import time
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import FileIO
from itertools import chain
from pathlib import Path

import msgspec

from measure.errors import FileError
from measure.logbook.disk import (
    HIDDEN,
    UNFINISHED,
    disk_message,
    make_folder,
    one_line,
    open_plain,
    read_small,
    reading,
    replace_file,
    require_plain,
    require_unchanged,
    sync_folder,
    unchanged_file,
    write_new,
)
from measure.logbook.naming import alike_name, check_name, usual_form
from measure.logbook.take import CHOICES, TAKE_FILE, Take, decode_take, encode_take, kept_files, parse_time, time_now, with_sha256
from measure.logbook.writers import one_writer

TAKES = "takes"
REMOVED = "removed"
AGAIN = "~"  # in no name: stands between that of a removed take and when it was removed
RESULTS = "results"
DERIVED = "derived"
LIMIT_BYTES = 4_000_000  # of a take.json; the largest sensible one has about 200 kB
MOST_ENTRIES = 10_000  # of a folder in the logbook: as many takes have some 40 GB
CHUNK_BYTES = 1 << 20
WRITING = f"{HIDDEN}writing-"  # begins the name of a folder that is not whole yet
SETTLED_S = 60.0  # [s] a younger one may belong to a writer that has not locked it yet


@dataclass(frozen=True, slots=True, kw_only=True)
class Logbook:
    """A folder that is a logbook."""

    path: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """What takes a logbook holds.

    Attributes
    ----------
    takes : tuple of Take
        In the order they were made.
    damaged : dict of str to str
        Name of each folder whose take cannot be read, to the reason.
    """

    takes: tuple[Take, ...]
    damaged: dict[str, str]

    @property
    def told(self) -> list[str]:
        """Names of all, safe to print: a folder may be called anything."""
        return sorted(one_line(name, 64) for name in (*(take.name for take in self.takes), *self.damaged))


def open_logbook(directory: Path, *, create: bool = False) -> Logbook:
    """Open a folder as a logbook and remove what a crash left behind.

    Parameters
    ----------
    directory : Path
        Of the logbook; an empty folder is one.
    create : bool
        Make it if it is not there.

    Returns
    -------
    Logbook
        Open; nothing needs closing.

    Raises
    ------
    FileError
        If it is not a folder, cannot be made, or holds a link that would lead out of it, or more than a
        logbook may.
    """
    if create:
        try:
            directory.mkdir(parents=True, exist_ok=True)
        except OSError as err:
            msg = disk_message("not made", directory, err)
            raise FileError(msg) from None
    if not directory.is_dir():
        msg = f"{one_line(directory)} is not a folder: make it, or name another logbook"
        raise FileError(msg)
    _refuse_links(directory)
    _remove_leftovers(directory)
    return Logbook(path=directory)


def rig_path(logbook: Logbook) -> Path:
    """Where the rig is kept."""
    return logbook.path / "rig.toml"


def instrument_path(logbook: Logbook) -> Path:
    """Where the instrument is kept."""
    return logbook.path / "instrument.toml"


def write_take(logbook: Logbook, take: Take, sources: Mapping[str, Path], *, move: bool = False) -> Take:
    """Keep a take with its files, whole or not at all.

    Parameters
    ----------
    take : Take
        Hashes, sequence and time are filled in where they are open.
    sources : mapping of str to Path
        Each file that the take names, to where its bytes are now; they are copied as they are.
    move : bool
        Remove the sources once the take is kept.

    Raises
    ------
    ValueError
        If `sources` are not exactly the files that the take names.
    FileError
        If the name is taken, a source cannot be read, or the disk refuses; nothing is kept then.
    """
    if set(sources) != set(kept_files(take)):
        msg = f"sources are {sorted(sources)}, but the take names {sorted(kept_files(take))}"
        raise ValueError(msg)
    takes = logbook.path / TAKES
    target = takes / take.name
    make_folder(takes)
    require_free(logbook, take.name)
    try:
        with _unfinished_folder(takes, take.name) as folder:
            sha256 = {file: _copy_in(source, folder / file, kept_files(take)[file]) for file, source in sources.items()}
            kept = with_sha256(take, sha256)
            with one_writer(logbook.path):  # between the count and the name nobody else counts
                require_free(logbook, take.name)
                kept = msgspec.structs.replace(kept, time_utc=take.time_utc or time_now(), sequence=_next_sequence(logbook))
                write_new(folder / TAKE_FILE, encode_take(kept))
                sync_folder(folder)
                _give_name(folder, target, take.name)
    except OSError as err:
        msg = disk_message("not kept, nothing of it was written", target, err)
        raise FileError(msg) from None
    with suppress(
        OSError
    ):  # the take is whole; that a power cut might still lose it, or a source stays, is no reason to call it lost
        sync_folder(takes)
        for source in sources.values() if move else ():
            source.unlink(missing_ok=True)
    return kept


def read_take(logbook: Logbook, name: str, *, verify: bool = True) -> Take:
    """Read a take and see that its files are unchanged.

    Parameters
    ----------
    verify : bool
        Compare the SHA-256 of every file; without it they only have to be there.

    Raises
    ------
    ValueError
        If `name` cannot be the name of a take.
    FileError
        If there is no such take, or something of it is missing, changed or damaged; the message names the file.
    """
    name = usual_form(name)
    check_name(name)
    folder = logbook.path / TAKES / name
    if not os.path.lexists(folder):
        why = _missing_message(logbook, list_takes(logbook), name)
        if not os.path.lexists(folder):  # a look at the others may have ended a renaming that a crash cut short
            raise FileError(why)
    return _sound_take(folder, _take_in(folder), verify=verify)


def _sound_take(folder: Path, take: Take, *, verify: bool) -> Take:
    if take.name != folder.name or not take.time_utc:
        msg = f'{one_line(folder / TAKE_FILE)} is of the take "{take.name}" at "{take.time_utc}": moved or edited by hand'
        raise FileError(msg)
    _require_files(folder, take, verify=verify)
    return take


def read_takes(logbook: Logbook, names: Collection[str]) -> list[Take]:
    """Read takes and see that their files are unchanged; every take.json of the logbook is read once.

    Parameters
    ----------
    names : collection of str
        Each once, in their usual form.

    Returns
    -------
    list of Take
        In the order they were made, whatever that of the names.

    Raises
    ------
    FileError
        If one is not there, or something of it is missing, changed or damaged; the message names the file.
    """
    listing = list_takes(logbook)
    takes = [take for take in listing.takes if take.name in names]
    for take in takes:
        _require_files(logbook.path / TAKES / take.name, take)
    missing = set(names) - {take.name for take in takes}
    if missing:
        name = next(name for name in names if name in missing)
        raise FileError(listing.damaged.get(name) or _missing_message(logbook, listing, name))
    return takes


def list_takes(logbook: Logbook) -> Listing:
    """List the takes of a logbook in the order they were made; recordings are not read.

    Returns
    -------
    Listing
        By time, then sequence, then name; damaged ones apart.
    """
    takes, damaged = [], {}
    for name in _take_names(logbook):
        try:
            takes.append(_listed_take(logbook, name))
        except (FileError, ValueError) as err:
            damaged[name] = str(err)
    takes.sort(key=lambda take: (parse_time(take.time_utc), take.sequence, take.name))
    return Listing(takes=tuple(takes), damaged=damaged)


def has_take(logbook: Logbook, name: str) -> bool:
    """See whether a take of that name is there, damaged or not, or one that some system cannot tell from it."""
    listing = list_takes(logbook)
    return alike_name(name, [*listing.damaged, *(take.name for take in listing.takes)]) is not None


def kept_path(logbook: Logbook, take: Take, file: str) -> Path:
    """Where a file of a take is, after a look that it is unchanged.

    Parameters
    ----------
    file : str
        One of `kept_files`.

    Raises
    ------
    ValueError
        If the take names no such file.
    FileError
        If it is missing or changed.
    """
    files = kept_files(take)
    if file not in files:
        msg = f'the take "{take.name}" names no file "{one_line(file, 40)}", only {", ".join(files)}'
        raise ValueError(msg)
    path = logbook.path / TAKES / take.name / file
    require_plain(path.parent, is_folder=True)
    require_unchanged(path, files[file], below=logbook.path)
    return path


@contextmanager
def kept_file(logbook: Logbook, take: Take, file: str) -> Iterator[FileIO]:
    """Open a file of a take after a look that it is unchanged; no name on the way to it is a link.

    Parameters
    ----------
    file : str
        One of `kept_files`.

    Raises
    ------
    FileError
        If it is missing or changed.
    """
    with unchanged_file(logbook.path / TAKES / take.name / file, kept_files(take)[file], below=logbook.path) as raw:
        yield raw


def write_result(logbook: Logbook, name: str, content: bytes) -> Path:
    """Write a file of results, or replace it in one step.

    Raises
    ------
    ValueError
        If `name` cannot be the name of a file.
    FileError
        If it cannot be written; what was there before is then unchanged.
    """
    check_name(name)
    folder = logbook.path / RESULTS
    make_folder(folder)
    replace_file(folder / name, content)
    return folder / name


def result_sha256(logbook: Logbook, name: str) -> str:
    """SHA-256 of a file of results as it is now; empty where it cannot be read, or `name` cannot be the name of a file."""
    try:
        check_name(name)
        with open_plain(logbook.path / RESULTS / name, below=logbook.path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (ValueError, FileError, OSError):
        return ""


def require_free(logbook: Logbook, name: str, *, but: str = "") -> None:
    """See that a take may get a name: no take has it, nor one that some system would keep in the same place.

    Parameters
    ----------
    but : str
        A take that is on its way to another name.

    Raises
    ------
    ValueError
        If `name` cannot be the name of a take.
    FileError
        If it is not free.
    """
    check_name(name)
    alike = alike_name(name, [other for other in _take_names(logbook) if other != but])
    if alike == name:
        msg = _taken_message(name)
        raise FileError(msg)
    if alike is not None:
        msg = f'there is a take "{alike}" already, and some systems cannot tell it from "{name}": choose another name'
        raise FileError(msg)


def move_folder(source: Path, target: Path, name: str) -> None:
    """Give a folder another place in the logbook, in one step.

    Parameters
    ----------
    name : str
        Of the take, for the message where the place is taken.

    Raises
    ------
    FileError
        If it is, or the disk refuses; nothing is moved then.
    """
    try:
        _give_name(source, target, name)
        for folder in {source.parent, target.parent}:
            sync_folder(folder)
    except OSError as err:
        msg = disk_message("not moved", source, err)
        raise FileError(msg) from None


def removed_folders(logbook: Logbook) -> dict[str, list[Path]]:
    """List the folders of removed takes.

    Returns
    -------
    dict of str to list of Path
        Name to folders, the one removed last at the end.
    """
    found: dict[str, list[Path]] = {}
    folder = logbook.path / REMOVED
    if os.path.lexists(folder):
        require_plain(folder, is_folder=True)
        for path in sorted(folder.iterdir()):
            name, mark, _ = path.name.partition(AGAIN)
            if mark and not name.startswith(HIDDEN):
                found.setdefault(usual_form(name), []).append(path)
    return found


def _taken_message(name: str) -> str:
    return f'there is a take "{name}" already, and takes are never overwritten: choose another name'


def _missing_message(logbook: Logbook, listing: Listing, name: str) -> str:
    """Say that there is no such take, and what became of it where that is known."""
    takes = listing.takes
    msg = f'no take "{name}" in {one_line(logbook.path)}'
    later = next((take.name for take in takes if any(one.key == "name" and one.before == name for one in take.amended)), None)
    if later is not None:
        return f'{msg}: it was renamed, and is "{later}" now'
    if name in removed_folders(logbook):
        return f"{msg}: it was removed; coilsweep takes restore {name} brings it back"
    alike = alike_name(name, [take.name for take in takes])
    if alike is not None:
        return f'{msg}; there is "{alike}"'
    known = ", ".join(listing.told[:20]) or "none yet"
    return f"{msg}; there are: {known}"


def _require_files(folder: Path, take: Take, *, verify: bool = True) -> None:
    for file, sha256 in kept_files(take).items():
        require_unchanged(folder / file, sha256, below=folder.parent.parent, is_read=verify or not sha256)


def _take_in(folder: Path) -> Take:
    require_plain(folder, is_folder=True)
    require_plain(folder / TAKE_FILE, is_folder=False)
    content = read_small(folder / TAKE_FILE, LIMIT_BYTES, below=folder.parent.parent)
    with reading(folder / TAKE_FILE, "a take", CHOICES):
        return decode_take(content)


def _listed_take(logbook: Logbook, name: str) -> Take:
    """Take in a folder; where a crash cut a renaming short, after take.json was written, the folder gets its name now.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    name = usual_form(name)
    check_name(name)
    folder = logbook.path / TAKES / name
    take = _take_in(folder)
    last = next((one for one in reversed(take.amended) if one.key == "name"), None)
    if take.name == name or last is None or (last.before, last.after) != (name, take.name):
        return _sound_take(folder, take, verify=False)
    move_folder(folder, folder.with_name(take.name), take.name)
    return read_take(logbook, take.name, verify=False)


def _take_names(logbook: Logbook) -> list[str]:
    folder = logbook.path / TAKES
    if not os.path.lexists(folder):
        return []
    require_plain(folder, is_folder=True)
    try:
        with os.scandir(folder) as entries:
            return sorted(entry.name for entry in entries if not entry.name.startswith(HIDDEN) and not entry.is_file())
    except OSError as err:
        msg = disk_message("not read", folder, err)
        raise FileError(msg) from None


def _next_sequence(logbook: Logbook) -> int:
    return max((take.sequence for take in list_takes(logbook).takes), default=0) + 1


# The lock tells others that the writer is alive; the system lets go of it when the process ends, however it ends.
@contextmanager
def _unfinished_folder(takes: Path, name: str) -> Iterator[Path]:
    folder = takes / f"{WRITING}{name}-{secrets.token_hex(6)}"
    folder.mkdir()
    handle = _lock(folder)
    try:
        yield folder
    finally:
        if handle is not None:
            os.close(handle)
        shutil.rmtree(folder, ignore_errors=True)


def _lock(folder: Path) -> int | None:
    if sys.platform == "win32":
        return None
    import fcntl

    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(handle)
        return None
    return handle


def _refuse_links(directory: Path) -> None:
    """See that nothing leads out of a logbook: one from somebody else might write and delete elsewhere.

    Raises
    ------
    FileError
        If something does.
    """
    own = [directory / name for name in (TAKES, REMOVED, RESULTS, DERIVED, "rig.toml", "instrument.toml")]
    links = chain((path for path in own if path.is_symlink()), *(_links_in(folder) for folder in own[:4]))
    link = next(links, None)
    if link is not None:
        msg = f"{one_line(link)} is a link, and none is followed in a logbook: put a copy of what it leads to in its place"
        raise FileError(msg)


def _links_in(folder: Path) -> Iterator[Path]:
    """Links in a folder.

    Raises
    ------
    FileError
        If it holds more than a logbook may: every look at it would take long.
    """
    with suppress(OSError), os.scandir(folder) as entries:
        for number, entry in enumerate(entries):
            if entry.is_symlink():  # told without a look at it
                yield folder / entry.name
            if number >= MOST_ENTRIES:
                msg = f"{one_line(folder)} holds more than {MOST_ENTRIES} files and folders: begin another logbook"
                raise FileError(msg)


def _remove_leftovers(directory: Path) -> None:
    takes = directory / TAKES
    for folder in takes.glob(f"{WRITING}*") if not takes.is_symlink() else ():
        handle = _lock(folder) if _is_settled(folder, is_folder=True) else None
        if handle is not None:
            shutil.rmtree(folder, ignore_errors=True)
            os.close(handle)
    unfinished = f"{HIDDEN}*{UNFINISHED}"
    for pattern in (f"{HIDDEN}rig.toml.*{UNFINISHED}", *(f"{place}/{unfinished}" for place in (RESULTS, DERIVED, f"{TAKES}/*"))):
        for file in directory.glob(pattern):
            if not file.parent.is_symlink() and _is_settled(file, is_folder=False):
                with suppress(OSError):
                    file.unlink()


def _is_settled(path: Path, *, is_folder: bool) -> bool:
    try:
        status = require_plain(path, is_folder=is_folder)
    except FileError:  # it went away, or is not one of ours
        return False
    return time.time() - status.st_mtime > SETTLED_S


def _give_name(folder: Path, target: Path, name: str) -> None:
    try:
        folder.rename(target)
    except OSError as err:
        if os.path.lexists(target):  # another process was faster
            msg = _taken_message(name)
            raise FileError(msg) from None
        raise err from None


def _copy_in(source: Path, target: Path, expected: str) -> str:
    digest = hashlib.sha256()
    with open_plain(source) as reader, target.open("xb") as writer:
        while chunk := reader.read(CHUNK_BYTES):
            digest.update(chunk)
            writer.write(chunk)
        writer.flush()
        os.fsync(writer.fileno())
    if expected and digest.hexdigest() != expected:
        msg = f"{one_line(source)} has changed since it was looked at: SHA-256 {digest.hexdigest()[:12]}…, not {expected[:12]}…"
        raise FileError(msg)
    return digest.hexdigest()
