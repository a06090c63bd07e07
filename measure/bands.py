"""Cross and auto spectra of two channels to their ratio on a logarithmic grid, band by band.

Spectra are summed over narrow cells. Around each grid frequency a rational function is fitted over five bands: the pilot,
which holds the shape of the ratio. The value is the pilot scaled by least squares to the cells of its own band alone.
Bands do not overlap, so the noise of neighbours is nearly independent; and a resonance within a band leaves no bias.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.response import ComplexArray, FloatArray

POINTS_PER_OCTAVE = 16
GRID_ANCHOR_HZ = 1000.0  # [Hz] a grid frequency; so all takes at all rates share their frequencies
CELLS = 64  # [1] cells a band: even noise-like excitations then have no centroid error
PARTS = 8  # [1] groups of cells that the pilot is fitted to, a band
PILOT_BANDS = 2  # [1] bands on either side that the pilot sees
DELAY_OCTAVES = 2  # [1] octaves at the top from which the delay is told
QUADRATURE = ((-np.sqrt(1.8), 5 / 18), (0.0, 8 / 18), (np.sqrt(1.8), 5 / 18))  # Gauss-Legendre; nodes in standard deviations


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cells:
    """Energy spectra of two channels, summed over cells.

    Attributes
    ----------
    frequency_hz, spread_hz : ndarray, shape (c,)
        Mean and standard deviation of the bins of each cell. [Hz]
    width_hz : ndarray, shape (c,)
        Width of each cell. [Hz]
    band : ndarray of int, shape (c,)
        Which grid frequency the cell belongs to.
    part : ndarray of int, shape (c,)
        Which part of all bands, `PARTS` a band.
    cross : ndarray of complex, shape (c,)
        Numerator times conjugate denominator. [s]
    auto, power : ndarray, shape (c,)
        Energy of denominator and numerator. [s]
    """

    frequency_hz: FloatArray
    spread_hz: FloatArray
    width_hz: FloatArray
    band: NDArray[np.int_]
    part: NDArray[np.int_]
    cross: ComplexArray
    auto: FloatArray
    power: FloatArray


def grid_frequencies(low_hz: float, high_hz: float) -> FloatArray:
    """Frequencies 1000·2^(k/16) within a range; the same for all takes.

    Parameters
    ----------
    low_hz, high_hz : float
        Range, 0 < low <= high. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Rising. [Hz]
    """
    first = int(np.ceil(POINTS_PER_OCTAVE * np.log2(low_hz / GRID_ANCHOR_HZ) - 1e-9))
    last = int(np.floor(POINTS_PER_OCTAVE * np.log2(high_hz / GRID_ANCHOR_HZ) + 1e-9))
    return GRID_ANCHOR_HZ * 2.0 ** (np.arange(first, last + 1) / POINTS_PER_OCTAVE)


def band_width_hz(frequency_hz: FloatArray) -> FloatArray:
    """Width of the band around each grid frequency.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Grid frequencies. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Width. [Hz]
    """
    half = 0.5 / POINTS_PER_OCTAVE
    return frequency_hz * (2**half - 2**-half)


def sum_cells(frequency_hz: FloatArray, *, cross: ComplexArray, auto: FloatArray, power: FloatArray, bin_hz: float) -> Cells:
    """Sum spectra over the cells of a grid.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Grid frequencies. [Hz]
    cross : ndarray of complex, shape (bins,)
        Spectral energy, numerator times conjugate denominator, from 0 Hz on. [s²]
    auto, power : ndarray, shape (bins,)
        Spectral energy of denominator and numerator. [s²]
    bin_hz : float
        Distance of the bins. [Hz]

    Returns
    -------
    Cells
        Those that hold at least one bin.
    """
    n_cells = CELLS * len(frequency_hz)
    edge_hz = frequency_hz[0] * 2.0 ** ((np.arange(n_cells + 1) / CELLS - 0.5) / POINTS_PER_OCTAVE)
    edge = np.minimum(np.ceil(edge_hz / bin_hz).astype(int), len(auto))
    filled = np.flatnonzero(np.diff(edge))
    start, count = edge[filled], np.diff(edge)[filled]
    stop = start[-1] + count[-1]
    return Cells(
        frequency_hz=bin_hz * (start + (count - 1) / 2),
        spread_hz=bin_hz * np.sqrt((count**2 - 1) / 12),
        width_hz=bin_hz * count,
        band=filled // CELLS,
        part=filled // (CELLS // PARTS),
        cross=np.add.reduceat(cross[:stop], start) * bin_hz,
        auto=np.add.reduceat(auto[:stop], start) * bin_hz,
        power=np.add.reduceat(power[:stop], start) * bin_hz,
    )


def sum_bands(cells: Cells, values: FloatArray, n_bands: int) -> FloatArray:
    """Sum a figure of the cells over each band.

    Parameters
    ----------
    cells : Cells
        With c cells.
    values : ndarray, shape (c,)
        Real or complex.
    n_bands : int
        Number of bands.

    Returns
    -------
    ndarray, shape (n_bands,)
        Sums.
    """
    return _sum_at(cells.band, values, n_bands)


def band_ratio(cells: Cells, frequency_hz: FloatArray, *, noise_density: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Ratio numerator / denominator at each grid frequency.

    Parameters
    ----------
    cells : Cells
        Energies, with the noise's own taken off.
    frequency_hz : ndarray, shape (n,)
        Grid frequencies. [Hz]
    noise_density : ndarray, shape (n,)
        Of the numerator, what comes through from the denominator included; it weights the pilot. [s]

    Returns
    -------
    ratio : ndarray of complex, shape (n,)
        Estimate.
    energy : ndarray, shape (n,)
        Effective energy of the excitation: the variance of `ratio` is the noise's density over it. [s]
    """
    n = len(frequency_hz)
    delay_s = _delay(cells, n)
    phase = np.exp(2j * np.pi * delay_s * cells.frequency_hz)
    part_energy = _sum_at(cells.part, cells.auto, n * PARTS)
    is_part = part_energy > 0
    safe = np.where(is_part, part_energy, 1.0)
    part_hz = np.where(is_part, _sum_at(cells.part, cells.auto * cells.frequency_hz, n * PARTS) / safe, 0.0)
    part_ratio = np.where(is_part, _sum_at(cells.part, cells.cross * phase, n * PARTS) / safe, 0.0)
    weight = np.where(is_part, part_energy / np.repeat(noise_density, PARTS), 0.0)
    pilot = _fit_pilots(frequency_hz, part_hz.reshape(n, PARTS), part_ratio.reshape(n, PARTS), weight.reshape(n, PARTS))
    mean = np.zeros(len(cells.band), dtype=complex)
    for node, share in QUADRATURE:
        at_hz = cells.frequency_hz + node * cells.spread_hz
        mean += share * _pilot_value(pilot, cells.band, at_hz, frequency_hz) * np.exp(-2j * np.pi * delay_s * at_hz)
    energy = _sum_at(cells.band, cells.auto * np.abs(mean) ** 2, n)
    centre = _pilot_value(pilot, np.arange(n), frequency_hz, frequency_hz) * np.exp(-2j * np.pi * delay_s * frequency_hz)
    safe = np.where(energy > 0, energy, 1.0)
    ratio = np.where(energy > 0, _sum_at(cells.band, cells.cross * mean.conj(), n) / safe * centre, 0.0)
    return ratio, np.where(energy > 0, energy / np.maximum(np.abs(centre) ** 2, 1e-300), 0.0)


