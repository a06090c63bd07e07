"""What a joint fit needs is loaded beside other work, once."""

import subprocess
import sys

SCRIPT = """
import sys, threading
from fit.estimate.joint import load_beside
assert "lmfit" not in sys.modules
load_beside()
(thread,) = [one for one in threading.enumerate() if one.name == "load lmfit"]
thread.join()
assert hasattr(sys.modules["lmfit"], "Minimizer")
load_beside()
assert threading.active_count() == 1
"""


def test_lmfit_is_loaded_beside_and_once() -> None:
    subprocess.run([sys.executable, "-c", SCRIPT], check=True)
