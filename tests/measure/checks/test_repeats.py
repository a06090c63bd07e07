"""Repeats of one take agree while the coil stays, and show it where it moved."""

from dataclasses import replace

import numpy as np
import pytest

from measure.checks.repeats import check_repeats
from tests.faulty_takes import BENCH, coil, take


@pytest.mark.parametrize(("change", "severity"), [(1.0, "pass"), (1.0005, "pass"), (0.99, "warn"), (1.06, "reject")])
def test_repeats_show_that_the_coil_moved(change: float, severity: str) -> None:
    first = take()
    second = take(replace(BENCH, seed=2, pickup=lambda f: coil()(f) * change))
    finding = check_repeats([first, second])
    assert finding.severity == severity
    assert finding.figure == pytest.approx(100 * abs(np.log(change)), abs=0.05)
    with pytest.raises(ValueError, match="two or more"):
        check_repeats([first])
