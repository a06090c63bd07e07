"""From a stimulus to a response with its error bars; knows nothing of circuits or guitars.

The public names below are loaded when they are first used: ``import measure`` itself imports nothing but the standard library.
"""

from typing import TYPE_CHECKING, Any

from measure import start as _start

if TYPE_CHECKING:
    from measure.api import Logbook, Recording, read, record
    from measure.errors import DeviceError, FileError, MeasureError
    from measure.response import Finding, Origin, Response

__all__ = ["DeviceError", "FileError", "Finding", "Logbook", "MeasureError", "Origin", "Recording", "Response", "read", "record"]

_HOMES = {
    **dict.fromkeys(("Logbook", "Recording", "read", "record"), "measure.api"),
    **dict.fromkeys(("DeviceError", "FileError", "MeasureError"), "measure.errors"),
    **dict.fromkeys(("Finding", "Origin", "Response"), "measure.response"),
}

_start.warn_of_stranger("fit")


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
