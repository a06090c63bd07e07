"""Counts of long transforms: what was shared must not be computed again unnoticed."""

from collections import Counter

import numpy as np
import pytest

from tests.faulty_takes import RATE_HZ

LONG = RATE_HZ  # [samples] those of silences are shorter, and cost little


def count_transforms(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Names of the long transforms made from now on, counted."""
    made: Counter[str] = Counter()
    for name in ("rfft", "irfft", "fft", "ifft"):
        plain = getattr(np.fft, name)

        def counted(values, *rest, _name=name, _plain=plain, **options):
            result = _plain(values, *rest, **options)
            made[_name] += int(max(np.shape(values)[-1], np.shape(result)[-1]) >= LONG)
            return result

        monkeypatch.setattr(np.fft, name, counted)
    return made
