"""A general circuit simulator, run on a netlist."""

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from measure.response import ComplexArray, FloatArray

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")


SWEEP = "dec 10 20 20k"


def simulate(folder: Path, netlist: Sequence[str], vectors: Sequence[str], sweep: str = SWEEP) -> tuple[FloatArray, ComplexArray]:
    """Frequencies (m,) and the vectors (k, m) of an AC analysis."""
    control = [".control", "set numdgt=14", "set wr_singlescale", f"ac {sweep}", f"wrdata out.txt {' '.join(vectors)}", "quit"]
    (folder / "net.cir").write_text("\n".join(["netlist", *netlist, *control, ".endc", ".end", ""]))
    done = subprocess.run(["ngspice", "-b", "net.cir"], cwd=folder, capture_output=True, text=True, timeout=20, check=False)
    out = folder / "out.txt"
    assert out.exists(), done.stdout + done.stderr
    table = np.atleast_2d(np.loadtxt(out))
    out.unlink()
    return table[:, 0], (table[:, 1::2] + 1j * table[:, 2::2]).T


def worst_relative(ours: ComplexArray, reference: ComplexArray) -> float:
    return float(np.max(np.abs(ours - reference) / np.abs(reference)))
