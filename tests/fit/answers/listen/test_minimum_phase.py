"""A filter from its magnitude: phase, energy, limits; convolution in blocks."""

import numpy as np
import pytest

from fit.answers.listen.minimum_phase import (
    DESIGN_S,
    convolve_blocks,
    design_size,
    filter_gain,
    minimum_phase_impulse,
    minimum_phase_spectrum,
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


# A pole at a: h = aⁿ, 1/(1 − a/z), whose inverse is causal too.
def pole_magnitude(a, n):
    return 1 / np.abs(1 - a * np.exp(-2j * np.pi * np.arange(n // 2 + 1) / n))


@pytest.mark.parametrize(
    ("rate_hz", "size"), [(8000, 32768), (48000, 131072), (52428.8, 131072), (52430.0, 262144), (192000, 524288)]
)
def test_design_is_the_next_power_of_two_over_two_and_a_half_seconds(rate_hz, size):
    assert design_size(rate_hz) == size >= DESIGN_S * rate_hz


def test_phase_of_a_pole():
    n = 4096
    wanted = -np.log(1 - 0.9 * np.exp(-2j * np.pi * np.arange(n // 2 + 1) / n))
    np.testing.assert_allclose(minimum_phase_spectrum(pole_magnitude(0.9, n)), wanted, rtol=0, atol=1e-12)


def test_impulse_of_a_pole_and_where_it_is_cut():
    # What is left after n samples is 0.81ⁿ of the energy: above 10⁻¹² for 132 samples; an eighth of them more, faded out.
    found = minimum_phase_impulse(pole_magnitude(0.9, 4096), 48000)
    assert len(found) == 132 + 16
    expected = 0.9 ** np.arange(148)
    np.testing.assert_allclose(found[:132], expected[:132], rtol=0, atol=1e-12)
    fade = np.cos(np.pi / 2 * np.arange(1, 17) / 17) ** 2
    np.testing.assert_allclose(found[132:], expected[132:] * fade, rtol=0, atol=1e-12)


def test_an_impulse_is_at_most_one_and_a_half_seconds_long():
    found = minimum_phase_impulse(pole_magnitude(0.999, 8192), 1000)  # needs 13.8 s
    assert len(found) == 1500
    assert len(minimum_phase_impulse(pole_magnitude(0.999, 2048), 48000)) == 1024  # half of what the design holds


def test_gain_of_two_samples():
    # 1 + 2·e^{−jωT} at 0, a quarter and half of the rate
    found = filter_gain(np.array([1.0, 2.0]), 4.0, np.array([0.0, 1.0, 2.0]))
    np.testing.assert_allclose(found, [3.0, 1 - 2j, -1.0], rtol=0, atol=1e-12)


def test_convolution_by_hand():
    # (1, 0, 2) by (1, 3) = (1, 3, 2, 6), of which as much as came in
    blocks = [np.array([[1.0], [0.0]]), np.array([[2.0]])]
    out = list(convolve_blocks(blocks, np.array([1.0, 3.0])))
    assert [one.shape for one in out] == [(2, 1), (1, 1)]
    np.testing.assert_allclose(np.concatenate(out)[:, 0], [1.0, 3.0, 2.0], rtol=0, atol=1e-12)


# ln of the magnitude cos(kθ) is the even half of e^{−jkθ}: a cepstrum of one sample, the last but one of them included.
@pytest.mark.parametrize("k", [0, 1, 7, 8])
def test_each_sample_of_the_cepstrum_is_folded(k):
    theta = 2 * np.pi * np.arange(9) / 16
    found = minimum_phase_spectrum(np.exp(np.cos(k * theta)))
    np.testing.assert_allclose(found, np.exp(-1j * k * theta), rtol=0, atol=1e-12)
