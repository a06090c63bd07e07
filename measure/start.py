"""Where the installed command starts: a foreign file called fit or measure is named in one line before anything is imported.

It stands in `measure`, since it is a person's own fit.py that most often lies in the way. A foreign `measure` cannot be told from
here: the command then ends with Python's own words, and ``import fit`` names the file.
"""

import importlib.util
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

WRONG_USE, INTERRUPTED = 2, 130  # exit codes
AGAIN_S = 0.05  # [s] until a lost interrupt comes again: by then Python has tidied up


def find_stranger(name: str) -> str | None:
    """Tell which file answers to the name of one of our two packages in its place; None where it is ours, or none there."""
    spec = None if name in sys.modules and sys.modules[name].__spec__ is None else importlib.util.find_spec(name)
    found = spec.origin or next(iter(spec.submodule_search_locations or ()), None) if spec is not None else None
    return None if found is None or _is_same(found, _own_file(name)) else found


def find_overwritten(name: str) -> str | None:
    """Tell whether the first file of an installed package is another than the one that was installed; None where it is ours."""
    from base64 import urlsafe_b64encode
    from hashlib import sha256
    from importlib import metadata
    from pathlib import Path

    try:
        files = metadata.files("coilsweep") or ()
    except metadata.PackageNotFoundError:
        return None
    own = _own_file(name)
    kept = next((file for file in files if file.as_posix() == f"{name}/__init__.py" and _is_same(str(file.locate()), own)), None)
    if kept is None or kept.hash is None or kept.hash.mode != "sha256":
        return None  # it runs from a folder of sources
    digest = urlsafe_b64encode(sha256(Path(own).read_bytes()).digest()).rstrip(b"=").decode()
    return None if digest == kept.hash.value else own


def warn_of_stranger(name: str) -> None:
    """Say in one line that a file lies in the way of a package of ours; whoever needs only the other can go on."""
    is_command = os.path.basename(sys.argv[0] if sys.argv else "").startswith("coilsweep")  # noqa: PTH119
    found = None if is_command else find_stranger(name)  # the command says it itself
    if found is not None:
        import warnings

        warnings.warn(_line(name, found), stacklevel=3)


def repeat_lost_interrupts() -> None:
    """Have an interrupt come again that Python only printed, as one that comes while it tidies up after an import."""
    usual = sys.unraisablehook

    def hook(lost: "UnraisableHookArgs") -> None:
        if not issubclass(lost.exc_type, KeyboardInterrupt):
            usual(lost)
        elif not sys.is_finalizing():
            from threading import Timer

            Timer(AGAIN_S, _interrupt).start()

    sys.unraisablehook = hook


def _interrupt() -> None:
    import signal
    import threading

    main = threading.main_thread().ident
    if sys.platform == "win32" or main is None:
        signal.raise_signal(signal.SIGINT)
    else:
        signal.pthread_kill(main, signal.SIGINT)  # to no other thread: what the main one waits for ends by it


def run() -> None:
    """Entry of the installed command."""
    repeat_lost_interrupts()
    for name in ("fit", "measure"):
        found = find_stranger(name) or find_overwritten(name)
        if found is not None:
            sys.stderr.write(f"coilsweep: {_line(name, found)}\n")
            sys.exit(WRONG_USE)
    try:
        importlib.import_module("fit.desk.command.main").run()
    except KeyboardInterrupt:  # before the command hears of it, or after it has ended
        sys.stderr.write("coilsweep: interrupted\n")
        sys.exit(INTERRUPTED)


def _line(name: str, found: str) -> str:
    cure = "install coilsweep again in an environment of its own" if found == _own_file(name) else "rename it, or run elsewhere"
    return f"{found} is not coilsweep's own package {name} and stands in its way: {cure}"


def _own_file(name: str) -> str:
    return os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), name, "__init__.py")  # noqa: PTH100, PTH118, PTH120


def _is_same(one: str, other: str) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)
