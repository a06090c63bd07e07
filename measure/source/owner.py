"""Who has the card: one process of a user at a time, by a lock that the system lets go of when that process ends.

Two files stand for each device and direction. The process that a person started holds the one from its first recording to its
last, so that nobody comes between two of them. The recording process holds the other as long as it lives: it outlives a parent
that was killed, for as long as its ramp to silence takes.
"""

import contextlib
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator, Sequence
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path

from measure.errors import CardHeldError, DeviceError
from measure.lock import HeldError, hold, let_go, this_process

FOLDER = "coilsweep-cards"
SERVERS = ("JACK_DEFAULT_SERVER", "PULSE_SERVER", "PIPEWIRE_REMOTE")  # one name is another device on another server
PLAYING_S = 2.0  # [s] that the recording process of an owner who was killed may still take


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Claims:
    """What this process has.

    Attributes
    ----------
    held : dict of Path to int
        Handle of each locked file.
    """

    held: dict[Path, int] = field(default_factory=dict)

    def claim(self, output: str, input_: str) -> None:
        """Take an output and an input, by the names that the sound system gives them; what is held already stays so.

        Raises
        ------
        CardHeldError
            If another process has one of them; names it.
        """
        for name, path in _files(output, input_, "owner"):
            if path not in self.held:
                self.held[path] = _hold(name, path, told=this_process(), wait_s=0.0)


_claims: ContextVar[Claims | None] = ContextVar("claims", default=None)


@contextlib.contextmanager
def one_owner() -> Iterator[Claims]:
    """Keep the cards that are claimed meanwhile until the end; within itself it changes nothing."""
    claims = _claims.get()
    if claims is not None:
        yield claims
        return
    claims = Claims()
    before = _claims.set(claims)
    try:
        yield claims
    finally:
        _claims.reset(before)
        for handle in claims.held.values():
            let_go(handle)


def hold_while_playing(output: str, input_: str, *, told: str) -> None:
    """Hold a card until this process ends; wait for one whose owner was killed.

    Parameters
    ----------
    told : str
        What others are told.

    Raises
    ------
    CardHeldError
        If it does not let go in time.
    """
    for name, path in _files(output, input_, "playing"):
        _hold(name, path, told=told, wait_s=PLAYING_S)


def lock_folder() -> Path:
    """Make the folder of the locks, which is this user's alone, where it is not there.

    Returns
    -------
    Path
        Below the user's folder for what lives as long as a session, else below that for temporary files.

    Raises
    ------
    DeviceError
        If somebody else has a folder of that name, or may write to it.
    """
    if os.name != "posix":
        folder = Path(tempfile.gettempdir()) / FOLDER  # each user has one
        folder.mkdir(exist_ok=True)
        return folder
    user = os.getuid()
    usual = [Path(os.environ.get("XDG_RUNTIME_DIR") or "/nowhere"), Path(f"/run/user/{user}")]
    base = next((path for path in usual if path.is_absolute() and _is_own(path)), None)
    folder = Path(tempfile.gettempdir()) / f"{FOLDER}-{user}" if base is None else base / FOLDER
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700)
    if not _is_own(folder):
        msg = f"{folder} is not a folder of this user alone, so it cannot tell who has the sound card. Remove it, and try again."
        raise DeviceError(msg)
    return folder


def _is_own(folder: Path) -> bool:
    """See that nobody else may put anything there, by a link neither."""
    try:
        status = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(status.st_mode) and status.st_uid == os.getuid() and not status.st_mode & 0o077


def _files(output: str, input_: str, what: str) -> Sequence[tuple[str, Path]]:
    folder = lock_folder()
    servers = [os.environ.get(name, "") for name in SERVERS]
    found = []
    for direction, name in (("output", output), ("input", input_)):
        key = hashlib.sha256(json.dumps([direction, name.casefold(), servers]).encode()).hexdigest()[:20]
        found.append((name, folder / f"{key}.{what}"))
    return found


def _hold(name: str, path: Path, *, told: str, wait_s: float) -> int:
    try:
        return hold(path, told=told, wait_s=wait_s)
    except HeldError as err:
        who = " ".join(err.holder.split()) or "another process"
        msg = f"{who} has the sound card {name}: wait until it is done, or end it, and try again."
        raise CardHeldError(msg) from None
    except OSError as err:
        msg = f"{path} cannot be locked ({err.strerror or err.args[-1]}), so it cannot tell who has the sound card. Remove it."
        raise DeviceError(msg) from None
