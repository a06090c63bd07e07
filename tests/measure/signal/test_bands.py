"""Cells and bands of a grid: nothing is counted twice or lost, and the ratio is that of a network known in closed form."""

import numpy as np
import pytest

from measure.signal.bands import (
    CELLS,
    CHUNK_BINS,
    PARTS,
    add_spectra,
    band_ratio,
    band_width_hz,
    grid_frequencies,
    make_cells,
    sum_bands,
    take_bands,
    take_noise_off,
)


def test_grid_is_anchored():
    grid_hz = grid_frequencies(20.0, 20000.0)
    assert 1000.0 in grid_hz
    np.testing.assert_allclose(np.diff(np.log2(grid_hz)), 1 / 16, rtol=1e-12)
    assert set(grid_frequencies(100.0, 5000.0)) < set(grid_hz)


def test_the_grid_reaches_from_limit_to_limit_and_its_bands_touch():
    grid_hz = grid_frequencies(500.0, 2000.0)
    assert len(grid_hz) == 33
    np.testing.assert_allclose(grid_hz[[0, 16, 32]], [500.0, 1000.0, 2000.0], rtol=1e-12)
    assert grid_frequencies(500.1, 1999.9)[[0, -1]] == pytest.approx(grid_hz[[1, -2]])
    edges_hz = np.sqrt(grid_hz[1:] * grid_hz[:-1])
    np.testing.assert_allclose(band_width_hz(grid_hz)[1:-1], np.diff(edges_hz), rtol=1e-12)


GRID_HZ = grid_frequencies(100.0, 4000.0)
BIN_HZ = 0.25