def _sum_at(index: NDArray[np.int_], values: NDArray, n: int) -> NDArray:
    if np.iscomplexobj(values):
        return np.bincount(index, values.real, n) + 1j * np.bincount(index, values.imag, n)
    return np.bincount(index, values, n)


def _delay(cells: Cells, n_bands: int) -> float:
    """Delay of the numerator from the turning of the phase along frequency; near enough for the pilot."""
    same = cells.band[1:] == cells.band[:-1]
    turn = np.where(same, cells.cross[1:] * cells.cross[:-1].conj(), 0)
    step = np.where(same, np.diff(cells.frequency_hz), 0.0)
    weight = np.abs(turn)
    total = _sum_at(cells.band[1:], turn, n_bands)
    size = _sum_at(cells.band[1:], weight, n_bands)
    step_hz = _sum_at(cells.band[1:], weight * step, n_bands) / np.where(size > 0, size, 1.0)
    good = np.flatnonzero((size > 0) & (np.arange(n_bands) >= n_bands - DELAY_OCTAVES * POINTS_PER_OCTAVE))
    if len(good) == 0:
        return 0.0
    return -float(np.median(np.angle(total[good]) / (2 * np.pi * step_hz[good])))


def _fit_pilots(frequency_hz: FloatArray, part_hz: FloatArray, part_ratio: ComplexArray, weight: FloatArray) -> ComplexArray:
    """Fit (a + b u + c u²) / (1 + d u), u relative offset from each grid frequency, to the parts of five bands around it."""
    n = len(frequency_hz)
    around = np.arange(n)[:, None] + np.arange(-PILOT_BANDS, PILOT_BANDS + 1)
    inside = (around >= 0) & (around < n)
    around = np.clip(around, 0, n - 1)
    scale = _pilot_scale()
    u = ((part_hz[around] / frequency_hz[:, None, None] - 1) / scale).reshape(n, -1)
    ratio = part_ratio[around].reshape(n, -1)
    w = (weight[around] * inside[:, :, None]).reshape(n, -1)
    u = np.where(w > 0, u, 0.0)
    design = np.stack([np.ones_like(ratio), u, u**2, -u * ratio], axis=2)
    weighted = design.conj() * w[:, :, None]
    normal = weighted.transpose(0, 2, 1) @ design
    right = np.einsum("nij,ni->nj", weighted, ratio)
    size = np.sum(w * np.abs(ratio) ** 2, axis=1) / np.maximum(np.sum(w, axis=1), 1e-300)
    # A weak pull to a constant: where the noise is as large as the response, no pole is read into it.
    prior = np.stack([np.zeros(n), 1 / np.maximum(size, 1e-300), 1 / np.maximum(size, 1e-300), np.ones(n)], axis=1)
    normal += prior[:, :, None] * np.eye(4) + 1e-300 * np.eye(4)
    # Columns are scaled to one before solving; the response may be in any unit.
    root = np.sqrt(np.maximum(np.einsum("nii->ni", normal).real, 1e-300))
    normal = normal / (root[:, :, None] * root[:, None, :])
    return np.linalg.solve(normal, (right / root)[:, :, None])[:, :, 0] / root


def _pilot_scale() -> float:
    """Offset of the outermost parts that a pilot sees."""
    return 2 ** ((PILOT_BANDS + 0.5) / POINTS_PER_OCTAVE) - 1


def _pilot_value(pilot: ComplexArray, band: NDArray[np.int_], at_hz: FloatArray, frequency_hz: FloatArray) -> ComplexArray:
    a, b, c, d = pilot[band].T
    u = (at_hz / frequency_hz[band] - 1) / _pilot_scale()
    return (a + b * u + c * u**2) / (1 + d * u)
