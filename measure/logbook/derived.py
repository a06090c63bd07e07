"""Derived data in derived/: what costs time to make and can be made again from the takes. It may be deleted at any time."""

import hashlib
import re
from contextlib import suppress
from pathlib import Path
from typing import Literal

from measure.errors import FileError
from measure.logbook.disk import make_folder, read_small, replace_file, require_plain
from measure.logbook.store import DERIVED, Logbook

LIMIT_BYTES = 20_000_000  # of a file; a fit has some 100 kB
MOST_KEPT = 200  # files of each kind; those written first go first
SCHEMA = "coilsweep.derived/1"
Kind = Literal["fit", "response", "comparison"]

_KEY = re.compile(r"[0-9a-f]{64}")


def read_derived(logbook: Logbook, kind: Kind, key: str) -> bytes | None:
    """Read what is kept under a key; None where nothing whole is.

    A file that is damaged, cut short, a link, or of something else is as if it were not there: it is made again.
    """
    path = _path(logbook, kind, key)
    try:
        require_plain(path.parent, is_folder=True)
        require_plain(path, is_folder=False)
        head, _, content = read_small(path, LIMIT_BYTES, below=logbook.path).partition(b"\n")
    except FileError:
        return None
    return content if head == _head(kind, key, content) else None


def keep_derived(logbook: Logbook, kind: Kind, key: str, content: bytes) -> None:
    """Keep content under a key, in one step, and let the oldest of its kind go.

    A disk that refuses is no reason to fail: whoever made the content has it, and a logbook that may only be read stays of use.
    """
    path = _path(logbook, kind, key)
    with suppress(FileError, OSError):
        make_folder(path.parent)
        replace_file(path, _head(kind, key, content) + b"\n" + content)
        kept = sorted(path.parent.glob(f"{kind}-*"), key=lambda file: file.lstat().st_mtime_ns)
        for file in kept[:-MOST_KEPT]:
            file.unlink(missing_ok=True)


# The key says what the content rests on, its own SHA-256 that it is whole.
def _head(kind: Kind, key: str, content: bytes) -> bytes:
    return f"{SCHEMA} {kind} {key} {hashlib.sha256(content).hexdigest()}".encode()


def _path(logbook: Logbook, kind: Kind, key: str) -> Path:
    if not _KEY.fullmatch(key):
        msg = f"the key {key[:80]!r} is no SHA-256"
        raise ValueError(msg)
    return logbook.path / DERIVED / f"{kind}-{key}"
