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
    assert "scipy.stats" not in modules
    assert "matplotlib.figure" in loaded(*fit, "import matplotlib.figure")


@pytest.mark.long
def test_distributions_that_lmfit_was_lent_are_the_real_ones():
    lent = (
        "from fit.desk.command.plain_lmfit import spare_extras",
        "spare_extras()",
        "import lmfit, scipy",
        "assert 'scipy.stats' not in sys.modules and 'stats' not in vars(scipy)",
        "from lmfit import confidence, minimizer, model",
        "both = minimizer.norm_dist.logpdf(0.5), minimizer.cauchy_dist.logpdf(0.5)",
        "ours = *both, confidence.f.cdf(2.0, 3, 4), model.t.ppf(0.9, 5)",
        "from scipy import stats",
        "assert ours == (stats.norm.logpdf(0.5), stats.cauchy.logpdf(0.5), stats.f.cdf(2.0, 3, 4), stats.t.ppf(0.9, 5))",
    )
    assert {"scipy.stats", "lmfit"} <= loaded(*lent)


@pytest.mark.parametrize("name", plain_lmfit.EXTRAS)
def test_only_lmfit_is_told_that_there_is_none(name, monkeypatch):
    finder = plain_lmfit._Spared()
    assert finder.find_spec(name, None) is None
    monkeypatch.setattr(plain_lmfit, "_importer", lambda: "lmfit.model")
    with pytest.raises(ModuleNotFoundError, match=name):
        finder.find_spec(name, None)
    assert finder.find_spec("scipy.optimize", None) is None
