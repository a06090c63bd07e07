"""Transforms in single precision against those in double, and lengths against scipy's."""

import numpy as np
import pytest
from scipy.fft import next_fast_len

from measure.signal.transforms import fast_length, make_transform, samples_of, spectrum_of


@pytest.mark.parametrize("length", [2, 3, 4, 6, 10, 15, 16, 30, 1001, 4050, 32768])
@pytest.mark.parametrize("share", [1, 3])
def test_a_spectrum_is_that_of_double_precision(length: int, share: int) -> None:
    samples = np.random.default_rng(length).normal(size=max(length // share, 1)).astype(np.float32)
    transform = make_transform(length)
    spectrum = spectrum_of(transform, samples)
    exact = np.fft.rfft(samples.astype(float), length)
    assert spectrum.dtype == np.complex64
    # single precision, of the largest value
    np.testing.assert_allclose(spectrum, exact, rtol=0, atol=1e-6 * np.max(np.abs(exact)))
    back = samples_of(transform, spectrum)
    assert back.dtype == np.float32
    np.testing.assert_allclose(back[: len(samples)], samples, rtol=0, atol=1e-6 * np.max(np.abs(samples)))


def test_lengths_are_the_next_without_large_factors() -> None:
    wanted = [*range(1, 3000), *np.random.default_rng(1).integers(3000, 10**8, 300).tolist()]
    assert [fast_length(n) for n in wanted] == [next_fast_len(n, real=True) for n in wanted]
