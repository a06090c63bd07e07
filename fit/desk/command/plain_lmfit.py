"""lmfit without what it only plots and tabulates with: a process of our own asks it for neither.

With matplotlib and pandas beside it, lmfit takes 0.8 s and 70 MiB to load after scipy.optimize; without them 0.5 s and 25 MiB.
"""

import sys
from collections.abc import Sequence

EXTRAS = ("matplotlib", "pandas")  # each is tried by lmfit, and done without where it is not installed


class _Spared:
    """Finds nothing, but says so at once where lmfit asks for an extra; everybody else gets it."""

    def find_spec(self, fullname: str, path: Sequence[str] | None, target: object = None) -> None:  # noqa: ARG002
        if fullname in EXTRAS and _importer().partition(".")[0] == "lmfit":
            msg = f"{fullname} is not needed by lmfit here"
            raise ModuleNotFoundError(msg, name=fullname)


def _importer() -> str:
    """Name of the module whose import statement is being carried out."""
    frame = sys._getframe(2)
    while frame.f_back is not None and frame.f_globals.get("__name__", "").startswith("importlib."):
        frame = frame.f_back
    return str(frame.f_globals.get("__name__", ""))


def spare_extras() -> None:
    """Let lmfit load without its extras in this process; only for one in which nobody else uses lmfit."""
    sys.meta_path.insert(0, _Spared())
