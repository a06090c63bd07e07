"""A filter from its magnitude: phase, energy, limits; convolution in blocks."""

import numpy as np

from fit.answers.listen.minimum_phase import (
    convolve_blocks,
    design_size,
    filter_gain,
    minimum_phase_impulse,
)


def test_a_click_in_a_recording_has_no_forerunner():
    impulse = minimum_phase_impulse(1 / np.hypot(1, np.arange(65537) * 48000 / 131072 / 2e3), 48000)
    click = np.zeros((30000, 1))
    click[12000] = 1.0
    out = np.concatenate(list(convolve_blocks(np.array_split(click, 7), impulse)))
    assert np.max(np.abs(out[:12000])) < 1e-12
    np.testing.assert_allclose(out[12000 : 12000 + len(impulse), 0], impulse, rtol=0, atol=1e-12)


def test_blocks_of_any_size_give_the_same():
    rng = np.random.default_rng(3)
    samples, impulse = rng.normal(size=(5000, 2)), rng.normal(size=700)
    for cuts in ([], [1], [1, 2, 3], [699, 700, 1400], sorted(rng.integers(1, 5000, 40).tolist())):
        blocks = list(convolve_blocks(np.split(samples, sorted(set(cuts))), impulse))
        whole = np.column_stack([np.convolve(channel, impulse)[:5000] for channel in samples.T])
        np.testing.assert_allclose(np.concatenate(blocks), whole, rtol=0, atol=1e-11)


def test_short_and_long_impulses_keep_their_energy():
    n = design_size(48000)
    frequency_hz = np.arange(n // 2 + 1) * 48000 / n
    flat = minimum_phase_impulse(np.full(n // 2 + 1, 0.5), 48000)
    np.testing.assert_allclose(flat[0], 0.5, rtol=1e-12)
    slow = minimum_phase_impulse(1 / np.hypot(1, frequency_hz / 3.0), 48000)  # 53 ms of time constant
    assert 0.5 < len(slow) / 48000 <= 1.5
    np.testing.assert_allclose(abs(filter_gain(slow, 48000, np.array([3.0]))[0]), np.sqrt(0.5), rtol=1e-3)
