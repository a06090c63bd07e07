"""lmfit without what it only plots, tabulates and judges with: a process of our own asks it for none of these.

With matplotlib and pandas beside it, lmfit takes 0.8 s and 70 MiB to load after scipy.optimize; without them 0.4 s and 25 MiB.
Without the distributions of scipy.stats, which it uses in confidence intervals and cost functions of its own, 0.1 s and 5 MiB.
"""

import importlib
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any, cast

EXTRAS = ("matplotlib", "pandas")  # each is tried by lmfit, and done without where it is not installed
DISTRIBUTIONS = "scipy.stats"


class _Spared:
    """Tells lmfit that there are no extras, and lends it distributions that load when they are used; others get the real ones."""

    def find_spec(self, fullname: str, path: Sequence[str] | None, target: object = None) -> ModuleSpec | None:  # noqa: ARG002
        if fullname not in (*EXTRAS, DISTRIBUTIONS) or _importer().partition(".")[0] != "lmfit":
            return None
        if fullname == DISTRIBUTIONS:
            return ModuleSpec(fullname, cast(Any, self))
        msg = f"{fullname} is not needed by lmfit here"
        raise ModuleNotFoundError(msg, name=fullname)

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        return _Lent(spec.name)

    def exec_module(self, module: ModuleType) -> None:
        """Leave it empty: each name is made when it is asked for."""


class _Lent(ModuleType):
    """Stands for a module while one statement imports names from it."""

    def __getattr__(self, name: str) -> "_Later":
        if name.startswith("__"):
            raise AttributeError(name)
        if sys.modules.get(self.__name__) is self:  # whoever imports it next finds the real one
            del sys.modules[self.__name__]
        package, _, own = self.__name__.rpartition(".")
        vars(sys.modules[package]).pop(own, None)
        return _Later(self.__name__, name)


class _Later:
    """A name of a module that is loaded when something of it is used."""

    def __init__(self, module: str, name: str) -> None:
        self._place = module, name

    def __getattr__(self, attribute: str) -> Any:
        module, name = self._place
        return getattr(getattr(importlib.import_module(module), name), attribute)


def _importer() -> str:
    """Name of the module whose import statement is being carried out."""
    frame = sys._getframe(2)
    while frame.f_back is not None and frame.f_globals.get("__name__", "").startswith("importlib."):
        frame = frame.f_back
    return str(frame.f_globals.get("__name__", ""))


def spare_extras() -> None:
    """Let lmfit load without its extras in this process; only for one in which nobody else uses lmfit."""
    sys.meta_path.insert(0, _Spared())