def test_every_bin_of_the_bands_belongs_to_one_cell_of_the_nearest_frequency():
    cells = make_cells(GRID_HZ, bin_hz=BIN_HZ)
    np.testing.assert_array_equal(cells.start[1:], (cells.start + cells.count)[:-1])
    bins = np.repeat(np.arange(len(cells.start)), cells.count)
    bin_hz = BIN_HZ * np.arange(cells.start[0], cells.start[-1] + cells.count[-1])
    nearest = np.argmin(np.abs(np.log(bin_hz[:, None] / GRID_HZ)), axis=1)
    np.testing.assert_array_equal(cells.band[bins], nearest)
    np.testing.assert_array_equal(cells.part // PARTS, cells.band)
    assert np.max(np.bincount(cells.band)) == CELLS
    assert bin_hz[0] - BIN_HZ < GRID_HZ[0] * 2 ** (-1 / 32) <= bin_hz[0]
    assert bin_hz[-1] < GRID_HZ[-1] * 2 ** (1 / 32) <= bin_hz[-1] + BIN_HZ


def drawn_spectra(seed, n=20000):
    rng = np.random.default_rng(seed)
    return rng.standard_normal((2, n)) + 1j * rng.standard_normal((2, n))


def test_energies_are_the_sums_of_the_products_and_add_up():
    top, bottom = drawn_spectra(1)
    cells = make_cells(GRID_HZ, bin_hz=BIN_HZ)
    assert cells.start[-1] - cells.start[0] < CHUNK_BINS
    for _ in range(2):
        add_spectra(cells, top, bottom, scale=3.0)
    for index in (0, 100, len(cells.start) - 1):
        bins = np.arange(cells.start[index], cells.start[index] + cells.count[index])
        factor = 2 * 3.0 * BIN_HZ
        assert cells.cross[index] == pytest.approx(factor * np.vdot(bottom[bins], top[bins]), rel=1e-12)
        assert cells.auto[index] == pytest.approx(factor * np.sum(np.abs(bottom[bins]) ** 2), rel=1e-12)
        assert cells.power[index] == pytest.approx(factor * np.sum(np.abs(top[bins]) ** 2), rel=1e-12)
        assert cells.moment[index] == pytest.approx(factor * np.sum(bins * np.abs(bottom[bins]) ** 2), rel=1e-12)


def test_more_bins_than_are_made_at_a_time_are_summed_all_the_same():
    bin_hz = 4000 * 2 ** (1 / 32) / (5 * CHUNK_BINS)
    top, bottom = drawn_spectra(2, 5 * CHUNK_BINS + 2)
    cells = make_cells(GRID_HZ, bin_hz=bin_hz)
    add_spectra(cells, top, bottom, scale=1.0)
    bins = slice(cells.start[0], cells.start[-1] + cells.count[-1])
    assert bins.stop - bins.start > 4 * CHUNK_BINS
    assert np.sum(cells.auto) == pytest.approx(bin_hz * np.sum(np.abs(bottom[bins]) ** 2), rel=1e-12)
    assert np.sum(cells.cross) == pytest.approx(bin_hz * np.vdot(bottom[bins], top[bins]), rel=1e-10)


def filled(top, bottom, *, frequency_hz=GRID_HZ, bin_hz=BIN_HZ):
    cells = make_cells(frequency_hz, bin_hz=bin_hz)
    add_spectra(cells, top, bottom, scale=1.0)
    return cells


def test_bands_that_are_kept_count_from_the_first_of_them():
    whole = filled(*drawn_spectra(3))
    part = take_bands(whole, slice(5, 9))
    again = filled(*drawn_spectra(3), frequency_hz=GRID_HZ[5:9])
    for name in ("start", "count", "band", "part", "cross", "auto", "power", "moment"):
        np.testing.assert_array_equal(getattr(part, name), getattr(again, name), err_msg=name)
    np.testing.assert_array_equal(sum_bands(part, part.auto, 4), sum_bands(whole, whole.auto, len(GRID_HZ))[5:9])


def test_noise_that_is_all_there_is_leaves_nothing():
    cells = filled(np.full(20000, 2j), np.full(20000, 2.0))  # density 4, cross 4j, in every bin
    n = len(GRID_HZ)
    rest = take_noise_off(cells, auto=np.full(n, 4.0), cross=np.full(n, 4j))
    for values, of in ((rest.auto, cells.auto), (rest.cross, np.abs(cells.cross)), (rest.moment, cells.moment)):
        assert np.max(np.abs(values) / of) < 1e-12
    np.testing.assert_array_equal(rest.power, cells.power)
    half = take_noise_off(cells, auto=np.full(n, 2.0), cross=np.full(n, 1j))
    np.testing.assert_allclose(half.auto, cells.auto / 2, rtol=1e-12)
    np.testing.assert_allclose(half.cross, 0.75 * cells.cross, rtol=1e-12)


def resonance(frequency_hz, *, q=10.0, delay_s=0.0):
    s = 1j * frequency_hz / 1300.0
    return s / (1 + s / q + s**2) * np.exp(-2j * np.pi * frequency_hz * delay_s)


ALL_HZ = BIN_HZ * np.arange(20000)


@pytest.mark.parametrize("delay_s", [0.0, 0.01, -0.003])
@pytest.mark.parametrize("scale", [1.0, -1e-6])
def test_a_resonance_within_a_band_leaves_no_bias(delay_s, scale):
    """Denominators like noise: every bin has its own size, so that a mean over a band would be 1 % off at this Q."""
    bottom = drawn_spectra(4)[0]
    top = scale * resonance(ALL_HZ, delay_s=delay_s) * bottom
    found = band_ratio(filled(top, bottom), GRID_HZ, noise_density=np.full(len(GRID_HZ), 1e-12 * scale**2))
    expected = scale * resonance(GRID_HZ, delay_s=delay_s)
    np.testing.assert_allclose(found.value, expected, rtol=3e-4)
    # cells of 2.7 Hz at the top, in which 10 ms turn the phase by 0.17 rad: a twelfth of its square
    assert np.max(found.left / (np.abs(expected) ** 2 * found.energy)) < 2.5e-3


def test_noise_over_energy_is_the_variance_of_the_ratio_and_what_is_left_is_the_noise():
    density = 0.1  # [s²] of the noise's energy, of the excitation's 2; over the length 1 / BIN_HZ its power
    pulls, left = [], []
    for seed in range(20):
        bottom, noise = drawn_spectra(seed)
        top = resonance(ALL_HZ) * bottom + np.sqrt(density / 2) * noise
        cells = filled(top, bottom)
        found = band_ratio(cells, GRID_HZ, noise_density=np.full(len(GRID_HZ), density * BIN_HZ))
        pulls.append((found.value - resonance(GRID_HZ)) / np.sqrt(density * BIN_HZ / found.energy))
        left.append(found.left / (density * cells.bin_hz * np.bincount(cells.band, cells.count)))
    assert np.mean(np.abs(pulls) ** 2) == pytest.approx(1.0, abs=0.1)  # 20 · 86 complex numbers: 0.024 at 1 σ
    # less one value, and the pilot's five, of some dozen to hundreds a band
    assert np.mean(np.array(left)[:, 40:]) == pytest.approx(1.0, abs=0.05)


def test_bands_without_excitation_are_finite():
    bottom = drawn_spectra(5)[0]
    bottom[ALL_HZ > 2000] = 0.0
    found = band_ratio(filled(0.5 * bottom, bottom), GRID_HZ, noise_density=np.full(len(GRID_HZ), 1e-9))
    assert np.all(np.isfinite(found.value))
    np.testing.assert_allclose(found.value[GRID_HZ < 1700], 0.5, rtol=1e-6)
