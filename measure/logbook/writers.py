"""One writer at a time: what reads a file of a logbook to write it anew, or counts its takes, does so alone."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from measure.errors import FileError
from measure.lock import HeldError, hold_folder, let_go
from measure.logbook.disk import one_line

WAIT_S = 10.0  # [s] for those that came before; writing takes some hundredths of it
_mine = threading.local()  # the folders that this thread writes to already


@contextmanager
def one_writer(folder: Path) -> Iterator[None]:
    """Keep other writers out of a logbook; they wait. Within itself it changes nothing.

    Raises
    ------
    FileError
        If another process wrote all the time that was waited; nothing was written then.

    Notes
    -----
    Where the system has no locks nobody is kept out; where the folder may not be written to, what is written next says so.
    """
    held: set[Path] = _mine.__dict__.setdefault("held", set())
    if folder in held:
        yield
        return
    handle = None
    try:
        handle = hold_folder(folder, wait_s=WAIT_S)
    except HeldError as err:
        who = one_line(err.holder) or "another process"
        msg = (
            f"{one_line(folder)} is written to by {who}, for {WAIT_S:.0f} s now: nothing was changed; try again when that is done"
        )
        raise FileError(msg) from None
    except OSError:
        pass
    held.add(folder)
    try:
        yield
    finally:
        held.discard(folder)
        if handle is not None:
            let_go(handle)
