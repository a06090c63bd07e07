"""From responses to answers.

The public names below are loaded when they are first used: ``import fit`` itself imports nothing but the standard library.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fit.answers.figures import Contribution, Estimate, NextTake
    from fit.api import (
        Comparison,
        Confirmation,
        Instrument,
        PickupResult,
        Prediction,
        Take,
        WiringResult,
        compare,
        instrument,
        pickup,
        predict,
        wiring,
    )
    from fit.desk.book.fits import RejectedError

__all__ = [
    "Comparison",
    "Confirmation",
    "Contribution",
    "Estimate",
    "Instrument",
    "NextTake",
    "PickupResult",
    "Prediction",
    "RejectedError",
    "Take",
    "WiringResult",
    "compare",
    "instrument",
    "pickup",
    "predict",
    "wiring",
]

_HOMES = {
    **dict.fromkeys(__all__, "fit.api"),
    **dict.fromkeys(("Contribution", "Estimate", "NextTake"), "fit.answers.figures"),
    "RejectedError": "fit.desk.book.fits",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        msg = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(msg)
    from importlib import import_module

    try:
        return getattr(import_module(_HOMES[name]), name)
    except ImportError as error:
        _name_stranger(error)
        raise


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


# Whatever is called measure and stands earlier on the path answers the imports of ours.
def _name_stranger(error: ImportError) -> None:
    import sys
    from pathlib import Path

    found = getattr(sys.modules.get("measure"), "__file__", None) or ""
    ours = Path(__file__).resolve().parents[1] / "measure" / "__init__.py"
    if found and Path(found).resolve() != ours:
        msg = f"{found} is not coilsweep's own package measure and stands in its way: rename it, or run elsewhere"
        raise ImportError(msg) from error
