"""A file that one process holds at a time; the system lets go of it when that process ends, however it ends.

The file stays, and only its lock tells: nothing is to be cleared away after a crash, and no lock is ever stale.
"""

import errno
import os
import stat
import sys
import time
from pathlib import Path

LOCK_FILE = ".lock"
POLL_S = 0.02  # [s]
TEXT_BYTES = 400  # that the holder says of itself
BEYOND = 1 << 30  # byte that is locked where a system locks bytes: far behind the text, which others are to read


class HeldError(Exception):
    """Another process holds the file.

    Attributes
    ----------
    holder : str
        Which one, as it says of itself; empty where it does not.
    """

    def __init__(self, holder: str = "") -> None:
        """Keep who it is."""
        super().__init__(holder)
        self.holder = holder


def hold(path: Path, *, told: str = "", wait_s: float = 0.0) -> int:
    """Hold a file, which is made where it is not there; links are not followed, and nothing but a plain file is taken.

    Parameters
    ----------
    told : str
        What others are told who find it held.
    wait_s : float
        How long to wait for another process. [s]

    Returns
    -------
    int
        For `let_go`.

    Raises
    ------
    HeldError
        If another process held it all the time.

    Notes
    -----
    Raises OSError where the file cannot be made or locked, as it comes.
    """
    end_s = time.monotonic() + wait_s
    while True:
        handle = _open(path)
        try:
            is_held = not _lock(handle)
            if not is_held and _is_still(path, handle):
                _tell(handle, told)
                return handle
            holder = _read(handle)
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)
        if is_held and time.monotonic() >= end_s:
            raise HeldError(holder)
        time.sleep(POLL_S)


def hold_folder(folder: Path, *, wait_s: float) -> int:
    """Hold a folder, which no file in it tells of; where a system cannot lock folders, a hidden file in it is held.

    Returns
    -------
    int
        For `let_go`.

    Raises
    ------
    HeldError
        If another process held it all the time.
    OSError
        If it cannot be locked, as the system raises it.
    """
    if os.name == "posix":
        end_s = time.monotonic() + wait_s
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            while not _lock(handle):
                if time.monotonic() >= end_s:
                    raise HeldError
                time.sleep(POLL_S)
        except OSError as err:
            os.close(handle)
            if err.errno != errno.EBADF:  # over a network, only what is open for writing
                raise
        except BaseException:
            os.close(handle)
            raise
        else:
            return handle
    return hold(folder / LOCK_FILE, told=this_process(), wait_s=wait_s)


def let_go(handle: int) -> None:
    """Let others have it."""
    try:
        _unlock(handle)
    finally:
        os.close(handle)


def this_process(process: int | None = None) -> str:
    """Say which process this is, with the command that was typed, for others who wait for it."""
    name = Path(sys.argv[0]).name if sys.argv else ""
    words = ["python" if name in ("", "-c", "-m") else name, *sys.argv[1:]]
    return f"process {os.getpid() if process is None else process} ({' '.join(words)[:80]})"


def _open(path: Path) -> int:
    """Open it.

    Raises
    ------
    OSError
        If it is no plain file, or also the file of another name; and as the system raises it.
    """
    only_itself = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | only_itself, 0o600)
    status = os.fstat(handle)
    if stat.S_ISREG(status.st_mode) and status.st_nlink <= 1:
        return handle
    os.close(handle)
    msg = "not a plain file of its own"
    raise OSError(0, msg, str(path))


def _is_still(path: Path, handle: int) -> bool:
    """See that the locked file is the one that others find by that name: somebody may have removed it meanwhile."""
    try:
        return os.path.samestat(path.lstat(), os.fstat(handle))
    except FileNotFoundError:
        return False


def _tell(handle: int, told: str) -> None:
    try:
        os.ftruncate(handle, 0)
        os.lseek(handle, 0, os.SEEK_SET)
        os.write(handle, told.encode()[:TEXT_BYTES])
    except OSError:  # a full disk: it is held all the same
        return


def _read(handle: int) -> str:
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        return os.read(handle, TEXT_BYTES).decode(errors="replace")
    except OSError:
        return ""


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> bool:
        os.lseek(handle, BEYOND, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        return True

    def _unlock(handle: int) -> None:
        os.lseek(handle, BEYOND, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _unlock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)
