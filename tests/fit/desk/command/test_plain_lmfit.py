"""lmfit loads without what it only plots and tabulates with, and nobody else misses that."""

import subprocess
import sys

import pytest

from fit.desk.command import plain_lmfit


def loaded(*lines: str) -> set[str]:
    """Modules of a fresh process after the lines."""
    code = "\n".join(["import sys", *lines, "print(*sys.modules)"])
    return set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())


@pytest.mark.long
def test_lmfit_fits_without_its_extras():
    fit = (
        "from fit.desk.command.plain_lmfit import spare_extras",
        "spare_extras()",
        "from lmfit import Minimizer, Parameters",
        "p = Parameters(); p.add('a', value=1.0)",
        "found = Minimizer(lambda p: [p['a'].value - 3.0, 2 * p['a'].value - 6.0], p).leastsq()",
        "assert abs(found.params['a'].value - 3.0) < 1e-6",
    )
    modules = loaded(*fit)
    assert "lmfit" in modules
    assert not modules & set(plain_lmfit.EXTRAS)
    assert "matplotlib.figure" in loaded(*fit, "import matplotlib.figure")


@pytest.mark.parametrize("name", plain_lmfit.EXTRAS)
def test_only_lmfit_is_told_that_there_is_none(name, monkeypatch):
    finder = plain_lmfit._Spared()
    finder.find_spec(name, None)
    monkeypatch.setattr(plain_lmfit, "_importer", lambda: "lmfit.model")
    with pytest.raises(ModuleNotFoundError, match=name):
        finder.find_spec(name, None)
    finder.find_spec("scipy.optimize", None)
