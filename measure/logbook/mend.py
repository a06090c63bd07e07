"""Takes mended: what was stated is changed, a name is; a take is laid aside and brought back. No recording is ever touched.

Each is one step on the disk, or two of which the first says what the second is: a crash leaves the old or the new take.
"""

import json
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import msgspec

from measure.errors import FileError
from measure.logbook.disk import DAMAGE, make_folder, one_line, read_small, replace_file, replaced_file, require_plain, write_new
from measure.logbook.naming import check_name, usual_form
from measure.logbook.store import (
    AGAIN,
    REMOVED,
    RESULTS,
    TAKES,
    Logbook,
    move_folder,
    read_take,
    removed_folders,
    require_free,
)
from measure.logbook.take import TAKE_FILE, Amendment, Take, encode_take, time_now
from measure.logbook.writers import one_writer

RESULT_BYTES = 20_000_000  # of a file of results; that of a fit has some 100 kB


def amend_take(logbook: Logbook, name: str, changes: Mapping[str, Any]) -> Take:
    """Change what is stated of a take; what was stated before is kept beside it, with the time of the change.

    Parameters
    ----------
    changes : mapping
        Condition to its new value; what is so already is no change.

    Returns
    -------
    Take
        As it is now on the disk.

    Raises
    ------
    ValueError
        If a value cannot be; nothing is written then.
    FileError
        If there is no such take, its recordings are not what they were, or it cannot be written.
    """
    read_take(logbook, name)  # its recordings are read while others may still write
    with one_writer(logbook.path):
        return _amended(logbook, read_take(logbook, name, verify=False), changes)


def _amended(logbook: Logbook, take: Take, changes: Mapping[str, Any]) -> Take:
    stated = msgspec.structs.replace(take.conditions, **changes)
    now = time_now()
    amended = tuple(
        Amendment(time_utc=now, key=key, before=getattr(take.conditions, key), after=getattr(stated, key))
        for key in changes
        if getattr(take.conditions, key) != getattr(stated, key)
    )
    if not amended:
        return take
    return _write(logbook, take.name, msgspec.structs.replace(take, conditions=stated, amended=(*take.amended, *amended)))


def rename_take(logbook: Logbook, name: str, new: str) -> Take:
    """Give a take another name; the old one is kept beside it, with the time of the change.

    Raises
    ------
    ValueError
        If `new` cannot be the name of a take.
    FileError
        If there is no such take, `new` is not free, or the disk refuses.

    Notes
    -----
    take.json is written first, with both names, then the folder gets the new one. After a crash between the two, the next look at
    the logbook does the second.
    """
    new = usual_form(new)
    read_take(logbook, name)
    with one_writer(logbook.path):
        return _renamed_take(logbook, read_take(logbook, name, verify=False), new)


def _renamed_take(logbook: Logbook, take: Take, new: str) -> Take:
    if take.name == new:
        msg = f'the take "{new}" has that name already'
        raise FileError(msg)
    require_free(logbook, new, but=take.name)
    change = Amendment(time_utc=time_now(), key="name", before=take.name, after=new)
    renamed = _write(logbook, take.name, msgspec.structs.replace(take, name=new, amended=(*take.amended, change)))
    takes = logbook.path / TAKES
    try:
        move_folder(takes / take.name, takes / new, new)
    except FileError:
        if not (takes / new / TAKE_FILE).is_file() or (takes / take.name).exists():  # not done by another process's look
            raise
    return renamed


def remove_take(logbook: Logbook, name: str) -> Path:
    """Lay a take aside, damaged or not; `restore_take` brings it back.

    Returns
    -------
    Path
        Its folder from now on.

    Raises
    ------
    FileError
        If there is no such take, or it cannot be moved.
    """
    name = usual_form(name)
    check_name(name)
    folder = logbook.path / TAKES / name
    if not folder.is_dir() or folder.is_symlink():
        read_take(logbook, name)  # says what is wrong
    aside = logbook.path / REMOVED
    make_folder(aside)
    when = "".join(char for char in time_now() if char.isalnum())
    target = aside / f"{name}{AGAIN}{when}"
    with one_writer(logbook.path):
        move_folder(folder, target, name)
    return target


def restore_take(logbook: Logbook, name: str) -> Path:
    """Bring back the take of a name that was removed last.

    Returns
    -------
    Path
        Its folder from now on.

    Raises
    ------
    FileError
        If none was removed, there is another take of that name, or it cannot be moved.
    """
    name = usual_form(name)
    check_name(name)
    folders = removed_folders(logbook)
    if name not in folders:
        known = ", ".join(list(folders)[:20]) or "none"
        msg = f'no take "{name}" was removed from {one_line(logbook.path)}; there are: {known}'
        raise FileError(msg)
    target = logbook.path / TAKES / name
    with one_writer(logbook.path):
        require_free(logbook, name)
        make_folder(logbook.path / TAKES)
        move_folder(folders[name][-1], target, name)
    return target


@contextmanager
def name_in_results(logbook: Logbook, name: str, new: str) -> Iterator[tuple[str, ...]]:
    """Put the new name of a take in place of the old one in every file of results that names it, when all inside went well.

    Yields
    ------
    tuple of str
        Names of the files that are changed. One that cannot be read is left as it is: whoever reads it says so.

    Raises
    ------
    FileError
        If one cannot be written.
    """
    with one_writer(logbook.path):
        changed: dict[Path, bytes] = {}
        for path in sorted((logbook.path / RESULTS).glob("*.json")):
            try:
                require_plain(path, is_folder=False)
                document = json.loads(read_small(path, RESULT_BYTES, below=logbook.path))
            except (FileError, *DAMAGE):
                continue
            renamed = _renamed(document, (), name, new)
            if renamed != document:
                changed[path] = json.dumps(renamed, ensure_ascii=False, indent=1).encode()
        with ExitStack() as files:
            for path, content in changed.items():
                write_new(files.enter_context(replaced_file(path)), content)
            yield tuple(f"{RESULTS}/{path.name}" for path in changed)


# A part may be called as a take is: only where the files keep names of takes is one changed.
def _renamed(value: Any, place: tuple[str, ...], old: str, new: str) -> Any:
    if isinstance(value, dict):
        is_by_take = place[-1:] == ("stated",)
        named = {new if is_by_take and key == old else key: _renamed(one, (*place, key), old, new) for key, one in value.items()}
        if str(value.get("key", "")).startswith("take.") and value.get("answer") == old:  # what a guide remembers
            named["answer"] = new
        return named
    if isinstance(value, list):
        is_of_takes = place[-1:] == ("takes",) or place[-2:] == ("wish", "names")
        return [new if is_of_takes and one == old else _renamed(one, place, old, new) for one in value]
    return new if value == old and place[-1:] in (("take",), ("since_take",)) else value


def _write(logbook: Logbook, name: str, take: Take) -> Take:
    replace_file(logbook.path / TAKES / name / TAKE_FILE, encode_take(take))
    return take
