"""Where things lie in this checkout."""

from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
RECORDINGS = TOP / "fixtures" / "recordings"
NIST = TOP / "fixtures" / "nist"
FAKE_CARD = TOP / "tests" / "fake_card.py"
