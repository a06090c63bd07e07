"""Where things lie in this checkout."""

from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
RECORDINGS = TOP / "fixtures" / "recordings"
NIST = TOP / "fixtures" / "nist"
FAKE_CARD = TOP / "tests" / "fake_card.py"


def mirrored(module: Path) -> Path:
    """The test file of a module, both from the top on."""
    return Path("tests") / module.with_name(f"test_{module.name}")
